"""SQL files: read, given their parameters, their rows fetched."""

from __future__ import annotations

from collections.abc import Iterator

import duckdb
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.errors import AssetMissing
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.migrate import migrate
from pipeline.warehouse.statements import (
    fetch,
    fetch_relation,
    insert_frame,
    quoted,
    read_sql,
    run_sql,
    sql_names,
)


@pytest.fixture
def connection() -> Iterator[Connection]:
    with duckdb.connect(":memory:") as opened:
        migrate(opened)
        yield opened


def test_a_file_is_read_by_its_name_with_the_folder() -> None:
    assert read_sql("nights/forget_run").endswith("delete from run\n")


def test_a_file_that_is_not_there_is_a_damaged_installation() -> None:
    with pytest.raises(AssetMissing):
        read_sql("nights/no_such_file")


def test_names_come_in_order_without_their_ending() -> None:
    assert sql_names("schema")[:2] == ["001_facts", "002_settings"]


def test_parameters_are_named(connection: Connection) -> None:
    parameters = {"site_id": "north", "name": "a 'quoted' name", "code": "c", "sentence": "s", "mend": "m"}
    run_sql(connection, "nights/insert_trouble", {"night_no": 1, **parameters})
    assert connection.table("file_troubles").fetchall() == [(1, *parameters.values())]


def test_a_query_comes_back_as_a_frame(connection: Connection) -> None:
    run_sql(connection, "nights/set_run", {"night_no": 1, "as_of": "2026-04-06"})
    run_sql(
        connection,
        "nights/insert_trouble",
        {"night_no": 1, "site_id": "n", "name": "x", "code": "c", "sentence": "s", "mend": "m"},
    )
    wanted = pl.DataFrame({"site_id": ["n"], "name": ["x"], "code": ["c"], "sentence": ["s"], "mend": ["m"]})
    assert_frame_equal(fetch(connection, "queries/troubles"), wanted)


def test_a_relation_comes_back_whole(connection: Connection) -> None:
    connection.execute("insert into t_quantiles values (1, 12.7), (2, 4.3)")
    wanted = pl.DataFrame({"df": [1, 2], "t": [12.7, 4.3]}, schema={"df": pl.Int32, "t": pl.Float64})
    assert_frame_equal(fetch_relation(connection, "t_quantiles"), wanted)


def test_a_frame_goes_in_by_the_names_of_its_columns(connection: Connection) -> None:
    insert_frame(connection, "t_quantiles", pl.DataFrame({"t": [12.7], "df": [1]}))
    assert connection.table("t_quantiles").fetchall() == [(1, 12.7)]


def test_a_frame_that_was_inserted_or_refused_is_forgotten(connection: Connection) -> None:
    with pytest.raises(duckdb.Error):
        insert_frame(connection, "t_quantiles", pl.DataFrame({"no_such_column": [1]}))
    with pytest.raises(duckdb.CatalogException):
        connection.table("incoming_frame")


@pytest.mark.parametrize("name", ["plain", "with space", 'with "quotes"', "select", "semi;colon", "trübe"])
def test_any_name_can_be_quoted(connection: Connection, name: str) -> None:
    connection.execute(f"create table {quoted(name)} as select 1 as one")
    assert connection.table(quoted(name)).fetchall() == [(1,)]
