"""In which order the files of one night count: by the day in their names, else by their time of change."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime

from tests.oracle.settings import Export


@dataclass(frozen=True)
class Dated:
    """A file with the days that say what state it holds."""

    night_no: int
    received_on: date
    named_day: date | None
    modified_at: float

    def shown_day(self) -> date | None:
        return None if self.named_day is None else min(self.named_day, self.received_on)


SEPARATORS = ("-", ".", "_", " ", "")
LENGTHS = (10, 9, 8)


def order_in_night(
    name: str, modified_at: float, export: Export, site_date_format: str
) -> tuple[date, float, str]:
    """What files of one night are sorted by."""
    day = named_day(name, month_comes_first(export, site_date_format))
    return (day or datetime.fromtimestamp(modified_at, UTC).date(), modified_at, name)


def is_older(first: Dated, other: Dated) -> bool:
    """Whether a whole history holds an older state than another: by the days in their names, else by their times of
    change. What lies after the day of receipt says nothing.
    """
    day, other_day = first.shown_day(), other.shown_day()
    if day is not None and other_day is not None and day != other_day:
        return day < other_day
    changed = [datetime.fromtimestamp(int(one.modified_at), UTC) for one in (first, other)]
    are_sound = changed[0].date() <= first.received_on and changed[1].date() <= other.received_on
    return are_sound and changed[0] < changed[1]


def month_comes_first(export: Export, site_date_format: str) -> bool | None:
    """How the export writes its days, or else the site; None where all of them begin with the year."""
    for form in (export.date_format, export.datetime_format, site_date_format):
        letters = [mark for mark in re.findall("%-?([a-zA-Z])", form or "") if mark in "YymbBde"]
        kinds = ["year" if mark in "Yy" else "month" if mark in "mbB" else "day" for mark in letters]
        if "day" in kinds and "month" in kinds and kinds[0] != "year":
            return kinds.index("month") < kinds.index("day")
    return None


def named_day(name: str, is_month_first: bool | None) -> date | None:
    """The first piece of the name that is a day, with no figure beside it."""
    for start in range(len(name)):
        for length in LENGTHS:
            piece, before, after = (
                name[start : start + length],
                name[start - 1 : start] if start else "",
                name[start + length : start + length + 1],
            )
            if len(piece) == length and not (before.isdigit() or after.isdigit()):
                day = day_of(piece, is_month_first)
                if day is not None:
                    return day
    return None


def day_of(piece: str, is_month_first: bool | None) -> date | None:
    for mark in SEPARATORS:
        parts = piece.split(mark) if mark else [piece[:4], piece[4:6], piece[6:]]
        if is_day(parts, mark) and parts[0].startswith("20") and len(parts[0]) == 4:
            year_first = make(parts[0], parts[1], parts[2])
            if year_first is not None:
                return year_first
        parts = piece.split(mark) if mark else [piece[:2], piece[2:4], piece[4:]]
        if is_day(parts, mark) and parts[2].startswith("20") and len(parts[2]) == 4:
            readings = {True: make(parts[2], parts[0], parts[1]), False: make(parts[2], parts[1], parts[0])}
            days = {day for day in readings.values() if day is not None}
            if len(days) == 1:
                return days.pop()
            if len(days) == 2 and is_month_first is not None:
                return readings[is_month_first]
    return None


def is_day(parts: list[str], mark: str) -> bool:
    """Three numbers, without a mark between them of four and two figures."""
    widths = sorted(len(part) for part in parts)
    return (
        len(parts) == 3
        and all(part.isdigit() for part in parts)
        and (widths == [2, 2, 4] if mark == "" else widths[2] == 4 and widths[1] <= 2)
    )


def make(year: str, month: str, day: str) -> date | None:
    try:
        return date(int(year), int(month), int(day))
    except ValueError:
        return None
