"""Keeping a schedule: what is remembered over failures and restarts, who else is at work, and real processes."""

from __future__ import annotations

import itertools
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from pipeline.delivery.week_names import name_period
from pipeline.errors import NightRunning, SettingsError
from pipeline.night_lock import HOLDER_NAME, find_holder, night_lock
from pipeline.run_state import read_good_night
from pipeline.schedule.due import DueRun
from pipeline.schedule.keep import (
    Ended,
    Keeper,
    ask_once,
    explain_exit,
    keep_schedule,
    read_group,
    start_process,
    write_command,
)
from pipeline.schedule.state import read_schedule, schedule_lock
from pipeline.stopping import Stopped
from tests.conftest import ROOT
from tests.faults.kill_nights import left_over
from tests.home import GROUP, make_home, run_cli

MINUTE = timedelta(minutes=1)
WELL = Ended(0, "")


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@dataclass
class Clock:
    """A clock that moves when somebody waits for it; at the end a stop signal comes."""

    now: datetime
    end: datetime
    ran: list[tuple[datetime, DueRun]] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    told: list[datetime] = field(default_factory=list)
    answer: Callable[[datetime, DueRun], Ended] = lambda *_: WELL

    def __call__(self) -> datetime:
        return self.now

    def wait(self, seconds: float) -> None:
        assert 0 < seconds <= 60
        self.now += timedelta(seconds=seconds)
        if self.now >= self.end:
            raise Stopped(signal.SIGTERM)

    def start(self, _: Path, run: DueRun) -> Ended:
        self.ran.append((self.now, run))
        self.now += timedelta(seconds=95)
        return self.answer(self.ran[-1][0], run)

    def keep(self, home: Path) -> None:
        with pytest.raises(Stopped):
            keep_schedule(
                home,
                clock=self,
                tell=lambda *_: self.told.append(self.now),
                say=self.said.append,
                start=self.start,
                wait=self.wait,
            )

    @property
    def days(self) -> list[tuple[str, int]]:
        return [(run.kind, run.day.day) for _, run in self.ran]


@pytest.fixture
def bare(tmp_path: Path) -> Path:
    """A home in Berlin without any night: nights at 2:30, mail on Sunday at 3:30."""
    home = make_home(tmp_path / "home")
    schedule = '[schedule]\nnight = "02:30"\nweek_day = "sunday"\nweek_time = "03:30"\n'
    group = GROUP.replace('"UTC"', '"Europe/Berlin"') + schedule
    (home / "leachbook.toml").write_text(group, encoding="utf-8")
    return home


def test_the_loop_runs_each_night_once_over_the_change_to_summer_time_and_a_restart(bare: Path) -> None:
    """29 March 2026: 2:30 is left out, the night begins at the change, 1:00 UTC."""
    first = Clock(utc("2026-03-27 12:00:20"), utc("2026-03-28 12:00"))
    first.keep(bare)
    assert first.days == [("night", 27), ("night", 28)]
    assert first.said[:3] == [
        "Night of 2026-03-27 begins",
        "Night of 2026-03-27 ended well",
        "Next: 2026-03-28 02:30 CET",
    ]
    second = Clock(utc("2026-03-28 12:00"), utc("2026-03-30 12:00"))
    second.keep(bare)
    assert second.days == [("night", 29), ("week", 29), ("night", 30)]
    assert [now for now, _ in second.ran] == [
        utc("2026-03-29 01:00"),
        utc("2026-03-29 01:30"),
        utc("2026-03-30 00:30"),
    ]
    # Told at the start, after each run, and once an hour besides.
    assert len(second.told) == 48 + 3 - 1


def test_a_run_that_fails_is_tried_again_after_growing_waits_and_what_it_said_is_kept(bare: Path) -> None:
    def answer(now: datetime, _: DueRun) -> Ended:
        return WELL if now >= utc("2026-03-25 07:00") else Ended(2, "out: no room.")

    clock = Clock(utc("2026-03-25 02:00"), utc("2026-03-25 06:00"), answer=answer)
    clock.keep(bare)
    begun = [now for now, _ in clock.ran]
    assert begun[0] == utc("2026-03-25 02:00")
    gaps = [(after - before) / MINUTE for before, after in itertools.pairwise(begun)]
    # The wait begins when the run has ended, 95 seconds after it began, and somebody asks on the full minute.
    assert gaps == [17, 62]
    state = read_schedule(bare)
    assert state is not None
    logged = read_text(bare / "log" / "runs.jsonl").splitlines()
    assert len(logged) == 3
    assert '"level": "error"' in logged[0]
    assert '"exit_code": 2, "seconds": 95.0, "sentence": "out: no room."' in logged[0]
    (failed,) = state.failed
    assert (failed.kind, failed.day, failed.times, failed.sentence) == (
        "night",
        date(2026, 3, 25),
        3,
        "out: no room.",
    )
    again = Clock(utc("2026-03-25 06:00"), utc("2026-03-25 09:00"), answer=answer)
    again.keep(bare)
    assert len(again.ran) == 1, "the wait of four hours outlasts a restart"
    state = read_schedule(bare)
    assert state is not None
    assert (state.failed, state.night) == ((), date(2026, 3, 25))


def test_a_week_waits_while_its_night_fails(bare: Path) -> None:
    clock = Clock(utc("2026-03-22 01:00"), utc("2026-03-22 02:45"), answer=lambda *_: Ended(2, "no"))
    clock.keep(bare)
    assert {kind for kind, _ in clock.days} == {"night"}


def test_a_home_that_somebody_works_on_is_waited_for(bare: Path) -> None:
    clock = Clock(utc("2026-03-25 02:00"), utc("2026-03-25 02:20"))
    with night_lock(bare, utc("2026-03-25 01:00")):
        clock.keep(bare)
    assert clock.ran == []
    (said,) = [one for one in clock.said if "in use" in one]
    assert said.startswith(f"A run is due, but the home is in use (process {os.getpid()} on ")


def test_one_home_has_one_schedule(bare: Path) -> None:
    with schedule_lock(bare):
        with pytest.raises(NightRunning, match="is being kept by another process"):
            Clock(utc("2026-03-25 02:00"), utc("2026-03-25 03:00")).keep(bare)
        ran = run_cli("schedule", bare, "--once", "--json")
        assert (ran.code, ran.json) == (0, [])
        assert "another process already" in ran.err


def test_what_was_done_is_known_even_where_it_cannot_be_written_down(bare: Path) -> None:
    (bare / "state").write_text("in the way", encoding="utf-8")
    clock = Clock(utc("2026-03-25 02:00"), utc("2026-03-25 05:00"))
    clock.keep(bare)
    assert clock.days == [("night", 25)]
    assert any("cannot be written down" in one for one in clock.said)


def test_mistaken_settings_are_said_once_and_asked_again(bare: Path) -> None:
    good = (bare / "leachbook.toml").read_text(encoding="utf-8")
    clock = Clock(utc("2026-03-25 12:00"), utc("2026-03-25 13:00"))
    (bare / "leachbook.toml").write_text("name = 1\n", encoding="utf-8")
    clock.keep(bare)
    assert (len(clock.said), clock.ran) == (1, [])
    assert "leachbook.toml: name" in clock.said[0]
    (bare / "leachbook.toml").write_text(good, encoding="utf-8")
    clock = Clock(utc("2026-03-25 13:00"), utc("2026-03-25 13:10"))
    clock.keep(bare)
    assert clock.days == [("night", 25)]


def test_mistaken_settings_of_a_home_with_nights_are_those_of_the_newest_night(home: Path) -> None:
    """So the night is due, fails by the mistake, and the manager of that night hears of it."""
    (home / "leachbook.toml").write_text('name = "x"\ntime_zone = "Mars"\n', encoding="utf-8")
    assert read_group(home).time_zone == "UTC"
    (home / "archive" / "ledger.jsonl").unlink()
    with pytest.raises(SettingsError):
        read_group(home)


def without_mail(home: Path) -> Path:
    (home / "leachbook.toml").write_text(GROUP + '[schedule]\nweek_day = "never"\n', encoding="utf-8")
    return home


def test_once_runs_a_real_night_that_is_due_and_then_nothing(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The night of the small home is of April, so today's is owed; a real process runs it."""
    # Where somebody stands may lie a folder of the same name.
    (tmp_path / "pipeline").mkdir()
    (tmp_path / "pipeline" / "__init__.py").touch()
    monkeypatch.chdir(tmp_path)
    without_mail(home)
    ran = run_cli("schedule", home, "--once", "--json")
    assert ran.code == 1, ran.err  # nobody has sent anything since April
    (told,) = ran.json
    good = read_good_night(home)
    assert good is not None
    assert (told["kind"], told["day"], told["exit_code"]) == ("night", str(good.as_of), 1)
    assert datetime.now(UTC) - good.finished_at < timedelta(minutes=5)
    again = run_cli("schedule", home, "--once")
    assert (again.code, again.out, again.err) == (0, "", "")


def test_a_loop_that_is_stopped_in_a_night_stops_the_night_and_begins_it_again(home: Path) -> None:
    """A real loop, a real night, a real SIGTERM; nothing is left over, and the next loop makes the night up."""
    without_mail(home)
    (home / "log" / "runs.jsonl").unlink()
    before = {path: path.read_bytes() for path in (home / "out").rglob("*") if path.is_file()}
    loop = subprocess.Popen(
        [sys.executable, "-m", "pipeline.cli", "schedule", str(home)],
        cwd=ROOT,
        stderr=subprocess.PIPE,
        text=True,
    )
    with loop:
        wait_for(lambda: '"stage": "read"' in read_text(home / "log" / "runs.jsonl"))
        loop.send_signal(signal.SIGTERM)
        _, said = loop.communicate(timeout=120)
    assert loop.returncode == 143
    assert said.endswith("Stopped by SIGTERM; what was published before stands.\n")
    assert "Traceback" not in said
    assert {path: path.read_bytes() for path in (home / "out").rglob("*") if path.is_file()} == before
    assert not (home / HOLDER_NAME).exists(), "its night is not running any more"
    assert [one for one in left_over(home) if one != ".schedule.lock"] == []
    assert "THE LAST NIGHT FAILED" in run_cli("status", home).out
    clock = Clock(datetime.now(UTC), datetime.now(UTC))
    (done,) = ask_once(home, clock=clock, tell=lambda *_: None, say=lambda _: None, start=clock.start)
    assert done[1].is_good


def test_a_loop_that_is_killed_leaves_its_night_to_end_and_the_next_one_finds_it_done(home: Path) -> None:
    without_mail(home)
    (home / "log" / "runs.jsonl").unlink()
    with subprocess.Popen(
        [sys.executable, "-m", "pipeline.cli", "schedule", str(home)], cwd=ROOT, stderr=subprocess.DEVNULL
    ) as loop:
        wait_for(lambda: '"stage": "load"' in read_text(home / "log" / "runs.jsonl"))
        loop.kill()
    said: list[str] = []
    clock = Clock(datetime.now(UTC), datetime.now(UTC))
    assert ask_once(home, clock=clock, tell=lambda *_: None, say=said.append, start=clock.start) == []
    assert "the home is in use (process " in said[0]
    wait_for(lambda: find_holder(home) is None)
    good = read_good_night(home)
    assert good is not None
    assert datetime.now(UTC) - good.finished_at < timedelta(minutes=5)
    assert ask_once(home, clock=clock, tell=lambda *_: None, say=said.append, start=clock.start) == []
    assert clock.ran == []


def read_text(path: Path) -> str:
    return path.read_text(encoding="utf-8") if path.exists() else ""


def wait_for(has_come: Callable[[], bool]) -> None:
    until = time.monotonic() + 120
    while not has_come():
        assert time.monotonic() < until
        time.sleep(0.02)


def test_a_run_that_hangs_is_stopped_and_a_killed_one_says_what_it_was_at(home: Path) -> None:
    day = datetime.now(UTC).date()
    today = DueRun("night", day, day)
    ended = start_process(home, today, longest=timedelta(seconds=0.3))
    assert not ended.is_good
    assert ended.sentence == "It hung, and was stopped after 0:00:00.300000."
    assert find_holder(home) is None
    assert explain_exit(-9, "Loading 3 new files\nRendering pages\n") == (
        "It was ended from outside (SIGKILL) after it said: Rendering pages."
    )
    assert explain_exit(2, "Loading\nout: no room.\n\n") == "out: no room."
    assert explain_exit(2, "") == "It ended with 2 and said nothing."


def test_status_tells_what_the_schedule_saw_fail(home: Path) -> None:
    (home / "state").mkdir()
    (home / "state" / "schedule.json").write_text(
        '{"since": "2026-03-01T00:00:00Z", "failed": [{"kind": "week", "day": "2026-04-06", "times": 2, '
        '"at": "2026-04-06T06:00:00Z", "sentence": "no password."}]}',
        encoding="utf-8",
    )
    told = run_cli("status", home).out.splitlines()
    assert (
        told[2] == "THE GROWERS' MAIL OF 2026-04-06 FAILED 2 times, last 2026-04-06 06:00 UTC: no password."
    )
    assert run_cli("status", home, "--json").json["schedule"]["failed"][0]["times"] == 2


def test_the_keeper_begins_where_the_home_knows_more_than_it(bare: Path) -> None:
    """A night by hand counts: its health file is newer than what the schedule remembers."""
    keeper = Keeper(bare, lambda: utc("2026-03-25 02:00"), lambda *_: WELL, lambda _: None)
    (bare / "health.json").write_text(
        '{"as_of": "2026-03-25", "finished_at": "2026-03-25T01:45:00Z", "run_id": "r", "needs_somebody": false}',
        encoding="utf-8",
    )
    assert keeper.ask() == []


def test_a_week_is_told_its_own_day_where_it_judges_from_another(bare: Path) -> None:
    """Mail before the night, after an outage: two weeks that both judge from the days of one."""
    text = (bare / "leachbook.toml").read_text(encoding="utf-8").replace('"02:30"', '"06:00"')
    (bare / "leachbook.toml").write_text(text, encoding="utf-8")
    first = Clock(utc("2026-03-10 12:00"), utc("2026-03-12 12:00"))
    first.keep(bare)
    back = Clock(utc("2026-03-16 12:00"), utc("2026-03-23 12:00"))
    back.keep(bare)
    weeks = [run for _, run in back.ran if run.kind == "week"]
    assert [(run.day.day, run.as_of.day) for run in weeks] == [(15, 16), (22, 21)]
    days = [write_command(bare, run)[-4:] for run in weeks]
    assert days == [
        ["--as-of", "2026-03-16", "--week", "2026-03-15"],
        ["--as-of", "2026-03-21", "--week", "2026-03-22"],
    ]
    assert name_period(weeks[0].as_of, 6) == name_period(weeks[1].as_of, 6), "by their nights they are alike"
    assert [name_period(run.day, 6) for run in weeks] == ["2026-W11", "2026-W12"]
    night_run = DueRun("night", date(2026, 3, 16), date(2026, 3, 16))
    assert write_command(bare, night_run)[-2:] == ["--as-of", "2026-03-16"]
