"""A site's calendar file: read back by two libraries, in any zone, with any text."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import icalendar
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.programme.calendar_events import AskedSampling, Habit
from tests.examples import examples
from tests.programme.calendars import (
    DAY,
    HABIT,
    Nights,
    asked,
    find_lines,
    read_events,
    read_second,
    unfold,
)

BY_LOT = replace(HABIT, unit="lot")
LONG = "ñ" * 500
NASTY = 'Nave; \\n, "A": x\r\nATTENDEE:mailto:a@b.example\x00\x1b\u2028\u202e é 🌱,\\;'


def file_of(samplings: Sequence[AskedSampling], habit: Habit = HABIT, day: date = DAY) -> bytes:
    return Nights().run(day, samplings, habit)


def test_an_event_reads_as_a_grower_needs_it() -> None:
    data = file_of(
        [
            asked("P-101", cultivar="Coral", bench="B1"),
            asked("P-102", why="after_out", caused_on=date(2026, 3, 30)),
            asked("P-103", due_on=date(2026, 4, 3), starts_on=DAY, days_overdue=3),
        ]
    )
    (event,) = read_events(data)
    assert str(event["SUMMARY"]) == "Sample House 1: 3 lots, 15 pots, about 60 min, 1 lot overdue 3 days"
    assert str(event["DESCRIPTION"]).split("\n") == [
        "P-101 petunia 'Coral', bench B1: 5 pots; routine, last read 2026-03-23; due 2026-04-06",
        "P-102 petunia: 5 pots; again after out of range on 2026-03-30; due 2026-04-06",
        "P-103 petunia: 5 pots; routine, last read 2026-03-23; due 2026-04-03; overdue 3 days",
    ]
    assert str(event["LOCATION"]) == "House 1"
    assert event["DTSTART"].dt.isoformat() == "2026-04-06T08:00:00+02:00"
    assert event["DURATION"].dt == timedelta(minutes=60)


def test_the_whole_file_line_by_line() -> None:
    data = file_of([asked("P-1")], replace(HABIT, time_zone="America/Mexico_City", language="es"))
    assert unfold(data) == [
        "BEGIN:VCALENDAR",
        "PRODID:-//Leachbook//Sampling calendar//ES",
        "VERSION:2.0",
        "CALSCALE:GREGORIAN",
        "NAME:Hill: muestreo",
        "REFRESH-INTERVAL;VALUE=DURATION:P1D",
        "BEGIN:VTIMEZONE",
        "TZID:America/Mexico_City",
        "BEGIN:STANDARD",
        "DTSTART:20251230T180000",
        "RDATE:20251230T180000",
        "TZOFFSETFROM:-0600",
        "TZOFFSETTO:-0600",
        "TZNAME:CST",
        "END:STANDARD",
        "END:VTIMEZONE",
        "BEGIN:VEVENT",
        "UID:86f91290-2f02-5b5a-8130-6b30bd9e0b14@leachbook",
        "DTSTAMP:20260406T000000Z",
        "LAST-MODIFIED:20260406T000000Z",
        "SEQUENCE:0",
        "STATUS:CONFIRMED",
        "DTSTART;TZID=America/Mexico_City:20260406T080000",
        "DURATION:PT20M",
        "SUMMARY:Muestrear Invernadero 1: 1 lote\\, 5 macetas\\, unos 20 min",
        "DESCRIPTION:P-1 petunia: 5 macetas\\; rutina\\, última lectura el 2026-03-23\\; para el 2026-04-06",
        "LOCATION:Invernadero 1",
        "CATEGORIES:Muestreo",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
        "END:VCALENDAR",
    ]


def test_nobody_is_written_to_or_woken() -> None:
    data = file_of([asked("A"), asked("B", house=NASTY, crop=NASTY)])
    names = {line.partition(":")[0].partition(";")[0] for line in unfold(data)}
    assert names.isdisjoint({"METHOD", "ORGANIZER", "ATTENDEE", "TRIGGER", "ACTION", "URL", "ATTACH"})


@pytest.mark.parametrize("unit", ["lot", "house_day"])
def test_both_libraries_read_the_same(unit: str) -> None:
    nights = Nights()
    habit = replace(HABIT, unit=unit, language="es", date_format="%a %d %b %Y")  # type: ignore[arg-type]
    nights.run(DAY, [asked("A"), asked("B", house=NASTY, crop=LONG, cultivar=NASTY), asked("C")], habit)
    data = nights.run(DAY + timedelta(days=1), [asked("A", pots=10, minutes=Decimal("40.5"))], habit)
    first, second = list(read_events(data)), read_second(data)
    assert len(first) == len(second.events) == (3 if unit == "lot" else 2)
    assert {event.status for event in second.events} == {"CONFIRMED", "CANCELLED"}
    by_uid = {event.uid: event for event in second.events}
    for event in first:
        other = by_uid[str(event["UID"])]
        assert event["DTSTART"].dt == other.dtstart
        assert event["DTSTART"].dt.utcoffset() == timedelta(hours=2)
        assert event["DURATION"].dt == other.duration
        assert event["DTSTAMP"].dt == other.dtstamp
        assert event["LAST-MODIFIED"].dt == other.last_modified == other.dtstamp
        assert event["SEQUENCE"] == other.sequence
        assert str(event["STATUS"]) == other.status
        assert str(event["SUMMARY"]) == other.summary
        assert (str(event["DESCRIPTION"]) if "DESCRIPTION" in event else None) == other.description
        assert str(event["LOCATION"]) == other.location
        assert [str(one) for one in event["CATEGORIES"].cats] == other.categories == ["Muestreo"]
        assert str(event["TRANSP"]) == other.transparency == "TRANSPARENT"
        assert other.extras == []
    assert second.name == ["Hill: muestreo"]
    assert second.refresh_interval == timedelta(days=1)
    assert second.prodid == "-//Leachbook//Sampling calendar//ES"
    assert second.extras == []


def test_no_events_make_a_calendar_of_a_time_zone_alone() -> None:
    """RFC 5545, 3.6: a calendar has at least one component; VTIMEZONE is one."""
    data = file_of([])
    assert read_second(data).events == []
    assert [zone.tz_id for zone in read_second(data).timezones] == ["Europe/Berlin"]
    assert list(read_events(data)) == []
    assert find_lines(data, "BEGIN")[1] == "BEGIN:VTIMEZONE"


def test_long_names_are_cut_in_the_heading_and_whole_below_it() -> None:
    data = file_of([asked("A", crop=LONG, house=LONG)], BY_LOT)
    (event,) = read_events(data)
    assert len(str(event["SUMMARY"])) < 120
    assert str(event["SUMMARY"]).startswith("Sample A ñ")
    assert LONG in str(event["DESCRIPTION"])
    assert str(event["LOCATION"]) == LONG


def test_the_same_rows_in_any_order_make_the_same_bytes() -> None:
    rows = [asked(f"{lot}{house}", house=house) for lot in "BAC" for house in ("2", "1", " 1")]
    assert file_of(rows) == file_of(list(reversed(rows)))


def test_a_house_that_is_written_in_different_ways_is_one() -> None:
    data = file_of([asked("A", house=" North  "), asked("B", house="north"), asked("C", house=None)])
    assert [str(event["SUMMARY"]) for event in sorted(read_events(data), key=lambda one: one["SUMMARY"])] == [
        "Sample North: 2 lots, 10 pots, about 40 min",
        "Sample lots without a house: 1 lot, 5 pots, about 20 min",
    ]


def test_two_samplings_of_a_lot_on_one_day_are_one_lot() -> None:
    rows = [asked("A"), asked("A", why="symptoms", purposes="affected,healthy", pots=10, minutes=Decimal(40))]
    (event,) = read_events(file_of(rows))
    assert str(event["SUMMARY"]) == "Sample House 1: 1 lot, 15 pots, about 60 min"
    assert "10 pots; affected and healthy apart; affected plants, noted 2026-03-23" in event["DESCRIPTION"]
    assert len(list(read_events(file_of(rows, BY_LOT)))) == 2


@pytest.mark.parametrize(
    ("days", "told"),
    [
        ((0, 0), "about 40 min"),
        ((1, 1), "about 40 min, overdue 1 day"),
        ((4, 4), "about 40 min, overdue 4 days"),
        ((4, 0), "about 40 min, 1 lot overdue 4 days"),
        ((4, 1), "about 40 min, 2 lots overdue up to 4 days"),
    ],
)
def test_overdue_is_told_in_the_heading(days: tuple[int, int], told: str) -> None:
    rows = [asked(lot, days_overdue=late) for lot, late in zip("AB", days, strict=True)]
    (event,) = read_events(file_of(rows))
    assert str(event["SUMMARY"]).endswith(told)


@pytest.mark.parametrize(
    ("minutes", "whole"), [("0", 1), ("0.25", 1), ("19.99", 20), ("20.00", 20), ("20.01", 21)]
)
def test_minutes_are_whole_and_at_least_one(minutes: str, whole: int) -> None:
    (event,) = read_events(file_of([asked("A", minutes=Decimal(minutes))]))
    assert event["DURATION"].dt == timedelta(minutes=whole)


def test_a_uid_is_of_the_group_and_names_nobody() -> None:
    def uid(habit: Habit, **changes: object) -> str:
        (event,) = read_events(file_of([asked("Anna", **changes)], habit))
        return str(event["UID"])

    for habit in (HABIT, BY_LOT):
        assert uid(habit) == uid(habit, crop="rose", pots=9, cultivar="x", bench="y")
        assert uid(habit) != uid(replace(habit, group="Other group"))
        assert uid(habit) != uid(replace(habit, site_id="other"))
        assert "anna" not in uid(habit).lower()
        assert uid(habit).endswith("@leachbook")
    assert uid(HABIT) != uid(BY_LOT)
    # By lot: a due that moves or whose rule becomes another keeps its event, a new cause makes a new one.
    moved = DAY - timedelta(days=7)
    assert uid(BY_LOT) == uid(BY_LOT, due_on=moved, why="after_out", house="2")
    assert uid(BY_LOT) != uid(BY_LOT, caused_on=moved)
    assert uid(BY_LOT) != uid(BY_LOT, why="after_treatment")
    assert uid(HABIT) != uid(HABIT, due_on=moved)
    assert uid(HABIT) != uid(HABIT, house="2")


TEXT = st.text(st.characters(codec="utf-8"), max_size=80) | st.sampled_from(
    [NASTY, LONG, "\\n", "\\\\n", ";", ",", '"']
)


@settings(max_examples=examples(150), deadline=None)
@given(TEXT, TEXT, TEXT, TEXT, TEXT, st.sampled_from(["lot", "house_day"]), st.sampled_from(["en", "es"]))
def test_any_text_comes_back_from_both_libraries(
    lot: str, house: str, bench: str, crop: str, cultivar: str, unit: str, language: str
) -> None:
    habit = replace(HABIT, unit=unit, language=language)  # type: ignore[arg-type]
    data = file_of([asked(lot, house=house, bench=bench, crop=crop, cultivar=cultivar)], habit)
    lines = unfold(data)
    assert len(lines) == len(unfold(file_of([asked("A")], habit))) - (0 if clean_as_read(house) else 1)
    assert not any(unicodedata.category(sign) == "Cc" for line in lines for sign in line)
    (event,) = read_events(data)
    (other,) = read_second(data).events
    assert clean_as_read(crop) in str(event["DESCRIPTION"])
    assert str(event["DESCRIPTION"]) == other.description
    assert str(event["SUMMARY"]) == other.summary
    assert (str(event["LOCATION"]) if "LOCATION" in event else None) == other.location
    assert file_of([asked(lot, house=house, bench=bench, crop=crop, cultivar=cultivar)], habit) == data


def clean_as_read(text: str) -> str:
    """A second way to say what is left of a text: control signs and line ends are blanks, blanks are single."""
    return " ".join(
        "".join(" " if unicodedata.category(sign) in ("Cc", "Zl", "Zp") else sign for sign in text).split()
    )


def test_times_stand_by_the_clock_of_the_site_across_both_changes() -> None:
    """8 o'clock stays 8 o'clock; the instants move."""
    found = {}
    for zone in ("Europe/Berlin", "America/New_York", "America/Mexico_City", "Australia/Adelaide"):
        habit = replace(HABIT, time_zone=zone)
        days = [date(2026, 1, 15), date(2026, 3, 27), date(2026, 3, 30), date(2026, 7, 1), date(2026, 12, 1)]
        events = list(read_events(file_of([asked(f"{day:%m%d}", due_on=day) for day in days], habit)))
        assert [event["DTSTART"].dt.replace(tzinfo=None).time().hour for event in events] == [8] * 5
        found[zone] = [event["DTSTART"].dt.astimezone(UTC).strftime("%H:%M") for event in events]
    assert found == {
        "Europe/Berlin": ["07:00", "07:00", "06:00", "06:00", "07:00"],
        "America/New_York": ["13:00", "12:00", "12:00", "12:00", "13:00"],
        # Mexico has had no summer time since October 2022.
        "America/Mexico_City": ["14:00"] * 5,
        "Australia/Adelaide": ["21:30", "21:30", "21:30", "22:30", "21:30"],
    }


def test_an_hour_that_the_clock_leaps_over_is_where_clocks_land() -> None:
    from datetime import time

    habit = replace(HABIT, starts_at=time(2, 30))
    data = file_of([asked("A", due_on=date(2026, 3, 29))], habit)
    assert find_lines(data, "DTSTART")[-1] == "DTSTART;TZID=Europe/Berlin:20260329T033000"
    (event,) = read_events(data)
    assert event["DTSTART"].dt.astimezone(UTC) == datetime(2026, 3, 29, 1, 30, tzinfo=UTC)


def test_events_of_a_zone_that_the_site_left_keep_it() -> None:
    nights = Nights()
    nights.run(DAY, [asked("A")])
    data = nights.run(DAY + timedelta(days=1), [], replace(HABIT, time_zone="America/New_York"))
    assert find_lines(data, "TZID") == ["TZID:America/New_York", "TZID:Europe/Berlin"]
    (event,) = read_events(data)
    assert event["DTSTART"].dt.isoformat() == "2026-04-06T08:00:00+02:00"
    assert icalendar.Calendar.from_ical(data).get_missing_tzids() == set()
