"""What pages of a dossier are made of: sections of paragraphs, tables and pictures, all text. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, Final

from pipeline.reports.charts import Chart

MOST_ROWS: Final = 400
"""House default: so many rows of one table are printed; the attached CSV has all. A row takes 5 ms to lay out."""
Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Head:
    """A column: its heading, its width in percent, and whether it holds figures."""

    text: str
    width: float
    is_number: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table as printed; `more` says what is left out, `empty` what stands there when it has no row."""

    caption: str
    heads: tuple[Head, ...]
    rows: tuple[tuple[str, ...], ...]
    empty: str = ""
    more: str = ""
    kind: str = ""


@dataclass(frozen=True, slots=True)
class Block:
    """One lot or meter: its heading, facts, picture and table."""

    title: str
    facts: tuple[str, ...]
    picture: Chart | None
    table: Table | None


@dataclass(frozen=True, slots=True)
class Section:
    """A section of the dossier."""

    key: str
    title: str
    paragraphs: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    blocks: tuple[Block, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()


def make_table(
    caption: str,
    heads: Sequence[Head],
    rows: Iterable[Sequence[str]],
    *,
    file: str,
    empty: str = "None.",
    kind: str = "",
    most: int = MOST_ROWS,
) -> Table:
    """A table of at most so many rows; the CSV named `file` has all of them."""
    listed = [tuple(row) for row in rows]
    left = len(listed) - most
    more = f"{left:,} more rows are in the attached {file}.csv." if left > 0 else ""
    return Table(caption, tuple(heads), tuple(listed[:most]), empty, more, kind)


def say_day(value: date | None) -> str:
    """A day as the dossier writes it; a dash for none."""
    return "–" if value is None else value.isoformat()


def say_share(value: Decimal | None) -> str:
    """A share in percent with one decimal; a dash where nothing was to be counted."""
    if value is None:
        return "–"
    return f"{(value * 100).quantize(Decimal('0.1'), ROUND_HALF_UP)} %"


def say(value: Any) -> str:
    """Any value as a cell; a dash for none."""
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return say_day(value) if isinstance(value, date) else str(value)


def plain(code: str | None) -> str:
    """A code in plain letters."""
    return "–" if code is None else code.replace("_", " ")


def days(number: int | None) -> str:
    """A number of days."""
    return "–" if number is None else f"{number} day{'' if number == 1 else 's'}"
