"""Which lot a reading belongs to: by its code, or by its place."""

from __future__ import annotations

import pytest

from tests.sql.bench import Bench

NO_CODE = {"lot_code": None}


def found(bench: Bench) -> list[tuple[str | None, int]]:
    """Lot and number of fitting lots of the readings, in the order of their lines."""
    bench.build("reading_lots")
    return [row[1:] for row in bench.select("reading_lots", "record_no, lot_key, fitting_lots")]


def test_a_code_names_the_lot_in_any_case_whether_it_is_known_or_not(bench: Bench) -> None:
    bench.lots("lot_code\nP-1")
    bench.readings("lot_code\np-1\nP-1\nx-9")
    assert found(bench) == [("p-1", 0), ("p-1", 0), ("x-9", 0)]


def test_no_lot_stands_at_the_place(bench: Bench) -> None:
    bench.lots("lot_code | house\nA | 1")
    bench.readings("house\n2", same=NO_CODE)
    assert found(bench) == [(None, 0)]


def test_one_lot_stands_at_the_place(bench: Bench) -> None:
    bench.lots("lot_code | house\nA | 1\nB | 2")
    bench.readings("house\n2", same=NO_CODE)
    assert found(bench) == [("b", 1)]


def test_two_lots_stand_at_the_place(bench: Bench) -> None:
    bench.lots("lot_code | house\nA | 1\nB | 1")
    bench.readings("house\n1", same=NO_CODE)
    assert found(bench) == [(None, 2)]


@pytest.mark.parametrize("finer", ["bench", "crop"])
def test_bench_or_crop_tells_two_lots_of_a_house_apart(bench: Bench, finer: str) -> None:
    bench.lots(f"lot_code | house | {finer}\nA | 1 | pansy\nB | 1 | petunia")
    bench.readings(f"house | {finer}\n1 | petunia", same=NO_CODE)
    assert found(bench) == [("b", 1)]


def test_places_compare_without_case(bench: Bench) -> None:
    bench.lots("lot_code | house | bench | crop\nA | East | b2 | Petunia")
    bench.readings("house | bench | crop\nEAST | B2 | petunia", same=NO_CODE)
    assert found(bench) == [("a", 1)]


@pytest.mark.parametrize(
    ("day", "lot"),
    [("2026-02-28", None), ("2026-03-01", "a"), ("2026-03-31", "a"), ("2026-04-01", None)],
)
def test_only_a_lot_that_stands_on_that_day_fits(bench: Bench, day: str, lot: str | None) -> None:
    bench.lots("lot_code | started_on | ends_on\nA | 2026-03-01 | 2026-03-31")
    bench.readings("house | sampled_on\n1 | " + day, same=NO_CODE)
    assert found(bench) == [(lot, 0 if lot is None else 1)]


def test_a_lot_whose_line_cannot_be_used_fits_nowhere(bench: Bench) -> None:
    bench.lots("lot_code | problem\nA | -\nB | date_unreadable")
    bench.readings("house\n1", same=NO_CODE)
    assert found(bench) == [("a", 1)]


def test_a_lot_of_another_site_does_not_fit(bench: Bench) -> None:
    bench.lots("lot_code\nA", site_id="south")
    bench.readings("house\n1", same=NO_CODE)
    assert found(bench) == [(None, 0)]
