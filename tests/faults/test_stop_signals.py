"""SIGTERM and SIGINT to real nights: what stood stands, nothing is left over, and the exit code says what it was.

Before anything is published the old pages stay; a signal that comes in between is held until all is published.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pipeline.night_lock import HOLDER_NAME
from tests.conftest import ROOT, Share
from tests.faults.kill_nights import begin, check_after_kill, known_digest, left_over, published
from tests.home import DAY, night


def stop_at(home: Path, step: str, number: int, seconds: float) -> subprocess.CompletedProcess[str]:
    """Run a night in a process of its own, and send it a signal so long after it said that it begins a step."""
    process = subprocess.Popen(
        [sys.executable, "-m", "pipeline.cli", "nightly", str(home), "--as-of", str(DAY)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    with process:
        assert process.stderr is not None
        said = ""
        for line in process.stderr:
            said += line
            if line.startswith(step):
                break
        time.sleep(seconds)
        os.kill(process.pid, number)
        out, rest = process.communicate(timeout=60)
    return subprocess.CompletedProcess([], process.returncode, out, said + rest)


@pytest.mark.parametrize(
    ("step", "number", "seconds"),
    [
        ("Judging", signal.SIGTERM, 0.05),
        ("Rendering", signal.SIGINT, 0.3),
    ],
    ids=str,
)
def test_a_night_that_is_stopped_leaves_yesterday_as_it_was(
    one_night: Path, tmp_path: Path, step: str, number: int, seconds: float
) -> None:
    home = begin(one_night, tmp_path / "home")
    before = {path: path.read_bytes() for path in (home / "out").rglob("*") if path.is_file()}
    ran = stop_at(home, step, number, seconds)
    name = signal.Signals(number).name
    assert ran.returncode == 128 + number
    assert ran.stderr.endswith(f"Stopped by {name}; what was published before stands.\n")
    assert "Traceback" not in ran.stderr
    assert {path: path.read_bytes() for path in (home / "out").rglob("*") if path.is_file()} == before
    assert known_digest(home) == published(one_night).night.facts_digest
    assert left_over(home) == [], "it tidied up by itself"
    assert not (home / HOLDER_NAME).exists()


def test_a_signal_while_publishing_waits_until_all_is_in_place(
    one_night: Path, tmp_path: Path, share: Share
) -> None:
    whole = published(share("killed-by-nobody", lambda folder: night(begin(one_night, folder), pages=True)))
    home = begin(one_night, tmp_path / "home")
    ran = stop_at(home, "Publishing", signal.SIGTERM, 0.0)
    assert "Traceback" not in ran.stderr
    stands = check_after_kill(home, published(one_night), whole)
    assert known_digest(home) == published(home).night.facts_digest, "warehouse and pages are of one night"
    assert (ran.returncode, stands) in ((143, "new pages"), (143, "old pages"))
    assert left_over(home) == []
