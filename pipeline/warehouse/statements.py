"""SQL files: read, split, given their parameters."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from typing import Any

import duckdb
import polars as pl

from pipeline.assets import sql_folder
from pipeline.warehouse.connect import Connection


def read_sql(name: str) -> str:
    """Text of sql/<name>.sql, `name` with its folder."""
    return sql_folder(f"{name}.sql").read_text(encoding="utf-8")


def sql_names(folder: str) -> list[str]:
    """Names of the SQL files in sql/<folder>, in the order of their names."""
    return sorted(path.stem for path in sql_folder(folder).glob("*.sql"))


Rows = list[tuple[Any, ...]]


def run_sql(connection: Connection, name: str, parameters: Mapping[str, object] | None = None) -> Rows:
    """Run one statement file and return its rows, fetched to the end: an open result would block the next query."""
    return connection.execute(read_sql(name), dict(parameters or {})).fetchall()


def fetch(connection: Connection, name: str, parameters: Mapping[str, object] | None = None) -> pl.DataFrame:
    """Rows of one query file as a frame."""
    frame: pl.DataFrame = connection.sql(read_sql(name), params=dict(parameters or {})).pl()
    return frame


def fetch_relation(connection: Connection, relation: str) -> pl.DataFrame:
    """All rows of a relation that the warehouse has built."""
    frame: pl.DataFrame = connection.table(relation).pl()
    return frame


def insert_frame(connection: Connection, table: str, frame: pl.DataFrame) -> None:
    """Append a frame's rows to a table, matching columns by name."""
    connection.register("incoming_frame", frame)
    try:
        # The name is our own and quoted; SQL has no parameter for a table.
        connection.execute(f"insert into {quoted(table)} by name select * from incoming_frame").fetchall()  # noqa: S608
    except duckdb.Error:
        # In a transaction that was aborted this fails as well, and would hide the error that counts.
        with suppress(duckdb.Error):
            connection.unregister("incoming_frame")
        raise
    connection.unregister("incoming_frame")


def replace_rows(connection: Connection, table: str, frame: pl.DataFrame | None) -> None:
    """Empty a table of tonight's and fill it with a frame's rows; None leaves it empty."""
    # The name is our own and quoted; SQL has no parameter for a table.
    connection.execute(f"delete from {quoted(table)}").fetchall()  # noqa: S608
    if frame is not None and frame.height:
        insert_frame(connection, table, frame)


def quoted(identifier: str) -> str:
    """A name as SQL takes it, whatever is in it."""
    return '"' + identifier.replace('"', '""') + '"'
