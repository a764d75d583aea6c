"""What pages of a dossier are made of: sections of paragraphs, tables and pictures, all text or messages. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, Final

from pipeline.audit.messages import Message, plain, speak, speak_fixed, tell, tell_many
from pipeline.languages import Tongue
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
    """A table as printed; `more` says what is left out, `note` how to read it, `empty` what stands there when it
    has no row.
    """

    caption: str
    heads: tuple[Head, ...]
    rows: tuple[tuple[str, ...], ...]
    empty: str = ""
    more: str = ""
    kind: str = ""
    note: str = ""


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


def make_table(
    caption: str,
    heads: Sequence[Head],
    rows: Iterable[Sequence[str]],
    *,
    file: str,
    empty: str = "None.",
    kind: str = "",
    note: str = "",
    most: int = MOST_ROWS,
) -> Table:
    """A table of at most so many rows; the CSV named `file` has all of them."""
    listed = [tuple(row) for row in rows]
    left = len(listed) - most
    more = (
        tell_many(
            "{n} more row is in the attached {file}.csv.",
            "{n} more rows are in the attached {file}.csv.",
            left,
            file=file,
        )
        if left > 0
        else ""
    )
    return Table(caption, tuple(heads), tuple(listed[:most]), empty, more, kind, note)


def say_day(value: date | None) -> str:
    """A day as the dossier writes it; a dash for none."""
    return "–" if value is None else value.isoformat()


def say_share(value: Decimal | None) -> str:
    """A share in percent with one decimal; a dash where nothing was to be counted."""
    if value is None:
        return "–"
    return tell("{share:.1f} %", share=(value * 100).quantize(Decimal("0.1"), ROUND_HALF_UP))


def say(value: Any) -> str:
    """Any value as a cell; a dash for none."""
    if value is None:
        return "–"
    if isinstance(value, bool):
        return plain("yes" if value else "no")
    return say_day(value) if isinstance(value, date) else str(value)


def say_span(first: date, last: date) -> Message:
    """Two days and all between them."""
    return tell("{first} to {last}", first=say_day(first), last=say_day(last))


def say_place(file_id: int, line: int) -> Message:
    """A line of a file of the evidence."""
    return tell("no. {file} line {line}", file=file_id, line=line)


def days(number: int | None) -> str:
    """A number of days."""
    return "–" if number is None else tell_many("{n} day", "{n} days", number)


def put_into(section: Section, tongue: Tongue) -> Section:
    """A section in a language; what is data in it stays as it is."""
    return replace(
        section,
        title=speak_fixed(section.title, tongue),
        paragraphs=tuple(speak_fixed(text, tongue) for text in section.paragraphs),
        tables=tuple(_put_table(table, tongue) for table in section.tables),
        blocks=tuple(
            replace(
                block,
                title=speak(block.title, tongue),
                facts=tuple(speak(fact, tongue) for fact in block.facts),
                table=None if block.table is None else _put_table(block.table, tongue),
            )
            for block in section.blocks
        ),
    )


def _put_table(table: Table, tongue: Tongue) -> Table:
    return replace(
        table,
        caption=speak_fixed(table.caption, tongue),
        heads=tuple(replace(head, text=speak_fixed(head.text, tongue)) for head in table.heads),
        rows=tuple(tuple(speak(cell, tongue) for cell in row) for row in table.rows),
        empty=speak_fixed(table.empty, tongue) if table.empty else "",
        more=speak(table.more, tongue),
        note=speak(table.note, tongue),
    )
