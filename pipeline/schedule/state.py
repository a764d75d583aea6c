"""What the schedule remembers between two questions: a small file of the home, written by one process at a time."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import date, datetime
from pathlib import Path
from typing import Final

from filelock import FileLock, Timeout
from pydantic import AwareDatetime

from pipeline.errors import ArchiveError, HomeError, NightRunning
from pipeline.intake import ledger
from pipeline.run_state import (
    STATE_FOLDER,
    Plain,
    read_good_night,
    read_good_week,
    read_state,
    write_state,
)
from pipeline.schedule.due import Done, DueRun, Kind, Tried

LOCK_NAME: Final = ".schedule.lock"
_NAME: Final = "schedule.json"


class FailedRun(Plain):
    """A run that failed and is tried again. `sentence`: the last thing that it said."""

    kind: Kind
    day: date
    times: int
    at: AwareDatetime
    sentence: str


class ScheduleState(Plain):
    """`since`: when the schedule was first asked. `night`, `night_at`, `week`: the newest that it saw done."""

    since: AwareDatetime
    night: date | None = None
    night_at: AwareDatetime | None = None
    week: date | None = None
    failed: tuple[FailedRun, ...] = ()


def read_schedule(home: Path) -> ScheduleState | None:
    """What the schedule remembers; None where it was never asked."""
    return read_state(home / STATE_FOLDER / _NAME, ScheduleState)


def failed_runs(home: Path, state: ScheduleState | None) -> tuple[FailedRun, ...]:
    """Runs that the schedule saw fail and that nobody has made up, by hand either."""
    return tuple(one for one in (state.failed if state else ()) if not _is_made_up(home, one))


def _is_made_up(home: Path, failed: FailedRun) -> bool:
    if failed.kind == "night":
        night = read_good_night(home)
        return night is not None and night.finished_at >= failed.at
    week = read_good_week(home)
    return week is not None and week.makes_up(failed.day, failed.at)


def write_schedule(home: Path, state: ScheduleState) -> None:
    """Remember it. For the holder of the schedule's lock. Raises OSError."""
    write_state(home / STATE_FOLDER / _NAME, state)


@contextmanager
def schedule_lock(home: Path) -> Iterator[None]:
    """Hold the schedule of a home. Raises NightRunning where another process does, HomeError where none can."""
    lock = FileLock(home / LOCK_NAME)
    try:
        lock.acquire(timeout=0)
    except Timeout as error:
        raise NightRunning(
            f"{home}: its schedule is being kept by another process already; one is enough."
        ) from error
    except (OSError, NotImplementedError) as error:
        raise HomeError(
            f"{home}: cannot be locked ({error}); check the folder's owner and mode, and that its disk is local."
        ) from error
    try:
        yield
    finally:
        lock.release()


def what_is_done(home: Path, state: ScheduleState) -> Done:
    """What was done so far, by hand as well."""
    nights = [(state.night, state.night_at)]
    good = read_good_night(home)
    if good is not None:
        nights.append((good.as_of, good.finished_at))
    known = [(day, at) for day, at in nights if day is not None and at is not None]
    night, night_at = max(known) if known else (_newest_of_ledger(home), None)
    weeks = [state.week, *(one.day for one in state.failed if one.kind == "week" and _is_made_up(home, one))]
    return Done(
        night=night,
        night_at=night_at,
        week=max((day for day in weeks if day is not None), default=None),
        since=state.since,
        tried=tuple(Tried(one.kind, one.day, one.times, one.at) for one in state.failed),
    )


def _newest_of_ledger(home: Path) -> date | None:
    """For a home whose nights are older than its health file."""
    with suppress(ArchiveError, KeyError, ValueError):
        nights = [one for one in ledger.read_ledger(home) if one.get("kind") == ledger.NIGHT]
        return date.fromisoformat(nights[-1]["as_of"]) if nights else None
    return None


def after_success(state: ScheduleState, run: DueRun, now: datetime) -> ScheduleState:
    """What is remembered after a run that went well."""
    left = tuple(one for one in state.failed if one.kind != run.kind)
    if run.kind == "night":
        return state.model_copy(update={"night": run.as_of, "night_at": now, "failed": left})
    return state.model_copy(update={"week": run.day, "failed": left})


def after_failure(state: ScheduleState, run: DueRun, now: datetime, sentence: str) -> ScheduleState:
    """What is remembered after a run that failed: only the newest of a kind is tried again."""
    before = next((one for one in state.failed if (one.kind, one.day) == (run.kind, run.day)), None)
    times = 1 if before is None else before.times + 1
    failed = FailedRun(kind=run.kind, day=run.day, times=times, at=now, sentence=sentence)
    return state.model_copy(
        update={"failed": (*(one for one in state.failed if one.kind != run.kind), failed)}
    )
