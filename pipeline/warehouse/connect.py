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
    try:
        if published.exists():
            shutil.copyfile(published, working)
        with _damage_told(published):
            connection = duckdb.connect(working)
            try:
                yield connection, working
            finally:
                connection.close()
    except OSError as error:
        raise WarehouseError(f"{published}: cannot be copied ({error.strerror}); {_MEND}") from error
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
    with _damage_told(published):
        connection = duckdb.connect(published, read_only=True)
        try:
            yield connection
        finally:
            connection.close()


_MEND = (
    "bring it back from a backup, or move it aside and run the night again over the drop folders: "
    "the archive keeps every file that was ever received."
)
# What DuckDB raises when the file itself is wrong; everything else is a fault of ours and keeps its traceback.
_DAMAGE = (duckdb.IOException, duckdb.FatalException, duckdb.InternalException, duckdb.SerializationException)


@contextmanager
def _damage_told(published: Path) -> Iterator[None]:
    """Turn what a damaged file makes DuckDB raise, at opening or at any later query, into one sentence."""
    try:
        yield
    except duckdb.Error as error:
        # A checksum that does not match comes as the base class itself.
        if not isinstance(error, _DAMAGE) and type(error) is not duckdb.Error:
            raise
        reason = str(error).splitlines()[0]
        if "No space left" in str(error):
            raise WarehouseError(
                f"{published}: the disk is full; make room and run the night again, yesterday's files stand."
            ) from error
        raise WarehouseError(f"{published}: cannot be read as a warehouse ({reason}); {_MEND}") from error
