"""The figure for all facts that count: equal for equal facts, another one when a fact changes."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from pipeline.measuring import measure_night
from pipeline.warehouse.build import build_models, facts_digest
from pipeline.warehouse.load import Trouble, load_troubles
from tests.sql.bench import AS_OF, Bench, empty

FILES = {
    "lots": "lot_code | house | plants\nA | 1 | 1000\nB | 2 | 500",
    "readings": "lot_code | ph\nA | 6.0\nB | 5.9",
    "calibrations": "meter_id | slope_pct\nM1 | 98",
}


def digest(bench: Bench, changed: Mapping[str, str] | None = None, *, backwards: bool = False) -> str:
    """The figure of a fresh warehouse with these three files, loaded in this order or the other way round."""
    empty(bench.connection)
    fresh = Bench(bench.connection, AS_OF)
    tables = [*{**FILES, **(changed or {})}.items()]
    for kind, table in reversed(tables) if backwards else tables:
        fresh.load_file(kind, table, name=f"drop/{kind}.csv")
    # Content alone is under test here, so files are told apart by name.
    fresh.connection.execute("update files set sha256 = 'same'")
    build_models(fresh.connection, measure_night)
    return facts_digest(fresh.connection)


def test_the_order_in_which_files_came_in_does_not_matter(bench: Bench) -> None:
    assert digest(bench) == digest(bench, backwards=True)


def test_the_order_in_which_rows_lie_does_not_matter(bench: Bench) -> None:
    forth = digest(bench)
    for table in ("records", "lot_lines", "reading_lines"):
        bench.connection.execute(f"create or replace temp table turned as from {table} order by all desc")
        bench.connection.execute(f"truncate {table}; insert into {table} from turned")
    build_models(bench.connection, measure_night)
    assert facts_digest(bench.connection) == forth


def test_an_empty_warehouse_has_a_figure(bench: Bench) -> None:
    build_models(bench.connection, measure_night)
    assert facts_digest(bench.connection) == "0:0:0"


@pytest.mark.parametrize(
    ("kind", "before", "after"),
    [
        ("lots", "500", "501"),
        ("readings", "5.9", "5.91"),
        ("readings", "5.9", "5.9\nB | 5.9"),
        ("readings", "B |", "X |"),
        ("calibrations", "98", "97"),
    ],
)
def test_a_changed_fact_changes_the_figure(bench: Bench, kind: str, before: str, after: str) -> None:
    assert digest(bench) != digest(bench, {kind: FILES[kind].replace(before, after)})


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("poured_ml | leachate_ml\n30 | -", "poured_ml | leachate_ml\n- | 30"),
        ("position | bench\nmiddle | -", "position | bench\n- | middle"),
    ],
)
def test_a_value_in_another_column_is_another_fact(bench: Bench, one: str, other: str) -> None:
    assert digest(bench, {"readings": one}) != digest(bench, {"readings": other})


def test_a_trouble_of_the_night_changes_the_figure(bench: Bench) -> None:
    build_models(bench.connection, measure_night)
    before = facts_digest(bench.connection)
    load_troubles(bench.connection, bench.night_no, [Trouble("north", "drop/x", "unclaimed", "x is", "mend")])
    assert facts_digest(bench.connection) != before


def test_a_trouble_of_another_night_does_not(bench: Bench) -> None:
    build_models(bench.connection, measure_night)
    before = facts_digest(bench.connection)
    load_troubles(
        bench.connection, bench.night_no + 1, [Trouble("north", "drop/x", "unclaimed", "x is", "mend")]
    )
    assert facts_digest(bench.connection) == before
