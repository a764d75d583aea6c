"""Dues, states and plan on accounts written out by hand; days of March 2026, of which the 2nd is a Monday."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.oracle import small_home
from tests.oracle.dues import (
    Account,
    Excuse,
    Symptoms,
    Taken,
    dues_on,
    open_note,
    pair_days,
    plan_on,
    state_on,
)
from tests.oracle.small_home import lot_named, pots, summary_of

START = date(2026, 3, 1)


def march(number: int) -> date:
    return START + timedelta(days=number - 1)


def taken(number: int, purpose: str = "routine", pots: int = 5, *, asks: bool = False) -> Taken:
    return Taken(march(number), purpose, pots, 5, asks)


def excuse(first: int, last: int, purpose: str | None = None, entered: int = 1) -> Excuse:
    return Excuse(march(first), march(last), purpose, "sold", "Ann", march(entered))


ACCOUNT = Account(
    start=START,
    end=None,
    is_problem_crop=False,
    first_within=7,
    interval=14,
    after_out_within=7,
    pots=5,
    taken=(),
    retests=(),
    excuses=(),
    is_closed=lambda _: False,
    is_fed=None,
    symptoms_on=lambda _: Symptoms(within=3, spoken_of=14, pots=5),
)


def listed(today: int, **facts: Any) -> list[tuple[str, int, bool]]:
    """Rule, day of March, excused."""
    return [
        (due.why, (due.due_on - START).days + 1, due.excuse is not None)
        for due in dues_on(replace(ACCOUNT, **facts), march(today))
    ]


def test_first_and_routine() -> None:
    assert listed(1) == [("first", 8, False)]
    assert listed(3, taken=(taken(3), taken(4, pots=4))) == [("routine", 17, False)]
    assert listed(4, taken=(taken(3),), is_problem_crop=True, interval=7) == [("problem_crop", 10, False)]


def test_only_what_was_known_that_day() -> None:
    facts = {"taken": (taken(5),), "retests": ((march(6), march(8)),)}
    assert listed(4, **facts) == [("first", 8, False)]
    assert listed(6, **facts) == [("after_treatment", 8, False), ("routine", 19, False)]


def test_a_treatment_takes_the_place_of_after_out() -> None:
    out = (taken(5, asks=True),)
    assert listed(9, taken=out) == [("after_out", 12, False), ("routine", 19, False)]
    assert listed(9, taken=out, retests=((march(5), march(15)),)) == [
        ("after_treatment", 15, False),
        ("routine", 19, False),
    ]
    again = (*out, taken(15, "retest"))
    assert listed(15, taken=again, retests=((march(5), march(15)),)) == [("routine", 29, False)]


def test_closed_days_move_earlier_but_not_into_a_wait() -> None:
    facts: dict[str, Any] = {"is_closed": lambda day: day in (march(7), march(8), march(9))}
    assert listed(1, **facts) == [("first", 6, False)]
    assert listed(3, taken=(taken(2),), retests=((march(2), march(9)),), **facts)[0] == (
        "after_treatment",
        9,
        False,
    )


def test_no_open_day_leaves_the_day_of_the_rule() -> None:
    assert listed(1, is_closed=lambda day: day <= march(8)) == [("first", 8, False)]


def test_excused_and_rolled_on() -> None:
    facts: dict[str, Any] = {"excuses": (excuse(5, 25),)}
    # First on the 8th, then every 14 days; of future ones a single one is listed.
    assert listed(5, **facts) == [("first", 36, False), ("first", 8, True)]
    assert listed(10, **facts) == [("first", 36, False), ("first", 8, True), ("first", 22, True)]
    account = replace(ACCOUNT, **facts)
    for today, state in ((5, "excused"), (25, "excused"), (26, "not_yet"), (30, "due_this_week")):
        assert state_on(account, dues_on(account, march(today)), march(today)) == state


def test_an_excuse_for_retests_alone() -> None:
    facts: dict[str, Any] = {"taken": (taken(5, asks=True),), "excuses": (excuse(10, 20, "retest"),)}
    assert listed(8, **facts) == [("routine", 19, False), ("after_out", 12, True)]


@pytest.mark.parametrize(
    ("more", "noted"),
    [
        ((), 5),
        ((taken(6, "affected"), taken(9, "healthy")), None),
        ((taken(6, "affected"), taken(10, "healthy")), 5),
        ((taken(6, "affected"), taken(6)), None),
        ((taken(6, "affected"), taken(7)), 5),
        ((taken(19),), 5),
        ((taken(20),), None),
        ((taken(6, "affected"), taken(6, "healthy"), taken(12, "affected", 1)), 12),
    ],
)
def test_open_notes(more: tuple[Taken, ...], noted: int | None) -> None:
    account = replace(ACCOUNT, taken=(taken(5, "affected", 1), *more))
    assert open_note(account, march(25)) == (None if noted is None else march(noted))


def test_pairs_around_a_feeding() -> None:
    # Thursdays: the 5th, 12th, 19th of March.
    facts: dict[str, Any] = {"is_fed": lambda day: day.weekday() == 3, "taken": (taken(3),)}
    assert listed(4, **facts) == [("feed_pair", 11, False), ("routine", 17, False)]
    done = (taken(3), taken(11, "before_feed"), taken(12, "after_feed"))
    assert listed(12, **facts | {"taken": done}) == [("feed_pair", 25, False), ("routine", 26, False)]
    assert pair_days(replace(ACCOUNT, taken=done)) == [march(12)]
    late = (taken(11, "before_feed"), taken(13, "after_feed"))
    assert pair_days(replace(ACCOUNT, taken=late)) == []
    assert pair_days(replace(ACCOUNT, taken=late, is_closed=lambda day: day == march(12))) == [march(13)]


def test_the_plan() -> None:
    account = replace(ACCOUNT, is_closed=lambda day: day.weekday() == 6)
    today = march(15)
    planned = plan_on(account, dues_on(account, today), today)
    # Overdue since Saturday the 7th, today is a Sunday: Monday the 16th, then two weeks later.
    assert [(one.plan_on, one.due_on) for one in planned] == [(march(16), march(7)), (march(30), march(30))]
    short = replace(account, end=march(29))
    assert len(plan_on(short, dues_on(short, today), today)) == 1


def test_days_and_feedings_of_a_site_are_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    days = 'no_sampling = ["wednesday"]\nholidays = [2026-04-07]\n'
    monkeypatch.setattr(small_home, "SITE", days + small_home.SITE)
    site = (
        '[[feeding]]\nhouse = "1"\nweekdays = ["monday"]\n'
        '[[export]]\nkind = "exemptions"\nfiles = "drop/excused*.csv"\n[export.columns]\nlot = "lot"\n'
        'from = "from"\nuntil = "until"\nreason = "why"\nperson = "by"\npurpose = "what"\n'
    )
    policy = '[[policy]]\nvalid_from = 2026-01-01\nroutine_by = "container"\nfeed_pair_crops = ["pansy"]\n'
    files = {
        "lots.csv": "lot,house,crop,container,started,ends,plants\nP,1,pansy,pot_4in,2026-02-01,,10\n",
        "readings.csv": "lot,house,date,purpose,pot,n,ph,ec,ml,condition,meter\n"
        + pots("P", "2026-04-01", [(5.8, 1.5, 30)] * 5),
        "excused.csv": "lot,from,until,why,by,what\nP,2026-04-06,2026-04-07,sold,Ann,\n",
    }
    summary = summary_of(tmp_path, [(date(2026, 4, 6), files)], site, policy)
    due = lot_named(summary, "P")["due"]
    # Weekly: 8 April is a Wednesday, the 7th a holiday, the 6th is excused; a week on, the 15th is a Wednesday too.
    assert (due["state"], due["rule_on"], due["due_on"]) == ("excused", "2026-04-15", "2026-04-14")
