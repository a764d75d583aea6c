"""Texts into days and times of day: by the export's own format, never guessed.

Local time and the changing of the clocks: only the day and the order within it are used, so a local time is
taken as it is written, also one that the clocks jumped over in spring or showed twice in autumn.  No day is
lost or moved by it.  A time stamp with an offset (``%z``: ``+02:00``, ``+0200`` or ``Z``) is an instant and
becomes the site's local time exactly; the two readings of a repeated hour then have the same local time.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.intake.refused import Refused

WEEK_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
DEFAULT_TIME_FORMATS = ("%H:%M", "%H:%M:%S")
DEFAULT_MOMENT_FORMATS = ("%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%M")

_WEEK_WORD = r"(?:w|wk|kw|week|sem|semana)[. -]?\s*"
_WEEK = re.compile(rf"(?:([0-9]{{4}})[ /-]?)?{_WEEK_WORD}([0-9]{{1,2}})|([0-9]{{1,2}})", re.IGNORECASE)
_WEEK_THEN_YEAR = re.compile(rf"{_WEEK_WORD}([0-9]{{1,2}})[ /-]([0-9]{{4}})", re.IGNORECASE)
# Without a word for week the number may be a month, as long as there is such a month.
_WEEK_OR_MONTH = re.compile(r"([0-9]{4})[ /-]([0-9]{1,2})|([0-9]{1,2})[ /-]([0-9]{4})")
_MONTHS = 12
_YEAR = re.compile(r"[0-9]{4}")
# Day above 12: month and day cannot be taken for each other; in a zone, for formats with an offset.
_EXAMPLE = datetime(2026, 4, 25, 9, 30, tzinfo=UTC)

# The directives for which Polars and Python agree on every text that comes out again as it went in.
_SHARED_DIRECTIVES = frozenset("YmdHMS")
# Two numbers without anything between: strptime would divide 2026111 somewhere, and so guess.
_TIGHT = re.compile(r"%[YymdHIMSj]%[YymdHIMSjf]")
_OFFSET = r"(Z|[+-](?:[01][0-9]|2[0-3]):?[0-5][0-9])$"
# Day numbers of a spreadsheet: 20000 is in 1954 and 79999 in 2119.
_SERIAL = re.compile(r"([2-7][0-9]{4})(?:[.,][0-9]+)?")
_SERIAL_START = date(1899, 12, 30)
_SHORT_YEAR = re.compile(r"[0-9]{1,2}[./-][0-9]{1,2}[./-][0-9]{2}")


def read_moment(text: str, formats: Sequence[str], zone: str) -> datetime | None:
    """The local moment that a text means by the first format that fits, or None.

    A text with an offset (``%z``) is turned into the local time of `zone`.
    """
    for form in formats:
        try:
            moment = datetime.strptime(text, form)
            if _TIGHT.search(form) and moment.strftime(form) != text:
                continue
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
    if formats and _is_shared(formats[0].removesuffix("%z")):
        form = formats[0]
        quick = _read_instants(texts, form, zone) if form.endswith("%z") else _read_quickly(texts, form)
    rest = texts.filter(quick.is_null())
    if rest.is_empty():
        return quick
    slow = pl.Series([read_moment(text, formats, zone) for text in rest], dtype=pl.Datetime("us"))
    return quick.scatter(quick.is_null().arg_true(), slow)


def _is_shared(form: str) -> bool:
    directives = set(re.findall(r"%(.)", form))
    return set("Ymd") <= directives <= _SHARED_DIRECTIVES


def _read_instants(texts: pl.Series, form: str, zone: str) -> pl.Series:
    """Time stamps that end in an offset: the local part as any other, then moved by whole minutes."""
    offsets = texts.str.extract(_OFFSET)
    local = _read_quickly(texts.str.replace(_OFFSET, "", n=1), form.removesuffix("%z"))
    digits = offsets.replace("Z", "+0000").str.replace(":", "", literal=True)
    minutes = digits.str.slice(1, 2).cast(pl.Int64) * 60 + digits.str.slice(3, 2).cast(pl.Int64)
    sign = pl.when(digits.str.starts_with("-")).then(-1).otherwise(1)
    # The first and last days of the calendar could leave it; they go the slow way.
    inside = local.dt.year().is_between(2, 9998)
    instant = pl.select(pl.when(inside).then(local - pl.duration(minutes=minutes * sign))).to_series()
    return instant.dt.replace_time_zone("UTC").dt.convert_time_zone(zone).dt.replace_time_zone(None)


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


def is_day_number(text: str) -> bool:
    """Whether a text looks like the number by which a spreadsheet counts a day: 46115 is 3 April 2026."""
    return _SERIAL.fullmatch(text) is not None


def explain_moment(text: str, formats: Sequence[str], what: str) -> str:
    """Why a text is no date or time by these formats, with what it looks like where that can be said."""
    like = f"write it like {example_of(formats[0])}"
    serial = _SERIAL.fullmatch(text)
    if serial and what != "time":
        day = _SERIAL_START + timedelta(days=int(serial[1]))
        return (
            f"looks like a spreadsheet's day number ({serial[1]} stands for {day}); format the column as a "
            f"date and export it again, like {example_of(formats[0])}"
        )
    if _SHORT_YEAR.fullmatch(text) and "%Y" in formats[0]:
        return f"has a year of two digits; {like}, or change date_format in site.toml"
    return f"is not a {what}; {like}"


def read_week(
    text: str, year_text: str | None, week_day: str, rule: str = "iso", starts: str = "monday"
) -> date | Refused:
    """The day of a week that stands for it, or the reason why not.

    The week may name its year itself (``2026-W14``, ``KW 14/2026``); otherwise the year's own cell is needed. Year and
    number alone are a week only where no month has that number: ``14/2026``, but not ``04/2026``.
    """
    found = _WEEK.fullmatch(text)
    other = _WEEK_THEN_YEAR.fullmatch(text)
    bare = _WEEK_OR_MONTH.fullmatch(text)
    if found:
        year, number = found[1], int(found[2] or found[3])
    elif other:
        year, number = other[2], int(other[1])
    elif bare:
        year, number = bare[1] or bare[4], int(bare[2] or bare[3])
        if number <= _MONTHS:
            return Refused(f"may be a month as well as a week; write the week like {year}-W{number:02}")
    else:
        return Refused("is not a week; write it like 14")
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
        day = day_of_week(int(year), number, week_day, rule, starts)
    except OverflowError:
        day = None
    return day or Refused(f"is not a week of {year}; {_WEEKS_GO[rule]}")


def is_in_week(text: str, year_text: str | None, day: date, rule: str, starts: str) -> bool:
    """Whether a day is one of the days of the week that a cell and its year name."""
    return any(read_week(text, year_text, week_day, rule, starts) == day for week_day in WEEK_DAYS)


def names_week(text: str, year_text: str | None) -> bool:
    """Whether a cell and its year name a week by any rule, or one that no year has: 53 of a year with 52 is a slip."""
    for rule in _WEEKS_GO:
        if not isinstance(read_week(text, year_text, "monday", rule), Refused):
            return True
    slip = _WEEK.fullmatch(text)
    number = int(slip[2] or slip[3]) if slip else 0
    return 0 < number <= _MOST_WEEKS and bool(_YEAR.fullmatch((slip and slip[1]) or year_text or ""))


# A year that begins on the last day of a week and ends on the first day of another touches 54 of them.
_MOST_WEEKS = 54
_WEEKS_GO = {
    "iso": "ISO weeks go from 1 to 52, in some years to 53",
    "january_1": "where week 1 holds 1 January, weeks go from 1 to 53, in some years to 54",
    "first_full_week": "where week 1 is the year's first whole week, weeks go from 1 to 52, in some years to 53",
}


def day_of_week(year: int, number: int, week_day: str, rule: str, starts: str) -> date | None:
    """The day that stands for a week of a year, or None where the year has no such week.

    ``iso``: weeks begin on Monday, and week 1 is the one that holds the year's first Thursday (P, ISO 8601).

    ``january_1``: week 1 holds 1 January and weeks begin on `starts`; the weeks at both ends of the year
    are cut off at the year's edge, so that a day belongs to its own year (C, calendars of the United States;
    the usual week number of spreadsheets).  Where the week day lies beyond that edge, 1 January or 31
    December stands for the week.

    ``first_full_week``: week 1 begins on the year's first `starts`, and weeks are whole: the last one goes on
    until week 1 of the next year (C; the numbers from 1 on are those of ``%U`` and ``%W`` in C and Python
    for Sunday and Monday).

    Raises OverflowError at the calendar's first and last weeks.
    """
    if not 1 <= year <= 9999:
        return None
    if rule == "iso":
        try:
            return date.fromisocalendar(year, number, WEEK_DAYS.index(week_day) + 1)
        except ValueError:
            return None
    first, last = date(year, 1, 1), date(year, 12, 31)
    begin = WEEK_DAYS.index(starts)
    after = (begin - first.weekday()) % 7
    start = first + timedelta(days=after if rule == "first_full_week" or after == 0 else after - 7)
    begins_on = start + timedelta(weeks=number - 1)
    if number < 1 or begins_on > last:
        return None
    day = begins_on + timedelta(days=(WEEK_DAYS.index(week_day) - begin) % 7)
    return max(first, min(day, last)) if rule == "january_1" else day


def example_of(form: str) -> str:
    """A day as a format writes it, for messages."""
    return _EXAMPLE.strftime(form)
