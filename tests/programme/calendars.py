"""Asked samplings, nights without a warehouse, and a calendar as people have it: files go in, events stand in it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

import icalendar
from ical.calendar import Calendar as SecondCalendar
from ical.calendar_stream import IcsCalendarStream

from pipeline.programme.calendar import Entry, make_calendar
from pipeline.programme.calendar_events import AskedSampling, Event, Habit, make_events
from pipeline.programme.calendar_history import Version, next_versions

DAY = date(2026, 4, 6)
HABIT = Habit(
    group="Small group",
    site_id="hill",
    unit="house_day",
    starts_at=time(8),
    time_zone="Europe/Berlin",
    language="en",
    date_format="%Y-%m-%d",
)


def asked(lot: str = "A", **changes: Any) -> AskedSampling:
    """A routine sampling of a lot in house 1, due on DAY: five pots, twenty minutes."""
    values = {
        "site_id": "hill",
        "lot_key": lot.strip().lower(),
        "lot_id": lot,
        "house": "1",
        "bench": None,
        "crop": "petunia",
        "cultivar": None,
        "why": "routine",
        "purposes": "routine",
        "due_on": DAY,
        "not_before": None,
        "caused_on": DAY - timedelta(days=14),
        "starts_on": changes.get("due_on", DAY),
        "days_overdue": 0,
        "pots": 5,
        "nth": 1,
        "minutes": Decimal("20.00"),
    }
    return AskedSampling(**{**values, **changes})


def entry_of(version: Version, event: Event | None, changed_on: date) -> Entry:
    """What the file says of a version; `event` is the one that stands, None once it is cancelled."""
    return Entry(
        uid=version.uid,
        sequence=version.sequence,
        status=version.status,
        starts_at=version.starts_at,
        time_zone=version.time_zone,
        minutes=version.minutes,
        location=version.location,
        summary=version.summary,
        description=() if event is None else event.description,
        changed_on=changed_on,
    )


@dataclass
class Nights:
    """Nights of one site one after the other, with all that was ever made known."""

    newest: dict[str, tuple[Version, date]] = field(default_factory=dict)
    events: dict[str, Event] = field(default_factory=dict)

    def run(self, day: date, samplings: Iterable[AskedSampling], habit: Habit = HABIT) -> bytes:
        """The file of a night."""
        self.events = {event.uid: event for event in make_events(samplings, habit)}
        known = [version for version, _ in self.newest.values()]
        for version in next_versions(known, self.events.values()):
            self.newest[version.uid] = (version, day)
        entries = [entry_of(one, self.events.get(one.uid), day_of) for one, day_of in self.newest.values()]
        return make_calendar("Hill", habit.language, habit.time_zone, day, entries)


@dataclass
class Client:
    """A calendar program: of two files' events with one UID the higher SEQUENCE stands, cancelled ones are hidden."""

    held: dict[str, Any] = field(default_factory=dict)

    def take(self, data: bytes) -> None:
        for event in read_events(data):
            uid = str(event["UID"])
            if uid not in self.held or event["SEQUENCE"] > self.held[uid]["SEQUENCE"]:
                self.held[uid] = event

    @property
    def shown(self) -> dict[str, Any]:
        return {uid: event for uid, event in self.held.items() if event["STATUS"] == "CONFIRMED"}


def read_events(data: bytes) -> Iterator[Any]:
    """Events of a file as the first library reads them."""
    return iter(icalendar.Calendar.from_ical(data).walk("VEVENT"))


def read_second(data: bytes) -> SecondCalendar:
    """A file as a second, independent library reads it; it refuses what RFC 5545 does not allow."""
    return IcsCalendarStream.calendar_from_ics(data.decode())


def unfold(data: bytes) -> list[str]:
    """Content lines as RFC 5545 section 3.1 puts them together."""
    assert data.endswith(b"\r\n")
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert b"\r" not in data.replace(b"\r\n", b"")
    for line in data.split(b"\r\n"):
        assert len(line) <= 75
        line.decode()  # no letter is cut in two
    return data.decode().replace("\r\n ", "").removesuffix("\r\n").split("\r\n")


def find_lines(data: bytes, name: str) -> list[str]:
    """Content lines of one property, wherever they stand."""
    return [line for line in unfold(data) if line.startswith((f"{name}:", f"{name};"))]


def local(day: date, hour: str = "08:00") -> datetime:
    return datetime.combine(day, time.fromisoformat(hour))
