"""Cells as people and spreadsheets fill in a sheet: dates, times of day and decimals, each read from its own text.

No cell is read by what stands in others, so that an equal line means the same in whatever sheet it comes back.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, time
from types import MappingProxyType
from typing import Final

from pipeline.intake.days import explain_moment
from pipeline.intake.refused import Refused
from pipeline.settings.sheet import DayOrder

ARMED: Final = r"^'(\s*[=+\-@])"
"""A name that the sheet wrote with an apostrophe, so that no spreadsheet takes it for a formula."""
NUMBER_OF_POT: Final = r"^([0-9]+)[.,]0+$"
"""The number of a pot as programs write it that take it for a measurement."""

# A spreadsheet may write a day as the moment at which it begins.
_MIDNIGHT = re.compile(r"[ T]0?0:00(?::00(?:\.0+)?)?(?: AM)?$", re.IGNORECASE)
_YEAR_FIRST = re.compile(r"([0-9]{4})([-/.])([0-9]{1,2})\2([0-9]{1,2})")
_YEAR_LAST = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{4}|[0-9]{2})")
_MONTH_NAMED = re.compile(r"([0-9]{1,2})\.?[- /]([^\W\d_]{3,10})\.?[- /]([0-9]{4}|[0-9]{2})")
_CLOCK = re.compile(r"([0-9]{1,2})[:.h]([0-9]{2})(?::([0-9]{2}))?(?:\s*([ap])\.?\s?m\.?)?", re.IGNORECASE)
_DECIMAL_COMMA = re.compile(r"([+-]?[0-9]*),([0-9]+)(?![0-9.,])")
_THREE_DIGITS = 3
_CENTURY = 2000
_MOST_MONTHS = 12
_NOON = 12

# The short months of spreadsheets in English, Spanish and German: the first three letters.
_MONTHS: Final[Mapping[str, int]] = MappingProxyType(
    {
        name: number
        for number, names in enumerate(
            (
                "jan ene",
                "feb",
                "mar mär mrz",
                "apr abr",
                "may mai",
                "jun",
                "jul",
                "aug ago",
                "sep",
                "oct okt",
                "nov",
                "dec dic dez",
            ),
            start=1,
        )
        for name in names.split()
    }
)


def read_sheet_day(text: str, order: DayOrder | None) -> date | Refused:
    """The day that a cell of a sheet means, or why not.

    ISO 8601, or the order of the site's own date_format (`order`). Without that, days with points have the day first
    (C), a month may have its name, and 25/04/2026 is a day as it can be no other; 03/04/2026 is not.
    """
    bare = _MIDNIGHT.sub("", text)
    first = _YEAR_FIRST.fullmatch(bare)
    if first:
        return _day(text, int(first[1]), int(first[3]), int(first[4]))
    named = _MONTH_NAMED.fullmatch(bare)
    if named:
        month = _MONTHS.get(named[2][:3].casefold())
        return _not_a_day(text) if month is None else _day(text, _year(named[3]), month, int(named[1]))
    last = _YEAR_LAST.fullmatch(bare)
    if last is None:
        return _not_a_day(text)
    one, other = int(last[1]), int(last[3])
    if len(last[4]) == 2 and order is None:
        return _not_a_day(text)
    year = _year(last[4])
    if order is None and last[2] != "." and one != other and max(one, other) <= _MOST_MONTHS:
        return Refused(
            f"may be {_shown(year, other, one)} as well as {_shown(year, one, other)}; write it like "
            f"{_shown(year, other, one)}, or set date_format in site.toml to how the site writes dates"
        )
    has_day_first = order == "day_first" or (order is None and (last[2] == "." or one > _MOST_MONTHS))
    day, month = (one, other) if has_day_first or one == other else (other, one)
    return _day(text, year, month, day)


def read_clock(text: str) -> time | Refused:
    """A time of day as people write it: 8:05, 08.05, 8h05, 8:05 am; or why it is none."""
    found = _CLOCK.fullmatch(text)
    if found is None:
        return Refused("is not a time of day; write it like 08:05")
    hour, minute, second, half = int(found[1]), int(found[2]), int(found[3] or 0), found[4]
    if half:
        if not 1 <= hour <= _NOON:
            return Refused("is not a time of day; write it like 08:05")
        hour = hour % _NOON + (_NOON if half.casefold() == "p" else 0)
    try:
        return time(hour, minute, second)
    except ValueError:
        return Refused("is not a time of day; write it like 08:05")


def plain_decimal(text: str, *, is_volume: bool) -> str | Refused:
    """A figure with a decimal point where it has a decimal comma; any other text as it is.

    1,413 mS/cm cannot be more than a thousand; 1,250 mL could, so it is not taken.
    """
    found = _DECIMAL_COMMA.match(text)
    if found is None:
        return text
    if is_volume and len(found[2]) == _THREE_DIGITS and found[1].lstrip("+-") not in ("", "0"):
        return Refused("has a comma that may stand for decimals or for thousands; write it like 50 or 50.5")
    return f"{found[1]}.{text[found.start(2) :]}"


def _day(text: str, year: int, month: int, day: int) -> date | Refused:
    try:
        return date(year, month, day)
    except ValueError:
        return _not_a_day(text)


def _not_a_day(text: str) -> Refused:
    return Refused(explain_moment(text, ("%Y-%m-%d",), "date"))


def _year(text: str) -> int:
    return int(text) if len(text) > 2 else _CENTURY + int(text)


def _shown(year: int, month: int, day: int) -> str:
    return f"{year:04}-{month:02}-{day:02}"
