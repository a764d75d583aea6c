"""Units and crontab lines: that systemd itself takes them, that odd words stay whole, and what cron runs."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from pipeline.schedule.due import Timetable
from pipeline.schedule.units import Place, cron_lines, systemd_units
from tests.home import make_home, run_cli

BERLIN = Timetable(ZoneInfo("Europe/Berlin"), time(4), 0, time(5, 30))
ODD = 'my "odd" home 50% $HOME'


def run(*command: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run([str(one) for one in command], capture_output=True, text=True, check=False)


@pytest.fixture(scope="module", autouse=True)
def systemd() -> None:
    if shutil.which("systemd-analyze") is None:
        pytest.fail("systemd-analyze is missing; tests/run names Debian's package systemd")


@pytest.mark.parametrize("name", ["home", ODD])
def test_systemd_takes_the_units_as_they_are_written(tmp_path: Path, name: str) -> None:
    home = make_home(tmp_path / name)
    group = home / "leachbook.toml"
    group.write_text(
        'name = "Growers 100%"\ntime_zone = "America/New_York"\n[schedule]\nnight = "02:30"\n'
        '[mail]\nuser = "reports"\npassword_env = "PW"\n',
        encoding="utf-8",
    )
    ran = run_cli("schedule", home, "--print", "systemd", "--to", tmp_path / "units")
    assert (ran.code, ran.err) == (0, "")
    units = sorted((tmp_path / "units").iterdir())
    assert [one.suffix for one in units] == [".service", ".timer"]
    verified = run("systemd-analyze", "verify", "--man=no", "--recursive-errors=no", *units)
    assert (verified.returncode, verified.stderr, verified.stdout) == (0, "", "")


def test_a_unit_that_is_wrong_is_refused_by_the_same_check(tmp_path: Path) -> None:
    place = Place(("/bin/true",), tmp_path, "root", "Growers")
    units = systemd_units(place, BERLIN)
    for name, text in units.items():
        (tmp_path / name).write_text(
            text.replace("04:00:00 Europe/Berlin", "25:00:00 Mars"), encoding="utf-8"
        )
    verified = run("systemd-analyze", "verify", "--man=no", *(tmp_path / name for name in units))
    assert "Failed to parse calendar specification" in verified.stderr


def test_the_service_counts_held_lines_as_success_and_the_timer_knows_the_zone(tmp_path: Path) -> None:
    place = Place(("/opt/leachbook/bin/leachbook",), Path("/srv/growers"), "anna", "Growers")
    units = systemd_units(place, BERLIN)
    assert list(units) == ["leachbook-growers.service", "leachbook-growers.timer"]
    service, timer = (text.splitlines() for text in units.values())
    assert "SuccessExitStatus=1 143" in service
    assert "ExecStart=/opt/leachbook/bin/leachbook schedule /srv/growers --once" in service
    assert "User=anna" in service
    assert [line for line in timer if line.startswith("OnCalendar=")] == [
        "OnCalendar=*-*-* 04:00:00 Europe/Berlin",
        "OnCalendar=Mon *-*-* 05:30:00 Europe/Berlin",
        "OnCalendar=*-*-* *:10:00",
    ]
    assert "Persistent=true" in timer
    assert not [line for line in service if line.startswith("EnvironmentFile=")]
    secret = Place(place.command, place.home, place.user, place.group_name, "PW")
    assert (
        "EnvironmentFile=-/etc/leachbook/leachbook-growers.env"
        in systemd_units(secret, BERLIN)["leachbook-growers.service"]
    )
    assert any("password_file" in line for line in cron_lines(secret, BERLIN))
    never = Timetable(BERLIN.zone, BERLIN.night, None, BERLIN.week_time)
    assert "Mon" not in systemd_units(place, never)["leachbook-growers.timer"]


def elapses(calendar: str, base: datetime, times: int) -> list[datetime]:
    """When systemd itself would start something."""
    told = run(
        "systemd-analyze",
        "calendar",
        f"--base-time={base:%Y-%m-%d %H:%M:%S} UTC",
        f"--iterations={times}",
        calendar,
    ).stdout
    found = re.findall(r"(?:Next elapse|Iter\. #\d+|\(in UTC\)): \w+ (\S+ \S+) UTC", told)
    return [datetime.fromisoformat(one).replace(tzinfo=UTC) for one in dict.fromkeys(found)]


def test_the_hourly_line_is_needed_because_systemd_leaves_out_the_missing_hour() -> None:
    """Measured, not believed: New York has no 2:30 on 8 March 2026, and the timer does not start on that day."""
    base = datetime(2026, 3, 7, 12, tzinfo=UTC)
    nightly = elapses("*-*-* 02:30:00 America/New_York", base, 2)
    assert [one.date().day for one in nightly] == [9, 10]
    hourly = elapses("*-*-* *:10:00", datetime(2026, 3, 8, 7, tzinfo=UTC), 1)
    assert hourly[0] - datetime(2026, 3, 8, 7, tzinfo=UTC) < timedelta(hours=1)


@pytest.mark.parametrize(("code", "ends", "says"), [(0, 0, ""), (1, 0, ""), (2, 2, "it failed\n")])
def test_cron_is_quiet_on_success_and_on_held_lines_and_mails_a_failure(
    tmp_path: Path, code: int, ends: int, says: str
) -> None:
    """The command of the line is run by sh, as cron does, with a program of ours in the place of Leachbook."""
    program = tmp_path / "program"
    program.write_text(
        f'#!/bin/sh\necho "$@" >"{tmp_path}/words"\necho it failed >&2\nexit {code}\n', encoding="utf-8"
    )
    program.chmod(0o755)
    place = Place((str(program),), tmp_path / ODD, "root", "Growers")
    line = cron_lines(place, BERLIN)[-1]
    times, command = line[:13], line[13:]
    assert times == "*/10 * * * * "
    assert "%" not in command.replace(r"\%", ""), "cron would end the command there"
    ran = run("/bin/sh", "-c", command.replace(r"\%", "%"))
    assert (ran.returncode, ran.stdout, ran.stderr) == (ends, says, "")
    assert (tmp_path / "words").read_text(encoding="utf-8") == f"schedule {tmp_path / ODD} --once\n"


@pytest.mark.parametrize("form", ["systemd", "cron"])
def test_a_path_that_would_begin_a_line_of_its_own_is_refused(tmp_path: Path, form: str) -> None:
    home = make_home(tmp_path / "home\nUser=root")
    ran = run_cli("schedule", home, "--print", form)
    assert (ran.code, ran.out) == (2, "")
    assert ran.err.endswith("that a unit or a crontab cannot carry; rename the folder.\n")


def test_what_is_printed_for_a_person_names_each_file_and_how_to_switch_it_on(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home")
    told = run_cli("schedule", home, "--print", "systemd").out
    for part in (
        "# /etc/systemd/system/leachbook-home.service",
        "systemctl enable --now leachbook-home.timer",
    ):
        assert part in told
    lines = run_cli("schedule", home, "--print", "cron").out.splitlines()
    assert shlex.quote(str(home)) in lines[-1]
    assert run_cli("schedule", home, "--to", tmp_path).code == 2


def test_two_homes_of_one_name_do_not_overwrite_each_other_s_units(tmp_path: Path) -> None:
    one, other = make_home(tmp_path / "north" / "home"), make_home(tmp_path / "south" / "home")
    units = tmp_path / "units"
    for _ in range(2):
        assert run_cli("schedule", one, "--print", "systemd", "--to", units).code == 0
    ran = run_cli("schedule", other, "--print", "systemd", "--to", units)
    path = units / "leachbook-home.service"
    assert ran.code == 2
    assert ran.err == (
        f"{path}: is the unit of another home in a folder of the same name; rename this home's folder.\n"
    )
    assert str(one) in (units / "leachbook-home.service").read_text(encoding="utf-8")
