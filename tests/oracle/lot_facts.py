"""Lots whose lines hold from a day on: which line speaks on a day."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from itertools import pairwise
from typing import TYPE_CHECKING

from tests.oracle.settings import fold

if TYPE_CHECKING:
    from tests.oracle.fates import Lot


def by_lot(lines: Iterable[Lot]) -> dict[str, list[Lot]]:
    """The lines of each lot, oldest first; a line without a day holds from the lot's start."""
    lots: dict[str, list[Lot]] = {}
    for line in lines:
        lots.setdefault(fold(line.code), []).append(line)
    return {key: _with_split(sorted(own, key=_first_day)) for key, own in lots.items()}


def on_day(lines: list[Lot], day: date) -> Lot:
    """What the lot's lines say on a day: the newest that holds by then, else the first."""
    holding = [line for line in lines if line.valid_from is None or line.valid_from <= day]
    return holding[-1] if holding else lines[0]


def changes_of(lines: Iterable[Lot]) -> set[date]:
    """Days from which on another feed mode or substrate is written down; what was not written before is no change."""
    usable = [line for line in lines if line.is_usable]
    days: set[date] = set()
    for name in ("feed_mode", "substrate"):
        known = [
            (line.valid_from or date.min, fold(value)) for line in usable if (value := getattr(line, name))
        ]
        days |= {day for (_, before), (day, now) in pairwise(known) if before != now}
    return days


def _first_day(line: Lot) -> date:
    return line.valid_from or date.min


def _with_split(lines: list[Lot]) -> list[Lot]:
    """A lot whose first line names a parent was split off on that line's day."""
    first = lines[0]
    if first.parent is None or fold(first.parent) == fold(first.code):
        return lines
    return [replace(line, split_on=first.valid_from) for line in lines]
