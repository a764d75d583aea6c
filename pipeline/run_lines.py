"""When the last good night was, how long its stages took, and what failed since: for the terminal and for machines."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from pipeline.errors import ArchiveError
from pipeline.intake import ledger
from pipeline.run_state import read_failed_night, read_good_night
from pipeline.schedule.state import failed_runs, read_schedule
from pipeline.settings.load import GROUP_FILE


def describe_runs(home: Path) -> dict[str, Any]:
    """The last good night, the one that failed since (null where none did), the run whose pages stand, the schedule.

    `schedule`: what it remembers, null where the home is not kept by one.
    """
    good, failed = read_good_night(home), read_failed_night(home)
    state = read_schedule(home)
    return {
        "last_good_night": good and good.model_dump(mode="json"),
        "failed_night": failed and failed.model_dump(mode="json"),
        "run": read_run(home),
        "schedule": state
        and state.model_copy(update={"failed": failed_runs(home, state)}).model_dump(mode="json"),
    }


def read_run(home: Path) -> dict[str, Any] | None:
    """The record of the run that published the newest night, as the ledger has it; None where it has none."""
    try:
        entries = ledger.read_ledger(home)
    except ArchiveError:
        return None  # a broken chain is told by whoever needs the ledger
    newest = next((one for one in reversed(entries) if one.get("kind") == ledger.NIGHT), {})
    run = newest.get("run")
    return run if isinstance(run, dict) else None


def find_zone(home: Path) -> ZoneInfo:
    """The group's time zone; UTC where the settings do not tell, which whoever reads them all will say."""
    with suppress(OSError, ValueError, KeyError, TypeError):
        return ZoneInfo(tomllib.loads((home / GROUP_FILE).read_text(encoding="utf-8-sig"))["time_zone"])
    return ZoneInfo("UTC")


def tell_runs(runs: Mapping[str, Any], zone: ZoneInfo) -> list[str]:
    """The same in a line or two, by the clocks of a zone; `runs` as from `describe_runs`."""
    good, failed, run = runs["last_good_night"], runs["failed_night"], runs["run"]
    lines = []
    if good is not None:
        ended = f"It ended {_tell_instant(good['finished_at'], zone)}"
        if run is not None and run["run_id"] == good["run_id"]:
            lines.append(f"{ended}: {_tell_stages(run)}.")
        elif run is not None:
            began = _tell_instant(run["started_at"], zone)
            lines.append(f"{ended} with nothing new; the pages are of the run that began {began}.")
        else:
            lines.append(f"{ended}.")
    if failed is not None:
        lines.append(f"THE LAST NIGHT FAILED {_tell_instant(failed['at'], zone)}: {failed['sentence']}")
    for one in (runs["schedule"] or {"failed": []})["failed"]:
        if one["kind"] == "night" and failed is not None:
            continue  # told already
        what = "NIGHT" if one["kind"] == "night" else "GROWERS' MAIL"
        times = "once" if one["times"] == 1 else f"{one['times']} times"
        lines.append(
            f"THE {what} OF {one['day']} FAILED {times}, last {_tell_instant(one['at'], zone)}: {one['sentence']}"
        )
    return lines


def _tell_instant(text: str, zone: ZoneInfo) -> str:
    return f"{datetime.fromisoformat(text).astimezone(zone):%Y-%m-%d %H:%M %Z}"


def _tell_stages(run: Mapping[str, Any]) -> str:
    return ", ".join(_tell_stage(stage) for stage in run["stages"])


def _tell_stage(stage: Mapping[str, Any]) -> str:
    counts = ", ".join(
        f"{name.replace('_', ' ')} {number}" for name, number in stage["counts"].items() if number
    )
    return f"{stage['stage']} {stage['seconds']:.1f} s" + (f" ({counts})" if counts else "")
