"""Handing out the newest night's tables: one folder (Parquet, CSV) or one workbook, with the dictionary."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Literal

import polars as pl

from pipeline.errors import ReportError
from pipeline.files import write_whole
from pipeline.tables.catalogue import (
    TABLES,
    Column,
    TableFacts,
    dictionary_frame,
    head_with_unit,
    load_meanings,
)
from pipeline.tables.files import to_csv, to_parquet, to_xlsx
from pipeline.warehouse.connect import Connection, reader
from pipeline.warehouse.dictionary import column_origins, fetch_sorted, list_types, stated_heads
from pipeline.warehouse.keys import key_of
from pipeline.warehouse.migrate import refuse_older
from pipeline.warehouse.query import fetch_as_of

Format = Literal["parquet", "csv", "xlsx"]
FORMATS: tuple[Format, ...] = ("parquet", "csv", "xlsx")
_ABOUT = ("dictionary", "tables")


@dataclass(frozen=True, slots=True)
class TablesResult:
    """Tables that were handed out, and where."""

    as_of: date
    tables: list[TableFacts]
    paths: list[Path]


def write_tables(home: Path, form: Format) -> TablesResult:
    """Write every table of the catalogue and the dictionary to out/<as-of>-tables/, whole or not at all each.

    Raises WarehouseError (no night yet, or altered), ReportError when the disk refuses.
    """
    with reader(home) as connection:
        refuse_older(connection)
        as_of = fetch_as_of(connection)
        frames = {name: fetch_sorted(connection, relation) for name, relation in TABLES.items()}
        columns = list(describe_columns(connection))
        facts = list(_describe_tables(connection, frames))
    all_frames = {
        "tables": pl.DataFrame([asdict(one) for one in facts]),
        "dictionary": dictionary_frame(columns),
        **frames,
    }
    folder = home / "out" / "tables" / as_of.isoformat()
    if form == "xlsx":
        heads = {name: _heads(name, frame, columns) for name, frame in all_frames.items()}
        made_on = datetime(as_of.year, as_of.month, as_of.day, tzinfo=UTC)
        written = {folder / "leachbook.xlsx": to_xlsx(all_frames, heads, made_on)}
    else:
        write = to_parquet if form == "parquet" else to_csv
        written = {folder / f"{name}.{form}": write(frame) for name, frame in all_frames.items()}
    return TablesResult(as_of, facts, [_write(path, data) for path, data in written.items()])


def describe_columns(connection: Connection) -> Iterator[Column]:
    """The dictionary: every column of every table that is handed out."""
    meanings = load_meanings()
    for name, relation in TABLES.items():
        origins = column_origins(connection, relation)
        for column, kind in list_types(connection, relation).items():
            told = meanings[column]
            yield Column(name, column, kind, told.unit, told.meaning, origins[column])


def _describe_tables(connection: Connection, frames: dict[str, pl.DataFrame]) -> Iterator[TableFacts]:
    for name, relation in TABLES.items():
        head = stated_heads()[relation]
        key = ", ".join(key_of(relation, tuple(list_types(connection, relation))))
        yield TableFacts(name, relation, head.grain, key, f"sql/{head.made_by}", frames[name].height)


def _heads(name: str, frame: pl.DataFrame, columns: list[Column]) -> list[str]:
    known = {one.column: head_with_unit(one) for one in columns if one.table == name}
    return [known.get(column, column) for column in frame.columns]


def _write(path: Path, data: bytes) -> Path:
    try:
        write_whole(path, data)
    except OSError as error:
        raise ReportError(
            f"{path} cannot be written: {error.strerror}; make room or give write permission."
        ) from error
    return path


def describe_tables(result: TablesResult) -> dict[str, Any]:
    """What was handed out, for machines."""
    return {
        "as_of": result.as_of.isoformat(),
        "tables": [asdict(one) for one in result.tables],
        "files": [str(path) for path in result.paths],
    }


def tell_tables(result: TablesResult) -> list[str]:
    """What was handed out, for a person."""
    rows = sum(one.rows for one in result.tables)
    where = result.paths[0] if len(result.paths) == 1 else result.paths[0].parent
    return [
        f"{len(result.tables)} tables with {rows:,} rows as of {result.as_of}, and a dictionary of their columns:",
        f"  {where}",
    ]
