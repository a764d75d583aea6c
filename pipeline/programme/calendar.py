"""A site's calendar file (RFC 5545, with NAME and REFRESH-INTERVAL of RFC 7986), to subscribe to or to import.

What it does not hold, and why. No METHOD: RFC 5546 asks of every published event for an ORGANIZER, whose address mail
programs answer to; without a METHOD a file is a plain statement of how things stand (RFC 5545, 3.7.2), and DTSTAMP
tells when an event was last changed (3.8.7.2). No ATTENDEE and no alarm: nothing here mails or wakes anybody. Events
are TRANSPARENT: they say what is to be done, not who is busy. DTSTAMP is midnight UTC of the night's day, because
files hang on no clock; two changes on one day are told apart by SEQUENCE.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from icalendar import Calendar
from icalendar import Event as CalendarComponent

from pipeline.programme.calendar_history import Status
from pipeline.programme.calendar_words import clean, load_words
from pipeline.programme.calendar_zone import make_zone

REFRESH: Final = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Entry:
    """One event of the file. `starts_at` is by the clock of `time_zone`; a cancelled one needs no description."""

    uid: str
    sequence: int
    status: Status
    starts_at: datetime
    time_zone: str
    minutes: int
    location: str
    summary: str
    description: Sequence[str]
    changed_on: date


def make_calendar(
    site_name: str, language: str, time_zone: str, as_of: date, entries: Sequence[Entry]
) -> bytes:
    """The file of one site: CRLF, lines of at most 75 octets, the same bytes for the same entries.

    Without entries it holds the time zone alone: RFC 5545, 3.6 asks for at least one component.
    """
    words = load_words(language)
    calendar = Calendar()
    calendar.add("prodid", f"-//Leachbook//Sampling calendar//{language.upper()}")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("name", clean(words.calendar.format(site=site_name)))
    calendar.add("refresh-interval", REFRESH, {"VALUE": "DURATION"})
    ordered = sorted(entries, key=lambda entry: (entry.starts_at, entry.uid))
    for name in sorted({time_zone, *(entry.time_zone for entry in ordered)}):
        years = [as_of.year, *(entry.starts_at.year for entry in ordered if entry.time_zone == name)]
        calendar.add_component(make_zone(name, min(years), max(years) + 1))
    for entry in ordered:
        calendar.add_component(_component(entry, language))
    return bytes(calendar.to_ical(sorted=False))


def _component(entry: Entry, language: str) -> CalendarComponent:
    words = load_words(language)
    is_cancelled = entry.status == "cancelled"
    changed_at = datetime.combine(entry.changed_on, time(0), UTC)
    component = CalendarComponent()
    component.add("uid", entry.uid)
    component.add("dtstamp", changed_at)
    component.add("last-modified", changed_at)
    component.add("sequence", entry.sequence)
    component.add("status", entry.status.upper())
    component.add("dtstart", _first_real(entry.starts_at, ZoneInfo(entry.time_zone)))
    component.add("duration", timedelta(minutes=entry.minutes))
    summary = clean(entry.summary)
    component.add("summary", words.cancelled.format(summary=summary) if is_cancelled else summary)
    if entry.description:
        component.add("description", "\n".join(clean(line) for line in entry.description))
    if clean(entry.location):
        component.add("location", clean(entry.location))
    component.add("categories", [words.category])
    component.add("transp", "TRANSPARENT")
    return component


def _first_real(starts_at: datetime, zone: ZoneInfo) -> datetime:
    """A local time in its zone; one that the clock leaps over is moved to where it lands, as clocks show it."""
    return starts_at.replace(tzinfo=zone).astimezone(UTC).astimezone(zone)
