"""The second reckoning of calendars: what it finds different, and what one sampling answers."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest

from tests.oracle.calendar import compare_calendar, samplings_to_take
from tests.oracle.dues import Account, Due, Symptoms, answers

TODAY = date(2026, 4, 6)


def event(**changes: Any) -> dict[str, Any]:
    shown = {
        "starts_at": "2026-04-06T08:00:00",
        "time_zone": "UTC",
        "minutes": 20,
        "location": "House 1",
        "description": ["A"],
        "status": "confirmed",
    }
    return {**shown, **changes}


WANTED = [
    {
        "starts_at": "2026-04-06T08:00:00",
        "time_zone": "UTC",
        "minutes": 20,
        "location": "House 1",
        "samplings": 1,
    }
]


@pytest.mark.parametrize(
    ("change", "differences"),
    [
        ({}, 0),
        ({"starts_at": "2026-04-06T09:00:00"}, 2),
        ({"minutes": 21}, 2),
        ({"location": ""}, 2),
        ({"description": ["A", "B"]}, 2),
        ({"status": "cancelled"}, 1),
    ],
)
def test_what_differs_is_told(change: dict[str, Any], differences: int) -> None:
    assert len(compare_calendar([event(**change)], WANTED, "site")) == differences


def test_events_are_counted() -> None:
    assert compare_calendar([event(), event()], WANTED, "site") == [
        "site: only the summary has ('2026-04-06T08:00:00', 'UTC', 20, 'House 1', 1)"
    ]
    assert compare_calendar([event(status="cancelled"), event()], WANTED, "site") == []


def account(end: date | None = None, is_closed: Callable[[date], bool] = lambda _: False) -> Account:
    return Account(
        start=TODAY - timedelta(days=30),
        end=end,
        is_problem_crop=False,
        first_within=7,
        interval=14,
        after_out_within=7,
        pots=5,
        taken=(),
        retests=(),
        excuses=(),
        is_closed=is_closed,
        is_fed=None,
        symptoms_on=lambda _: Symptoms(3, 14, 5),
    )


def due(why: str, in_days: int, purposes: str = "routine", not_before: date | None = None) -> Due:
    on = TODAY + timedelta(days=in_days)
    return Due(why, on, on, TODAY - timedelta(days=20), purposes, 5, not_before=not_before)


def test_samplings_are_taken_on_days_that_are_open_and_in_four_weeks() -> None:
    weekend_and_monday = account(is_closed=lambda day: day.weekday() in (5, 6, 0))
    assert samplings_to_take(weekend_and_monday, [due("routine", -3)], TODAY)[0][0] == date(2026, 4, 7)
    assert samplings_to_take(account(), [due("routine", 27)], TODAY) != []
    assert samplings_to_take(account(), [due("routine", 28)], TODAY) == []
    assert samplings_to_take(account(end=TODAY), [due("routine", 1)], TODAY) == []


def test_what_is_taken_answers_what_it_can() -> None:
    wait = TODAY + timedelta(days=5)
    dues = [
        due("routine", 1),
        due("after_out", 5, "retest"),
        due("after_treatment", 5, "retest", wait),
        due("symptoms", 2, "affected,healthy"),
    ]
    assert [one.why for _, _, one in samplings_to_take(account(), dues, TODAY)] == [
        "routine",
        "symptoms",
        "after_treatment",
    ]
    assert answers(TODAY, "before_feed,after_feed", due("routine", 3))
    assert not answers(TODAY, "before_feed,after_feed", due("after_out", 3, "retest"))
