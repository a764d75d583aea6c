"""The demo: a copy of the four invented sites, two nights replayed over it, the week's mail as files, and an audit."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from pipeline.assets import demo_folder
from pipeline.audit.run import DOSSIER, run_audit
from pipeline.errors import AsOfError, HomeError
from pipeline.night_lock import night_lock
from pipeline.nightly import NightResult, run_night
from pipeline.publish import pages_folder
from pipeline.weekly import WeekResult, run_week

FIRST_NIGHT = date(2026, 4, 2)
SECOND_NIGHT = date(2026, 4, 6)
AUDITED_FROM = date(2026, 1, 1)
_HOME_PARTS = ("leachbook.toml", "policy.toml", "sites")
_MARK = ".leachbook-demo"


@dataclass(frozen=True, slots=True)
class DemoResult:
    """The nights that were run, oldest first, the week, and where the dossier is.

    `is_rerun`: the folder already held the demo.
    """

    home: Path
    nights: list[NightResult]
    week: WeekResult
    dossier: Path
    is_rerun: bool


def run_demo(
    home: Path,
    *,
    now: datetime,
    say: Callable[[str], None] = lambda _: None,
    executor: Executor | None = None,
) -> DemoResult:
    """Copy the demo into `home`, run its two nights, its week and an audit; over a demo that is there, what is missing.

    Raises HomeError when the folder holds something else, or nights after the demo's.
    """
    is_rerun = (home / _MARK).exists() and pages_folder(home, SECOND_NIGHT).exists()
    nights = [] if is_rerun else list(_first_nights(home, now, say, executor))
    say(f"Night of {SECOND_NIGHT}")
    try:
        nights.append(run_night(home, SECOND_NIGHT, now=now, say=say, executor=executor))
    except AsOfError as error:
        raise HomeError(
            f"{home}: nights after the demo's were run here; delete the folder or give a new one for the demo."
        ) from error
    week = run_week(
        home, SECOND_NIGHT, now=now, clock=lambda: now, environment={}, say=say, executor=executor
    )
    dossier = home / "out" / "audit" / f"{AUDITED_FROM}_{SECOND_NIGHT}" / DOSSIER
    if not dossier.exists():
        dossier = run_audit(home, AUDITED_FROM, SECOND_NIGHT, now=now, say=say).path
    return DemoResult(home, nights, week, dossier, is_rerun)


def _first_nights(
    home: Path, now: datetime, say: Callable[[str], None], executor: Executor | None
) -> Iterator[NightResult]:
    _prepare(home, now)
    say(f"Night of {FIRST_NIGHT}")
    yield run_night(home, FIRST_NIGHT, now=now, say=say, executor=executor)
    _drop(demo_folder("second_night"), home / "sites")


def _prepare(home: Path, now: datetime) -> None:
    """Copy the home as it is before the first night; a demo that was cut short is begun anew."""
    try:
        if home.exists() and any(home.iterdir()):
            if not (home / _MARK).exists():
                raise HomeError(f"{home}: the folder is not empty; give a new folder for the demo.")
            with night_lock(home, now):  # not under a demo that runs in another window
                shutil.rmtree(home)
        _copy(home)
    except OSError as error:
        raise HomeError(
            f"{home}: the demo cannot be written there ({error.strerror}); give another folder."
        ) from error


def _copy(home: Path) -> None:
    home.mkdir(parents=True, exist_ok=True)
    (home / _MARK).write_text(
        "A demo home of Leachbook: it may be deleted and made again.\n", encoding="utf-8"
    )
    for name in _HOME_PARTS:
        source = demo_folder(name)
        if source.is_dir():
            _drop(source, home / name)
        else:
            shutil.copyfile(source, home / name)


def _drop(source: Path, target: Path) -> None:
    """Copy files without their modes: an installed tree may be read-only."""
    shutil.copytree(source, target, dirs_exist_ok=True, copy_function=shutil.copyfile)
