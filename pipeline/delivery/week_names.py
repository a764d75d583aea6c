"""How the weeks of mail are named. Pure."""

from __future__ import annotations

from datetime import date, timedelta


def name_period(day: date, mail_day: int | None = None) -> str:
    """The week that a message is about, by ISO 8601: 2026-W15.

    `mail_day`: the weekday on which mail is due, 0 for Monday; a week begins with it. So mail of a Sunday that an
    outage put off to the Tuesday after is of another week than that of the next Sunday.
    """
    year, week, _ = begin_week(day, mail_day).isocalendar()
    return f"{year}-W{week:02}"


def begin_week(day: date, mail_day: int | None = None) -> date:
    """The day on which the week of a day began: its mail day on or before it, or itself where there is none."""
    return day if mail_day is None else day - timedelta(days=(day.weekday() - mail_day) % 7)


def read_week(period: str) -> int:
    """The number of the week that a period names, as its readers are told it."""
    return int(period.rpartition("W")[2])
