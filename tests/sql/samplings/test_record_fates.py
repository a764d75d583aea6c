"""What became of every record: one fate each, and of several causes the first in a fixed order."""

from __future__ import annotations

from itertools import combinations

import pytest

from tests.sql.bench import Bench, site

FATES = "file_id, record_no, fate, cause"


def last_file(bench: Bench, columns: str = "fate, cause") -> list[tuple[object, ...]]:
    """Fates of the newest file, by line."""
    bench.build("record_fates")
    newest = "file_id = (select max(file_id) from files)"
    return [row[1:] for row in bench.select("record_fates", f"record_no, {columns}", newest)]


def test_a_reading_of_a_standing_lot_is_accepted(bench: Bench) -> None:
    bench.lots()
    bench.readings("ph\n6.0")
    assert bench.rows("record_fates", FATES) == [(1, 1, "accepted", None), (2, 1, "accepted", None)]


@pytest.mark.parametrize("kind", ["header", "title", "blank", "total", "comment"])
def test_what_is_not_data_says_so(bench: Bench, kind: str) -> None:
    bench.readings(f"record_kind | ph\n{kind} | -")
    assert last_file(bench) == [("not_data", None)]


def test_a_record_of_several_lines_keeps_their_number(bench: Bench) -> None:
    bench.readings("ph\n6.0")
    bench.connection.execute("update records set line_to = 3")
    assert bench.rows("record_fates", "lines") == [(3,)]


# Held for the lot ----------------------------------------------------------------------------------


def test_a_lot_in_no_list_holds_its_readings_under_its_code(bench: Bench) -> None:
    bench.lots()
    bench.readings("lot_code\nP-114")
    assert last_file(bench, "fate, cause, what") == [("held", "lot_unknown", "P-114")]


def test_a_lot_whose_line_is_held_holds_its_readings(bench: Bench) -> None:
    bench.lots("lot_code | problem\nA | date_unreadable")
    bench.readings("lot_code\na")
    assert bench.rows("record_fates", "file_id, fate, cause, what") == [
        (1, "held", "date_unreadable", "ph"),
        (2, "held", "lot_held", "a"),
    ]


def test_a_reading_by_place_names_the_lot_whose_line_is_held(bench: Bench) -> None:
    bench.lots(
        """lot_code | house | valid_from | problem
        A | 1 | 2026-03-01 | -
        A | 2 | 2026-04-01 | value_unknown"""
    )
    bench.readings("lot_code | house | sampled_on\n- | 1 | 2026-03-20")
    assert last_file(bench, "fate, cause, what") == [("held", "lot_held", "A")]


@pytest.mark.parametrize(("house", "fitting"), [("9", 0), ("1", 2)])
def test_a_place_that_fits_no_lot_or_two_holds_the_reading(bench: Bench, house: str, fitting: int) -> None:
    bench.lots("lot_code | house\nA | 1\nB | 1")
    bench.readings(f"house | bench | crop\n{house} | - | -", same={"lot_code": None})
    assert last_file(bench, "cause, what, fitting_lots") == [("place_unclear", f"house {house}", fitting)]


def test_a_place_is_named_in_full(bench: Bench) -> None:
    bench.readings("house | bench | crop\n9 | 2 | petunia", same={"lot_code": None})
    assert last_file(bench, "what") == [("house 9, bench 2, petunia",)]


def test_a_withdrawn_lot_holds_its_readings_again(bench: Bench) -> None:
    bench.lots("lot_code\nA\nB")
    bench.lots("lot_code\nB")
    bench.readings("ph\n6.0")
    assert last_file(bench) == [("held", "lot_unknown")]


# Held for the site --------------------------------------------------------------------------------


def two_sites(bench: Bench) -> None:
    bench.use(site("north"), site("south"))
    for site_id in ("north", "south"):
        bench.lots(site_id=site_id)
        bench.readings("ph\n6.0", site_id=site_id)


def test_a_site_that_is_taken_away_holds_its_lines_until_it_comes_back(bench: Bench) -> None:
    two_sites(bench)
    bench.use(site("north"))
    of_south = "site_id = 'south'"
    bench.build("record_fates")
    assert bench.select("record_fates", "export_kind, fate, cause, what", of_south) == [
        ("lots", "held", "site_removed", "south"),
        ("readings", "held", "site_removed", "south"),
    ]
    bench.use(site("north"), site("south"))
    bench.build("record_fates")
    assert bench.select("record_fates", "export_kind, fate, cause", of_south) == [
        ("lots", "accepted", None),
        ("readings", "accepted", None),
    ]
    bench.use()


def test_a_site_that_stays_holds_nothing_when_another_goes(bench: Bench) -> None:
    two_sites(bench)
    bench.use(site("north"))
    bench.build("record_fates")
    assert bench.select("record_fates", "distinct fate, cause", "site_id = 'north'") == [("accepted", None)]
    bench.use()


# Held for the day ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("day", "cause"),
    [
        ("2026-02-28", "before_start"),
        ("2026-03-01", None),
        ("2026-03-31", None),
        ("2026-04-01", "after_end"),
        ("2026-04-06", "after_end"),
        ("2026-04-07", "in_future"),
    ],
)
def test_a_reading_lies_between_the_start_and_the_end_of_its_lot(
    bench: Bench, day: str, cause: str | None
) -> None:
    bench.lots("started_on | ends_on\n2026-03-01 | 2026-03-31")
    bench.readings(f"sampled_on\n{day}")
    assert last_file(bench, "cause") == [(cause,)]


def test_a_reading_of_the_as_of_date_is_not_in_the_future(bench: Bench) -> None:
    bench.lots()
    bench.readings("sampled_on\n2026-04-06\n2026-04-07")
    assert last_file(bench, "cause, detail") == [(None, None), ("in_future", "sampled on 2026-04-07")]


def test_the_edge_of_the_lot_stands_beside_the_cause(bench: Bench) -> None:
    bench.lots("lot_code | started_on | ends_on\nP-1 | 2026-03-01 | 2026-03-31")
    bench.readings("lot_code | sampled_on\np-1 | 2026-02-01\np-1 | 2026-04-02")
    shown = "what, strftime(started_on, '%m-%d'), strftime(ends_on, '%m-%d'), detail"
    assert last_file(bench, shown) == [
        ("P-1", "03-01", "03-31", "sampled on 2026-02-01"),
        ("P-1", "03-01", "03-31", "sampled on 2026-04-02"),
    ]


def test_a_meter_check_in_the_future_is_held(bench: Bench) -> None:
    bench.calibrations("calibrated_on\n2026-04-06\n2026-04-07")
    assert last_file(bench, "fate, cause, detail") == [
        ("accepted", None, None),
        ("held", "in_future", "checked on 2026-04-07"),
    ]


# Held for what stands in the line, and which cause comes first -------------------------------------

CAUSES = (
    "number_unreadable",
    "in_future",
    "lot_unknown",
    "before_start",
    "ph_out_of_scale",
    "ec_out_of_scale",
    "method_missing",
)
IN_LINE = {"number_unreadable", "ph_out_of_scale", "ec_out_of_scale", "method_missing"}
FACTS = {
    "in_future": {"sampled_on": "2026-05-01"},
    "lot_unknown": {"lot_code": "X"},
    "before_start": {"sampled_on": "2026-01-01"},
}
CANNOT_MEET = {("in_future", "before_start"), ("lot_unknown", "before_start")}


def held_as(bench: Bench, *sets: tuple[str, ...]) -> list[str]:
    """Causes named for lines that have several: a line of the newest file for each set."""
    columns = ("lot_code", "sampled_on", "problem")
    lines = []
    for causes in sets:
        facts = {"lot_code": "A", "sampled_on": "2026-03-30"}
        for cause in reversed(causes):
            facts |= FACTS.get(cause, {})
        problems = " ".join(cause for cause in causes if cause in IN_LINE)
        lines.append(" | ".join((facts["lot_code"], facts["sampled_on"], problems or "-")))
    bench.lots()
    bench.readings("\n".join([" | ".join(columns), *lines]))
    return [str(cause) for (cause,) in last_file(bench, "cause")]


def test_each_cause_holds_by_itself(bench: Bench) -> None:
    assert held_as(bench, *((cause,) for cause in CAUSES)) == list(CAUSES)


def test_of_two_causes_the_earlier_is_named(bench: Bench) -> None:
    pairs = [pair for pair in combinations(CAUSES, 2) if pair not in CANNOT_MEET]
    named = held_as(bench, *pairs)
    assert dict(zip(pairs, named, strict=True)) == {pair: pair[0] for pair in pairs}


def test_after_the_end_comes_before_what_stands_in_the_line(bench: Bench) -> None:
    bench.lots("ends_on\n2026-03-01")
    bench.readings("problem\nph_out_of_scale")
    assert last_file(bench) == [("held", "after_end")]


def test_a_place_is_sought_only_for_a_day_that_has_come(bench: Bench) -> None:
    bench.readings("house\n9", same={"lot_code": None, "sampled_on": "2026-04-07"})
    assert last_file(bench) == [("held", "in_future")]


def test_a_file_held_whole_holds_every_line_under_its_own_name(bench: Bench) -> None:
    bench.lots()
    bench.readings(
        "record_kind | problem\nheader | -\n- | ph_out_of_scale\n- | -",
        problem="columns_changed",
        name="drop/week.csv",
    )
    assert last_file(bench, "fate, cause, what, detail") == [
        ("not_data", None, None, None),
        ("held", "columns_changed", "drop/week.csv", "columns_changed found"),
        ("held", "columns_changed", "drop/week.csv", "columns_changed found"),
    ]


@pytest.mark.parametrize(
    ("mode", "newer", "fate"),
    [("increment", "6.0", "repeated"), ("cumulative", "6.1", "superseded")],
)
def test_a_line_that_no_longer_counts_waits_for_nothing(
    bench: Bench, mode: str, newer: str, fate: str
) -> None:
    bench.readings("lot_code | ph\nX | 6.0", mode=mode)
    bench.readings(f"lot_code | ph\nX | {newer}", mode=mode)
    place = 2 if fate == "repeated" else 1
    assert bench.rows("record_fates", "fate, cause, what", f"file_id = {place}") == [(fate, None, None)]


def test_a_held_line_that_was_corrected_is_superseded(bench: Bench) -> None:
    bench.lots()
    bench.readings("pot | ph | problem\n1 | 6.0 | ph_out_of_scale", numbers_pots=True)
    bench.readings("pot | ph\n1 | 6.1", numbers_pots=True)
    assert bench.rows("record_fates", FATES, "export_kind = 'readings'") == [
        (2, 1, "superseded", None),
        (3, 1, "accepted", None),
    ]


def test_readings_are_released_when_their_lot_arrives(bench: Bench) -> None:
    bench.readings("lot_code\nP-114")
    assert last_file(bench) == [("held", "lot_unknown")]
    bench.lots("lot_code\np-114")
    assert bench.rows("record_fates", "fate", "export_kind = 'readings'") == [("accepted",)]
