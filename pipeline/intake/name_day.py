"""The day in a file's name, by which files of one night rule over each other.

Year first (2026-04-02, 2026_04_02, 2026.04.02, 20260402) means one day only. Year last (02.04.2026, 02042026) puts
day or month first as the export's own dates do; where neither figures nor formats tell, the name names no day.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

# The same sign twice, or two digits each and no sign at all: 2026-4-2 is a day, 202642 is not.
_YEAR_FIRST = re.compile(r"(?<!\d)(20\d\d)(?:([-._ ])(\d\d?)\2(\d\d?)|(\d\d)(\d\d))(?!\d)")
_YEAR_LAST = re.compile(r"(?<!\d)(?:(\d\d?)([-._ ])(\d\d?)\2|(\d\d)(\d\d))(20\d\d)(?!\d)")
_DAY_MARK = re.compile(r"%-?[de]")
_MONTH_MARK = re.compile(r"%-?[mbB]")


def day_in_name(name: str, formats: Sequence[str]) -> date | None:
    """The first day that the name writes, or None; `formats` of the dates inside, the one that tells most first."""
    is_month_first = _is_month_first(formats)
    # Each start is tried, so that a number before the day does not swallow a part of it.
    days = (_year_first(name, at) or _year_last(name, at, is_month_first) for at in range(len(name)))
    return next(filter(None, days), None)


def _is_month_first(formats: Sequence[str]) -> bool | None:
    """Whether the month comes first in the first format that does not begin with the year; None: none tells."""
    for form in formats:
        day, month = _DAY_MARK.search(form), _MONTH_MARK.search(form)
        if day and month and not form.startswith(("%Y", "%y")):
            return month.start() < day.start()
    return None


def _year_first(name: str, at: int) -> date | None:
    found = _YEAR_FIRST.match(name, at)
    return _day(int(found[1]), int(found[3] or found[5]), int(found[4] or found[6])) if found else None


def _year_last(name: str, at: int, is_month_first: bool | None) -> date | None:
    found = _YEAR_LAST.match(name, at)
    if not found:
        return None
    first, second, year = int(found[1] or found[4]), int(found[3] or found[5]), int(found[6])
    day_first, month_first = _day(year, second, first), _day(year, first, second)
    if day_first and month_first and day_first != month_first:
        return None if is_month_first is None else (month_first if is_month_first else day_first)
    return day_first or month_first


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None
