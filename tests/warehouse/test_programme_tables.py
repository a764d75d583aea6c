"""Closed days, feed days and benches as relations."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

import duckdb
import polars as pl
import pytest

from pipeline.settings import SiteSettings
from pipeline.settings.benches import Bench, Feeding
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.migrate import migrate
from pipeline.warehouse.programme_tables import programme_frames
from tests.sql.bench import load, site

EASTER = date(2026, 4, 3)
FED = date(2026, 4, 9)


def with_facts(site_id: str = "north", **facts: Any) -> SiteSettings:
    return site(site_id).model_copy(update=facts)


@pytest.fixture(scope="module")
def connection() -> Iterator[Connection]:
    with duckdb.connect(":memory:") as opened:
        migrate(opened)
        yield opened


def test_a_site_that_says_nothing_has_no_rows_and_every_column(connection: Connection) -> None:
    for name, frame in programme_frames([site()]).items():
        assert frame.height == 0
        assert frame.columns == connection.table(name).columns, name


def test_closed_days_are_weekdays_and_dates() -> None:
    frames = programme_frames(
        [with_facts(no_sampling=("saturday", "sunday", "saturday"), holidays=(EASTER, EASTER)), site("south")]
    )
    assert frames["closed_days"].rows() == [
        ("north", 6, None),
        ("north", 7, None),
        ("north", None, EASTER),
    ]


def test_weekdays_are_numbered_as_in_iso_8601() -> None:
    week = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday")
    found = programme_frames([with_facts(no_sampling=week)])["closed_days"]["weekday"].to_list()
    monday = date(2026, 4, 6)
    assert found == [monday.replace(day=monday.day + at).isoweekday() for at in range(6)]


@pytest.mark.parametrize(
    ("feeding", "rows"),
    [
        pytest.param(Feeding(weekdays=("thursday",)), [("north", None, None, 4, None)], id="the whole site"),
        pytest.param(
            Feeding(house=" House 1 ", days=(FED,)), [("north", "house 1", None, None, FED)], id="a house"
        ),
        pytest.param(
            Feeding(lots=("NR-119", "nr-118 "), weekdays=("monday",), days=(FED,)),
            [
                ("north", None, "nr-119", 1, None),
                ("north", None, "nr-119", None, FED),
                ("north", None, "nr-118", 1, None),
                ("north", None, "nr-118", None, FED),
            ],
            id="two lots, each on both",
        ),
        pytest.param(
            Feeding(house="House 1", lots=("NR-119",), weekdays=("monday", "thursday")),
            [("north", "house 1", "nr-119", 1, None), ("north", "house 1", "nr-119", 4, None)],
            id="a lot while it is in a house",
        ),
    ],
)
def test_feed_days(feeding: Feeding, rows: list[tuple[Any, ...]]) -> None:
    assert programme_frames([with_facts(feedings=(feeding,))])["feed_days"].rows() == rows


def test_benches_are_numbered_along_the_walk_of_each_site() -> None:
    walk = (
        Bench(house="House 2", name="Pad", places=300),
        Bench(house="House 1", name=" B1 ", rows=4, columns=20),
    )
    frames = programme_frames([with_facts(benches=walk), with_facts("south", benches=walk[:1])])
    assert frames["benches"].rows() == [
        ("north", 1, "House 2", "house 2", "Pad", "pad", None, None, 300),
        ("north", 2, "House 1", "house 1", walk[1].name, "b1", 4, 20, 80),
        ("south", 1, "House 2", "house 2", "Pad", "pad", None, None, 300),
    ]


def test_the_warehouse_takes_them_and_forgets_what_the_settings_no_longer_say(connection: Connection) -> None:
    full = with_facts(
        no_sampling=("sunday",),
        feedings=(Feeding(weekdays=("thursday",)),),
        benches=(Bench(house="House 1", name="1", rows=4, columns=20),),
    )
    for given, counts in ((full, [1, 1, 1]), (site(), [0, 0, 0])):
        load(connection, given)
        names = ("closed_days", "feed_days", "benches")
        assert [connection.table(name).pl().height for name in names] == counts


def test_types_are_those_of_the_tables(connection: Connection) -> None:
    frames = programme_frames([site()])
    assert frames["benches"].schema["walk_no"] == pl.Int32
    kinds = {pl.String: "VARCHAR", pl.Int32: "INTEGER", pl.Date: "DATE"}
    for name, frame in frames.items():
        stored = [str(kind) for kind in connection.table(name).types]
        assert [kinds[type(kind)] for kind in frame.dtypes] == stored, name
