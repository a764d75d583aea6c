"""Calendars over nights: whoever imports the newest file has what is due now, whatever came between."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, time, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.programme.calendar_events import AskedSampling, Habit, choose_samplings, make_events
from pipeline.programme.calendar_history import next_versions
from tests.examples import examples
from tests.programme.calendars import DAY, HABIT, Client, Nights, asked, read_events

BY_LOT = replace(HABIT, unit="lot")


def later(days: int) -> date:
    return DAY + timedelta(days=days)


def overdue(lot: str, due_on: date, day: date) -> AskedSampling:
    """A sampling that was to be taken on a day, as it is asked for on another."""
    return as_of(asked(lot, due_on=due_on), day)


def as_of(row: AskedSampling, day: date) -> AskedSampling:
    """The sampling as it is asked for on a day."""
    return replace(row, starts_on=max(row.due_on, day), days_overdue=max(0, (day - row.due_on).days))


def facts(events: Mapping[str, Any]) -> set[tuple[Any, ...]]:
    return {
        (uid, str(one["SUMMARY"]), one["DTSTART"].dt, str(one["DESCRIPTION"])) for uid, one in events.items()
    }


def sequences(data: bytes) -> list[tuple[str, int]]:
    return [(str(event["STATUS"]), event["SEQUENCE"]) for event in read_events(data)]


def test_an_event_that_does_not_change_is_told_in_the_same_words() -> None:
    nights = Nights()
    row = asked("A", due_on=later(9))
    first = nights.run(DAY, [row])
    assert nights.run(later(1), [row]) == first
    assert sequences(first) == [("CONFIRMED", 0)]


def test_by_lot_an_event_moves_and_grows_overdue_under_its_uid() -> None:
    nights = Nights()
    told = []
    for day, due in ((0, later(9)), (1, later(2)), (2, later(2)), (3, later(2)), (4, later(2))):
        (event,) = read_events(nights.run(later(day), [overdue("A", due, later(day))], BY_LOT))
        summary = str(event["SUMMARY"]).partition("min")[2]
        told.append((event["SEQUENCE"], event["DTSTART"].dt.date(), summary, event["DTSTAMP"].dt.date()))
    assert told == [
        (0, later(9), "", DAY),
        (1, later(2), "", later(1)),
        (1, later(2), "", later(1)),
        (2, later(3), ", overdue 1 day", later(3)),
        (3, later(4), ", overdue 2 days", later(4)),
    ]
    assert sequences(nights.run(later(5), [], BY_LOT)) == [("CANCELLED", 4)]
    # A new cause is a new event; what is cancelled says so with the words it had.
    data = nights.run(later(6), [asked("A", due_on=later(19), caused_on=later(5))], BY_LOT)
    assert sequences(data) == [("CANCELLED", 4), ("CONFIRMED", 0)]
    assert str(next(read_events(data))["SUMMARY"]).startswith("Cancelled: Sample A petunia, House 1: 5 pots")


def test_by_house_an_overdue_lot_joins_today() -> None:
    nights, client = Nights(), Client()
    rows = [asked("A"), asked("B", due_on=later(1))]
    client.take(nights.run(DAY, rows))
    assert len(client.shown) == 2
    client.take(nights.run(later(1), [as_of(row, later(1)) for row in rows]))
    (event,) = client.shown.values()
    assert str(event["SUMMARY"]) == "Sample House 1: 2 lots, 10 pots, about 40 min, 1 lot overdue 1 day"
    # The older one taken, the other stands under the UID that it had.
    client.take(nights.run(later(2), [as_of(rows[1], later(2))]))
    (event,) = client.shown.values()
    assert str(event["SUMMARY"]) == "Sample House 1: 1 lot, 5 pots, about 20 min, overdue 1 day"
    assert (event["SEQUENCE"], event["DTSTART"].dt.date()) == (2, later(2))


def test_by_house_what_nobody_takes_moves_on_and_leaves_no_trail() -> None:
    nights = Nights()
    for day in range(30):
        data = nights.run(later(day), [as_of(asked("A"), later(day))])
    assert sequences(data) == [("CONFIRMED", 29)]


def test_an_event_that_comes_back_is_newer_than_its_cancelling() -> None:
    nights, client = Nights(), Client()
    for day, rows in enumerate(([asked("A")], [], [asked("A")], [])):
        client.take(nights.run(later(day), rows))
        assert len(client.shown) == len(rows)
    assert sequences(nights.run(later(9), [])) == [("CANCELLED", 3)]


def test_a_night_that_is_run_again_adds_nothing() -> None:
    events = make_events([asked("A"), asked("B", house="2")], HABIT)
    versions = next_versions([], events)
    assert len(versions) == 2
    assert next_versions(versions, events) == []
    assert next_versions(next_versions(versions, []), []) == []


def test_a_second_run_of_one_day_is_newer_by_its_sequence_alone() -> None:
    nights, client = Nights(), Client()
    client.take(nights.run(DAY, [asked("A")]))
    client.take(nights.run(DAY, [asked("A"), asked("B")]))
    (event,) = client.shown.values()
    assert (event["SEQUENCE"], event["DTSTAMP"].dt.date()) == (1, DAY)
    assert "2 lots" in event["SUMMARY"]


@dataclass(frozen=True)
class Night:
    """What a site asks for on one night, in which unit, and whether somebody imports the file of it."""

    samplings: tuple[AskedSampling, ...]
    habit: Habit
    days_later: int
    is_imported: bool


@st.composite
def samplings(draw: st.DrawFn) -> AskedSampling:
    """Any of a few lots for any cause, due some days back to some days ahead of DAY, before a night moves it."""
    return asked(
        draw(st.sampled_from("ABC")),
        house=draw(st.sampled_from(["1", "2", " 1 ", None])),
        why=draw(st.sampled_from(["first", "routine", "after_out", "after_treatment", "symptoms"])),
        caused_on=later(-draw(st.integers(1, 3))),
        due_on=later(draw(st.integers(-4, 12))),
        pots=draw(st.sampled_from([5, 10])),
        minutes=Decimal(draw(st.sampled_from(["20.00", "40.00"]))),
    )


HABITS = st.builds(
    replace,
    st.just(HABIT),
    unit=st.sampled_from(["lot", "house_day"]),
    starts_at=st.sampled_from([time(8), time(8), time(6, 30)]),
    language=st.sampled_from(["en", "en", "es"]),
)
NIGHTS = st.lists(
    st.builds(
        Night,
        samplings=st.lists(samplings(), max_size=5).map(tuple),
        habit=HABITS,
        days_later=st.integers(0, 3),
        is_imported=st.booleans(),
    ),
    min_size=1,
    max_size=7,
)


@settings(max_examples=examples(60), deadline=None)
@given(NIGHTS)
def test_whoever_imports_the_newest_file_has_what_is_due(course: list[Night]) -> None:
    nights, client, day = Nights(), Client(), DAY
    highest: dict[str, int] = {}
    for night in course:
        day += timedelta(days=night.days_later)
        rows = [as_of(row, day) for row in night.samplings]
        data = nights.run(day, rows, night.habit)
        events = list(read_events(data))
        assert len({str(event["UID"]) for event in events}) == len(events)
        for event in events:
            assert event["SEQUENCE"] >= highest.get(str(event["UID"]), 0)
            assert event["DTSTAMP"].dt.date() <= day
            highest[str(event["UID"])] = event["SEQUENCE"]
        if night.is_imported or night is course[-1]:
            client.take(data)
            due = {
                (one.uid, one.summary, one.starts_at, "\n".join(one.description))
                for one in make_events(rows, night.habit)
            }
            shown = {
                (uid, text, at.replace(tzinfo=None), told) for uid, text, at, told in facts(client.shown)
            }
            assert shown == due


@pytest.mark.parametrize(("again_on", "is_answered"), [(2, True), (1, False)])
def test_a_pair_is_the_retest_after_a_pair_once_it_is_whole(again_on: int, *, is_answered: bool) -> None:
    rows = [
        asked("A", why="feed_pair", purposes="before_feed", due_on=later(1), nth=1),
        asked("A", why="feed_pair", purposes="after_feed", due_on=later(2), nth=1),
        asked("A", why="after_pair_out", purposes="retest", due_on=later(again_on), nth=2),
    ]
    told = sorted({one.why for one in choose_samplings(rows)})
    assert told == (["feed_pair"] if is_answered else ["after_pair_out", "feed_pair"])


def test_what_was_left_out_for_another_answers_nothing() -> None:
    """The routine sampling stands for the retest after out, not for the one after a treatment that comes with it."""
    rows = [
        asked("A", why="routine", due_on=later(1), nth=1),
        asked("A", why="after_out", purposes="retest", due_on=later(5), nth=2),
        asked("A", why="after_treatment", purposes="retest", due_on=later(5), not_before=later(5), nth=3),
    ]
    assert [one.why for one in choose_samplings(rows)] == ["routine", "after_treatment"]
    assert [one.why for one in choose_samplings(rows[1:])] == ["after_out"]
    assert [one.why for one in choose_samplings(as_of(row, later(5)) for row in rows)] == ["routine"]


@settings(max_examples=examples(60), deadline=None)
@given(st.lists(samplings(), max_size=6))
def test_by_house_and_day_every_sampling_is_in_exactly_one_event(rows: list[AskedSampling]) -> None:
    rows = [as_of(row, DAY) for row in rows]
    events = make_events(rows, HABIT)
    assert len({event.uid for event in events}) == len(events)
    assert sum(len(event.description) for event in events) == len(choose_samplings(rows))
    assert len({(event.starts_at, event.location) for event in events}) == len(events)
