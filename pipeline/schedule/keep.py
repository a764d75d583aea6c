"""Keeping a schedule: ask which runs are due, start each as a process, remember how it ended, tell the manager.

A run is a process so that it gives all memory back, and so that one that is killed takes nothing with it.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final, NoReturn

from pipeline.errors import ArchiveError, LeachbookError, SettingsError
from pipeline.intake import ledger
from pipeline.night_lock import find_holder
from pipeline.rebuild import SettingsShelf
from pipeline.run_log import open_run_log
from pipeline.run_record import name_run
from pipeline.schedule.due import DueRun, Timetable, due_runs, make_timetable, next_due
from pipeline.schedule.state import (
    ScheduleState,
    after_failure,
    after_success,
    read_schedule,
    schedule_lock,
    what_is_done,
    write_schedule,
)
from pipeline.settings import Group, load_group
from pipeline.stopping import Stopped

Say = Callable[[str], None]
Clock = Callable[[], datetime]
COMMANDS: Final = {"night": "nightly", "week": "weekly"}
GOOD_CODES: Final = (0, 1)
LONGEST_RUN: Final = timedelta(hours=12)
"""House default: a run that takes longer hangs."""
STOP_SECONDS: Final = 240.0
"""House default: how long a run that is stopped may take to finish what it is just publishing."""


@dataclass(frozen=True, slots=True)
class Ended:
    """How a run ended: exit code, and the last thing that it said on standard error."""

    code: int
    sentence: str

    @property
    def is_good(self) -> bool:
        """It was run to its end, whatever it found."""
        return self.code in GOOD_CODES


Start = Callable[[Path, DueRun], Ended]
Tell = Callable[[Path, Say], None]
"""Tells the manager what is wrong, if there is something to tell today, and sends mail that waits."""


def start_process(home: Path, run: DueRun, *, longest: timedelta = LONGEST_RUN) -> Ended:
    """Run a night or a week as the command line does; a stop signal that comes meanwhile is handed on.

    One that hangs is stopped after `longest`: it would keep all later ones from running.
    """
    command = write_command(home, run)
    own_code = str(Path(__file__).parents[2])
    paths = [own_code, *filter(None, [os.environ.get("PYTHONPATH")])]
    # Into a file, not a pipe: a run whose schedule was killed goes on to its end.
    with tempfile.TemporaryFile() as said:
        # In a session of its own: Ctrl-C reaches it once, from here.
        process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=said,
            start_new_session=True,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
        )
        try:
            code = process.wait(longest.total_seconds())
        except subprocess.TimeoutExpired:
            return Ended(_stop(process), f"It hung, and was stopped after {longest}.")
        except Stopped:
            _stop(process)
            raise
        said.seek(0)
        return Ended(code, explain_exit(code, said.read().decode(errors="replace")))


def write_command(home: Path, run: DueRun) -> list[str]:
    """The command line of a run. A week is told its own day: made up late it may judge from a night of another week."""
    # -P: a folder named pipeline that happens to lie where somebody stands is not what is to be run.
    command = [sys.executable, "-P", "-m", "pipeline.cli", COMMANDS[run.kind]]
    command += [str(home.absolute()), "--as-of", str(run.as_of)]
    return [*command, "--week", str(run.day)] if run.kind == "week" else command


def _stop(process: subprocess.Popen[bytes]) -> int:
    process.terminate()
    try:
        return process.wait(STOP_SECONDS)
    except subprocess.TimeoutExpired:
        process.kill()
        return process.wait()


def explain_exit(code: int, said: str) -> str:
    """What to tell of a run that ended with a code, having said this on standard error. Pure."""
    last = next((line.strip() for line in reversed(said.splitlines()) if line.strip()), "")
    if code < 0:
        return f"It was ended from outside ({signal.Signals(-code).name}) after it said: {last or 'nothing'}."
    return last or f"It ended with {code} and said nothing."


@dataclass(slots=True)
class Keeper:
    """Keeps the schedule of one home, whose lock is held. Its memory goes before the file: a disk may be full."""

    home: Path
    clock: Clock
    start: Start
    say: Say
    state: ScheduleState = field(init=False)
    _busy: str | None = None

    def __post_init__(self) -> None:
        self.state = read_schedule(self.home) or ScheduleState(since=self.clock())
        self._remember(self.state)

    def ask(self) -> list[tuple[DueRun, Ended]]:
        """Do all that is due, one run after the other. Raises SettingsError where no timetable was ever readable."""
        ended: list[tuple[DueRun, Ended]] = []
        while runs := due_runs(self.clock(), what_is_done(self.home, self.state), self.timetable()):
            if self._is_busy():
                break
            ended.append((runs[0], self._do(runs[0])))
        return ended

    def timetable(self) -> Timetable:
        """By the settings as they stand; while they are mistaken, by those of the newest night."""
        group = read_group(self.home)
        return make_timetable(group.schedule, group.time_zone)

    def _do(self, run: DueRun) -> Ended:
        self.say(f"{run.kind.capitalize()} of {run.day} begins")
        began = self.clock()
        ended = self.start(self.home, run)
        now = self.clock()
        with open_run_log(self.home, name_run(began)) as log:
            write = log.info if ended.is_good else log.error
            more = {} if ended.is_good else {"sentence": ended.sentence}
            seconds = round((now - began).total_seconds(), 3)
            write("scheduled run", kind=run.kind, day=run.day, exit_code=ended.code, seconds=seconds, **more)
        if ended.is_good:
            self.say(f"{run.kind.capitalize()} of {run.day} ended well")
            self._remember(after_success(self.state, run, now))
        else:
            self.say(f"{run.kind.capitalize()} of {run.day} failed: {ended.sentence}")
            self._remember(after_failure(self.state, run, now, ended.sentence))
        return ended

    def _is_busy(self) -> bool:
        """Whether somebody works on the home; it is said once, and asked again the next time."""
        holder = find_holder(self.home)
        if holder is not None and holder != self._busy:
            self.say(f"A run is due, but the home is in use ({holder}); it waits")
        self._busy = holder
        return holder is not None

    def _remember(self, state: ScheduleState) -> None:
        self.state = state
        try:
            write_schedule(self.home, state)
        except OSError as error:
            self.say(f"{self.home}: what was done cannot be written down ({error.strerror}); free the disk")


def ask_once(
    home: Path, *, clock: Clock, tell: Tell, say: Say, start: Start = start_process
) -> list[tuple[DueRun, Ended]]:
    """Do what is due now and end; the manager is told in any case.

    Raises NightRunning where another process keeps the schedule, HomeError, SettingsError.
    """
    with schedule_lock(home):
        ended = Keeper(home, clock, start, say).ask()
    tell(home, say)
    return ended


def keep_schedule(
    home: Path,
    *,
    clock: Clock,
    tell: Tell,
    say: Say,
    start: Start = start_process,
    wait: Callable[[float], object] = time.sleep,
) -> NoReturn:
    """Ask once a minute which runs are due, until a stop signal comes; the manager is told after runs and once an hour.

    Nothing that goes wrong ends it: it is said, once, and asked again. Raises NightRunning, HomeError, Stopped.
    """
    with schedule_lock(home):
        keeper = Keeper(home, clock, start, say)
        wrong = ""
        told_in: datetime | None = None
        while True:
            try:
                is_first = told_in is None
                ended = keeper.ask()
                hour = clock().replace(minute=0, second=0, microsecond=0)
                if ended or hour != told_in:
                    told_in = hour
                    tell(home, say)
                if ended or wrong or is_first:
                    timetable = keeper.timetable()
                    say(f"Next: {next_due(clock(), timetable).astimezone(timetable.zone):%Y-%m-%d %H:%M %Z}")
                wrong = ""
            except LeachbookError as error:
                if str(error) != wrong:
                    wrong = str(error)
                    say(wrong)
            now = clock()
            wait(60.0 - now.second - now.microsecond / 1e6)


def read_group(home: Path) -> Group:
    """The group's settings; while they are mistaken, as they were in the newest night.

    The night that fails by the mistake then is due all the same, and whom to tell of it is known. Raises SettingsError
    where there was no night, HomeError.
    """
    try:
        return load_group(home)
    except SettingsError:
        with suppress(ArchiveError, KeyError, IndexError), SettingsShelf(home) as shelf:
            nights = [one for one in ledger.read_ledger(home) if one.get("kind") == ledger.NIGHT]
            return shelf.take(nights[-1]["settings"]).group
        raise
