"""Numbered migrations, each run once."""

from __future__ import annotations

import duckdb
import pytest

from pipeline.errors import WarehouseError
from pipeline.warehouse.migrate import migrate, refuse_older
from pipeline.warehouse.statements import run_sql, sql_names


def test_an_empty_file_gets_every_migration_in_order() -> None:
    with duckdb.connect(":memory:") as connection:
        assert migrate(connection) == sql_names("schema")
        assert {name for (name,) in connection.execute("show tables").fetchall()} >= {
            "files",
            "records",
            "policy",
            "run",
        }


def test_a_second_run_does_nothing() -> None:
    with duckdb.connect(":memory:") as connection:
        migrate(connection)
        connection.execute("insert into run values (1, '2026-04-06')")
        assert migrate(connection) == []
        assert connection.execute("select count(*) from run").fetchall() == [(1,)]


def test_only_what_is_missing_is_run() -> None:
    first, *later = sql_names("schema")
    with duckdb.connect(":memory:") as connection:
        run_sql(connection, "nights/migrations_table")
        run_sql(connection, f"schema/{first}")
        run_sql(connection, "nights/note_migration", {"name": first})
        assert migrate(connection) == later


def test_a_migration_that_fails_leaves_nothing_half_done() -> None:
    with duckdb.connect(":memory:") as connection:
        connection.execute("create table records (something integer)")
        with pytest.raises(duckdb.Error):
            migrate(connection)
        connection.rollback()
        assert connection.execute("show tables").fetchall() == [("records",), ("schema_migrations",)]
        assert connection.execute("from schema_migrations").fetchall() == []


def test_a_warehouse_of_a_newer_version_is_refused() -> None:
    with duckdb.connect(":memory:") as connection:
        migrate(connection)
        connection.execute("insert into schema_migrations values ('999_later')")
        with pytest.raises(WarehouseError) as raised:
            migrate(connection)
    assert str(raised.value) == (
        "The warehouse was made by a newer Leachbook (it knows 999_later); install that version again."
    )


def test_a_warehouse_of_an_older_version_is_not_read_as_one_of_this() -> None:
    last = sql_names("schema")[-1]
    with duckdb.connect(":memory:") as connection:
        migrate(connection)
        refuse_older(connection)
        connection.execute("delete from schema_migrations where name = $name", {"name": last}).fetchall()
        with pytest.raises(WarehouseError, match="made by an older Leachbook; run `leachbook nightly` once"):
            refuse_older(connection)
