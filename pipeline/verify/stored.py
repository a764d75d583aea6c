"""The warehouse: its file, every block of it, its tables, and where they differ the rows, by file and line."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from pipeline.errors import WarehouseError
from pipeline.intake import ledger
from pipeline.verify.archived import Numbered
from pipeline.verify.findings import Finding
from pipeline.warehouse.connect import WAREHOUSE_NAME, Connection, file_seal, mend, warehouse_path
from pipeline.warehouse.proof import (
    BASE_TABLES,
    EXPECTED,
    FOUND,
    KEYS,
    RowDifference,
    count_differences,
    digest_tables,
    fetch_place,
    find_differences,
    list_tables,
    read_every_block,
    side_by_side,
)

MOST_ROWS = 20


def find_sealed(entries: Numbered) -> ledger.Entry | None:
    """The newest entry that says what the warehouse must be."""
    return next((one for _, one in reversed(entries) if "warehouse" in one and "tables" in one), None)


def check_file(home: Path, sealed: ledger.Entry | None) -> Iterator[Finding]:
    """The file as a whole: there, alone, and the one that the ledger sealed."""
    path = warehouse_path(home)
    log = path.with_name(f"{path.name}.wal")
    if log.exists():
        yield _wrong(
            home, f"{log.name}: lies beside the warehouse, so something other than a night wrote to it"
        )
    if sealed is None:
        yield Finding(
            "ledger",
            f"archive/ledger.jsonl: no entry says what {WAREHOUSE_NAME} must be; run `leachbook nightly {home}` on a "
            "later day, which seals it.",
        )
        return
    found, told = asdict(file_seal(path)), sealed["warehouse"]
    if found != told:
        yield _wrong(
            home,
            f"{WAREHOUSE_NAME}: is not the file that night number {sealed['night']} left ({found['size']} bytes, "
            f"SHA-256 {found['sha256'][:12]}..., in the ledger {told['size']} bytes, SHA-256 {told['sha256'][:12]}...)",
        )


def check_blocks(home: Path) -> Iterator[Finding]:
    """Every block of every table and column."""
    for one in read_every_block(warehouse_path(home)):
        where = f"table {one.table}, column {one.column}: " if one.table else ""
        yield _wrong(home, f"{WAREHOUSE_NAME}: {where}cannot be read ({one.reason})")


def check_tables(home: Path, connection: Connection, sealed: ledger.Entry) -> Iterator[Finding]:
    """Digest of each table of facts against the ledger."""
    tables = list_tables(connection)
    for table, told in sealed["tables"].items():
        if not set(told["columns"]) <= set(tables.get(table, ())):
            yield _wrong(home, f"{WAREHOUSE_NAME}, table {table}: the table or one of its columns is gone")
            continue
        figure = digest_tables(connection, {table: told["columns"]})[table].figure
        if figure != told["figure"]:
            rows, should = figure.split(":")[0], told["figure"].split(":")[0]
            yield _wrong(
                home,
                f"{WAREHOUSE_NAME}, table {table}: its {rows} rows are not the {should} rows that the ledger has a "
                "digest of",
            )


def name_rows(home: Path, expected: Path) -> Iterator[Finding]:
    """Rows that are not what the replay of the archive gives; at most MOST_ROWS are named, the rest is counted.

    Tables of facts come first: what is worked out from a row that was altered is wrong with it.
    """
    found = warehouse_path(home)
    try:
        with side_by_side(found, expected) as connection:
            here, there = list_tables(connection, FOUND), list_tables(connection, EXPECTED)
    except WarehouseError as error:
        yield Finding("warehouse", f"No row can be compared: {error}")
        return
    for table in sorted(here.keys() ^ there.keys()):
        what = "was taken away" if table in there else "was put there, no night makes it"
        yield _wrong(home, f"{WAREHOUSE_NAME}, table {table}: the table {what}")
    shared = {
        table: [name for name in here[table] if name in there[table]]
        for table in sorted(here.keys() & there.keys(), key=lambda table: (table not in BASE_TABLES, table))
    }
    named = 0
    while shared:
        # Damage can close a connection for good: the tables after it are compared over a new one.
        try:
            with side_by_side(found, expected) as connection:
                while shared:
                    table = next(iter(shared))
                    rows = list(_name_rows_of(home, connection, table, shared[table], MOST_ROWS - named))
                    shared.pop(table)
                    yield from rows
                    named += len(rows)
        except WarehouseError as error:
            table = next(iter(shared))
            shared.pop(table)
            yield Finding("warehouse", f"The rows of table {table} cannot be compared: {error}")


def _name_rows_of(
    home: Path, connection: Connection, table: str, columns: Sequence[str], most: int
) -> Iterator[Finding]:
    is_base = table in BASE_TABLES
    if not columns or (is_base and not set(KEYS[table]) <= set(columns)):
        return  # what is missing of its columns is said with its digest
    extra, missing = count_differences(connection, table, columns)
    if not extra and not missing:
        return
    told = find_differences(connection, table, columns)[:most] if most > 0 else []
    yield from (_wrong(home, _say_difference(connection, one)) for one in told)
    if len(told) < max(extra, missing):
        yield _wrong(
            home,
            f"{WAREHOUSE_NAME}, table {table}: {extra} rows are not what the archive gives and {missing} that "
            "it gives are not there",
        )


def _say_difference(connection: Connection, one: RowDifference) -> str:
    place = f"{WAREHOUSE_NAME}, table {one.table}: {_say_place(connection, one.key)}"
    if one.found is None:
        return f"{place}: the row was removed"
    if one.expected is None:
        source = "no file gives it" if one.table in BASE_TABLES else "nothing that the sites sent gives it"
        return f"{place}: the row was put there, {source}"
    changed = [
        f"{name} is {_say(value)}, the archive gives {_say(one.expected[name])}"
        for name, value in one.found.items()
        if value != one.expected[name]
    ]
    return f"{place}: {'; '.join(changed)}"


def _say_place(connection: Connection, key: Mapping[str, Any]) -> str:
    rest = ", ".join(f"{name} {value}" for name, value in key.items() if name not in ("file_id", "record_no"))
    if "file_id" not in key:
        return rest
    number = key.get("record_no")
    place = fetch_place(connection, key["file_id"], number)
    if place is None or (number is not None and place["line_from"] is None):
        return ", ".join(f"{name} {value}" for name, value in key.items())
    line = "" if number is None else f" line {place['line_from']} (record {number})"
    return f"{place['name']} of {place['site_id']}{line}" + (f", {rest}" if rest else "")


def _say(value: object) -> str:
    return "empty" if value is None else repr(value) if isinstance(value, str) else str(value)


def _wrong(home: Path, text: str) -> Finding:
    return Finding("warehouse", f"{text}; {mend(home)}")
