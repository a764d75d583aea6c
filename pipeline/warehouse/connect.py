"""Opening the warehouse: a night works on a copy, readers open the published file."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb

from pipeline.errors import WarehouseError
from pipeline.intake.ledger import ledger_path
from pipeline.warehouse.sealed import (
    WAREHOUSE_NAME,
    Seal,
    check_sealed,
    file_seal,
    mend,
    warehouse_path,
)

Connection = duckdb.DuckDBPyConnection

__all__ = [
    "WAREHOUSE_NAME",
    "Connection",
    "Seal",
    "file_seal",
    "fresh_warehouse",
    "mend",
    "night_copy",
    "publish",
    "reader",
    "seal",
    "warehouse_path",
]


def _remove(path: Path) -> None:
    for leftover in (path, path.with_name(path.name + ".wal")):
        leftover.unlink(missing_ok=True)


@contextmanager
def night_copy(home: Path) -> Iterator[tuple[Connection, Path]]:
    """Open a copy of the warehouse for one night to work on; a new one where no night has been yet.

    Yields the connection and the copy's path. The copy is removed unless `publish` renamed it.
    Raises WarehouseError when the published file is no warehouse, or is gone while the ledger knows nights.
    """
    if not warehouse_path(home).exists():
        _refuse_if_lost(home)
    with _working(home, warehouse_path(home)) as opened:
        yield opened


@contextmanager
def fresh_warehouse(home: Path) -> Iterator[tuple[Connection, Path]]:
    """Open an empty warehouse beside the published one, which is not looked at; removed unless `publish` renamed it."""
    with _working(home, None) as opened:
        yield opened


@contextmanager
def _working(home: Path, source: Path | None) -> Iterator[tuple[Connection, Path]]:
    published = warehouse_path(home)
    _refuse_question_mark(published)
    working = home / f".{WAREHOUSE_NAME}.{os.getpid()}.night"
    _remove(working)
    try:
        if source is not None and source.exists():
            shutil.copyfile(source, working)
        with _damage_told(published):
            connection = duckdb.connect(working)
            try:
                yield connection, working
            finally:
                connection.close()
    except OSError as error:
        raise WarehouseError(f"{published}: cannot be copied ({error.strerror}); {mend(home)}") from error
    finally:
        _remove(working)


def seal(connection: Connection, working: Path) -> Seal:
    """Write everything to the working copy, close it, see it reach the disk, and say what it is known by."""
    connection.checkpoint()
    connection.close()
    descriptor = os.open(working, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    return file_seal(working)


def publish(working: Path, home: Path) -> None:
    """Rename a sealed working copy over yesterday's warehouse."""
    working.replace(warehouse_path(home))


@contextmanager
def reader(home: Path) -> Iterator[Connection]:
    """Open the published warehouse for reading.

    Raises WarehouseError when there is none yet, when it is gone, altered, or when it cannot be read; ArchiveError when
    the ledger cannot be read.
    """
    published = warehouse_path(home)
    _refuse_question_mark(published)
    if not published.exists():
        _refuse_if_lost(home)
        raise WarehouseError(f"{published}: no night has been run yet; run `leachbook nightly {home}` first.")
    with _damage_told(published):
        connection = duckdb.connect(published, read_only=True)
        try:
            check_sealed(home)
            yield connection
        finally:
            connection.close()


def _refuse_question_mark(published: Path) -> None:
    """DuckDB takes what stands behind a question mark for options, and looks for its log in another folder."""
    if "?" in str(published):
        raise WarehouseError(
            f'{published}: the warehouse cannot lie below a folder with "?" in its name; '
            "rename the folder, then run it again."
        )


def _refuse_if_lost(home: Path) -> None:
    """A home whose ledger knows nights had a warehouse: an empty one would forget them all in silence."""
    if ledger_path(home).exists():
        raise WarehouseError(
            f"{warehouse_path(home)}: the file is gone, but the ledger knows nights; {mend(home)}"
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
        raise WarehouseError(
            f"{published}: cannot be read as a warehouse ({reason}); {mend(published.parent)}"
        ) from error
