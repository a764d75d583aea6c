"""A small sample of tests/faults/kill_weekly.py: a week killed at two moments that matter."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.conftest import copy_home
from tests.delivery.mail_homes import add_mail
from tests.delivery.smtp_server import make_certificates, run_server
from tests.faults.kill_weekly import Moment, check, kill_at, run_again


@pytest.mark.parametrize(
    ("moment", "unknown"),
    [(Moment(event="recipient named", times=2), 0), (Moment(event="taken", times=3), 1)],
)
def test_a_killed_week_loses_nothing_in_silence_and_says_nothing_twice(
    one_night: Path, tmp_path: Path, moment: Moment, unknown: int
) -> None:
    home = copy_home(one_night, tmp_path / "home")
    with run_server(make_certificates(tmp_path / "certificates")) as server:
        recipients = add_mail(home, server, growers=4)
        assert kill_at(home, server, moment)
        ended = check(home, server, run_again(home), recipients)
    assert ended == {"sent": 4 - unknown} | ({"unknown": unknown} if unknown else {})
