"""Texts into days and times of day: by the export's own format, never guessed."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.intake.refused import Refused

WEEK_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
DEFAULT_TIME_FORMATS = ("%H:%M", "%H:%M:%S")
DEFAULT_MOMENT_FORMATS = ("%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%M")

_WEEK = re.compile(
    r"(?:([0-9]{4})(?:[ /-]|(?=[a-z])))?(?:w|wk|kw|week|sem|semana)?[. -]?\s*([0-9]{1,2})", re.IGNORECASE
)
_YEAR = re.compile(r"[0-9]{4}")
_EXAMPLE = datetime(2026, 4, 25, 9, 30)  # day above 12: month and day cannot be taken for each other

# The directives for which Polars and Python agree on every text that comes out again as it went in.
_SHARED_DIRECTIVES = frozenset("YmdHMS")


def read_moment(text: str, formats: Sequence[str], zone: str) -> datetime | None:
    """The local moment that a text means by the first format that fits, or None.

    A text with an offset (``%z``) is turned into the local time of `zone`.
    """
    for form in formats:
        try:
            moment = datetime.strptime(text, form)
            if moment.tzinfo is not None:
                moment = moment.astimezone(ZoneInfo(zone)).replace(tzinfo=None)
        except (ValueError, OverflowError):
            continue
        return moment
    return None


def read_moments(texts: pl.Series, formats: Sequence[str], zone: str) -> pl.Series:
    """`read_moment` for a column of different texts; null where no format fits.

    Time stamps of a meter's log are nearly all different, so Polars reads those that it writes back just as
    they stand; only the rest goes through Python one by one.
    """
    quick = pl.Series(texts.name, [None] * len(texts), dtype=pl.Datetime("us"))
    if formats and _is_shared(formats[0]):
        quick = _read_quickly(texts, formats[0])
    rest = texts.filter(quick.is_null())
    if rest.is_empty():
        return quick
    slow = pl.Series([read_moment(text, formats, zone) for text in rest], dtype=pl.Datetime("us"))
    return quick.scatter(quick.is_null().arg_true(), slow)


def _is_shared(form: str) -> bool:
    directives = set(re.findall(r"%(.)", form))
    return set("Ymd") <= directives <= _SHARED_DIRECTIVES


def _read_quickly(texts: pl.Series, form: str) -> pl.Series:
    moments = texts.to_frame("text").select(
        # A format without a time of day does not make a moment by itself.
        (pl.col("text") + " 00:00").str.to_datetime(form + " %H:%M", strict=False, time_unit="us")
        if "%H" not in form
        else pl.col("text").str.to_datetime(form, strict=False, time_unit="us")
    )
    moment = moments.to_series()
    same = moment.dt.to_string(form) == texts
    known = moment.dt.year().is_between(1, 9999)
    return moments.select(pl.when(same & known).then(moment)).to_series()


def read_week(text: str, year_text: str | None, week_day: str) -> date | Refused:
    """The day of an ISO week that stands for it, or the reason why not.

    The week may name its year itself (``2026-W14``); otherwise the year's own cell is needed.
    """
    found = _WEEK.fullmatch(text)
    if not found:
        return Refused("is not a week; write it like 14")
    year = found[1]
    if year is not None:
        if year_text and year_text != year:
            return Refused(
                f'names another year than the year\'s column, which has "{year_text}"; correct one'
            )
    else:
        if not year_text:
            return Refused("has no year; fill the year's column or write it like 2026-W14")
        if not _YEAR.fullmatch(year_text):
            return Refused(f'cannot be placed, as its year "{year_text}" is not a year; write it like 2026')
        year = year_text
    try:
        return date.fromisocalendar(int(year), int(found[2]), WEEK_DAYS.index(week_day) + 1)
    except ValueError:
        return Refused(f"is not a week of {year}; ISO weeks go from 1 to 52, in some years to 53")


def example_of(form: str) -> str:
    """A day as a format writes it, for messages."""
    return _EXAMPLE.strftime(form)
