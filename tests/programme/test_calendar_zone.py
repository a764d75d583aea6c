"""Time zones as calendars read them, held against the zone's own data and read by three readers of VTIMEZONE."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import pytest
from ical.calendar_stream import IcsCalendarStream
from ical.timezone import IcsTimezoneInfo

from pipeline.programme.calendar_zone import find_changes, make_zone

ZONES = (
    "Europe/Berlin",
    "America/New_York",
    "America/Mexico_City",
    "Australia/Adelaide",
    "Australia/Lord_Howe",
    "Europe/Dublin",
    "Africa/Casablanca",
    "America/St_Johns",
    "Asia/Kathmandu",
    "UTC",
)


def offset_by_the_standard(zone: Any, local: datetime) -> timedelta:
    """RFC 5545, 3.6.5 in five lines: the observance with the last onset not after a local time holds."""
    onsets = sorted(
        (one["DTSTART"].dt - one["TZOFFSETFROM"].td, one["DTSTART"].dt, one["TZOFFSETTO"].td)
        for one in zone.subcomponents
    )
    offset: timedelta = [to for _, onset, to in onsets if onset <= local][-1]
    return offset


def local_hours(zone: ZoneInfo) -> list[datetime]:
    """Every half hour of 2026 to 2028 by the zone's own clock, but those that are skipped or come twice."""
    found = []
    instant = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(days=1)
    while instant.year < 2029:
        local = instant.astimezone(zone).replace(tzinfo=None)
        if local.replace(tzinfo=zone, fold=0).utcoffset() == local.replace(tzinfo=zone, fold=1).utcoffset():
            found.append(local)
        instant += timedelta(minutes=30)
    return found


def as_file(zone: icalendar.Timezone) -> str:
    return f"BEGIN:VCALENDAR\r\nPRODID:x\r\nVERSION:2.0\r\n{zone.to_ical().decode()}END:VCALENDAR\r\n"


@pytest.mark.parametrize("name", ZONES)
def test_each_half_hour_has_its_offset(name: str) -> None:
    component, zone = make_zone(name, 2026, 2028), ZoneInfo(name)
    written = icalendar.Timezone.from_ical(component.to_ical())
    for local in local_hours(zone):
        assert offset_by_the_standard(written, local) == local.replace(tzinfo=zone).utcoffset(), local


@pytest.mark.parametrize("name", ZONES)
def test_both_libraries_reckon_with_it(name: str) -> None:
    component, zone = make_zone(name, 2026, 2028), ZoneInfo(name)
    written: Any = icalendar.Timezone.from_ical(component.to_ical())
    one = written.to_tz(lookup_tzid=False)
    (other_zone,) = IcsCalendarStream.calendar_from_ics(as_file(component)).timezones
    other = IcsTimezoneInfo.from_timezone(other_zone)
    for local in local_hours(zone)[::16]:
        right = local.replace(tzinfo=zone).utcoffset()
        assert local.replace(tzinfo=one).utcoffset() == right, local
        assert local.replace(tzinfo=other).utcoffset() == right, local


def test_a_change_is_written_with_the_time_before_it() -> None:
    written = make_zone("Australia/Adelaide", 2026, 2026).to_ical(sorted=False).decode().replace("\r\n", "\n")
    assert (
        "BEGIN:STANDARD\nDTSTART:20260405T030000\nRDATE:20260405T030000\nTZOFFSETFROM:+1030\nTZOFFSETTO:+0930\nTZNAME:ACST\n"
        in written
    )
    assert (
        "BEGIN:DAYLIGHT\nDTSTART:20261004T020000\nRDATE:20261004T020000\nTZOFFSETFROM:+0930\nTZOFFSETTO:+1030\nTZNAME:ACDT\n"
        in written
    )


def test_changes_are_found_to_the_second() -> None:
    found = find_changes(
        ZoneInfo("America/New_York"), datetime(2026, 1, 1, tzinfo=UTC), datetime(2027, 1, 1, tzinfo=UTC)
    )
    # 2 a.m. on the second Sunday of March and the first of November: 15 USC 260a.
    assert list(found) == [datetime(2026, 3, 8, 7, tzinfo=UTC), datetime(2026, 11, 1, 6, tzinfo=UTC)]
