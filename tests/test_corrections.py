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


def test_a_column_that_no_field_takes_is_said_once(tmp_path: Path) -> None:
    header = READINGS_HEADER.rstrip("\n") + ",Weather\n"
    lines = "".join(f"{line},sunny\n" for line in SAMPLING.splitlines())
    home = make_home(tmp_path / "home", **{"readings_2026-04-05.csv": header + lines})
    findings = only_site(night(home).summary).findings
    assert [(one.rule, one.level, one.file) for one in findings] == [
        ("new_columns", "note", "drop/readings_2026-04-05.csv")
    ]
    assert "“Weather”" in findings[0].sentence
    drop(home, "readings_2026-04-06.csv", header + lines.replace("04-05", "04-06"))
    assert only_site(night(home, NEXT).summary).findings == []


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
    assert run_cli("status", home, "--json").json["released"] == [
        {"site": SITE_ID, "lines": 5, "sentences": [said]}
    ]
    overview = (home / "out" / NEXT.isoformat() / "overview.html").read_text(encoding="utf-8")
    assert said in overview


def test_a_lot_that_left_the_list_is_named_with_what_waits_for_it(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home")
    night(home)
    kept = "".join(line for line in LOTS.splitlines(keepends=True) if not line.startswith("H-1,"))
    drop(home, "lots.csv", kept)
    said = "Lot H-1 is gone from the site's lot list: 5 readings of it wait until the list has it again."
    assert said in run_cli("nightly", home, "--as-of", NEXT).out
