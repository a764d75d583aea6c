"""Fates over the nights: when each began and ended, and what a night released."""

from __future__ import annotations

from datetime import date

from pipeline.measuring import measure_night
from pipeline.warehouse.build import build_models, keep_fates
from tests.sql.bench import Bench
from tests.sql.conftest import Begin

SPANS = "file_id, record_no, fate, cause, from_night, until_night"
RELEASED = "site_id, cause, lot_code, records"
SECOND, THIRD = date(2026, 4, 7), date(2026, 4, 8)


def close(bench: Bench) -> None:
    """The end of a night."""
    build_models(bench.connection, measure_night)
    keep_fates(bench.connection)


def test_a_fate_opens_in_the_night_in_which_it_is_first_known(bench: Bench) -> None:
    bench.lots()
    bench.readings("lot_code\nA\nX")
    close(bench)
    assert bench.select("fate_history", SPANS) == [
        (1, 1, "accepted", None, 1, None),
        (2, 1, "accepted", None, 1, None),
        (2, 2, "held", "lot_unknown", 1, None),
    ]


def test_a_fate_that_still_holds_is_not_opened_again(bench: Bench) -> None:
    bench.lots()
    close(bench)
    bench.next_night(SECOND)
    close(bench)
    assert bench.select("fate_history", SPANS) == [(1, 1, "accepted", None, 1, None)]


def test_a_night_that_runs_twice_writes_nothing_twice(bench: Bench) -> None:
    bench.lots()
    close(bench)
    close(bench)
    assert bench.select("fate_history", SPANS) == [(1, 1, "accepted", None, 1, None)]


def test_a_fate_ends_in_the_night_in_which_another_begins(bench: Bench) -> None:
    bench.readings("lot_code\nX")
    close(bench)
    bench.next_night(SECOND)
    bench.lots("lot_code\nX")
    close(bench)
    assert bench.select("fate_history", SPANS, "file_id = 1") == [
        (1, 1, "accepted", None, 2, None),
        (1, 1, "held", "lot_unknown", 1, 2),
    ]


def test_another_cause_is_another_fate(bench: Bench) -> None:
    bench.readings("lot_code\nX")
    close(bench)
    bench.next_night(SECOND)
    bench.lots("lot_code | started_on\nX | 2026-04-01")
    close(bench)
    assert bench.select("fate_history", SPANS, "file_id = 1") == [
        (1, 1, "held", "before_start", 2, None),
        (1, 1, "held", "lot_unknown", 1, 2),
    ]


def test_a_fate_that_comes_back_has_a_second_span(bench: Bench) -> None:
    bench.lots("lot_code\nA\nB")
    close(bench)
    for day, table in ((SECOND, "lot_code\nB"), (THIRD, "lot_code\nA\nB")):
        bench.next_night(day)
        bench.lots(table)
        close(bench)
    assert bench.select("fate_history", SPANS, "file_id = 1 and record_no = 1") == [
        (1, 1, "accepted", None, 1, 2),
        (1, 1, "accepted", None, 3, None),
        (1, 1, "withdrawn", None, 2, 3),
    ]


# Releases ------------------------------------------------------------------------------------------


def test_the_night_of_the_lot_list_releases_its_readings(bench: Bench) -> None:
    bench.readings("lot_code\nP-114\np-114\nX")
    close(bench)
    assert bench.select("releases", RELEASED) == []
    bench.next_night(SECOND)
    bench.lots("lot_code\nP-114")
    close(bench)
    ((site_id, cause, lot_code, records),) = bench.select("releases", RELEASED)
    assert (site_id, cause, lot_code.lower(), records) == ("north", "lot_unknown", "p-114", 2)


def test_the_night_after_releases_them_no_more(bench: Bench) -> None:
    bench.readings("lot_code\nX")
    close(bench)
    bench.next_night(SECOND)
    bench.lots("lot_code\nX")
    close(bench)
    bench.next_night(THIRD)
    close(bench)
    assert bench.select("releases", RELEASED) == []


def test_a_second_run_of_the_night_still_names_them(bench: Bench) -> None:
    bench.readings("lot_code\nX")
    close(bench)
    bench.next_night(SECOND)
    bench.lots("lot_code\nX")
    close(bench)
    bench.next_night(SECOND)
    close(bench)
    assert bench.select("releases", RELEASED) == [("north", "lot_unknown", "X", 1)]


def test_what_is_held_for_another_cause_is_not_released(bench: Bench) -> None:
    bench.readings("lot_code\nX")
    close(bench)
    bench.next_night(SECOND)
    bench.lots("lot_code | started_on\nX | 2026-04-01")
    close(bench)
    assert bench.select("releases", RELEASED) == []


def test_a_held_line_that_was_withdrawn_is_not_released(bench: Bench) -> None:
    bench.readings("lot_code | ph\nX | 6.0\nX | 6.1", mode="cumulative")
    close(bench)
    bench.next_night(SECOND)
    bench.readings("lot_code | ph\nX | 6.0", mode="cumulative")
    close(bench)
    assert bench.select("releases", RELEASED) == []


def test_the_day_that_has_come_releases_readings_dated_ahead(begin: Begin) -> None:
    bench = begin(date(2026, 3, 29))
    bench.lots()
    bench.readings("sampled_on\n2026-03-30")
    close(bench)
    bench.next_night(date(2026, 3, 30))
    close(bench)
    assert bench.select("releases", RELEASED) == [("north", "in_future", "A", 1)]
