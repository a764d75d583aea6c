"""Which runs are due: a pure function of the instant, of what was done, and of the timetable.

A run is named by its local date. The night of D is due at the first instant of which the local clock says D and at
least the night's time: in the hour that is missing in spring that is the instant of the change, in the hour that comes
twice in autumn its first pass. Whoever asks once a minute, or once after ten days, gets each run at most once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import Final, Literal
from zoneinfo import ZoneInfo

from pipeline.settings.schedule import Missed, Schedule

Kind = Literal["night", "week"]

WAITS: Final = (timedelta(minutes=15), timedelta(hours=1), timedelta(hours=4))
"""House default: a run that failed is tried again after a quarter of an hour, then an hour, then every four hours."""
_DAY: Final = timedelta(days=1)
# Days without any instant, as when a zone changed sides of the date line, are rare and single.
_MOST_DAYS_BACK: Final = 10


@dataclass(frozen=True, slots=True)
class Timetable:
    """A group's schedule in its time zone. `week_day`: 0 is Monday, None for no weekly mail."""

    zone: ZoneInfo
    night: time
    week_day: int | None
    week_time: time
    missed_nights: Missed = "newest"
    missed_weeks: Missed = "newest"


@dataclass(frozen=True, slots=True)
class Tried:
    """A run that failed since it was due: how often, and when last (an aware instant)."""

    kind: Kind
    day: date
    times: int
    at: datetime


@dataclass(frozen=True, slots=True)
class Done:
    """What was done so far.

    `night`: the newest day that was judged, and `night_at` when that ended. `week`: the newest week that was sent, by
    its date. `since`: when the schedule was first asked; weeks that were due before that are owed by nobody.
    """

    night: date | None = None
    night_at: datetime | None = None
    week: date | None = None
    since: datetime | None = None
    tried: tuple[Tried, ...] = ()


@dataclass(frozen=True, slots=True)
class DueRun:
    """A run by its name, kind and local date, and the day from which it judges: of a week, that of the newest night."""

    kind: Kind
    day: date
    as_of: date


def make_timetable(schedule: Schedule, time_zone: str) -> Timetable:
    """The timetable that the settings ask for."""
    return Timetable(
        zone=ZoneInfo(time_zone),
        night=time.fromisoformat(schedule.night),
        week_day=schedule.mail_day,
        week_time=time.fromisoformat(schedule.week_time),
        missed_nights=schedule.missed_nights,
        missed_weeks=schedule.missed_weeks,
    )


def due_runs(now: datetime, done: Done, timetable: Timetable) -> list[DueRun]:
    """The runs to start now, in the order in which to start them; at most a night and a week.

    `now` is an aware instant. Of several missed runs of a kind only the newest is made up.
    """
    today = now.astimezone(timetable.zone).date()
    newest = _newest_due(now, today, timetable.zone, timetable.night, None)
    night = _owed_night(newest, today, done, timetable)
    runs = []
    if night is not None:
        if _is_waiting("night", night, now, done.tried):
            return []  # a week runs the night that is missing, and would fail with it
        runs.append(DueRun("night", night, night))
    week = _owed_week(now, today, done, timetable)
    if week is not None and not _is_waiting("week", week, now, done.tried):
        judged = [day for day in (newest, done.night) if day is not None]
        runs.append(DueRun("week", week, max(judged, default=week)))
    return runs


def next_due(now: datetime, timetable: Timetable) -> datetime:
    """The first instant after `now` (UTC) at which a night or a week falls due."""
    today = now.astimezone(timetable.zone).date()
    days = [today + number * _DAY for number in range(-1, 10)]
    moments = [due_at(day, timetable.night, timetable.zone) for day in days]
    moments += [
        due_at(day, timetable.week_time, timetable.zone)
        for day in days
        if day.weekday() == timetable.week_day
    ]
    return min(moment for moment in moments if moment is not None and moment > now)


def _owed_night(newest: date | None, today: date, done: Done, timetable: Timetable) -> date | None:
    """The night that ought to have been run by now and was not."""
    if newest is None or (timetable.missed_nights == "same_day" and newest != today):
        return None
    if done.night is None or done.night < newest:
        return newest
    due = due_at(newest, timetable.night, timetable.zone)
    # Somebody who ran it by hand before its time has not seen what came in until then.
    is_early = done.night == newest and done.night_at is not None and due is not None and done.night_at < due
    return newest if is_early else None


def _owed_week(now: datetime, today: date, done: Done, timetable: Timetable) -> date | None:
    if timetable.week_day is None:
        return None
    week = _newest_due(now, today, timetable.zone, timetable.week_time, timetable.week_day)
    if week is None or (timetable.missed_weeks == "same_day" and week != today):
        return None
    if done.week is not None and done.week >= week:
        return None
    due = due_at(week, timetable.week_time, timetable.zone)
    # Growers get no mail because somebody switched the schedule on in the middle of a week.
    is_owed = done.week is not None or done.since is None or (due is not None and due >= done.since)
    return week if is_owed else None


def _newest_due(now: datetime, today: date, zone: ZoneInfo, at: time, weekday: int | None) -> date | None:
    """The newest day (of a weekday) whose time has come."""
    for back in range(-1, _MOST_DAYS_BACK):
        day = today - back * _DAY
        if weekday is not None and day.weekday() != weekday:
            continue
        due = due_at(day, at, zone)
        if due is not None and due <= now:
            return day
    return None


def _is_waiting(kind: Kind, day: date, now: datetime, tried: Sequence[Tried]) -> bool:
    """Whether this run failed a short while ago."""
    return any(one.kind == kind and one.day == day and now - one.at < wait_after(one.times) for one in tried)


def wait_after(times: int) -> timedelta:
    """How long to wait after a run failed so often."""
    return WAITS[min(times, len(WAITS)) - 1]


@lru_cache(maxsize=4096)
def due_at(day: date, at: time, zone: ZoneInfo) -> datetime | None:
    """The first instant (UTC) at which the local clock shows this time of the day or later; None where no such day is.

    The clock of a zone may leave a day out, or jump from before the time into the next day: the run is due then.
    """
    first = _first_instant(day, time(0), zone)
    if first.astimezone(zone).date() != day:
        return None
    return _first_instant(day, at, zone)


def _first_instant(day: date, at: time, zone: ZoneInfo) -> datetime:
    wall = datetime.combine(day, at)
    early, late = sorted(wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    if early.astimezone(zone).replace(tzinfo=None) >= wall:
        return early  # the usual case, and the first pass of an hour that comes twice
    # The time is left out: the clock jumps over it between the two.
    while late - early > timedelta(seconds=1):
        middle = early + (late - early) / 2
        if middle.astimezone(zone).replace(tzinfo=None) >= wall:
            late = middle
        else:
            early = middle
    return late.replace(microsecond=0)
