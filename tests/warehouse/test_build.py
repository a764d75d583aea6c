"""Building everything and reading what the pages are made of."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import pytest

from pipeline.measuring import measure_night
from pipeline.warehouse.build import build_models, check_invariants, facts_digest, keep_fates
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.query import (
    fetch_held,
    fetch_lot,
    fetch_lot_codes,
    fetch_lot_lines,
    fetch_lot_samplings,
    fetch_tables,
)
from tests.sql.bench import Bench, empty, open_warehouse

PAGES = {
    "lots", "samplings", "figures", "pots", "targets", "files_tonight", "troubles", "dues", "reasons",
    "sampling_findings", "site_questions", "meter_states", "site_states", "held_causes", "releases", "published_ranges",
    "trends", "own_charts", "fed_days", "contrasts", "crop_contrasts", "treatments", "water_checks", "water_findings",
    "list_findings", "new_columns", "corrections_tonight", "rereads_tonight", "not_data_lines", "not_data_files",
    "planned_samplings", "sampling_plan_days", "sheet_lots", "sheet_left_out", "sheet_meters", "calendar",
    "meter_findings", "reread_lines", "released_files", "older_files",
}  # fmt: skip


@pytest.fixture(scope="module")
def warehouse() -> Iterator[Connection]:
    with open_warehouse() as connection:
        yield connection


@pytest.fixture
def bench(warehouse: Connection) -> Bench:
    empty(warehouse)
    return Bench(warehouse)


def judge(bench: Bench) -> None:
    build_models(bench.connection, measure_night)
    keep_fates(bench.connection)
    check_invariants(bench.connection)


@pytest.fixture
def judged(bench: Bench) -> Bench:
    """Two standing lots and one that is over, samplings on two days, one line held."""
    bench.lots("lot_code | ends_on\nP-1 | -\nP-2 | -\nOver | 2026-04-01")
    for day, ph in (
        ("2026-03-23", "5.89 5.9 5.9 5.9 5.91"),
        ("2026-03-30", "4.99 5.0 5.0 5.0 5.01"),
    ):
        bench.pots(ph, lot_code="p-1", sampled_on=day)
    bench.readings("lot_code\nX\nOver")
    judge(bench)
    return bench


def test_an_empty_warehouse_is_built_and_read(bench: Bench) -> None:
    judge(bench)
    tables = fetch_tables(bench.connection)
    assert tables.keys() == PAGES
    assert {name for name, frame in tables.items() if frame.height} == {"site_states", "published_ranges"}


def test_a_second_build_gives_the_same(judged: Bench) -> None:
    before = facts_digest(judged.connection)
    judge(judged)
    assert facts_digest(judged.connection) == before


def test_lots_come_in_order_of_attention_with_their_due(judged: Bench) -> None:
    lots = fetch_tables(judged.connection)["lots"].select("lot_id", "level", "rank", "why", "state")
    assert lots.rows() == [
        ("P-1", "act", 1, "after_out", "due_this_week"),
        ("P-2", "no_reading", 2, "first", "never_sampled"),
    ]


def test_figures_and_pots_are_those_of_standing_lots(judged: Bench) -> None:
    tables = fetch_tables(judged.connection)
    assert set(tables["samplings"]["lot_key"]) == set(tables["pots"]["lot_key"]) == {"p-1"}
    ph = tables["figures"].filter(quantity="ph").sort("sampled_on").select("n", "mean", "verdict", "in_a_row")
    assert ph.rows() == [(5, 5.9, "in_range", 0), (5, 5.0, "clearly_out", 1)]


def test_targets_are_those_of_the_as_of_date(judged: Bench) -> None:
    targets = fetch_tables(judged.connection)["targets"]
    assert targets.select("lot_key", "quantity").sort("lot_key", "quantity").rows() == [
        ("p-1", "ec"),
        ("p-1", "ph"),
        ("p-2", "ec"),
        ("p-2", "ph"),
    ]


def test_files_of_tonight_only(judged: Bench) -> None:
    assert fetch_tables(judged.connection)["files_tonight"].height == 4
    judged.next_night(date(2026, 4, 7))
    judge(judged)
    assert fetch_tables(judged.connection)["files_tonight"].height == 0


def test_held_lines_and_their_causes(judged: Bench) -> None:
    causes, lines = fetch_held(judged.connection)
    assert causes.select("cause", "what", "records").rows() == [("lot_unknown", "X", 1)]
    assert lines.select("cause", "what", "file", "line").rows() == [
        ("lot_unknown", "X", "drop/readings-4.csv", 1)
    ]


def test_a_lot_is_found_by_its_code_in_lower_case(judged: Bench) -> None:
    assert fetch_lot(judged.connection, "north", "p-1").select("lot_id", "file", "line").rows() == [
        ("P-1", "drop/lots-1.csv", 1)
    ]
    assert fetch_lot(judged.connection, "south", "p-1").height == 0
    assert fetch_lot_codes(judged.connection, "north") == ["Over", "P-1", "P-2"]


def test_samplings_of_a_lot_have_a_row_for_each_quantity(judged: Bench) -> None:
    found = fetch_lot_samplings(judged.connection, "north", "p-1").select("sampled_on", "quantity", "verdict")
    assert found.rows() == [
        (date(2026, 3, 23), "ph", "in_range"),
        (date(2026, 3, 23), "ec", "in_range"),
        (date(2026, 3, 30), "ph", "clearly_out"),
        (date(2026, 3, 30), "ec", "in_range"),
    ]


def test_lines_of_a_sampling_with_their_place(judged: Bench) -> None:
    lines = fetch_lot_lines(judged.connection, "north", "p-1", date(2026, 3, 30))
    assert lines.select("file", "line_from", "fate").rows() == [
        ("drop/readings-3.csv", line, "accepted") for line in range(1, 6)
    ]
