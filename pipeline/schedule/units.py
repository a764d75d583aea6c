"""Units for systemd and lines for cron that ask which runs are due. Pure: text from settings and places.

Both start `leachbook schedule HOME --once`, which does what is due and ends. So clock changes, outages and failures are
decided in one place: systemd 252 leaves out a time in the hour that is missing in spring
(`systemd-analyze calendar '*-*-* 02:30:00 America/New_York'` says so), and cron knows one time zone, the machine's.
"""

from __future__ import annotations

import re
import shlex
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from pipeline.schedule.due import Timetable

_DAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True, slots=True)
class Place:
    """Where and as whom it runs: the command's own words, an absolute home, an account.

    `password_env`: the variable in which [mail] looks for its password, where it names one.
    """

    command: tuple[str, ...]
    home: Path
    user: str
    group_name: str
    password_env: str | None = None

    @property
    def words(self) -> tuple[str, ...]:
        """The whole command."""
        return (*self.command, "schedule", str(self.home), "--once")

    @property
    def unit(self) -> str:
        """Name of the units without their ending; only letters that systemd allows."""
        return "leachbook-" + re.sub(r"[^A-Za-z0-9_.-]+", "-", self.home.name)


def systemd_units(place: Place, timetable: Timetable) -> dict[str, str]:
    """Service and timer by their file names."""
    return {
        f"{place.unit}.service": _service(place),
        f"{place.unit}.timer": _timer(place, timetable),
    }


def _service(place: Place) -> str:
    start = " ".join(_quote_for_systemd(word) for word in place.words)
    secret = (
        ""
        if place.password_env is None
        else (
            f"# Holds {place.password_env}=..., of root and with mode 600; systemd alone reads it.\n"
            f"EnvironmentFile=-/etc/leachbook/{place.unit}.env\n"
        )
    )
    return f"""\
[Unit]
Description=Leachbook for {_escape_percent(place.group_name)}: runs that are due
RequiresMountsFor={_quote_for_systemd(str(place.home))}
Wants=network-online.target
After=network-online.target

[Service]
Type=oneshot
User={place.user}
{secret}ExecStart={start}
# 1: a run went well, and the pages say that something is held or a site is quiet. 143: stopped by systemctl.
SuccessExitStatus=1 143
# A stopped run leaves yesterday's files as they were; what is just being published is finished first.
KillMode=mixed
TimeoutStopSec=5min
Nice=10
NoNewPrivileges=yes
"""


def home_line(service: str) -> str | None:
    """The line of a service that says whose home it is for."""
    return next((line for line in service.splitlines() if line.startswith("RequiresMountsFor=")), None)


def _timer(place: Place, timetable: Timetable) -> str:
    zone = timetable.zone.key
    week = (
        ""
        if timetable.week_day is None
        else (
            "# The growers' mail.\n"
            f"OnCalendar={_DAYS[timetable.week_day]} *-*-* {timetable.week_time:%H:%M}:00 {zone}\n"
        )
    )
    return f"""\
[Unit]
Description=Leachbook for {_escape_percent(place.group_name)}: when runs are due

[Timer]
# The night, by the clocks of the group. Times are those of leachbook.toml: print the units again when they change.
OnCalendar=*-*-* {timetable.night:%H:%M}:00 {zone}
{week}# Once an hour: makes up what an outage, a failure or a clock change left out; sends mail that had to wait.
OnCalendar=*-*-* *:10:00
# What was missed while the machine was off is asked for as soon as it is on again.
Persistent=true
AccuracySec=30s

[Install]
WantedBy=timers.target
"""


def tell_units(units: dict[str, str], folder: str = "/etc/systemd/system") -> list[str]:
    """The units one after the other, each under the name of its file."""
    lines = [f"# Write each part into {folder} (--to FOLDER does), then: systemctl daemon-reload"]
    timer = next(name for name in units if name.endswith(".timer"))
    lines.append(f"# systemctl enable --now {timer}")
    for name, text in units.items():
        lines += ["", f"# {folder}/{name}", *text.splitlines()]
    return lines


def cron_lines(place: Place, timetable: Timetable) -> list[str]:
    """Lines for the crontab of the account that owns the home."""
    # A crontab ends a command at a bare percent sign.
    command = shlex.join(place.words).replace("%", r"\%")
    week = (
        ""
        if timetable.week_day is None
        else f", the growers' mail on {_DAYS[timetable.week_day]} at {timetable.week_time:%H:%M}"
    )
    return [
        f"# Leachbook for {place.group_name}: add to the crontab of {place.user} (crontab -e).",
        "# cron knows no time zone but the machine's, so it asks every ten minutes; what is due is decided by",
        f"# leachbook.toml: the night at {timetable.night:%H:%M}{week}, {timetable.zone.key}.",
        "# Exit code 1 (something is held, a site is quiet) is success; cron mails what is written on failure.",
        *(
            []
            if place.password_env is None
            else [f"# cron does not know {place.password_env}: let [mail] name a password_file instead."]
        ),
        f'*/10 * * * * out=$({command} 2>&1) || [ $? -eq 1 ] || {{ echo "$out"; exit 2; }}',
    ]


def _quote_for_systemd(word: str) -> str:
    """One word of a command line in a unit: quoted where needed, with percent and dollar signs kept as they are."""
    text = _escape_percent(word).replace("$", "$$")
    if re.fullmatch(r"[A-Za-z0-9_@%+=:,./$-]+", text):
        return text
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _escape_percent(text: str) -> str:
    return text.replace("%", "%%")
