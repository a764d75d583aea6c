"""How a file writes days and times: every format that reads all cells of a column."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime

_DAYS = (
    "%Y-%m-%d",
    "%d.%m.%Y",
    "%d/%m/%Y",
    "%m/%d/%Y",
    "%d-%m-%Y",
    "%m-%d-%Y",
    "%m.%d.%Y",
    "%Y/%m/%d",
    "%Y.%m.%d",
    "%Y%m%d",
    "%d.%m.%y",
    "%d/%m/%y",
    "%m/%d/%y",
    "%d-%m-%y",
    "%m-%d-%y",
    "%y-%m-%d",
    "%d-%b-%Y",
    "%d %b %Y",
    "%d-%b-%y",
    "%d %B %Y",
    "%b %d, %Y",
    "%B %d, %Y",
    "%b %d %Y",
    "%d. %B %Y",
    "%d%m%Y",
)
_TIMES = (
    "%H:%M:%S",
    "%H:%M",
    "%I:%M %p",
    "%I:%M:%S %p",
    "%I:%M%p",
    "%H.%M",
    "%Hh%M",
    "%H:%M:%S.%f",
    "%H:%M Uhr",
)
_MOMENT = re.compile(
    r"(?P<day>.+?)(?P<joint>T|, | - | +|,)(?P<time>\d{1,2}[:.h]\d{2}.*?)(?P<zone>\s?(?:Z|[+-]\d{2}:?\d{2}))?"
)
_SOME = 400
_HAS_DAY = re.compile(r"\d{1,4}\D{1,2}\d{1,2}\D{1,2}\d{2,4}|\d{8}|[A-Za-z]{3,}\.?[ -]\d|\d[ .-]+[A-Za-z]{3,}")
_WEEK = re.compile(
    r"(?:\d{4}(?:[ /-]|(?=[a-z])))?(?:w|wk|kw|week|sem|semana)?[. -]?\s*(\d{1,2})", re.IGNORECASE
)
_FIRST_YEAR, _LAST_YEAR = 1990, 2100


def day_formats(cells: Sequence[str], *, with_times: bool = False) -> list[str]:
    """The formats that read every cell as a day; with `with_times` those with a time of day behind it too.

    A tenth of the cells may be something else (they are held later, with their reason).
    """
    sample = [cell for cell in cells if _HAS_DAY.search(cell)]
    if not sample or len(sample) < 0.6 * len(cells):
        return []
    found = _best(_DAYS, sample)
    if found or not with_times:
        return found
    return moment_formats(cells)


def commonest_day(cells: Sequence[str]) -> tuple[str, str, str] | None:
    """The format that reads more than half of the cells, one that it reads, and one that it does not; else None."""
    counts = {form: _count_read(form, cells, are_times=False) for form in _DAYS}
    form = max(counts, key=lambda one: counts[one])
    bad = next((cell for cell in cells if _parse(cell, form) is None), None)
    if 2 * counts[form] <= len(cells) or bad is None:
        return None
    return form, next(cell for cell in cells if _parse(cell, form) is not None), bad


def first_of_two_orders(cells: Sequence[str]) -> tuple[str, str] | None:
    """A cell that only a day before its month reads, and one that only a month before its day does; else None."""
    for form in _DAYS:
        turned = form.replace("%d", "%?").replace("%m", "%d").replace("%?", "%m")
        if not form.startswith("%d") or turned not in _DAYS:
            continue
        days_first = next((one for one in cells if _parse(one, form) and not _parse(one, turned)), None)
        months_first = next((one for one in cells if _parse(one, turned) and not _parse(one, form)), None)
        if days_first is not None and months_first is not None:
            return days_first, months_first
    return None


def moment_formats(cells: Sequence[str]) -> list[str]:
    """The formats that read the cells as days with a time of day."""
    parts = [match for cell in cells if (match := _MOMENT.fullmatch(cell))]
    if not parts or len(parts) < 0.6 * len(cells):
        return []
    joints = {match["joint"] for match in parts}
    zones = {(match["zone"] or "")[:1].isspace() for match in parts if match["zone"]}
    zone = "" if not zones else " %z" if True in zones else "%z"
    days = day_formats([match["day"] for match in parts])
    times = time_formats([match["time"] for match in parts])
    formats = [f"{day}{joint}{time}{zone}" for day in days for joint in sorted(joints) for time in times]
    return _best(formats, cells)


def time_formats(cells: Sequence[str]) -> list[str]:
    """The formats that read the cells as times of day."""
    if not cells or any(not re.match(r"\d{1,2}[:.h]\d\d", cell) for cell in cells[:_SOME]):
        return []
    return _best(_TIMES, cells, are_times=True)


def are_weeks(cells: Sequence[str]) -> bool:
    """Whether the cells are numbers of weeks, alone or with their year."""
    found = [_WEEK.fullmatch(cell) for cell in cells]
    good = sum(match is not None and 1 <= int(match[1]) <= 53 for match in found)
    return bool(cells) and good >= 0.8 * len(cells)


def are_years(cells: Sequence[str]) -> bool:
    """Whether the cells are years."""
    good = sum(cell.isdecimal() and _FIRST_YEAR <= int(cell) <= _LAST_YEAR for cell in cells)
    return bool(cells) and good >= 0.8 * len(cells)


def span_days(cells: Sequence[str], form: str) -> int:
    """How many days lie between the first and the last day of a column."""
    days = [moment.date() for cell in cells if (moment := _parse(cell, form)) is not None]
    return (max(days, default=date.min) - min(days, default=date.min)).days


def _best(formats: Sequence[str], cells: Sequence[str], *, are_times: bool = False) -> list[str]:
    """The formats that read the most cells, if that are nearly all: one day above 12 tells day from month."""
    counts = {form: _count_read(form, cells, are_times=are_times) for form in formats}
    most = max(counts.values(), default=0)
    if not most or most < 0.9 * len(cells):
        return []
    return [form for form, count in counts.items() if count == most]


def _count_read(form: str, cells: Sequence[str], *, are_times: bool) -> int:
    moments = [_parse(cell, form) for cell in cells]
    return sum(one is not None and (are_times or _FIRST_YEAR <= one.year <= _LAST_YEAR) for one in moments)


def _parse(cell: str, form: str) -> datetime | None:
    try:
        return datetime.strptime(cell, form)
    except ValueError:
        return None
