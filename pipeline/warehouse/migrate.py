"""Numbered migrations: sql/schema/NNN_name.sql, each run once and in order."""

from __future__ import annotations

from pipeline.errors import WarehouseError
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.statements import run_sql, sql_names


def migrate(connection: Connection) -> list[str]:
    """Bring the warehouse to the newest schema; returns the migrations that were run.

    Raises WarehouseError when the warehouse was made by a newer Leachbook.
    """
    run_sql(connection, "nights/migrations_table")
    applied = {row[0] for row in run_sql(connection, "nights/applied_migrations")}
    known = sql_names("schema")
    unknown = sorted(applied - set(known))
    if unknown:
        raise WarehouseError(
            f"The warehouse was made by a newer Leachbook (it knows {unknown[0]}); install that version again."
        )
    fresh = [name for name in known if name not in applied]
    for name in fresh:
        connection.begin()
        run_sql(connection, f"schema/{name}")
        run_sql(connection, "nights/note_migration", {"name": name})
        connection.commit()
    return fresh


def refuse_older(connection: Connection) -> None:
    """Raise WarehouseError when the warehouse lacks what this Leachbook reads, because an older one made it."""
    applied = {row[0] for row in run_sql(connection, "nights/applied_migrations")}
    if set(sql_names("schema")) - applied:
        raise WarehouseError(
            "The warehouse was made by an older Leachbook; run `leachbook nightly` once, which brings it up to date."
        )
