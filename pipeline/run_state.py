"""How the last runs ended, in small files of the home that anybody may read: each is there whole or not at all.

health.json            the last good night; touched by each, so that its time of change alone tells a watcher enough
state/failed_night.json  the last night that failed; of the past once health.json is newer
state/good_week.json     the last week whose mail was stored and sent as far as it went, by hand or by the schedule
"""

from __future__ import annotations

import os
from contextlib import suppress
from datetime import date, datetime
from pathlib import Path
from typing import Final, TypeVar

from pydantic import AwareDatetime, BaseModel, ConfigDict, ValidationError

from pipeline.files import write_whole

HEALTH_NAME: Final = "health.json"
STATE_FOLDER: Final = "state"
_FAILED_NAME: Final = "failed_night.json"
_WEEK_NAME: Final = "good_week.json"


class Plain(BaseModel):
    """Base of what these files hold."""

    model_config = ConfigDict(frozen=True, extra="ignore")


class GoodNight(Plain):
    """A night that was run to its end. `needs_somebody`: something is held or a site is quiet (exit code 1)."""

    as_of: date
    finished_at: AwareDatetime
    run_id: str
    needs_somebody: bool


class FailedNight(Plain):
    """A night that could not be run. `as_of`: None where the day was not settled yet."""

    as_of: date | None
    at: AwareDatetime
    run_id: str
    sentence: str


class GoodWeek(Plain):
    """A week that was run to its end. `week`: the day on which it began; `as_of`: from which day it was judged."""

    week: date
    as_of: date
    finished_at: AwareDatetime
    run_id: str

    def makes_up(self, day: date, failed_at: datetime) -> bool:
        """Whether it said since then what the mail of a day, which failed at an instant, would have said."""
        return self.finished_at >= failed_at and max(self.week, self.as_of) >= day


_P = TypeVar("_P", bound=Plain)


def read_good_night(home: Path) -> GoodNight | None:
    """The last good night; None where none was, or the file cannot be read."""
    return read_state(home / HEALTH_NAME, GoodNight)


def write_good_night(home: Path, night: GoodNight) -> None:
    """Touch the health file. For the holder of the night's lock. Raises OSError."""
    write_state(home / HEALTH_NAME, night)


def read_good_week(home: Path) -> GoodWeek | None:
    """The last week that was run to its end; None where none was, or the file cannot be read."""
    return read_state(home / STATE_FOLDER / _WEEK_NAME, GoodWeek)


def write_good_week(home: Path, week: GoodWeek) -> None:
    """Write down that a week was run. Two may end at once, each with a whole file. Raises OSError."""
    write_whole(home / STATE_FOLDER / _WEEK_NAME, week.model_dump_json(indent=2).encode() + b"\n")


def read_failed_night(home: Path) -> FailedNight | None:
    """The night that failed since the last good one; None where none did."""
    failed = read_state(home / STATE_FOLDER / _FAILED_NAME, FailedNight)
    good = read_good_night(home)
    return None if failed is None or (good is not None and good.finished_at >= failed.at) else failed


def write_failed_night(home: Path, failed: FailedNight) -> None:
    """Write down that a night failed. For the holder of the night's lock. Raises OSError."""
    write_state(home / STATE_FOLDER / _FAILED_NAME, failed)


def read_state(path: Path, model: type[_P]) -> _P | None:
    """A small file as its model; None where it is missing or damaged: it is made anew by whoever writes it."""
    with suppress(OSError, ValidationError):
        return model.model_validate_json(path.read_bytes())
    return None


def write_state(path: Path, state: Plain) -> None:
    """Write a small file whole. Only one process at a time may write it: what a dead one left is written over."""
    path.parent.mkdir(exist_ok=True)
    temporary = path.with_name(f".{path.name}.new")
    with temporary.open("wb") as stream:
        stream.write(state.model_dump_json(indent=2).encode() + b"\n")
        stream.flush()
        os.fsync(stream.fileno())
    temporary.replace(path)
