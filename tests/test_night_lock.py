"""One night at a time: a second is refused while another process holds the lock, and a dead one frees it."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipeline.errors import NightRunning
from pipeline.night_lock import HOLDER_NAME, LOCK_NAME, find_holder, night_lock
from tests.conftest import ROOT
from tests.home import DAY, NOW, run_cli

_HOLD = """
import sys, time
from datetime import UTC, datetime
from pathlib import Path
from pipeline.night_lock import night_lock
with night_lock(Path(sys.argv[1]), datetime(2026, 4, 6, 4, 0, tzinfo=UTC)):
    print("held", flush=True)
    time.sleep(600)
"""


@pytest.fixture
def holder(home: Path) -> Iterator[subprocess.Popen[str]]:
    """Another process that holds the lock of `home`."""
    process = subprocess.Popen(
        [sys.executable, "-c", _HOLD, str(home)], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    with process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        yield process
        process.kill()


def test_a_second_night_is_refused_and_told_who_runs(home: Path, holder: subprocess.Popen[str]) -> None:
    ran = run_cli("nightly", home, "--as-of", DAY)
    assert ran.code == 2
    assert ran.out == ""
    assert ran.err == (
        f"{home}: a night is running (process {holder.pid} on {socket.gethostname()} since 2026-04-06 04:00 UTC); "
        "wait until it has ended.\n"
    )


def test_reading_commands_work_while_a_night_runs(home: Path, holder: subprocess.Popen[str]) -> None:
    assert holder.poll() is None
    for command in (("status",), ("held",), ("trace", "hill", "H-1")):
        name, *rest = command
        assert run_cli(name, home, *rest).code == 0


def test_a_holder_that_is_killed_frees_the_lock(home: Path, holder: subprocess.Popen[str]) -> None:
    os.kill(holder.pid, signal.SIGKILL)
    holder.wait()
    assert (home / HOLDER_NAME).exists(), "the dead one left its name"
    ran = run_cli("nightly", home, "--as-of", DAY)
    assert ran.code == 0
    assert not (home / HOLDER_NAME).exists()


def test_the_lock_is_free_again_after_an_error(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="inside"), night_lock(tmp_path, NOW):
        raise ValueError("inside")
    with night_lock(tmp_path, datetime.now(UTC)):
        assert str(os.getpid()) in (tmp_path / HOLDER_NAME).read_text(encoding="utf-8")
        with pytest.raises(NightRunning, match=f"process {os.getpid()} on"), night_lock(tmp_path, NOW):
            pytest.fail("a second night got in")
    assert [path.name for path in tmp_path.iterdir()] == [LOCK_NAME]


def test_a_dead_holder_is_recognised_by_the_name_that_it_left(
    home: Path, holder: subprocess.Popen[str]
) -> None:
    named = f"process {holder.pid} on {socket.gethostname()} since 2026-04-06 04:00 UTC"
    assert find_holder(home) == named
    os.kill(holder.pid, signal.SIGKILL)
    holder.wait()
    assert find_holder(home) is None, "the name stands there, but nobody holds the lock"
    with night_lock(home, NOW) as died:
        assert died == named
    with night_lock(home, NOW) as died:
        assert died is None, "the one before gave the lock back in order"


def test_a_name_that_cannot_be_read_is_nobody(home: Path) -> None:
    (home / HOLDER_NAME).write_bytes(b"\xff\xfe")
    with night_lock(home, NOW) as died:
        assert died is None
        assert (
            find_holder(home) == f"process {os.getpid()} on {socket.gethostname()} since 2026-11-01 04:00 UTC"
        )
