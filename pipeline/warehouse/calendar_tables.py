"""Calendar events in the warehouse: what is asked for, what is shown tonight, and what was ever made known."""

from __future__ import annotations

from typing import Final

import polars as pl

from pipeline.warehouse.connect import Connection
from pipeline.warehouse.statements import fetch, fetch_relation, insert_frame, replace_rows, run_sql

EVENT_SCHEMA: Final = pl.Schema(
    {
        "site_id": pl.String(),
        "uid": pl.String(),
        "starts_at": pl.Datetime("us"),
        "time_zone": pl.String(),
        "minutes": pl.Int32(),
        "location": pl.String(),
        "summary": pl.String(),
        "description": pl.String(),
        "digest": pl.String(),
    }
)
VERSION_SCHEMA: Final = pl.Schema(
    {
        "site_id": pl.String(),
        "uid": pl.String(),
        "sequence": pl.Int32(),
        "status": pl.String(),
        "starts_at": pl.Datetime("us"),
        "time_zone": pl.String(),
        "minutes": pl.Int32(),
        "location": pl.String(),
        "summary": pl.String(),
        "digest": pl.String(),
    }
)


def fetch_calendar_dues(connection: Connection) -> pl.DataFrame:
    """Samplings that calendars show, in the columns of sql/judgement/calendar_dues.sql."""
    return fetch_relation(connection, "calendar_dues")


def fetch_newest_versions(connection: Connection) -> pl.DataFrame:
    """The newest version of each event that stands or is wanted again, in the columns of VERSION_SCHEMA.

    Tonight's events must be in their table.
    """
    return fetch(connection, "history/newest_versions")


def fetch_changes(connection: Connection, night_no: int) -> pl.DataFrame:
    """The versions that one night made known, in the columns of VERSION_SCHEMA, ordered by site and UID."""
    return fetch(connection, "history/calendar_changes", {"night_no": night_no})


def replace_events(connection: Connection, events: pl.DataFrame) -> None:
    """Put tonight's events, in the columns of EVENT_SCHEMA, in the place of last night's."""
    replace_rows(connection, "calendar_events", events)


def add_versions(connection: Connection, night_no: int, versions: pl.DataFrame) -> None:
    """Write down what tonight makes known, in the columns of VERSION_SCHEMA; it ends the versions before."""
    if versions.height:
        told = versions.with_columns(from_night=pl.lit(night_no, dtype=pl.Int32))
        insert_frame(connection, "calendar_history", told)
        run_sql(connection, "history/close_versions")
