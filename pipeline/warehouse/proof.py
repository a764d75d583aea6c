"""What a warehouse is held to: a digest of each table of facts, every block read, and rows held against rows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path
from typing import Any, Final

import duckdb
import polars as pl

from pipeline.errors import WarehouseError
from pipeline.warehouse.connect import Connection, mend, warehouse_path
from pipeline.warehouse.keys import key_of
from pipeline.warehouse.load import LINE_TABLES, last_night
from pipeline.warehouse.statements import fetch, quoted, run_sql

KEYS: Final[Mapping[str, tuple[str, ...]]] = {
    "schema_migrations": ("name",),
    "nights": ("night_no",),
    "files": ("file_id",),
    "records": ("file_id", "record_no"),
    "record_problems": ("file_id", "record_no", "problem_no"),
    **dict.fromkeys(LINE_TABLES.values(), ("file_id", "record_no")),
    "file_troubles": ("night_no", "site_id", "name"),
    "fate_history": ("file_id", "record_no", "from_night"),
    "rereads": ("night_no", "file_id"),
    "reread_values": ("night_no", "file_id", "line_from", "field"),
    "reread_fates": ("night_no", "file_id", "line_from"),
    "calendar_history": ("uid", "sequence"),
    "run_stages": ("night_no", "stage_no"),
    "run_counts": ("night_no", "stage_no", "counted"),
}
"""Tables of facts, which only the archive can give back, with what tells their rows apart."""

BASE_TABLES: Final = tuple(KEYS)
FOUND, EXPECTED = "found_warehouse", "expected_warehouse"
_MOST_ROWS: Final = 1000


@dataclass(frozen=True, slots=True)
class TableDigest:
    """Columns of a table in their order, and one figure for all of its rows, whatever order they stand in."""

    columns: tuple[str, ...]
    figure: str


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A table, or one column of it, that the file no longer gives out."""

    table: str
    column: str | None
    reason: str


@dataclass(frozen=True, slots=True)
class RowDifference:
    """A row that is not as it should be: `found` is None where it is missing, `expected` where none should be."""

    table: str
    key: Mapping[str, Any]
    found: Mapping[str, Any] | None
    expected: Mapping[str, Any] | None


def list_tables(connection: Connection, database: str | None = None) -> dict[str, tuple[str, ...]]:
    """Tables of a database (the connection's own by default), each with its columns in their order."""
    rows = run_sql(connection, "proof/tables", {"database": database})
    return {table: tuple(columns) for table, columns in rows}


def digest_tables(
    connection: Connection, wanted: Mapping[str, Sequence[str]] | None = None
) -> dict[str, TableDigest]:
    """Digest of each table of facts; `wanted` names tables and columns, where they are not those of today."""
    tables = list_tables(connection)
    chosen = {name: tables[name] for name in BASE_TABLES if name in tables} if wanted is None else wanted
    return {
        table: TableDigest(tuple(columns), _figure(connection, table, columns))
        for table, columns in chosen.items()
    }


def _figure(connection: Connection, table: str, columns: Sequence[str]) -> str:
    # Sums of md5 numbers do not depend on the order of rows; a row as text keeps its empty places and quotes.
    line = f"row({', '.join(quoted(name) for name in columns)})::varchar"
    ((figure,),) = connection.execute(
        f"select count(*)::varchar || ':' || coalesce(sum(md5_number_lower({line})), 0)::varchar"  # noqa: S608
        f" || ':' || coalesce(sum(md5_number_upper({line})), 0)::varchar from {quoted(table)}"
    ).fetchall()
    return str(figure)


@contextmanager
def open_file(path: Path) -> Iterator[Connection]:
    """Open a warehouse file for reading, wherever it lies. Raises duckdb.Error when it is damaged."""
    connection = duckdb.connect(path, read_only=True)
    try:
        yield connection
    finally:
        connection.close()


def read_every_block(path: Path) -> Iterator[Unreadable]:
    """Read each column of each table to its end; yields what cannot be read, down to the column."""
    try:
        with open_file(path) as connection:
            tables = list_tables(connection)
            suspects = [table for table, columns in tables.items() if _why_not(connection, table, columns)]
    except duckdb.Error as error:
        yield Unreadable("", None, _reason(error))
        return
    # Damage can close a connection for good, so that all after it fails too: each suspect is looked at by itself.
    for table in suspects:
        for column in tables[table]:
            with open_file(path) as connection:
                reason = _why_not(connection, table, [column])
            if reason is not None:
                yield Unreadable(table, column, reason)


def _why_not(connection: Connection, table: str, columns: Sequence[str]) -> str | None:
    """Why these columns cannot be read; None where they can."""
    sums = ", ".join(f"bit_xor(hash({quoted(name)}))" for name in columns)
    try:
        # Names are quoted; SQL has no parameter for them.
        connection.execute(f"select {sums} from {quoted(table)}").fetchall()  # noqa: S608
    except duckdb.Error as error:
        return _reason(error)
    return None


def _reason(error: duckdb.Error) -> str:
    return str(error).splitlines()[0].rstrip(".")


def newest_night(path: Path) -> int | None:
    """Number of the newest night that a warehouse file knows; None where it knows none or cannot be read."""
    if not path.is_file():
        return None
    try:
        with open_file(path) as connection:
            last = last_night(connection)
    except duckdb.Error:
        return None
    return None if last is None else last.night_no


@contextmanager
def doubted(home: Path) -> Iterator[Connection]:
    """Open a published warehouse that may be damaged or altered in any way.

    Raises WarehouseError for whatever DuckDB has against it.
    """
    with _doubts_told(warehouse_path(home)), open_file(warehouse_path(home)) as connection:
        yield connection


@contextmanager
def _doubts_told(path: Path) -> Iterator[None]:
    try:
        yield
    except duckdb.Error as error:
        raise WarehouseError(
            f"{path.name}: cannot be asked ({_reason(error)}); {mend(path.parent)}"
        ) from error


@contextmanager
def side_by_side(found: Path, expected: Path) -> Iterator[Connection]:
    """Both files open for reading in one connection, as the databases FOUND and EXPECTED.

    Raises WarehouseError for whatever DuckDB has against the file found.
    """
    with _doubts_told(found), _both(found, expected) as connection:
        yield connection


@contextmanager
def _both(found: Path, expected: Path) -> Iterator[Connection]:
    connection = duckdb.connect()
    try:
        for path, name in ((found, FOUND), (expected, EXPECTED)):
            text = str(path).replace("'", "''")
            connection.execute(f"attach '{text}' as {quoted(name)} (read_only)").fetchall()
        connection.execute(f"use {quoted(EXPECTED)}").fetchall()
        yield connection
    finally:
        connection.close()


def count_differences(connection: Connection, table: str, columns: Sequence[str]) -> tuple[int, int]:
    """Rows that only the file found has, and rows that only the expected one has, by the columns of both."""
    if _quick_sum(connection, FOUND, table, columns) == _quick_sum(connection, EXPECTED, table, columns):
        return 0, 0
    one, other = (_only(table, columns, *pair) for pair in ((FOUND, EXPECTED), (EXPECTED, FOUND)))
    ((extra, missing),) = connection.execute(
        f"select (select count(*) from ({one})), (select count(*) from ({other}))"  # noqa: S608
    ).fetchall()
    return int(extra), int(missing)


def _quick_sum(connection: Connection, base: str, table: str, columns: Sequence[str]) -> tuple[Any, ...]:
    """Equal for equal rows within one connection; much faster than to hold rows against rows. Never stored."""
    line = f"hash({', '.join(quoted(name) for name in columns)})"
    ((*sums,),) = connection.execute(
        f"select count(*), sum({line}::hugeint), bit_xor({line}) from {quoted(base)}.main.{quoted(table)}"  # noqa: S608
    ).fetchall()
    return tuple(sums)


def find_differences(connection: Connection, table: str, columns: Sequence[str]) -> list[RowDifference]:
    """Rows of a table that differ, by their key; not more than some hundreds are looked at."""
    key = KEYS.get(table) or key_of(table, tuple(columns))
    order = ", ".join(quoted(name) for name in key)
    extra, missing = (
        _by_key(connection, f"{_only(table, columns, *pair)} order by {order} limit {_MOST_ROWS}", key)
        for pair in ((FOUND, EXPECTED), (EXPECTED, FOUND))
    )
    told: list[RowDifference] = []
    for values in sorted({*extra, *missing}, key=str):
        told.extend(
            RowDifference(table, dict(zip(key, values, strict=True)), one, other)
            for one, other in zip_longest(extra.get(values, []), missing.get(values, []))
        )
    return told


def _by_key(
    connection: Connection, query: str, key: Sequence[str]
) -> dict[tuple[Any, ...], list[dict[str, Any]]]:
    rows: dict[tuple[Any, ...], list[dict[str, Any]]] = {}
    for row in connection.sql(query).pl().iter_rows(named=True):
        rows.setdefault(tuple(row[name] for name in key), []).append(row)
    return rows


def _only(table: str, columns: Sequence[str], first: str, second: str) -> str:
    names = ", ".join(quoted(name) for name in columns)
    one, other = (f"select {names} from {quoted(base)}.main.{quoted(table)}" for base in (first, second))  # noqa: S608
    return f"from ({one} except all {other})"


def fetch_place(connection: Connection, file_id: int, record_no: int | None) -> dict[str, Any] | None:
    """Site, file name and first line of a record (without a number: of the file); None where there is no such one."""
    rows = fetch(connection, "proof/places", {"file_id": file_id, "record_no": record_no}).to_dicts()
    return rows[0] if rows else None


def fetch_balance(connection: Connection) -> pl.DataFrame:
    """Lines and records of each file, counted in three ways: see sql/proof/balance.sql."""
    return fetch(connection, "proof/balance")


def fetch_nights(connection: Connection) -> list[dict[str, Any]]:
    """Every night that a warehouse knows, oldest first."""
    return fetch(connection, "proof/nights").to_dicts()


def fetch_files(connection: Connection) -> list[dict[str, Any]]:
    """Every file that a warehouse knows, in the order in which they came."""
    return fetch(connection, "proof/files").to_dicts()


def fetch_troubles(connection: Connection) -> list[dict[str, Any]]:
    """Everything that drop folders held and that could not be taken in, by night."""
    return fetch(connection, "proof/troubles").to_dicts()
