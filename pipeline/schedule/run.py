"""The command `schedule`: what it prints, what it does once, and how it stays."""

from __future__ import annotations

import getpass
import os
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, NoReturn

from pipeline.errors import HomeError, NightRunning
from pipeline.files import write_whole
from pipeline.schedule.due import DueRun, make_timetable
from pipeline.schedule.keep import Ended, ask_once, keep_schedule
from pipeline.schedule.tell import tell_manager
from pipeline.schedule.units import Place, cron_lines, home_line, systemd_units, tell_units
from pipeline.settings import load_group

Say = Callable[[str], None]
SYSTEMD_FOLDER: Final = Path("/etc/systemd/system")


@dataclass(frozen=True, slots=True)
class Printed:
    """Units or lines: by file name for machines, and as lines for a person."""

    files: dict[str, str]
    lines: list[str]


@dataclass(frozen=True, slots=True)
class OnceResult:
    """What was due and how it ended."""

    ended: list[tuple[DueRun, Ended]]

    @property
    def exit_code(self) -> int:
        """0 all well or nothing due, 1 something needs somebody, 2 a run failed."""
        if any(not one.is_good for _, one in self.ended):
            return 2
        return max((one.code for _, one in self.ended), default=0)

    @property
    def described(self) -> list[dict[str, Any]]:
        """For machines."""
        return [
            {
                "kind": run.kind,
                "day": run.day.isoformat(),
                "as_of": run.as_of.isoformat(),
                "exit_code": one.code,
                "error": None if one.is_good else one.sentence,
            }
            for run, one in self.ended
        ]


def print_units(home: Path, form: str, folder: Path | None) -> Printed:
    """Units for systemd or lines for cron; into a folder where one is given. Raises HomeError, SettingsError."""
    group = load_group(home)
    if not str(home.absolute()).isprintable():
        raise HomeError(
            f"{str(home)!r}: has a letter in its path that a unit or a crontab cannot carry; rename the folder."
        )
    timetable = make_timetable(group.schedule, group.time_zone)
    place = Place(_own_command(), home.absolute(), _own_user(home), group.name, group.mail.password_env)
    if form == "cron":
        lines = cron_lines(place, timetable)
        return Printed({"crontab": "\n".join(lines) + "\n"}, lines)
    units = systemd_units(place, timetable)
    if folder is None:
        return Printed(units, tell_units(units))
    _refuse_another_home(folder, units)
    for name, text in units.items():
        write_whole(folder / name, text.encode())
    timer = next(name for name in units if name.endswith(".timer"))
    copy = [] if folder.absolute() == SYSTEMD_FOLDER else [f"Next: copy both into {SYSTEMD_FOLDER}"]
    return Printed(
        units,
        [
            *(f"Wrote {folder / name}" for name in units),
            *copy,
            f"Next: systemctl daemon-reload && systemctl enable --now {timer}",
        ],
    )


def _refuse_another_home(folder: Path, units: Mapping[str, str]) -> None:
    """Two homes in folders of one name have units of one name. Raises HomeError where the other's lie there."""
    for name, text in units.items():
        path = folder / name
        if not name.endswith(".service") or not path.is_file():
            continue
        if home_line(path.read_text(encoding="utf-8", errors="replace")) != home_line(text):
            raise HomeError(
                f"{path}: is the unit of another home in a folder of the same name; rename this home's folder."
            )


def _own_command() -> tuple[str, ...]:
    """How this very Leachbook is started: its script beside the interpreter, else the module."""
    script = Path(sys.executable).with_name("leachbook")
    return (str(script),) if script.is_file() else (sys.executable, "-m", "pipeline.cli")


def _own_user(home: Path) -> str:
    """The account that owns the home: who it runs as must be able to write there."""
    try:
        return home.owner()
    except (KeyError, OSError):
        return getpass.getuser()


def once_now(home: Path, *, say: Say) -> OnceResult:
    """Do what is due now, or say that another process keeps the schedule. Raises HomeError, SettingsError."""
    try:
        return OnceResult(ask_once(home, clock=_now, tell=_tell, say=say))
    except NightRunning as error:
        say(str(error))
        # That other process may hang, and then nobody else would say that a night is missing.
        _tell(home, say)
        return OnceResult([])


def keep(home: Path, *, say: Say) -> NoReturn:
    """Keep the schedule until a stop signal comes. Raises NightRunning, HomeError, Stopped."""
    keep_schedule(home, clock=_now, tell=_tell, say=say)


def _now() -> datetime:
    return datetime.now(UTC)


def _tell(home: Path, say: Say) -> None:
    tell_manager(home, _now, os.environ, say)
