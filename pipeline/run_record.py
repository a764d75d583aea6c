"""The record of a run: its id, when it began, and of each stage how long it took and what it counted.

It goes into the ledger's entry of the night and from there into the warehouse, so that a replayed night has it too;
it goes into the log as it happens; and how the last run ended goes into two small files beside the warehouse.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from pipeline import __version__
from pipeline.errors import AsOfError, LeachbookError, NightRunning
from pipeline.run_log import RunLog, open_run_log
from pipeline.run_state import (
    FailedNight,
    GoodNight,
    GoodWeek,
    write_failed_night,
    write_good_night,
    write_good_week,
)
from pipeline.stopping import Stopped, check_stop

Counts = dict[str, int]
Stages = Callable[[str], AbstractContextManager[Counts]]
"""Times a stage by its name; the block fills in what it counted."""


def untimed(_: str) -> AbstractContextManager[Counts]:
    """A stage that nobody times."""
    return nullcontext({})


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage of a run: seconds of wall-clock time, and counts by what was counted."""

    name: str
    seconds: float
    counts: Counts


@dataclass(slots=True)
class RunRecord:
    """What is known of a run while it goes on. `clock` counts seconds and never goes back."""

    run_id: str
    started_at: datetime
    log: RunLog
    clock: Callable[[], float] = time.monotonic
    stages: list[Stage] = field(default_factory=list)
    night: GoodNight | None = None
    week: GoodWeek | None = None
    _began: float = field(init=False)

    def __post_init__(self) -> None:
        self._began = self.clock()

    @property
    def now(self) -> datetime:
        """The start plus what has passed since: a clock that is set meanwhile makes no run of negative length."""
        return self.started_at + timedelta(seconds=self.clock() - self._began)

    @contextmanager
    def stage(self, name: str) -> Iterator[Counts]:
        """Time a stage; one that fails is logged by whatever ends the run. Raises Stopped where one is asked for."""
        check_stop()
        began = self.clock()
        counts: Counts = {}
        yield counts
        stage = Stage(name, round(self.clock() - began, 3), counts)
        self.stages.append(stage)
        self.log.info("stage", stage=name, seconds=stage.seconds, **counts)

    def as_entry(self) -> dict[str, Any]:
        """As the ledger keeps it: plain values, `started_at` in UTC."""
        return {
            "run_id": self.run_id,
            "started_at": self.started_at.astimezone(UTC).isoformat(timespec="seconds"),
            "stages": [
                {"stage": one.name, "seconds": one.seconds, "counts": dict(one.counts)} for one in self.stages
            ],
        }

    def is_good(self, as_of: date, *, needs_somebody: bool) -> None:
        """Say that the night was published, or that there was nothing to publish."""
        self.night = GoodNight(
            as_of=as_of, finished_at=self.now, run_id=self.run_id, needs_somebody=needs_somebody
        )

    def is_good_week(self, week: date, as_of: date) -> None:
        """Say that the mail of a week, by the day on which it began, was stored and sent as far as it went."""
        self.week = GoodWeek(week=week, as_of=as_of, finished_at=self.now, run_id=self.run_id)


def name_run(now: datetime) -> str:
    """The id of a run that this process begins now."""
    return f"{now.astimezone(UTC):%Y%m%dT%H%M%SZ}-{os.getpid()}"


@contextmanager
def recorded_night(home: Path, now: datetime, day: date | None) -> Iterator[RunRecord]:
    """Record a night. For the holder of the lock: a good one touches the health file, a bad one is written down.

    A mistaken --as-of is no failed night, nor is one that found another running.
    """
    run_id = name_run(now)
    with open_run_log(home, run_id) as log:
        record = RunRecord(run_id, now, log)
        log.info("night begins", as_of=day, leachbook=__version__, process=os.getpid())
        try:
            yield record
        except (AsOfError, NightRunning) as error:
            log.warning("night refused", error=type(error).__name__, sentence=str(error))
            raise
        except BaseException as error:
            _write_down(home, record, day, error)
            raise
        if record.night is not None:
            with _told_if_unwritten(log):
                write_good_night(home, record.night)
            log.info(
                "night ends",
                as_of=record.night.as_of,
                seconds=round((record.now - now).total_seconds(), 3),
                needs_somebody=record.night.needs_somebody,
            )


@contextmanager
def recorded_week(home: Path, now: datetime) -> Iterator[RunRecord]:
    """Record the growers' mail in the log, under the id of the night that the same process ran.

    A good week is written down, so that the schedule knows of one that somebody ran by hand.
    """
    run_id = name_run(now)
    with open_run_log(home, run_id) as log:
        record = RunRecord(run_id, now, log)
        try:
            yield record
        except BaseException as error:
            _log_end(record, "week failed", error)
            raise
        if record.week is not None:
            with _told_if_unwritten(log):
                write_good_week(home, record.week)


def _write_down(home: Path, record: RunRecord, day: date | None, error: BaseException) -> None:
    sentence = _log_end(record, "night failed", error, as_of=day)
    with _told_if_unwritten(record.log):
        write_failed_night(
            home, FailedNight(as_of=day, at=record.now, run_id=record.run_id, sentence=sentence)
        )


def _log_end(record: RunRecord, event: str, error: BaseException, **fields: object) -> str:
    sentence = explain_end(error)
    record.log.error(event, error=type(error).__name__, sentence=sentence, **fields)
    return sentence


@contextmanager
def _told_if_unwritten(log: RunLog) -> Iterator[None]:
    """What became of a run does not hang on whether it could be written down."""
    try:
        yield
    except OSError as error:
        log.warning("state not written", sentence=explain_end(error))


def explain_end(error: BaseException) -> str:
    """What ended a run, in a sentence without anything that a site wrote."""
    if isinstance(error, LeachbookError):
        return str(error)
    if isinstance(error, Stopped):
        return f"It was stopped from outside ({error})."
    if isinstance(error, OSError):
        return f"{error.filename or 'A file'}: {error.strerror or type(error).__name__}."
    return f"A fault of Leachbook ({type(error).__name__}); please report it."
