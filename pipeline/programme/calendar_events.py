"""What a site's calendar should show tonight: asked samplings in, events out, by lot or by house and day.

One sampling, one event: of a lot's dues the earliest stands for those that the same sampling answers.

An event's UID tells calendars that a new file speaks of an event they have. It is a UUID (version 5, RFC 9562) of

- by lot: group, site, lot, what the sampling follows (a start or sampling, a treatment, plants noted as affected, a
  feeding) and its day: a due that moves, or whose rule becomes another one, keeps its event;
- by house and day: group, site, house and the earliest due day in it.

What is overdue stands on the first day on which it can be taken, the same for all of a site, and the heading says for
how long it is overdue. By house it is one event with what is due there on that day, under the UID of the oldest: an
event that nobody takes moves on from day to day, and leaves no trail of cancelled ones behind it.
"""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from itertools import groupby
from math import ceil
from typing import Final, Literal

from pipeline.programme.calendar_words import Words, clean, load_words, shorten

Unit = Literal["lot", "house_day"]

_NAMESPACE: Final = uuid.uuid5(uuid.NAMESPACE_URL, "leachbook:calendar")
_DOMAIN: Final = "leachbook"
_SINGLE: Final = ("routine", "retest")
CYCLES: Final = {
    "first": "sampling",
    "routine": "sampling",
    "problem_crop": "sampling",
    "after_out": "sampling",
    "after_pair_out": "sampling",
    "after_treatment": "treatment",
    "symptoms": "symptoms",
    "feed_pair": "feeding",
}
"""What a due follows, by its why; one of several rules that follow the same sampling asks for the same event."""


@dataclass(frozen=True, slots=True)
class AskedSampling:
    """A row of sql/judgement/calendar_dues.sql: one due of a lot. `nth`: its rank among the lot's."""

    site_id: str
    lot_key: str
    lot_id: str
    house: str | None
    bench: str | None
    crop: str
    cultivar: str | None
    why: str
    purposes: str
    due_on: date
    not_before: date | None
    caused_on: date | None
    starts_on: date
    days_overdue: int
    pots: int
    nth: int
    minutes: Decimal


@dataclass(frozen=True, slots=True)
class Habit:
    """How a site wants its calendar: `starts_at` by its own clock."""

    group: str
    site_id: str
    unit: Unit
    starts_at: time
    time_zone: str
    language: str
    date_format: str


@dataclass(frozen=True, slots=True)
class Event:
    """One event as it should stand. `starts_at` is by the clock of `time_zone`; texts are clean single lines."""

    site_id: str
    uid: str
    starts_at: datetime
    time_zone: str
    minutes: int
    location: str
    summary: str
    description: tuple[str, ...]

    @property
    def digest(self) -> str:
        """Equal for events that read the same, SHA-256."""
        told = [
            self.starts_at.isoformat(),
            self.time_zone,
            self.minutes,
            self.location,
            self.summary,
            self.description,
        ]
        return hashlib.sha256(json.dumps(told, ensure_ascii=False).encode()).hexdigest()


def make_events(asked: Iterable[AskedSampling], habit: Habit) -> list[Event]:
    """Events of one site, ordered by time and UID."""
    ordered = sorted(choose_samplings(asked), key=_order)
    events = _by_lot(ordered, habit) if habit.unit == "lot" else _by_house(ordered, habit)
    return sorted(events, key=lambda event: (event.starts_at, event.uid))


def choose_samplings(asked: Iterable[AskedSampling]) -> list[AskedSampling]:
    """The dues that need a sampling of their own, taken day by day: the others are answered by an earlier one.

    As on the sampling sheet: a routine sampling and a retest answer each other, a retest only once its waiting time is
    over; a pair around a feeding stands for the routine sampling, and for the retest after a pair if it is whole by
    then; affected and healthy plants answer nothing else.
    """
    chosen: dict[tuple[str, str], list[AskedSampling]] = {}
    for one in sorted(asked, key=lambda one: (one.starts_on, one.nth, one.why, one.due_on)):
        of_lot = chosen.setdefault((one.site_id, one.lot_key), [])
        if not any(_answers(taken, one) for taken in of_lot):
            of_lot.append(one)
    return [one for of_lot in chosen.values() for one in of_lot]


def _answers(taken: AskedSampling, other: AskedSampling) -> bool:
    if other.not_before is not None and taken.starts_on < other.not_before:
        return False
    if taken.why == "feed_pair":
        return other.purposes == "routine" or (
            other.why == "after_pair_out" and taken.purposes == "after_feed"
        )
    return taken.purposes in _SINGLE and other.purposes in _SINGLE


def _order(one: AskedSampling) -> tuple[date, str, str, str, date, date]:
    return one.starts_on, _house_key(one), one.lot_key, one.why, one.due_on, one.caused_on or date.min


def _house_key(one: AskedSampling) -> str:
    return clean(one.house).lower()


def _by_lot(asked: Sequence[AskedSampling], habit: Habit) -> list[Event]:
    words = load_words(habit.language)
    rows: dict[str, list[AskedSampling]] = {}
    for one in asked:
        cause = "" if one.caused_on is None else one.caused_on.isoformat()
        # The two halves of a pair are two days' work.
        half = ["after_feed"] if one.purposes == "after_feed" else []
        uid = _uid("lot", habit, one.lot_key, CYCLES.get(one.why, one.why), cause, *half)
        rows.setdefault(uid, []).append(one)
    return [
        _event(
            habit, uid, ", ".join(filter(None, (_lot_name(one), words.place(one.house)))), [one, *more], words
        )
        for uid, (one, *more) in rows.items()
    ]


def _by_house(asked: Sequence[AskedSampling], habit: Habit) -> list[Event]:
    words = load_words(habit.language)
    events = []
    for (_, house_key), group in groupby(asked, key=lambda one: (one.starts_on, _house_key(one))):
        lots = list(group)
        uid = _uid("house_day", habit, house_key, min(one.due_on for one in lots).isoformat())
        # A house that lists write in different ways is named as the first of its lots has it.
        events.append(_event(habit, uid, words.place(lots[0].house) or words.no_house, lots, words))
    return events


def _uid(unit: Unit, habit: Habit, *parts: str) -> str:
    # JSON keeps the parts apart, whatever signs they are made of.
    name = json.dumps([unit, habit.group, habit.site_id, *parts], ensure_ascii=False)
    return f"{uuid.uuid5(_NAMESPACE, name)}@{_DOMAIN}"


def _event(habit: Habit, uid: str, what: str, lots: Sequence[AskedSampling], words: Words) -> Event:
    minutes = max(1, ceil(sum((one.minutes for one in lots), Decimal(0))))
    pots = words.count(sum(one.pots for one in lots), "pots")
    n_lots = len({one.lot_key for one in lots})
    load = [
        *([words.count(n_lots, "lots")] if habit.unit == "house_day" else []),
        pots,
        words.minutes.format(n=minutes),
        *_tell_overdue(lots, words),
    ]
    return Event(
        site_id=habit.site_id,
        uid=uid,
        starts_at=datetime.combine(lots[0].starts_on, habit.starts_at),
        time_zone=habit.time_zone,
        minutes=minutes,
        location=words.place(lots[0].house),
        summary=words.heading.format(sample=words.sample, what=shorten(what), load=", ".join(load)),
        description=tuple(_describe(one, habit, words) for one in lots),
    )


def _tell_overdue(lots: Sequence[AskedSampling], words: Words) -> list[str]:
    late = [one for one in lots if one.days_overdue > 0]
    if not late:
        return []
    days = max(one.days_overdue for one in late)
    n_lots = words.count(len({one.lot_key for one in late}), "lots")
    if any(one.days_overdue < days for one in late):
        return [words.up_to_overdue.format(lots=n_lots, n=days)]
    overdue = words.count(days, "overdue")
    return [overdue if len(late) == len(lots) else words.some_overdue.format(lots=n_lots, overdue=overdue)]


def _lot_name(one: AskedSampling) -> str:
    cultivar = f" '{clean(one.cultivar)}'" if clean(one.cultivar) else ""
    return f"{clean(one.lot_id)} {clean(one.crop)}{cultivar}"


def _describe(one: AskedSampling, habit: Habit, words: Words) -> str:
    bench = f", {words.bench.format(bench=clean(one.bench))}" if clean(one.bench) else ""
    parts = [
        words.count(one.pots, "pots"),
        *([words.purposes[one.purposes]] if one.purposes in words.purposes else []),
        words.why(one.why, one.caused_on, habit.date_format),
        words.due.format(day=words.day(one.due_on, habit.date_format)),
        *([words.count(one.days_overdue, "overdue")] if one.days_overdue > 0 else []),
    ]
    return clean(f"{_lot_name(one)}{bench}: {'; '.join(parts)}")
