"""A time zone as calendars read it: a VTIMEZONE with each change of the clock in a span of years.

Each change has an observance of its own, so that no rule has to be guessed from the data of the zone. An observance
begins, as RFC 5545 section 3.6.5 has it, at the local time *before* the change: in spring at 02:00 in Berlin, although
no clock there shows it. (`icalendar` 7.3 writes 03:00, an hour late, so this is not left to it.)
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from icalendar import Timezone, TimezoneDaylight, TimezoneStandard

_STEP = timedelta(days=1)
_SECOND = timedelta(seconds=1)


def make_zone(name: str, first_year: int, last_year: int) -> Timezone:
    """The VTIMEZONE of an IANA zone, right from the first day of one year to the last day of another."""
    zone = ZoneInfo(name)
    component = Timezone()
    component.add("tzid", name)
    start = datetime(first_year, 1, 1, tzinfo=UTC) - _STEP
    for instant in (start, *find_changes(zone, start, datetime(last_year + 1, 1, 2, tzinfo=UTC))):
        component.add_component(_observance(zone, instant, is_first=instant == start))
    return component


def find_changes(zone: ZoneInfo, start: datetime, end: datetime) -> Iterator[datetime]:
    """Instants in UTC from which a zone has another offset or name, between two instants."""
    before = start
    while before < end:
        after = before + _STEP
        if _offset(zone, before) != _offset(zone, after):
            yield _change_between(zone, before, after)
        before = after


def _change_between(zone: ZoneInfo, before: datetime, after: datetime) -> datetime:
    old = _offset(zone, before)
    while after - before > _SECOND:
        middle = before + (after - before) // 2
        middle = middle.replace(microsecond=0)
        if middle == before:
            break
        if _offset(zone, middle) == old:
            before = middle
        else:
            after = middle
    return after


def _offset(zone: ZoneInfo, instant: datetime) -> tuple[timedelta | None, str | None]:
    local = instant.astimezone(zone)
    return local.utcoffset(), local.tzname()


def _observance(zone: ZoneInfo, instant: datetime, *, is_first: bool) -> TimezoneStandard | TimezoneDaylight:
    after = instant.astimezone(zone)
    before = after if is_first else (instant - _SECOND).astimezone(zone)
    offset = before.utcoffset() or timedelta(0)
    observance = TimezoneDaylight() if after.dst() else TimezoneStandard()
    onset = (instant + offset).replace(tzinfo=None)
    observance.add("dtstart", onset)
    # The same again, which the standard ignores: some readers take onsets from RDATE and RRULE alone.
    observance.add("rdate", [onset])
    observance.add("tzoffsetfrom", offset)
    observance.add("tzoffsetto", after.utcoffset() or timedelta(0))
    observance.add("tzname", after.tzname() or "")
    return observance
