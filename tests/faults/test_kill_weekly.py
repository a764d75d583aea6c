"""A small sample of tests/faults/kill_weekly.py: a week killed at two moments that matter, and its workers."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from tests.conftest import copy_home
from tests.delivery.mail_homes import add_mail
from tests.delivery.smtp_server import make_certificates, run_server
from tests.faults.kill_weekly import Moment, check, kill_at, run_again


def processes_of(home: Path) -> list[str]:
    """Processes that stand in this home's name or were started for it, by what /proc tells of their environment."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                if f"LEACHBOOK_TEST_HOME={home}".encode() in (entry / "environ").read_bytes():
                    found.append(entry.name)
            except OSError:
                continue
    return found


@pytest.mark.parametrize(
    ("moment", "unknown"),
    [(Moment(event="recipient named", times=2), 0), (Moment(event="taken", times=3), 1)],
)
def test_a_killed_week_loses_nothing_in_silence_and_says_nothing_twice(
    one_night: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moment: Moment, unknown: int
) -> None:
    home = copy_home(one_night, tmp_path / "home")
    monkeypatch.setenv("LEACHBOOK_TEST_HOME", str(home))
    with run_server(make_certificates(tmp_path / "certificates")) as server:
        recipients = add_mail(home, server, growers=4)
        assert kill_at(home, server, moment)
        # workers of a killed run do not wait for work for ever
        until = time.monotonic() + 20
        while processes_of(home) and time.monotonic() < until:
            time.sleep(0.05)
        assert processes_of(home) == []
        ended = check(home, server, run_again(home), recipients)
    assert ended == {"sent": 4 - unknown} | ({"unknown": unknown} if unknown else {})
