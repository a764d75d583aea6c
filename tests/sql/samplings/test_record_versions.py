"""Which version of a line rules, over the files of several nights."""

from __future__ import annotations

import pytest

from tests.sql.bench import Bench

POTS = "pot | ph"


def versions(bench: Bench) -> list[tuple[int, int, str]]:
    """File, record and version of every line."""
    return bench.rows("record_versions", "file_id, record_no, version")


def test_a_line_seen_once_is_current(bench: Bench) -> None:
    bench.readings("ph\n6.0")
    assert versions(bench) == [(1, 1, "current")]


def test_equal_lines_of_one_file_are_different_pots(bench: Bench) -> None:
    bench.readings("ph\n6.0\n6.0")
    assert versions(bench) == [(1, 1, "current"), (1, 2, "current")]


def test_the_kth_equal_line_of_a_later_file_repeats_the_kth(bench: Bench) -> None:
    bench.readings("ph\n6.0\n6.0")
    bench.readings("ph\n6.0\n6.0\n6.0")
    assert [version for file, _, version in versions(bench) if file == 2] == [
        "repeated",
        "repeated",
        "current",
    ]


def test_a_line_in_three_files_stays_where_it_was_seen_first(bench: Bench) -> None:
    for _ in range(3):
        bench.readings("ph\n6.0")
    assert versions(bench) == [(1, 1, "current"), (2, 1, "repeated"), (3, 1, "repeated")]


def test_the_same_line_of_another_export_or_site_is_no_repeat(bench: Bench) -> None:
    bench.readings("ph\n6.0", export_no=1)
    bench.readings("ph\n6.0", export_no=2)
    bench.readings("ph\n6.0", site_id="south")
    assert {version for *_, version in versions(bench)} == {"current"}


def test_a_header_is_no_version_of_anything(bench: Bench) -> None:
    bench.readings("record_kind | ph\nheader | -\n- | 6.0")
    assert versions(bench) == [(1, 2, "current")]


# Where pots are numbered ---------------------------------------------------------------------------


def test_equal_lines_of_one_file_repeat_where_pots_are_numbered(bench: Bench) -> None:
    bench.readings(f"{POTS}\n1 | 6.0\n1 | 6.0", numbers_pots=True)
    assert versions(bench) == [(1, 1, "current"), (1, 2, "repeated")]


def test_a_changed_numbered_pot_supersedes_the_earlier_line(bench: Bench) -> None:
    bench.readings(f"{POTS}\n1 | 6.0\n2 | 6.0", numbers_pots=True)
    bench.readings(f"{POTS}\n1 | 6.4", numbers_pots=True)
    assert versions(bench) == [(1, 1, "superseded"), (1, 2, "current"), (2, 1, "current")]


def test_a_changed_line_without_numbered_pots_is_another_pot(bench: Bench) -> None:
    bench.readings(f"{POTS}\n1 | 6.0")
    bench.readings(f"{POTS}\n1 | 6.4")
    assert versions(bench) == [(1, 1, "current"), (2, 1, "current")]


def test_a_corrected_bench_is_still_the_same_pot_of_the_lot(bench: Bench) -> None:
    bench.readings("pot | bench\n1 | 3", numbers_pots=True)
    bench.readings("pot | bench\n1 | 4", numbers_pots=True)
    assert versions(bench) == [(1, 1, "superseded"), (2, 1, "current")]


@pytest.mark.parametrize("column", ["lot_code", "sampled_on", "purpose", "pot"])
def test_each_part_of_the_key_tells_pots_apart(bench: Bench, column: str) -> None:
    other = {"lot_code": "B", "sampled_on": "2026-03-31", "purpose": "retest", "pot": "2"}[column]
    bench.readings("pot\n1", numbers_pots=True)
    bench.readings(f"pot | {column}\n1 | {other}" if column != "pot" else f"pot\n{other}", numbers_pots=True)
    assert {version for *_, version in versions(bench)} == {"current"}


def test_the_key_takes_no_notice_of_case(bench: Bench) -> None:
    bench.readings("lot_code | pot | ph\na-1 | p1 | 6.0", numbers_pots=True)
    bench.readings("lot_code | pot | ph\nA-1 | P1 | 6.1", numbers_pots=True)
    assert versions(bench) == [(1, 1, "superseded"), (2, 1, "current")]


@pytest.mark.parametrize("unknown", ["pot", "sampled_on"])
def test_a_line_without_day_or_pot_corrects_no_other(bench: Bench, unknown: str) -> None:
    bench.readings(f"{unknown} | ph\n- | 6.0\n- | 6.1", numbers_pots=True, same={"pot": "1"})
    assert {version for *_, version in versions(bench)} == {"current"}


def test_lines_that_could_not_be_read_correct_no_other(bench: Bench) -> None:
    blank = dict.fromkeys(("lot_code", "sampled_on", "purpose", "pot", "ph", "ec_ms_cm"))
    bench.readings("text | problem\nA;1 | ragged\nA;2 | ragged", numbers_pots=True, same=blank)
    assert {version for *_, version in versions(bench)} == {"current"}


def test_pots_of_two_crops_in_one_house_are_not_versions_of_each_other(bench: Bench) -> None:
    bench.readings(
        "house | crop | pot\n1 | pansy | 1\n1 | petunia | 1", numbers_pots=True, same={"lot_code": None}
    )
    assert {version for *_, version in versions(bench)} == {"current"}


# Where the settings leave it to the file ------------------------------------------------------------


def test_distinct_numbers_tell_pots_apart_where_the_settings_leave_it_open(bench: Bench) -> None:
    bench.readings(f"{POTS}\n1 | 6.0\n2 | 6.0", numbers_pots=None)
    bench.readings(f"{POTS}\n1 | 6.4", numbers_pots=None)
    assert versions(bench) == [(1, 1, "superseded"), (1, 2, "current"), (2, 1, "current")]


def test_a_number_that_comes_twice_in_a_sampling_tells_nothing(bench: Bench) -> None:
    twice = f"{POTS} | sampled_on\n1 | 6.0 | 2026-03-30\n1 | 6.1 | 2026-03-30\n1 | 6.2 | 2026-03-31"
    bench.readings(twice, numbers_pots=None)
    bench.readings(f"{POTS} | sampled_on\n1 | 6.4 | 2026-03-30\n1 | 6.5 | 2026-03-31", numbers_pots=None)
    assert versions(bench) == [
        (1, 1, "current"),
        (1, 2, "current"),
        # the other sampling of that file has each number once
        (1, 3, "superseded"),
        (2, 1, "current"),
        (2, 2, "current"),
    ]
    assert bench.select("repeated_pots", "file_id, sampled_on::varchar, lines") == [(1, "2026-03-30", 2)]


def test_equal_lines_are_different_pots_where_numbers_are_not_said_to_tell_them_apart(bench: Bench) -> None:
    bench.readings(f"{POTS}\n1 | 6.0\n1 | 6.0", numbers_pots=None)
    assert versions(bench) == [(1, 1, "current"), (1, 2, "current")]


@pytest.mark.parametrize(("numbers_pots", "first"), [(True, "repeated"), (False, "current")])
def test_settings_that_say_it_rule(bench: Bench, numbers_pots: bool, first: str) -> None:
    bench.readings(f"{POTS}\n1 | 6.0\n1 | 6.0", numbers_pots=numbers_pots)
    assert versions(bench)[1] == (1, 2, first)
    assert bench.select("repeated_pots", "file_id") == []


# Where whole histories have no numbers --------------------------------------------------------------


def whole(bench: Bench, *values: str) -> None:
    """One file of a cumulative export; each line is of the same sampling."""
    bench.readings("ph\n" + "\n".join(values), mode="cumulative", name="drop/all.csv")


def test_a_row_that_was_changed_where_it_stood_is_superseded_by_what_stands_there(bench: Bench) -> None:
    whole(bench, "6.0", "6.1", "6.2")
    whole(bench, "6.0", "6.5", "6.2")
    whole(bench, "6.0", "6.5", "6.2", "6.3")
    rows = bench.rows("record_versions", "file_id, record_no, version, ruling_file_id, ruling_record_no")
    assert [row for row in rows if row[2] != "repeated"] == [
        (1, 1, "current", None, None),
        (1, 2, "superseded", 2, 2),
        (1, 3, "current", None, None),
        (2, 2, "current", None, None),
        (3, 4, "current", None, None),
    ]


@pytest.mark.parametrize(
    "newer",
    [
        # it went, and nothing came
        ("6.0", "6.2"),
        # what came stands elsewhere
        ("6.0", "6.2", "6.5"),
        # two went and two came: which is which?
        ("6.0", "6.5", "6.6"),
    ],
)
def test_what_cannot_be_paired_in_one_way_is_withdrawn(bench: Bench, newer: tuple[str, ...]) -> None:
    whole(bench, "6.0", "6.1", "6.2")
    whole(bench, *newer)
    assert (1, 2, "withdrawn") in versions(bench)


def test_a_changed_row_that_comes_back_is_current_again(bench: Bench) -> None:
    whole(bench, "6.0", "6.1")
    whole(bench, "6.0", "6.5")
    whole(bench, "6.0", "6.1")
    assert [row for row in versions(bench) if row[2] != "repeated"] == [
        (1, 1, "current"),
        (1, 2, "current"),
        (2, 2, "superseded"),
    ]


# Lots and calibrations -----------------------------------------------------------------------------


def test_a_changed_lot_line_supersedes_the_earlier_one(bench: Bench) -> None:
    bench.lots("lot_code | plants\nA | 1000", mode="increment")
    bench.lots("lot_code | plants\na | 900", mode="increment")
    assert versions(bench) == [(1, 1, "superseded"), (2, 1, "current")]


def test_of_two_lines_for_a_lot_in_one_file_the_later_rules(bench: Bench) -> None:
    bench.lots("lot_code | plants\nA | 1000\nA | 900")
    assert versions(bench) == [(1, 1, "superseded"), (1, 2, "current")]


def test_the_order_of_the_newest_file_decides_between_two_lines_for_a_lot(bench: Bench) -> None:
    bench.lots("lot_code | plants\nA | 900\nB | 1\nA | 1000")
    bench.lots("lot_code | plants\nA | 1000\nA | 900")
    assert versions(bench)[:3] == [(1, 1, "current"), (1, 2, "withdrawn"), (1, 3, "superseded")]


def test_a_lot_line_that_comes_back_rules_again(bench: Bench) -> None:
    for plants in ("1000", "900", "1000"):
        bench.lots(f"lot_code | plants\nA | {plants}")
    assert versions(bench) == [(1, 1, "current"), (2, 1, "superseded"), (3, 1, "repeated")]


def test_calibrations_have_no_key(bench: Bench) -> None:
    bench.calibrations("slope_pct\n98")
    bench.calibrations("slope_pct\n97")
    assert versions(bench) == [(1, 1, "current"), (2, 1, "current")]


# Cumulative files ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("mode", "version"), [("cumulative", "withdrawn"), ("increment", "current")])
def test_only_a_cumulative_file_withdraws_what_it_no_longer_holds(
    bench: Bench, mode: str, version: str
) -> None:
    bench.readings("ph\n6.0\n6.1", mode=mode)
    bench.readings("ph\n6.0", mode=mode)
    assert versions(bench) == [(1, 1, "current"), (1, 2, version), (2, 1, "repeated")]


def test_one_of_three_equal_lines_is_withdrawn(bench: Bench) -> None:
    bench.readings("ph\n6.0\n6.0\n6.0", mode="cumulative")
    bench.readings("ph\n6.0\n6.0", mode="cumulative")
    assert [version for file, _, version in versions(bench) if file == 1] == [
        "current",
        "current",
        "withdrawn",
    ]


def test_a_withdrawn_line_that_comes_back_is_current_again(bench: Bench) -> None:
    for table in ("ph\n6.0\n6.1", "ph\n6.0", "ph\n6.0\n6.1"):
        bench.readings(table, mode="cumulative")
    assert [version for file, _, version in versions(bench) if file == 1] == ["current", "current"]


def test_a_lot_that_was_changed_and_then_left_out_is_withdrawn(bench: Bench) -> None:
    bench.lots("lot_code | plants\nA | 1000\nB | 5")
    bench.lots("lot_code | plants\nA | 900\nB | 5")
    bench.lots("lot_code | plants\nB | 5")
    assert versions(bench)[0] == (1, 1, "superseded")
    assert versions(bench)[2] == (2, 1, "withdrawn")


def test_files_of_other_exports_withdraw_nothing(bench: Bench) -> None:
    bench.readings("ph\n6.0", mode="cumulative", export_no=1)
    bench.readings("ph\n6.1", mode="cumulative", export_no=2)
    assert {version for *_, version in versions(bench)} == {"current"}


# Files that are held whole -------------------------------------------------------------------------


def test_a_file_held_whole_withdraws_nothing(bench: Bench) -> None:
    bench.lots("lot_code\nA\nB")
    bench.lots("lot_code\nA", problem="columns_changed")
    assert versions(bench) == [(1, 1, "current"), (1, 2, "current")]


def test_a_file_held_whole_is_repeated_by_nothing(bench: Bench) -> None:
    bench.readings("ph\n6.0", problem="columns_changed")
    bench.readings("ph\n6.0")
    assert versions(bench) == [(2, 1, "current")]
