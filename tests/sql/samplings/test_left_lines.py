"""Lines of an increment that never counted, once a newer file of their name holds them no more."""

from __future__ import annotations

from datetime import date

import pytest

from tests.sql.bench import Bench

NAME = "drop/readings.csv"
COLUMNS = "lot_code | sampled_on | pot | ph"
FIRST = date(2026, 4, 6)
AHEAD = f"{COLUMNS}\nA | 2026-05-04 | 1 | 6.0"


def night(bench: Bench, day: date) -> None:
    """Ends the night that runs, and begins the one of this day."""
    bench.build("record_fates")
    bench.run("history/close_fates")
    bench.run("history/open_fates")
    bench.next_night(day)


def fates(bench: Bench) -> list[tuple[object, ...]]:
    """File, fate and cause of each reading."""
    return bench.rows("record_fates", "file_id, record_no, fate, cause", "export_kind = 'readings'")


def test_a_line_with_a_date_ahead_gives_way_to_the_corrected_file_for_good(bench: Bench) -> None:
    bench.lots()
    bench.readings(AHEAD, name=NAME)
    assert fates(bench) == [(2, 1, "held", "in_future")]
    night(bench, date(2026, 4, 7))
    bench.readings(f"{COLUMNS}\nA | 2026-04-05 | 1 | 6.0", name=NAME)
    corrected = [(2, 1, "superseded", None), (3, 1, "accepted", None)]
    assert fates(bench) == corrected
    assert bench.select("record_versions", "ruling_file_id, ruling_record_no", "file_id = 2") == [(3, 1)]
    # its day comes, and it is no sampling
    night(bench, date(2026, 5, 20))
    assert fates(bench) == corrected


@pytest.mark.parametrize("changed", ["name", "no file", "held whole"])
def test_it_waits_as_long_as_no_readable_file_of_its_name_came(bench: Bench, changed: str) -> None:
    bench.lots()
    bench.readings(AHEAD, name=NAME)
    night(bench, date(2026, 4, 7))
    right = f"{COLUMNS}\nA | 2026-04-05 | 1 | 6.0"
    if changed == "name":
        bench.readings(right, name="drop/readings-2.csv")
    elif changed == "held whole":
        bench.readings(right, name=NAME, problem="delimiter")
    assert fates(bench)[0] == (2, 1, "held", "in_future")


def test_a_line_that_was_accepted_stays_though_the_file_has_it_no_more(bench: Bench) -> None:
    bench.lots()
    bench.readings(f"{COLUMNS}\nA | 2026-04-05 | 1 | 6.0\nA | 2026-04-05 | 2 | 6.1", name=NAME)
    night(bench, date(2026, 4, 7))
    bench.readings(f"{COLUMNS}\nA | 2026-04-05 | 2 | 6.1", name=NAME)
    assert fates(bench) == [(2, 1, "accepted", None), (2, 2, "accepted", None), (3, 1, "repeated", None)]


def test_the_next_piece_under_the_same_name_leaves_lines_that_wait_for_a_lot(bench: Bench) -> None:
    bench.lots()
    bench.readings(f"{COLUMNS}\nP-1 | 2026-04-05 | 1 | 6.0", name=NAME)
    night(bench, date(2026, 4, 7))
    bench.readings(f"{COLUMNS}\nP-1 | 2026-04-06 | 1 | 6.2", name=NAME)
    assert fates(bench)[0] == (2, 1, "held", "lot_unknown")
    night(bench, date(2026, 4, 8))
    bench.lots("lot_code\nA\nP-1")
    assert {fate for _, _, fate, _ in fates(bench)} == {"accepted"}


@pytest.mark.parametrize(
    "newer",
    [
        # other lines of the file come again
        "A | 2026-04-05 | 2 | 6.1",
        # the lot's code alone is another one
        "B | 2026-04-05 | 1 | 6.0",
    ],
)
def test_a_new_version_of_the_file_replaces_lines_that_wait_for_a_lot(bench: Bench, newer: str) -> None:
    bench.lots()
    bench.readings(f"{COLUMNS}\nP-1 | 2026-04-05 | 1 | 6.0\nA | 2026-04-05 | 2 | 6.1", name=NAME)
    night(bench, date(2026, 4, 7))
    bench.lots("lot_code\nA\nB\nP-1")
    bench.readings(f"{COLUMNS}\n{newer}", name=NAME)
    assert fates(bench)[0] == (2, 1, "superseded", None)


@pytest.mark.parametrize("problem", ["number_unreadable", "ph_out_of_scale"])
def test_a_line_with_a_fault_of_its_own_gives_way(bench: Bench, problem: str) -> None:
    bench.lots()
    bench.readings(f"{COLUMNS} | problem\nA | 2026-04-05 | 1 | 60 | {problem}", name=NAME)
    night(bench, date(2026, 4, 7))
    bench.readings(f"{COLUMNS}\nA | 2026-04-06 | 2 | 6.1", name=NAME)
    assert fates(bench)[0] == (2, 1, "superseded", None)
    assert bench.select("record_versions", "ruling_file_id, ruling_record_no", "file_id = 2") == [(3, None)]


def test_a_line_that_comes_back_is_a_line_again(bench: Bench) -> None:
    bench.lots()
    bench.readings(AHEAD, name=NAME)
    night(bench, date(2026, 4, 7))
    bench.readings(f"{COLUMNS}\nA | 2026-04-05 | 1 | 6.0", name=NAME)
    night(bench, date(2026, 4, 8))
    bench.readings(AHEAD + "\nA | 2026-04-05 | 1 | 6.0", name=NAME)
    assert fates(bench)[0] == (2, 1, "held", "in_future")


def test_a_version_that_left_gives_its_place_back_to_the_one_before(bench: Bench) -> None:
    bench.lots()
    bench.readings(f"{COLUMNS}\nA | 2026-04-05 | 1 | 6.0", numbers_pots=True)
    night(bench, date(2026, 4, 7))
    bad = f"{COLUMNS} | problem\nA | 2026-04-05 | 1 | 60 | ph_out_of_scale"
    bench.readings(bad, numbers_pots=True, name=NAME)
    assert [fate for _, _, fate, _ in fates(bench)] == ["superseded", "held"]
    night(bench, date(2026, 4, 8))
    bench.readings(f"{COLUMNS}\nA | 2026-04-06 | 2 | 6.1", numbers_pots=True, name=NAME)
    assert [fate for _, _, fate, _ in fates(bench)] == ["accepted", "superseded", "accepted"]


def test_what_a_whole_list_has_no_more_is_withdrawn_whether_it_was_held_or_not(bench: Bench) -> None:
    bench.lots()
    bench.readings(AHEAD, name=NAME, mode="cumulative")
    night(bench, date(2026, 4, 7))
    bench.readings(f"{COLUMNS}\nA | 2026-04-05 | 1 | 6.0", name=NAME, mode="cumulative")
    assert fates(bench) == [(2, 1, "withdrawn", None), (3, 1, "accepted", None)]
