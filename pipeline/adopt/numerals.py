"""How a file writes numbers: decimal mark, mark of thousands, signs behind a figure."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

_SPACES = " \u00a0\u2007\u2009\u202f"
_BODY = rf"[-+]?\d[\d.,'’{_SPACES}]*"
_CELL = re.compile(rf"(?P<less>[<>≤≥~±]?)\s*(?P<body>{_BODY}|[-+]?[.,]\d+)\s*(?P<tail>\D{{0,12}})")
_FRACTION = re.compile(r"(?:\d{1,3}[ \u00a0])?\d{1,2}[/\u2044](?:2|3|4|8|16)|\d{0,3}\s?[½¼¾⅓⅔⅛⅜⅝⅞]")
_LONGEST = 40
_MARK = re.compile(r"[*!?+†‡^]+|\([a-z*]\)")
_GROUPS = {
    mark: re.compile(rf"[-+]?\d{{1,3}}(?:{pattern}\d{{3}})+(?:[.,]\d+)?")
    for mark, pattern in ((".", r"\."), (",", ","), ("'", "['’]"), (" ", f"[{_SPACES}]"))
}


@dataclass(frozen=True, slots=True)
class Figure:
    """A cell that holds a number: its digits and marks, and what stands behind it (a unit, an asterisk)."""

    body: str
    tail: str
    bound: bool

    @property
    def mark(self) -> str | None:
        """A sign behind the figure that is no unit, like an asterisk."""
        return self.tail if _MARK.fullmatch(self.tail) else None


def read_figure(cell: str) -> Figure | None:
    """The number in a cell, however it is written; None for anything else."""
    if len(cell) > _LONGEST:
        return None
    if _FRACTION.fullmatch(cell.strip()):
        return Figure("1", "", bound=False)  # how much does not matter here, only that it is a figure
    found = _CELL.fullmatch(cell.strip())
    if not found:
        return None
    body = found["body"].strip()
    while body and body[-1] in ".," + _SPACES + "'’":
        body = body[:-1]
    return Figure(body, found["tail"].strip(), bool(found["less"])) if body else None


def value_of(body: str, decimal: str) -> float | None:
    """The value of a figure with this decimal mark; all other marks are of thousands."""
    kept = "".join(letter for letter in body if letter.isdigit() or letter == decimal or letter in "+-")
    try:
        return float(kept.replace(decimal, "."))
    except ValueError:
        return None


def values_of(cells: Iterable[str], decimal: str) -> list[float]:
    """The values of all cells that hold a number."""
    figures = (read_figure(cell) for cell in cells)
    values = (value_of(figure.body, decimal) for figure in figures if figure)
    return [value for value in values if value is not None]


def values_by_own_mark(cells: Iterable[str]) -> list[float]:
    """The values of all cells that hold a number, the last mark of each taken for its decimal mark."""
    figures = [figure for figure in map(read_figure, cells) if figure]
    values = (value_of(figure.body, max(".", ",", key=figure.body.rfind)) for figure in figures)
    return [value for value in values if value is not None]


def numeric_share(cells: Sequence[str]) -> float:
    """Which part of the cells are numbers, from 0 to 1; 0 for no cells."""
    return sum(read_figure(cell) is not None for cell in cells) / len(cells) if cells else 0.0


def middle_of(values: Sequence[float]) -> float:
    """The median; 0 without values."""
    return median(values) if values else 0.0


@dataclass(frozen=True, slots=True)
class Marks:
    """What the figures of a file say about their marks, in numbers of cells.

    `decimal` counts cells whose mark can only be a decimal one, by mark; `thousands` cells whose mark can
    only be one of thousands; `either` are cells like ``1,234`` that can be read both ways, by mark.
    """

    decimal: Counter[str]
    thousands: Counter[str]
    either: Counter[str]


def count_marks(cells: Iterable[str]) -> Marks:
    """Look at every figure by itself."""
    marks = Marks(Counter(), Counter(), Counter())
    for cell in cells:
        figure = read_figure(cell)
        if figure is not None:
            _count_one(figure.body.lstrip("+-"), marks)
    return marks


def _count_one(body: str, marks: Marks) -> None:
    for blank in ("'", " "):
        if _GROUPS[blank].fullmatch(body):
            marks.thousands[blank] += 1
    points, commas = body.count("."), body.count(",")
    if points and commas:
        decimal = "." if body.rfind(".") > body.rfind(",") else ","
        marks.decimal[decimal] += 1
        marks.thousands["," if decimal == "." else "."] += 1
    elif points or commas:
        _count_mark(body, "." if points else ",", marks)


def _count_mark(body: str, mark: str, marks: Marks) -> None:
    """A figure with one kind of mark: several are of thousands, three digits behind a single one leave it open."""
    if body.count(mark) > 1:
        if _GROUPS[mark].fullmatch(body):
            marks.thousands[mark] += 1
        return
    before, after = body.split(mark)
    if len(after) == 3 and 1 <= len(before) <= 3 and not before.startswith("0"):
        marks.either[mark] += 1
    else:
        marks.decimal[mark] += 1
