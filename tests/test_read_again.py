"""Settings that are mended release what they held; sites that go and come back lose nothing."""

from __future__ import annotations

import shutil
from datetime import timedelta
from pathlib import Path

from pipeline.nightly import run_night
from tests.home import (
    DAY,
    LOTS,
    NOW,
    READINGS_HEADER,
    SITE,
    SITE_ID,
    drop,
    find_lot,
    make_home,
    night,
    night_by_command,
    only_site,
    pots,
    run_cli,
)

RENAMED = "Lot,Date,Purpose,Pot,pH,EC mS/cm,Leachate (mL),Meter,Note\n"


def set_site(home: Path, text: str) -> None:
    (home / "sites" / SITE_ID / "site.toml").write_text(text, encoding="utf-8")


def home_with(tmp_path: Path, readings: str) -> Path:
    return make_home(tmp_path / "home", **{"readings_2026-04-02.csv": readings})


def test_a_mended_column_releases_the_file_that_was_held_whole(tmp_path: Path) -> None:
    home = home_with(tmp_path, RENAMED + pots("H-1", "2026-04-02", ("5.7", "5.8", "5.9", "5.8", "5.8")))
    held = only_site(night(home).summary)
    assert (held.held[0].cause, held.lines.held, held.lots[0].samplings) == ("columns_changed", 5, [])
    set_site(home, SITE.replace('"EC (mS/cm)"', '"EC mS/cm"'))
    site = only_site(night(home).summary)
    assert (site.lines.held, site.released_tonight) == (0, 5)
    assert site.released_sentences == ["5 lines held before are taken up: the cause was mended."]
    assert [sampling.counts for lot in site.lots for sampling in lot.samplings] == [True]


def test_a_mended_unit_releases_the_lines_that_it_held(tmp_path: Path) -> None:
    home = home_with(
        tmp_path,
        READINGS_HEADER + pots("H-2", "2026-04-02", ("5.9", "6.0", "6.1", "6.0", "6.0"), ec="3000"),
    )
    assert only_site(night(home).summary).held[0].cause == "ec_out_of_scale"
    set_site(home, SITE.replace('unit = "mS/cm"', 'unit = "µS/cm", header_unit_is_wrong = true'))
    site = only_site(night(home).summary)
    assert site.lines.held == 0
    (sampling,) = [sampling for lot in site.lots for sampling in lot.samplings]
    assert sampling.ec.mean == 3.0


POT_FIRST = "Pot,Lot,Date,Purpose,pH,EC (mS/cm),Leachate (mL),Meter,Note\n"


def test_lines_that_begin_like_comments_wait_for_a_word_on_the_mark(tmp_path: Path) -> None:
    lines = "".join(f"#{pot},H-1,2026-04-02,routine,5.8,2.00,50,M1,\n" for pot in range(1, 6))
    home = home_with(tmp_path, POT_FIRST + lines)
    held = only_site(night(home).summary)
    assert [(one.cause, one.records) for one in held.held] == [("looks_like_data", 5)]
    assert "although it begins with" in held.held[0].sentence
    assert "comment_prefix" in held.held[0].mend
    set_site(home, SITE.replace("numbers_pots = true", 'numbers_pots = true\ncomment_prefix = ""', 1))
    site = only_site(night(home).summary)
    assert (site.lines.held, site.released_tonight) == (0, 5)
    assert [pot.pot for pot in find_lot(night(home).summary, "H-1").samplings[0].pots] == [
        f"#{pot}" for pot in range(1, 6)
    ]


def test_totals_with_day_and_lot_wait_until_the_site_states_its_words(tmp_path: Path) -> None:
    home = home_with(tmp_path, POT_FIRST + "Mean,H-1,2026-04-02,routine,5.8,2.00,50,M1,\n")
    held = only_site(night(home).summary)
    assert [(one.cause, one.records) for one in held.held] == [("looks_like_data", 1)]
    # The same words as by default: that they are stated is what decides.
    words = 'total_words = ["total", "totals", "sum", "mean", "average"]'
    set_site(home, SITE.replace("numbers_pots = true", f"numbers_pots = true\n{words}", 1))
    site = only_site(night(home).summary)
    assert (site.lines.held, site.lines.not_data - held.lines.not_data) == (0, 1)


def test_a_mapping_that_was_wrong_reads_what_was_accepted_anew(tmp_path: Path) -> None:
    two_columns = "Lot,Date,Purpose,Pot,pH,EC (mS/cm),Leachate (mL),Meter,Note,pH again\n"
    lines = pots("H-1", "2026-04-02", ("5.7", "5.8", "5.9", "5.8", "5.8")).replace("M1,\n", "M1,,6.0\n")
    home = home_with(tmp_path, two_columns + lines)
    before = find_lot(night(home).summary, "H-1").samplings[0].ph.mean
    set_site(home, SITE.replace('ph = "pH"', 'ph = "pH again"'))
    after = find_lot(night(home).summary, "H-1").samplings[0]
    assert (before, after.ph.mean, after.n_pots) == (5.8, 6.0, 5)


def test_only_what_hangs_on_the_change_is_read_again(home: Path) -> None:
    night(home)
    (home / "policy.toml").write_text("[[policy]]\nvalid_from = 2026-01-01\ngrace_days = 1\n")
    said: list[str] = []
    run_night(home, DAY, now=NOW, say=said.append)
    assert not [line for line in said if "again" in line]
    set_site(home, SITE.replace("numbers_pots = true\n", ""))
    run_night(home, DAY, now=NOW, say=said.append)
    assert [line for line in said if "again" in line] == [
        "Reading 1 earlier file again, because their settings changed"
    ]


def test_a_file_that_no_export_takes_any_more_stays_as_it_was_read(home: Path) -> None:
    before = only_site(night(home).summary).lines
    set_site(home, SITE.replace("drop/meters*.csv", "drop/checks*.csv"))
    after = night(home).summary
    assert (only_site(after).lines.accepted, only_site(after).lines.held) == (before.accepted, 0)


def test_a_site_that_was_taken_away_stops_no_night_and_comes_back_whole(home: Path, tmp_path: Path) -> None:
    other = home / "sites" / "vale"
    shutil.copytree(home / "sites" / SITE_ID, other)
    (other / "site.toml").write_text(SITE.replace('id = "hill"', 'id = "vale"'), encoding="utf-8")
    both = night(home).summary
    accepted = {site.site_id: site.lines.accepted for site in both.sites}
    shutil.move(other, tmp_path / "aside")
    assert [site.site_id for site in night(home).summary.sites] == [SITE_ID]
    told = run_cli("held", home)
    assert "no site.toml has the site vale any more" in told.out
    shutil.move(tmp_path / "aside", other)
    back = night(home).summary
    assert {site.site_id: site.lines.accepted for site in back.sites} == accepted


def test_damage_inside_the_warehouse_is_one_sentence(home: Path) -> None:
    night(home)
    warehouse = home / "warehouse.duckdb"
    data = bytearray(warehouse.read_bytes())
    data[12288:] = b"\x5a" * (len(data) - 12288)
    warehouse.write_bytes(bytes(data))
    drop(home, "lots_2026-04-06.csv", LOTS)
    for command in (("nightly", home, "--as-of", DAY), ("trace", home, SITE_ID, "H-1"), ("held", home)):
        ran = run_cli(*command)
        assert (ran.code, ran.out) == (2, ""), command
        (sentence,) = [line for line in ran.err.splitlines() if "warehouse.duckdb" in line]
        assert "cannot be read as a warehouse" in sentence
        assert f"run `leachbook rebuild {home}`" in sentence


def test_a_folder_in_the_place_of_the_warehouse_is_one_sentence(home: Path) -> None:
    (home / "warehouse.duckdb").unlink()
    (home / "warehouse.duckdb").mkdir()
    ran = run_cli("nightly", home, "--as-of", DAY)
    assert ran.code == 2
    assert "warehouse.duckdb: cannot be copied (Is a directory)" in ran.err


def test_trace_shows_a_line_that_no_longer_rules(home: Path) -> None:
    night(home)
    drop(home, "readings_2026-04-05.csv", READINGS_HEADER + pots("H-1", "2026-04-02", ("5.6",)))
    night(home)
    told = run_cli("trace", home, SITE_ID, "H-1").out
    assert "superseded: replaced by line 2 of drop/readings_2026-04-05.csv" in told
    assert told.count("readings_2026-04-02.csv line 2") == 1


def test_a_file_held_whole_makes_room_for_its_newer_version(tmp_path: Path) -> None:
    lines = pots("H-1", "2026-04-02", ("5.7", "5.8", "5.9", "5.8", "5.8"))
    home = home_with(tmp_path, RENAMED + lines)
    assert only_site(night(home).summary).lines.held == 5
    drop(home, "readings_2026-04-02.csv", READINGS_HEADER + lines)
    site = only_site(night(home).summary)
    assert (site.lines.held, site.lines.superseded, site.held) == (0, 5, [])
    assert [finding.rule for finding in site.findings if finding.level == "hold"] == []


def test_a_file_held_whole_is_told_again_on_later_nights(tmp_path: Path) -> None:
    home = home_with(tmp_path, RENAMED + pots("H-1", "2026-04-02", ("5.7", "5.8", "5.9", "5.8", "5.8")))
    for day in (DAY, DAY + timedelta(days=1)):
        told = night_by_command(home, day)
        assert (told.code, told.out.count("readings_2026-04-02.csv")) == (1, 1)
