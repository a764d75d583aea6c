"""The printed units under a living systemd: taken, listed with their next time, started, stopped, judged by code."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from datetime import time as day_time
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from pipeline.schedule.due import due_at
from pipeline.schedule.units import Place
from tests.conftest import ROOT
from tests.home import GOOD_PH, READINGS_HEADER, drop, make_home, pots, run_cli
from tests.schedule.live_systemd import Live, find_hindrance, run_systemd

ZONE = ZoneInfo("America/New_York")
GROUP = (
    f'name = "Growers 100%"\ntime_zone = "{ZONE.key}"\n'
    '[schedule]\nnight = "02:30"\nweek_day = "tuesday"\nweek_time = "05:30"\n'
)


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    hindrance = find_hindrance()
    if hindrance is not None:
        pytest.skip(f"no systemd of its own can be started here: {hindrance}")
    with run_systemd(tmp_path_factory.mktemp("systemd") / "manager") as running:
        # The unit stays as it is printed; the code is that of this folder.
        assert running.control("set-environment", f"PYTHONPATH={ROOT}").returncode == 0
        yield running


def install(live: Live, home: Path) -> str:
    """A home whose units the manager has taken; the name of its units without ending."""
    make_home(home)
    (home / "leachbook.toml").write_text(GROUP, encoding="utf-8")
    assert run_cli("schedule", home, "--print", "systemd", "--to", live.folder).code == 0
    reloaded = live.control("daemon-reload")
    assert (reloaded.returncode, reloaded.stderr) == (0, "")
    unit = Place((), home, "", "").unit
    shown = live.show(f"{unit}.service")
    assert (shown["LoadState"], shown["FragmentPath"]) == ("loaded", str(live.folder / f"{unit}.service"))
    return unit


def events(home: Path) -> list[str]:
    log = home / "log" / "runs.jsonl"
    return [json.loads(line)["event"] for line in log.read_text("utf-8").splitlines()] if log.exists() else []


def ended(live: Live, unit: str) -> tuple[str, str, str]:
    shown = live.show(f"{unit}.service")
    return shown["ActiveState"], shown["Result"], shown["ExecMainStatus"]


def next_by_hand(now: datetime) -> datetime:
    """The next of the three lines of the timer: each night, each Tuesday, ten past each hour."""
    hour = now.replace(minute=10, second=0, microsecond=0)
    moments = [hour if hour > now else hour + timedelta(hours=1)]
    today = now.astimezone(ZONE).date()
    for day in (today + timedelta(days=number) for number in range(9)):
        moments += [due_at(day, day_time(2, 30), ZONE) or now]
        if day.weekday() == 1:
            moments += [due_at(day, day_time(5, 30), ZONE) or now]
    return min(moment for moment in moments if moment > now)


def test_a_timer_makes_up_what_was_missed_and_the_service_is_judged_by_its_code(
    live: Live, tmp_path: Path
) -> None:
    home = tmp_path / "north"
    unit = install(live, home)
    drop(home, "readings_2026-04-03.csv", READINGS_HEADER + pots("H-9", "2026-04-02", GOOD_PH))
    # As if the machine had been off since the day before yesterday.
    stamp = live.stamps / f"stamp-{unit}.timer"
    stamp.touch()
    long_ago = time.time() - 2 * 86_400
    os.utime(stamp, (long_ago, long_ago))
    before = datetime.now(UTC)
    assert live.control("enable", "--now", f"{unit}.timer").returncode == 0
    live.wait_until(lambda: "night ends" in events(home), "the timer starts the service by itself")
    live.wait_until(lambda: ended(live, unit)[0] in ("inactive", "failed"), "the service ends")
    # Lines of a lot that nobody knows are held: exit code 1, which is success.
    assert ended(live, unit) == ("inactive", "success", "1")
    assert date.fromisoformat(str((home / "out" / "latest").readlink())) in {
        one.astimezone(ZONE).date() - timedelta(days=back)
        for one in (before, datetime.now(UTC))
        for back in (0, 1)
    }

    (row,) = [one for one in live.timers() if one["unit"] == f"{unit}.timer"]
    assert row["activates"] == f"{unit}.service"
    told = datetime.fromtimestamp(row["next"] / 1e6, UTC)
    assert told.replace(microsecond=0) in {next_by_hand(before), next_by_hand(datetime.now(UTC))}
    assert before - timedelta(seconds=1) <= datetime.fromtimestamp(row["last"] / 1e6, UTC)

    nothing_due = live.control("start", f"{unit}.service")
    assert (nothing_due.returncode, ended(live, unit)) == (0, ("inactive", "success", "0"))

    (home / "leachbook.toml").write_text('name = "x"\ntime_zone = "Mars"\n', encoding="utf-8")
    # While the newest night's settings are in the archive the timetable is read from there.
    (home / "archive" / "ledger.jsonl").unlink()
    failing = live.control("start", f"{unit}.service")
    assert (failing.returncode, ended(live, unit)) == (1, ("failed", "exit-code", "2"))
    assert live.control("is-failed", f"{unit}.service").stdout == "failed\n"
    assert live.control("disable", "--now", f"{unit}.timer").returncode == 0


def test_a_stopped_service_is_no_failure_and_leaves_no_half_night(live: Live, tmp_path: Path) -> None:
    home = tmp_path / 'my "odd" home 50% $HOME'
    unit = install(live, home)
    # A unit that nothing refers to is forgotten once it has ended, with its exit code.
    assert live.control("start", f"{unit}.timer").returncode == 0
    assert live.control("start", "--no-block", f"{unit}.service").returncode == 0
    live.wait_until(lambda: "night begins" in events(home), "the service begins a night")
    assert live.control("stop", f"{unit}.service").returncode == 0
    assert ended(live, unit) == ("inactive", "success", "143")
    assert "night ends" not in events(home)
    assert not (home / "out").exists()
    assert not (home / "warehouse.duckdb").exists()
