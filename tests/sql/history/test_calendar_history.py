"""What calendars were told: versions over nights, and which of them tonight's files hold."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import polars as pl

from pipeline.warehouse.calendar_tables import (
    EVENT_SCHEMA,
    VERSION_SCHEMA,
    add_versions,
    fetch_changes,
    fetch_newest_versions,
    replace_events,
)
from tests.sql.bench import Bench

EVENT = pl.DataFrame(
    [dict.fromkeys(EVENT_SCHEMA, "x") | {"uid": "a", "starts_at": datetime(2026, 4, 6, 8), "minutes": 1}],
    schema=EVENT_SCHEMA,
)
HISTORY = "uid, sequence, status, from_night, until_night"


def told(bench: Bench, *versions: tuple[str, int, str]) -> None:
    rows = [
        {
            "site_id": "north",
            "uid": uid,
            "sequence": sequence,
            "status": status,
            "starts_at": datetime(2026, 4, 6, 8),
            "time_zone": "UTC",
            "minutes": 20,
            "location": "House 1",
            "summary": f"{uid} {sequence}",
            "digest": "d",
        }
        for uid, sequence, status in versions
    ]
    add_versions(bench.connection, bench.night_no, pl.DataFrame(rows, schema=VERSION_SCHEMA))


def published(bench: Bench) -> list[tuple[Any, ...]]:
    return [(row[1], row[2], row[3], row[9], row[10]) for row in bench.run("queries/calendar")]


def test_a_newer_version_ends_the_one_before_it(bench: Bench) -> None:
    told(bench, ("a", 0, "confirmed"), ("b", 0, "confirmed"))
    bench.next_night(date(2026, 4, 7))
    told(bench)
    bench.next_night(date(2026, 4, 8))
    told(bench, ("a", 1, "cancelled"))
    assert bench.select("calendar_history", HISTORY) == [
        ("a", 0, "confirmed", 1, 3),
        ("a", 1, "cancelled", 3, None),
        ("b", 0, "confirmed", 1, None),
    ]
    assert fetch_newest_versions(bench.connection)["summary"].to_list() == ["b 0"]
    # What was cancelled matters where it is wanted again.
    replace_events(bench.connection, EVENT)
    assert fetch_newest_versions(bench.connection)["summary"].to_list() == ["a 1", "b 0"]
    assert bench.run("invariants/one_newest_version_an_event") == []


def test_a_night_s_changes_are_those_that_it_made(bench: Bench) -> None:
    told(bench, ("b", 0, "confirmed"), ("a", 0, "confirmed"))
    bench.next_night(date(2026, 4, 7))
    told(bench, ("a", 1, "cancelled"))
    changes = [fetch_changes(bench.connection, night)["summary"].to_list() for night in (1, 2, 3)]
    assert changes == [["a 0", "b 0"], ["a 1"], []]
    assert fetch_changes(bench.connection, 1).schema == VERSION_SCHEMA


def test_a_file_holds_what_stands_and_what_was_cancelled_in_sixty_days(bench: Bench) -> None:
    told(bench, ("a", 0, "confirmed"), ("b", 0, "confirmed"), ("c", 0, "confirmed"))
    replace_events(bench.connection, EVENT)
    bench.next_night(date(2026, 4, 7))
    told(bench, ("b", 1, "cancelled"))
    bench.next_night(date(2026, 4, 8))
    told(bench, ("c", 1, "cancelled"))
    bench.next_night(date(2026, 6, 5))
    assert published(bench) == [
        ("a", 0, "confirmed", "x", date(2026, 4, 6)),
        ("b", 1, "cancelled", None, date(2026, 4, 7)),
        ("c", 1, "cancelled", None, date(2026, 4, 8)),
    ]
    bench.next_night(date(2026, 6, 6))
    assert [row[0] for row in published(bench)] == ["a", "c"]
