"""Which versions of events a night adds: an event that is new, reads differently, went away or came back.

Calendars take the event with the higher SEQUENCE for the newer one, so it only ever grows, also when an event that
was cancelled is wanted again. An event that is no longer wanted is kept as cancelled: a file in which it were only
missing would leave it in every calendar that imported it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from pipeline.programme.calendar_events import Event

Status = Literal["confirmed", "cancelled"]


@dataclass(frozen=True, slots=True)
class Version:
    """One version of an event, as it was made known. `digest` is of what it said (see Event), empty once cancelled."""

    site_id: str
    uid: str
    sequence: int
    status: Status
    starts_at: datetime
    time_zone: str
    minutes: int
    location: str
    summary: str
    digest: str


def next_versions(known: Iterable[Version], events: Iterable[Event]) -> list[Version]:
    """Versions to add to the newest ones that are known, one at most of an event; ordered by site and UID.

    Equal events add nothing, so a night that is run again for the same facts changes no calendar.
    """
    newest = {one.uid: one for one in known}
    wanted = {event.uid: event for event in events}
    added = [
        _confirmed(event, newest.get(uid))
        for uid, event in wanted.items()
        if uid not in newest or newest[uid].digest != event.digest
    ]
    added += [
        _cancelled(version)
        for uid, version in newest.items()
        if version.status == "confirmed" and uid not in wanted
    ]
    return sorted(added, key=lambda version: (version.site_id, version.uid))


def _confirmed(event: Event, before: Version | None) -> Version:
    return Version(
        site_id=event.site_id,
        uid=event.uid,
        sequence=0 if before is None else before.sequence + 1,
        status="confirmed",
        starts_at=event.starts_at,
        time_zone=event.time_zone,
        minutes=event.minutes,
        location=event.location,
        summary=event.summary,
        digest=event.digest,
    )


def _cancelled(version: Version) -> Version:
    return Version(
        site_id=version.site_id,
        uid=version.uid,
        sequence=version.sequence + 1,
        status="cancelled",
        starts_at=version.starts_at,
        time_zone=version.time_zone,
        minutes=version.minutes,
        location=version.location,
        summary=version.summary,
        digest="",
    )
