"""What a night says of lines that gave way, files that were read again and columns that are new."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from tests.home import (
    DAY,
    GOOD_PH,
    LOTS,
    READINGS_HEADER,
    SITE,
    SITE_ID,
    drop,
    make_home,
    night,
    night_by_command,
    only_site,
    pots,
    run_cli,
)

NEXT = date(2026, 4, 7)
SAMPLING = pots("H-1", "2026-04-05", GOOD_PH)


def test_a_later_version_of_a_reading_stands_beside_the_earlier_one(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", **{"readings_2026-04-05.csv": READINGS_HEADER + SAMPLING})
    assert only_site(night(home, pages=True).summary).superseded_tonight == 0
    changed = SAMPLING.replace("H-1,2026-04-05,routine,1,5.7", "H-1,2026-04-05,routine,1,6.7")
    drop(home, "readings_2026-04-06.csv", READINGS_HEADER + changed)
    site = only_site(night(home, NEXT, pages=True).summary)
    assert (site.superseded_tonight, site.withdrawn_tonight) == (1, 0)
    (one,) = site.corrections_tonight
    assert (one.file, one.line, one.fate) == ("drop/readings_2026-04-05.csv", 2, "superseded")
    assert (one.by_file, one.by_line) == ("drop/readings_2026-04-06.csv", 2)
    assert one.text.startswith("H-1,2026-04-05,routine,1,5.7")
    assert (one.by_text or "").startswith("H-1,2026-04-05,routine,1,6.7")
    page = (home / "out" / NEXT.isoformat() / "sites" / f"{SITE_ID}.html").read_text(encoding="utf-8")
    assert "routine,1,5.7" in page
    assert "replaced by a later version" in page


def test_two_files_of_one_night_that_disagree_are_both_shown(tmp_path: Path) -> None:
    changed = SAMPLING.replace("routine,1,5.7", "routine,1,6.7")
    files = {
        "readings_2026-04-04.csv": READINGS_HEADER + SAMPLING,
        "readings_2026-04-03.csv": READINGS_HEADER + changed,
    }
    home = make_home(tmp_path / "home", **files)
    (one,) = only_site(night(home).summary).corrections_tonight
    assert (one.file, one.by_file) == ("drop/readings_2026-04-03.csv", "drop/readings_2026-04-04.csv")


def test_a_line_that_vanishes_from_a_whole_list_is_said_to_be_withdrawn_once(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home")
    night(home)
    drop(home, "lots.csv", LOTS.rsplit("\n", 2)[0] + "\n")
    site = only_site(night(home, NEXT).summary)
    (one,) = site.corrections_tonight
    assert (one.fate, one.by_file, site.withdrawn_tonight) == ("withdrawn", None, 1)
    assert only_site(night(home, date(2026, 4, 8)).summary).withdrawn_tonight == 0


def test_a_mended_mapping_says_what_it_changed(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home")
    night(home)
    settings = home / "sites" / SITE_ID / "site.toml"
    settings.write_text(SITE.replace('meter = "Meter"\n', "", 1), encoding="utf-8")
    ran = run_cli("nightly", home, "--as-of", NEXT)
    said = (
        "drop/readings_2026-04-02.csv was read again under the mended settings: values of 10 lines changed."
    )
    assert said in ran.out
    assert "    drop/readings_2026-04-02.csv line 2: meter id M1 → nothing\n" in ran.out
    assert "and 7 more lines: leachbook held --read-again lists them all." in ran.out
    told = run_cli("held", home, "--read-again")
    assert told.out.splitlines() == [
        f"hill: 10 lines changed when files were read again on {NEXT}",
        *(f"    drop/readings_2026-04-02.csv line {line}: meter id M1 → nothing" for line in range(2, 12)),
    ]
    page = (home / "out" / NEXT.isoformat() / "sites" / f"{SITE_ID}.html").read_text(encoding="utf-8")
    assert "line 11: meter id M1 → nothing" in page


def test_lines_that_a_mended_unit_releases_and_holds_are_named(tmp_path: Path) -> None:
    lines = pots("H-1", "2026-04-02", ("5.7", "5.8"), ec="2600") + pots(
        "H-2", "2026-04-02", ("5.9",), ec="3.00"
    )
    home = make_home(tmp_path / "home", **{"readings_2026-04-02.csv": READINGS_HEADER + lines})
    night(home)
    settings = home / "sites" / SITE_ID / "site.toml"
    mended = SITE.replace('unit = "mS/cm"', 'unit = "µS/cm", header_unit_is_wrong = true')
    settings.write_text(mended, encoding="utf-8")
    ran = night_by_command(home, NEXT)
    assert "    drop/readings_2026-04-02.csv lines 2-3\n" in ran.out
    (one,) = run_cli("held", home, "--read-again", "--json").json
    assert (one["site_id"], one["as_of"]) == (SITE_ID, NEXT.isoformat())
    assert [(line["line"], line["changed_values"]) for line in one["lines"]] == [
        (2, [{"field": "ec_ms_cm", "before": "2600", "after": "2.6"}]),
        (3, [{"field": "ec_ms_cm", "before": "2600", "after": "2.6"}]),
        (4, [{"field": "ec_ms_cm", "before": "3", "after": "0.003"}]),
    ]
    assert one["lines"][0]["sentence"] == ("line 2: EC (mS/cm) 2600 → 2.6; held (ec out of scale) → accepted")
    (site,) = night_by_command(home, date(2026, 4, 8), "--json").json["read_again"] or [None]
    assert site is None
    # a later night without a reading anew leaves the list of the last one
    assert len(run_cli("held", home, "--read-again", "--json").json[0]["lines"]) == 3
    assert run_cli("rebuild", home).code == 0
    assert run_cli("verify", home).code == 0


def test_a_file_that_was_held_whole_shows_each_line_as_taken_up(tmp_path: Path) -> None:
    renamed = READINGS_HEADER.replace("EC (mS/cm)", "EC mS/cm") + SAMPLING
    home = make_home(tmp_path / "home", **{"readings_2026-04-05.csv": renamed})
    night(home)
    settings = home / "sites" / SITE_ID / "site.toml"
    settings.write_text(SITE.replace('"EC (mS/cm)"', '"EC mS/cm"'), encoding="utf-8")
    site = only_site(night(home, NEXT).summary)
    moved = [one for one in site.reread_lines if one.file == "drop/readings_2026-04-05.csv"]
    assert [(one.line, one.fate_before, one.cause_before, one.fate_after) for one in moved] == [
        (line, "held", "columns_changed", "accepted") for line in range(2, 7)
    ]
    assert {(one.field, one.before, one.after) for one in moved[0].changed_values} >= {
        ("ph", None, "5.7"),
        ("ec_ms_cm", None, "2.6"),
    }


def test_a_mapping_that_takes_lines_away_says_which_are_held_now(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", **{"readings_2026-04-05.csv": READINGS_HEADER + SAMPLING})
    night(home)
    settings = home / "sites" / SITE_ID / "site.toml"
    mapped = SITE.replace('purpose = "Purpose"\n', "").replace('ph = "pH"', 'ph = "Purpose"')
    settings.write_text(mapped, encoding="utf-8")
    site = only_site(night(home, NEXT).summary)
    assert {(one.fate_before, one.fate_after, one.cause_after) for one in site.reread_lines} == {
        ("accepted", "held", "number_unreadable")
    }


def test_a_column_that_no_field_takes_is_said_once(tmp_path: Path) -> None:
    header = READINGS_HEADER.rstrip("\n") + ",Weather\n"
    lines = "".join(f"{line},sunny\n" for line in SAMPLING.splitlines())
    home = make_home(tmp_path / "home", **{"readings_2026-04-05.csv": header + lines})
    findings = only_site(night(home).summary).findings
    assert [(one.rule, one.level, one.file) for one in findings] == [
        ("new_columns", "note", "drop/readings_2026-04-05.csv")
    ]
    assert "“Weather”" in findings[0].sentence
    assert 'set extra_columns = "note"' in findings[0].sentence
    drop(home, "readings_2026-04-06.csv", header + lines.replace("04-05", "04-06"))
    assert only_site(night(home, NEXT).summary).findings == []


def test_a_column_that_is_kept_with_the_note_is_said_so(tmp_path: Path) -> None:
    header = READINGS_HEADER.rstrip("\n") + ",Weather\n"
    home = make_home(
        tmp_path / "home", **{"readings_2026-04-05.csv": header + SAMPLING.replace("\n", ",sunny\n")}
    )
    settings = home / "sites" / SITE_ID / "site.toml"
    settings.write_text(
        SITE.replace('kind = "readings"', 'kind = "readings"\nextra_columns = "note"', 1), encoding="utf-8"
    )
    (finding,) = only_site(night(home).summary).findings
    assert finding.sentence == (
        "drop/readings_2026-04-05.csv has a column that no field takes: “Weather”. Its cells are kept with the note; "
        "this is said once."
    )


def test_nothing_new_says_nothing(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home")
    site = only_site(night(home, DAY).summary)
    assert (site.corrections_tonight, site.rereads_tonight, site.findings) == ([], [], [])


def test_a_corrected_file_under_the_old_name_takes_the_place_of_its_held_lines(tmp_path: Path) -> None:
    ahead = SAMPLING.replace("2026-04-05", "2026-05-05")
    home = make_home(tmp_path / "home", **{"readings.csv": READINGS_HEADER + ahead})
    assert only_site(night(home).summary).lines.held == 5
    drop(home, "readings.csv", READINGS_HEADER + SAMPLING)
    site = only_site(night(home, NEXT).summary)
    assert (site.lines.held, site.superseded_tonight) == (0, 5)
    assert {(one.by_file, one.by_text and one.by_text[:14]) for one in site.corrections_tonight} == {
        ("drop/readings.csv", "H-1,2026-04-05")
    }
    later = only_site(night(home, date(2026, 5, 20)).summary)
    assert (later.released_tonight, later.lines.held) == (0, 0)
    (lot,) = (lot for lot in later.lots if lot.lot_id == "H-1")
    assert date(2026, 5, 5) not in {one.sampled_on for one in lot.samplings}
    # nothing of it hangs on when it is worked out
    assert run_cli("rebuild", home).code == 0
    assert run_cli("verify", home).code == 0


def test_the_terminal_says_what_was_released(tmp_path: Path) -> None:
    home = make_home(
        tmp_path / "home", **{"readings_2026-04-05.csv": READINGS_HEADER + pots("L-9", "2026-04-05", GOOD_PH)}
    )
    night(home)
    drop(home, "lots_2026-04-07.csv", LOTS + "L-9,1,petunia,pot_5_6in,2026-03-02,2026-05-20,800\n")
    ran = run_cli("nightly", home, "--as-of", NEXT)
    said = "5 lines held before are taken up: lot L-9 is now in the lot list."
    assert said in ran.out
    (site,) = run_cli("status", home, "--json").json["released"]
    assert (site["site"], site["lines"], site["sentences"]) == (SITE_ID, 5, [said])
    assert [(one["file"], one["lines"]) for one in site["files"]] == [
        ("drop/readings_2026-04-05.csv", "lines 2-6")
    ]
    assert "    drop/readings_2026-04-05.csv lines 2-6\n" in ran.out
    overview = (home / "out" / NEXT.isoformat() / "overview.html").read_text(encoding="utf-8")
    assert said in overview


def test_a_lot_that_left_the_list_is_named_with_what_waits_for_it(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home")
    night(home)
    kept = "".join(line for line in LOTS.splitlines(keepends=True) if not line.startswith("H-1,"))
    drop(home, "lots.csv", kept)
    said = "Lot H-1 is gone from the site's lot list: 5 readings of it wait until the list has it again."
    assert said in night_by_command(home, NEXT).out
