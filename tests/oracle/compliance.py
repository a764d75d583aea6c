"""Compliance over a period, walked day by day: what became of every due. Plain and slow, nothing in closed form.

Days on which nobody samples move the plan, not the rule: they are not looked at but for feed days.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction

from tests.oracle.dues import (
    DAY,
    Account,
    Excuse,
    Taken,
    days_from,
    feedings,
    is_compared,
    is_pair_out,
    pair_days,
    pair_from,
    pots_each,
)

TREATED = "after_treatment"
PAIR_OUT = "after_pair_out"


@dataclass(frozen=True)
class Known:
    """When things were received; None: in time. `lost`: days of samplings that counted once, and when they went."""

    lot_on: date | None = None
    samplings: tuple[tuple[date, str, date], ...] = ()
    treatments: tuple[tuple[date, date], ...] = ()
    lost: tuple[tuple[date, date], ...] = ()


@dataclass(frozen=True)
class Judged:
    """One due of the period and its end. `taken`: the day of the sampling that answered it."""

    part: str
    why: str
    caused_on: date
    due_on: date
    state: str
    taken: date | None
    days: int | None
    is_history: bool


@dataclass
class Pending:
    """A due that waits for its sampling."""

    part: str
    why: str
    caused_on: date
    counted_from: date
    due_on: date
    interval: int
    purposes: str
    known_on: date | None
    not_before: date | None = None
    taken: date | None = None
    is_missed: bool = False
    next_on: date | None = None


def is_read(one: Taken) -> bool:
    return one.counts and one.purpose in ("routine", "retest")


def walk_routine(account: Account, last: date, known: Known) -> list[Pending]:
    """Every routine due up to the last day and the one after it."""
    done = {one.day for one in account.taken if is_read(one)} | set(pair_days(account))
    follows = "problem_crop" if account.is_problem_crop else "routine"
    listed: list[Pending] = []

    def ask(why: str, cause: date, counted_from: date, days: int) -> Pending:
        listed.append(
            Pending(
                "routine", why, cause, counted_from, counted_from + days * DAY, days, "routine", known.lot_on
            )
        )
        listed[-1].next_on = listed[-1].due_on + account.interval * DAY
        return listed[-1]

    due = ask("first", account.start, account.start, account.first_within)
    for day in days_from(account.start, last):
        if day == due.next_on:
            due.is_missed = True
            due = ask(follows, due.caused_on, due.due_on, account.interval)
        if day in done:
            due.taken = day
            due = ask(follows, day, day, account.interval)
    return listed


def walk_follow_ups(account: Account, last: date, known: Known) -> list[Pending]:
    """What a mean out of range, a pair out or a treatment asked for; of one day readings come before the treatment."""
    received = {(day, purpose): on for day, purpose, on in known.samplings}
    treated = dict(known.treatments)
    pairs = set(pair_days(account))
    listed: list[Pending] = []
    for day in days_from(account.start, last):
        read = sorted(
            (one for one in account.taken if is_read(one) and one.day == day), key=lambda one: one.purpose
        )
        if read:
            for due in listed:
                if due.taken is None and due.caused_on < day and day >= (due.not_before or day):
                    due.taken = day
            if read[0].asks:
                listed.append(
                    Pending(
                        "follow_up",
                        "after_out",
                        day,
                        day,
                        day + account.after_out_within * DAY,
                        account.after_out_within,
                        "retest",
                        received.get((day, read[0].purpose)),
                    )
                )
        if day in pairs:
            for due in listed:
                if due.why == PAIR_OUT and due.taken is None and due.caused_on < day:
                    due.taken = day
            began = pair_from(account, day)
            is_treated = any(began <= on < day for on, _ in account.retests)
            if not read and not is_treated and is_pair_out(account, day):
                halves = (received.get((began, "before_feed")), received.get((day, "after_feed")))
                listed.append(
                    Pending(
                        "follow_up",
                        PAIR_OUT,
                        day,
                        day,
                        day + account.after_out_within * DAY,
                        account.after_out_within,
                        "retest",
                        max((one for one in halves if one is not None), default=None),
                    )
                )
        for on, over in account.retests:
            if on == day:
                listed = [one for one in listed if one.taken is not None or one.due_on < day]
                listed.append(
                    Pending(
                        "follow_up",
                        TREATED,
                        day,
                        day,
                        over,
                        (over - day).days,
                        "retest",
                        treated.get(day),
                        over,
                    )
                )
    return listed


def walk_symptoms(account: Account, last: date, known: Known) -> list[Pending]:
    """Affected plants noted: a comparison is due; only it answers, a later look closes the note unanswered."""
    received = {(day, purpose): on for day, purpose, on in known.samplings}
    noted = {one.day for one in account.taken if one.purpose == "affected"}
    looked = {one.day for one in account.taken if is_read(one)}
    listed: list[Pending] = []
    is_open = False
    for day in days_from(account.start, last):
        if not is_open and day in noted:
            within = account.symptoms_on(day).within
            listed.append(
                Pending(
                    "follow_up",
                    "symptoms",
                    day,
                    day,
                    day + within * DAY,
                    within,
                    "affected,healthy",
                    received.get((day, "affected")),
                )
            )
            is_open = True
        if not is_open:
            continue
        opened = listed[-1]
        if is_compared(account, opened.caused_on, day, pots_each(account, opened.caused_on)):
            opened.taken, is_open = day, False
        elif day in looked:
            last_noted = max(one for one in noted if one <= day)
            is_open = (day - last_noted).days <= account.symptoms_on(opened.caused_on).spoken_of
    return listed


def walk_pairs(account: Account, routine: Sequence[Pending], last: date) -> list[Pending]:
    """Pairs around the last open feed day before a routine due, where the schedule did not begin anew before it."""
    listed: list[Pending] = []
    for due in routine:
        if account.is_fed is None or due.counted_from != due.caused_on:
            continue
        fed = feedings(account, due.caused_on, due.due_on)
        if not fed or (due.taken is not None and due.taken < fed[-1]):
            continue
        pairs = [day for day in pair_days(account) if due.caused_on < day <= last]
        listed.append(
            Pending(
                "follow_up",
                "feed_pair",
                due.caused_on,
                due.caused_on,
                fed[-1],
                0,
                "before_feed,after_feed",
                due.known_on,
                taken=min(pairs, default=None),
            )
        )
    return listed


def excuse_of(account: Account, due: Pending) -> Excuse | None:
    return next(
        (
            one
            for one in account.excuses
            if one.first <= due.due_on <= one.last
            and (one.purpose is None or one.purpose in due.purposes.split(","))
        ),
        None,
    )


def judge_lot(
    account: Account,
    from_on: date,
    to_on: date,
    first_night: date,
    grace_days: int = 2,
    known: Known | None = None,
    as_of: date = date.max,
) -> list[Judged]:
    """Every due of the period with its end, oldest first."""
    known = known or Known()
    last = min(to_on, account.end or to_on)
    account = replace(
        account,
        taken=tuple(one for one in account.taken if account.start <= one.day <= last),
        retests=tuple(one for one in account.retests if account.start <= one[0] <= last),
        excuses=tuple(one for one in account.excuses if one.entered_on <= as_of),
    )
    routine = walk_routine(account, last, known)
    follow_ups = [
        *walk_follow_ups(account, last, known),
        *walk_symptoms(account, last, known),
        *walk_pairs(account, routine, last),
    ]
    for due in follow_ups:
        later = [one.due_on for one in routine if one.due_on > due.due_on]
        due.next_on = min(later, default=None)
        if due.taken is not None and due.next_on is not None and due.taken >= due.next_on:
            due.taken = None
    found = []
    for due in (*routine, *follow_ups):
        if not from_on <= due.due_on <= last:
            continue
        grace = grace_days if due.interval >= 14 else 0
        is_history = due.due_on < first_night
        lost = [
            on
            for day, on in known.lost
            if due.counted_from < day <= due.due_on + grace * DAY and on > due.due_on
        ]
        is_ended = account.end is not None and account.end <= to_on
        if not is_history and ((due.known_on or due.due_on) > due.due_on or (due.taken is None and lost)):
            state = "not_knowable"
        elif due.taken is not None and due.taken <= due.due_on + grace * DAY:
            state = "on_time"
        elif excuse_of(account, due) is not None:
            state = "excused"
        elif due.taken is not None:
            state = "late"
        elif is_ended or (due.next_on is not None and due.next_on <= last):
            state = "missed"
        else:
            state = "open"
        days = None
        if state == "late" and due.taken is not None:
            days = (due.taken - due.due_on).days
        elif state == "open":
            days = (to_on - due.due_on).days
        found.append(Judged(due.part, due.why, due.caused_on, due.due_on, state, due.taken, days, is_history))
    return sorted(found, key=lambda one: (one.due_on, one.part, one.why, one.caused_on))


def longest_gap(account: Account, from_on: date, to_on: date) -> int | None:
    """Most days in a row from one day with a counting sampling, or an end, to the next."""
    first, last = max(from_on, account.start), min(to_on, account.end or to_on)
    done = {one.day for one in account.taken if is_read(one)} | set(pair_days(account))
    marks = sorted({first, last} | {day for day in done if first <= day <= last})
    gaps = [(later - earlier).days for earlier, later in itertools.pairwise(marks)]
    return max(gaps, default=None)


def shares(rows: Sequence[Judged]) -> tuple[Fraction | None, Fraction | None]:
    """Share on time, without and with the excused."""
    states = [one.state for one in rows]
    on_time = states.count("on_time")
    counted = on_time + states.count("late") + states.count("missed")
    more = counted + states.count("excused")
    return (
        Fraction(on_time, counted) if counted else None,
        Fraction(on_time, more) if more else None,
    )
