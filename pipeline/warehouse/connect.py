"""Opening the warehouse: a night works on a copy, readers open the published file."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb

from pipeline.errors import WarehouseError

WAREHOUSE_NAME = "warehouse.duckdb"
Connection = duckdb.DuckDBPyConnection


def warehouse_path(home: Path) -> Path:
    """Where a home keeps its warehouse."""
    return home / WAREHOUSE_NAME


def _remove(path: Path) -> None:
    for leftover in (path, path.with_name(path.name + ".wal")):
        leftover.unlink(missing_ok=True)


@contextmanager
def night_copy(home: Path) -> Iterator[tuple[Connection, Path]]:
    """Open a copy of the warehouse for one night to work on; a new one where there is none yet.

    Yields the connection and the copy's path. The copy is removed unless `publish` renamed it.
    Raises WarehouseError when the published file is no warehouse.
    """
    published = warehouse_path(home)
    working = home / f".{WAREHOUSE_NAME}.{os.getpid()}.night"
    _remove(working)
    if published.exists():
        shutil.copyfile(published, working)
    try:
        connection = _connect(working, named=published)
        try:
            yield connection, working
        finally:
            connection.close()
    finally:
        _remove(working)


def publish(connection: Connection, working: Path, home: Path) -> None:
    """Write everything to the copy, close it and rename it over yesterday's warehouse."""
    connection.checkpoint()
    connection.close()
    descriptor = os.open(working, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    working.replace(warehouse_path(home))


@contextmanager
def reader(home: Path) -> Iterator[Connection]:
    """Open the published warehouse for reading.

    Raises WarehouseError when there is none yet, or when it cannot be read.
    """
    published = warehouse_path(home)
    if not published.exists():
        raise WarehouseError(f"{published}: no night has been run yet; run `leachbook nightly {home}` first.")
    connection = _connect(published, named=published, read_only=True)
    try:
        yield connection
    finally:
        connection.close()


def _connect(path: Path, *, named: Path, read_only: bool = False) -> Connection:
    try:
        return duckdb.connect(path, read_only=read_only)
    except duckdb.Error as error:
        raise WarehouseError(
            f"{named}: cannot be opened as a warehouse ({str(error).splitlines()[0]}); "
            "move it aside and run the night again: the archive holds every file."
        ) from error
