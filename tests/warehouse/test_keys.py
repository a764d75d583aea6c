"""Keys that the heads of SQL files state are columns of their tables, and tell the rows of the demo apart."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.warehouse.connect import Connection, warehouse_path
from pipeline.warehouse.keys import key_of, stated_keys
from pipeline.warehouse.proof import BASE_TABLES, KEYS, list_tables, open_file
from pipeline.warehouse.statements import quoted


def duplicates(connection: Connection, table: str, key: tuple[str, ...]) -> int:
    names = ", ".join(quoted(name) for name in key)
    ((rows, different),) = connection.execute(
        f"select (select count(*) from {quoted(table)}), "  # noqa: S608
        f"(select count(*) from (select distinct {names} from {quoted(table)}))"
    ).fetchall()
    return int(rows) - int(different)


def test_every_table_has_a_key_that_tells_its_rows_apart(demo_home: Path) -> None:
    with open_file(warehouse_path(demo_home)) as connection:
        tables = list_tables(connection)
        twice = {
            table: duplicates(connection, table, KEYS.get(table) or key_of(table, columns))
            for table, columns in tables.items()
        }
    assert {table for table, count in twice.items() if count} == set()
    assert set(tables) - set(stated_keys()) - set(BASE_TABLES) == {"run"}


@pytest.mark.parametrize(
    ("table", "columns", "key"),
    [
        (
            "samplings",
            ("lot_key", "n", "purpose", "sampled_on", "site_id"),
            ("site_id", "lot_key", "sampled_on", "purpose"),
        ),
        ("current_lots", ("lot_key", "site_id", "ends_on"), ("site_id", "lot_key")),
        ("mine", ("one", "two"), ("one", "two")),
    ],
)
def test_a_key_is_what_of_it_the_table_has(
    table: str, columns: tuple[str, ...], key: tuple[str, ...]
) -> None:
    assert key_of(table, columns) == key
