"""Calendars of a night: what they show, what changed since the night before, and how the archive keeps it.

What was made known to people's calendars does not follow from facts: it hangs on how that night's Leachbook judged and
worded. So it is kept as it was, in the archive, and a night that is replayed takes it from there.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, fields
from datetime import datetime, time

import polars as pl

from pipeline.errors import ArchiveError
from pipeline.programme.calendar_events import AskedSampling, Event, Habit, make_events
from pipeline.programme.calendar_history import Version, next_versions
from pipeline.settings import Settings, SiteSettings
from pipeline.warehouse.calendar_tables import (
    EVENT_SCHEMA,
    VERSION_SCHEMA,
    add_versions,
    fetch_calendar_dues,
    fetch_changes,
    fetch_newest_versions,
    replace_events,
)
from pipeline.warehouse.connect import Connection

_LISTED = "calendar"


def keep_calendars(connection: Connection, settings: Settings, night_no: int) -> None:
    """Work out tonight's events and write down what is new about them. Dues must be there."""
    events = _show(connection, settings)
    known = [Version(**row) for row in fetch_newest_versions(connection).to_dicts()]
    add_versions(connection, night_no, _frame(next_versions(known, events)))


def replay_calendars(
    connection: Connection, settings: Settings, night_no: int, kept: bytes | None, *, is_judged: bool
) -> None:
    """Write down what a night made known when it was run; `kept` is as from `pack_changes`.

    `is_judged`: dues are there, so that the events of that night can be shown. Raises ArchiveError.
    """
    if is_judged:
        _show(connection, settings)
    add_versions(connection, night_no, _frame([] if kept is None else _unpack(kept)))


def pack_changes(connection: Connection, night_no: int) -> bytes | None:
    """What a night made known, as the archive keeps it; None where it was nothing."""
    rows = fetch_changes(connection, night_no).to_dicts()
    if not rows:
        return None
    told = [{**row, "starts_at": row["starts_at"].isoformat()} for row in rows]
    text = json.dumps({_LISTED: told}, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return text.encode()


def _show(connection: Connection, settings: Settings) -> list[Event]:
    names = [field.name for field in fields(AskedSampling)]
    asked = [AskedSampling(**row) for row in fetch_calendar_dues(connection).select(names).to_dicts()]
    events = [
        event
        for site in settings.sites
        for event in make_events(
            (one for one in asked if one.site_id == site.id), _habit(settings.group.name, site)
        )
    ]
    replace_events(connection, _event_frame(events))
    return events


def _habit(group: str, site: SiteSettings) -> Habit:
    return Habit(
        group=group,
        site_id=site.id,
        unit=site.calendar,
        starts_at=time.fromisoformat(site.calendar_time),
        time_zone=site.time_zone,
        language=site.language,
        date_format=site.date_format,
    )


def _event_frame(events: Iterable[Event]) -> pl.DataFrame:
    rows = [
        {
            **{name: getattr(event, name) for name in EVENT_SCHEMA if name != "description"},
            "description": "\n".join(event.description),
        }
        for event in events
    ]
    return pl.DataFrame(rows, schema=EVENT_SCHEMA)


def _frame(versions: Iterable[Version]) -> pl.DataFrame:
    return pl.DataFrame([asdict(version) for version in versions], schema=VERSION_SCHEMA)


def _unpack(kept: bytes) -> list[Version]:
    try:
        return [
            Version(**{**row, "starts_at": datetime.fromisoformat(row["starts_at"])})
            for row in json.loads(kept)[_LISTED]
        ]
    except (ValueError, KeyError, TypeError) as error:
        raise ArchiveError(
            "archive: a night's calendars cannot be read by this Leachbook; install the Leachbook that wrote them."
        ) from error
