"""Bytes of an export into numbered records and their cells, whatever the dialect; no input and output.

Every physical line of the file is in exactly one record, for any bytes at all: the sum of
``line_to - line_from + 1`` over the records is the file's number of lines.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Final

import polars as pl

from pipeline.intake.decode import FileProblem, decode, split_lines
from pipeline.intake.header import (
    count_known,
    header_elsewhere,
    header_key,
    judge_header,
    judge_units,
    mapped_keys,
    other_separator,
    reads_like_data,
)
from pipeline.intake.quick import read_quickly
from pipeline.intake.records import Record, RecordSplitter, unlimited_fields
from pipeline.intake.set_aside import IN_DOUBT, SetAside, explain_comment, explain_total
from pipeline.settings import Export
from pipeline.settings.sheet import SheetExport

# What a spreadsheet writes above the header to tell itself the delimiter: sep=;
# Saved again, it may stand in quotation marks and have the delimiters of blank cells behind it.
_SEPARATOR_LINE: Final = re.compile(r'("?)sep=(.)\1[,;|\t]*', re.IGNORECASE | re.DOTALL)
# A header further down is looked for line by line.
_MOST_HEAD_LINES: Final = 200

RECORDS_SCHEMA: dict[str, pl.DataType] = {
    "record_no": pl.Int64(),
    "line_from": pl.Int64(),
    "line_to": pl.Int64(),
    "text": pl.String(),
    "kind": pl.String(),
    "problem": pl.String(),
    "problem_detail": pl.String(),
}


@dataclass(frozen=True)
class ReadResult:
    """One file, read.

    `records`: one row per record (record_no from 1, line_from and line_to from 1, text without the last line
    end, kind ``data``, ``header``, ``title``, ``blank``, ``total``, ``comment``, ``units``, ``separator``, in a sheet
    ``not_filled_in`` and ``noted_only`` too, problem, problem_detail).  `cells`: record_no and a column ``c0``,
    ``c1`` ... per header position, of data records without problem.  `lines`: physical lines.  `file_problem`: why
    the whole file is held; then every data record carries its code as problem (``header_only`` holds nothing and is
    said once).  `extra`: headers that no field maps.
    """

    records: pl.DataFrame
    cells: pl.DataFrame
    header: list[str] | None
    lines: int
    file_problem: FileProblem | None
    extra: list[str] = field(default_factory=list)


def read_records(
    data: bytes,
    export: Export,
    known_headers: Sequence[str] | None = None,
    earlier_header: Sequence[str] | None = None,
    *,
    is_quick: bool = True,
) -> ReadResult:
    """Read one file of an export.

    `known_headers` are the columns that must be there, by default all that the export maps; `earlier_header` is that
    of the newest readable file before it, to see whether columns moved.  Never raises for what is in the file:
    problems are values.  A clean file goes through whole columns; `is_quick` false reads every file line by line,
    with the same result.
    """
    wanted = [column.column for column in export.columns.values()] if known_headers is None else known_headers
    text, problem = decode(data, export.encoding)
    task = _Task(export, list(wanted), earlier_header)
    with unlimited_fields():
        # Boxes of a sheet are looked at line by line.
        if is_quick and problem is None and not isinstance(export, SheetExport):
            result = _read_quickly(text, task)
            if result is not None:
                return result
        return _read_carefully(split_lines(text), problem, task)


@dataclass(frozen=True)
class _Task:
    """What a file is read for."""

    export: Export
    wanted: list[str]
    earlier_header: Sequence[str] | None

    def unmapped(self, header: Sequence[str] | None) -> list[str]:
        known = {header_key(name) for name in self.wanted} | mapped_keys(self.export)
        return [name.strip() for name in header or () if header_key(name) and header_key(name) not in known]


@dataclass(frozen=True)
class _Head:
    """What stands above the data: where these begin (index of the line), the header, what is wrong with it."""

    at: int
    header: list[str] | None
    problem: FileProblem | None


def _read_quickly(text: str, task: _Task) -> ReadResult | None:
    """The whole file in columns, or None where only the careful reader can."""
    lines = list(islice(io.StringIO(text, newline=""), _MOST_HEAD_LINES))
    found = _Found()
    head = _read_head(lines, None, task, found)
    if head.header is None or head.problem is not None or (head.at >= len(lines) == _MOST_HEAD_LINES):
        return None
    body = read_quickly(text[sum(map(len, lines[: head.at])) :], head.header, task.export)
    if body is None:
        return None
    if not (body.kinds == "data").any():
        return None  # said with care: nothing but a header
    records = found.records()
    above = records.height
    lines_below = pl.int_range(head.at + 1, head.at + 1 + pl.len())
    below = pl.DataFrame([body.texts, body.kinds]).select(
        record_no=pl.int_range(above + 1, above + 1 + pl.len()),
        line_from=lines_below,
        line_to=lines_below,
        text="text",
        kind="kind",
        problem=pl.lit(None, dtype=pl.String),
        problem_detail=pl.lit(None, dtype=pl.String),
    )
    cells = body.cells.select((pl.col("line") + above + 1).alias("record_no"), pl.exclude("line"))
    return ReadResult(
        records=pl.concat([records, below]),
        cells=cells,
        header=head.header,
        lines=head.at + body.texts.len(),
        file_problem=None,
        extra=task.unmapped(head.header),
    )


def _read_carefully(lines: list[str], problem: FileProblem | None, task: _Task) -> ReadResult:
    """Record by record, one malformed line at a time."""
    found = _Found()
    head = _read_head(lines, problem, task, found)
    problem, header = head.problem, head.header
    if header is None:
        problem = problem or _no_header(lines, task.export)
    rules = SetAside(task.export, header or ())
    _read_body(lines, head.at, rules, header if problem is None else None, found)
    if problem is None and "data" not in found.kinds:
        problem = _nothing_in(found, len(lines))
    elif problem is not None:
        found.hold_all(problem)
    return ReadResult(
        records=found.records(),
        cells=found.cells(header),
        header=header,
        lines=len(lines),
        file_problem=problem,
        extra=task.unmapped(header),
    )


def _read_head(lines: list[str], problem: FileProblem | None, task: _Task, found: _Found) -> _Head:
    """Everything down to the header, and the row of units below it."""
    export = task.export
    splitter = RecordSplitter(lines, export.delimiter)
    at = 0
    named = _SEPARATOR_LINE.fullmatch(lines[0].rstrip("\r\n")) if lines else None
    if named:
        found.add(_line(lines, 0), "separator")
        at = 1
        if named[2] != export.delimiter:
            problem = problem or other_separator(named[2], export.delimiter)
    titles = at + export.title_lines
    while at < min(titles, len(lines)):
        found.add(_line(lines, at), "title")
        at += 1
    while at < len(lines):
        record, kind = _above_header(lines, at, splitter, export, task.wanted)
        found.add(record, kind)
        at = record.line_to
        if kind == "header":
            header = record.cells if record.cells is not None else []
            problem = problem or _header_problem(record, task, lines, 1 if named else 0)
            if problem is not None and reads_like_data(header, [*task.wanted, *mapped_keys(export)]):
                found.kinds[-1] = "data"
            if at >= len(lines):
                return _Head(at, header, problem)
            below = splitter.take(at, None)
            cells = below.text.split(export.delimiter) if below.cells is None else below.cells
            if not export.units_row and SetAside(export, header).names_units_alone(cells):
                # Nobody said that it comes, but what it says of the figures below holds all the same.
                problem = problem or judge_units(cells, header, at + 1, export)
            elif export.units_row:
                no_units = SetAside(export, header).judge_units_row(cells, at + 1)
                problem = problem or judge_units(cells, header, at + 1, export) or no_units
                if no_units is None:  # otherwise it is read as data, and so held with the file
                    found.add(_line(lines, at), "units")
                    at += 1
            return _Head(at, header, problem)
    return _Head(at, None, problem)


class _Found:
    """Records as they are collected: plain lists, because a frame grows badly."""

    def __init__(self) -> None:
        self.line_from: list[int] = []
        self.line_to: list[int] = []
        self.text: list[str] = []
        self.kinds: list[str] = []
        self.problem: list[str | None] = []
        self.detail: list[str | None] = []
        self.cell_rows: list[list[str]] = []
        self.cell_record: list[int] = []

    def add(self, record: Record, kind: str) -> None:
        self.line_from.append(record.line_from)
        self.line_to.append(record.line_to)
        self.text.append(record.text)
        self.kinds.append(kind)
        is_data = kind == "data"
        self.problem.append(record.problem if is_data else None)
        self.detail.append(record.detail if is_data else None)
        if is_data and record.problem is None and record.cells is not None:
            self.cell_rows.append(record.cells)
            self.cell_record.append(len(self.text))

    def hold_all(self, problem: FileProblem) -> None:
        """Give every data record the file's problem."""
        detail = f"{problem.sentence}; {problem.mend}"
        for index, kind in enumerate(self.kinds):
            if kind == "data":
                self.problem[index] = problem.code
                self.detail[index] = detail
        self.cell_rows.clear()
        self.cell_record.clear()

    def records(self) -> pl.DataFrame:
        columns = {
            "record_no": range(1, len(self.text) + 1),
            "line_from": self.line_from,
            "line_to": self.line_to,
            "text": self.text,
            "kind": self.kinds,
            "problem": self.problem,
            "problem_detail": self.detail,
        }
        return pl.DataFrame(columns, schema=RECORDS_SCHEMA)

    def cells(self, header: list[str] | None) -> pl.DataFrame:
        series = [pl.Series("record_no", self.cell_record, dtype=pl.Int64)]
        columns = list(zip(*self.cell_rows, strict=True)) if self.cell_rows else [()] * len(header or ())
        series += [pl.Series(f"c{at}", cells, dtype=pl.String) for at, cells in enumerate(columns)]
        return pl.DataFrame(series)


def _read_body(lines: list[str], at: int, rules: SetAside, header: list[str] | None, found: _Found) -> None:
    """Everything below the header; `header` is None where the file is held and its width says nothing."""
    export = rules.export
    splitter = RecordSplitter(lines, export.delimiter, rules.reads_like_record)
    width = None if header is None else len(header)
    titles = None if header is None else [title.strip() for title in header]
    # A line of delimiters only is what a spreadsheet leaves of an empty row.
    nothing = f"{export.delimiter} \t\r\n"
    while at < len(lines):
        line = lines[at]
        if not line.strip(nothing):
            found.add(_line(lines, at), "blank")
            at += 1
        elif _is_comment(line, export) and not rules.is_doubtful_comment(line):
            found.add(_line(lines, at), "comment")
            at += 1
        else:
            record = splitter.take(at, width)
            if isinstance(export, SheetExport):
                record = _padded(record, lines, width)
            if _is_comment(line, export):
                found.add(_in_doubt(record, explain_comment(export.comment_prefix)), "data")
            else:
                found.add(*_of_kind(record, rules, titles))
            at = record.line_to


def _of_kind(record: Record, rules: SetAside, titles: list[str] | None) -> tuple[Record, str]:
    """The record and its kind; one that may be a total or a reading gets that as its problem."""
    if record.cells is None:
        return record, "data"
    cells = [cell.strip() for cell in record.cells]
    if not any(cells):
        return record, "blank"
    kind = rules.judge(cells)
    if kind == "doubt":
        return _in_doubt(record, explain_total(next(filter(None, cells)))), "data"
    # A line of a sheet that is broken is held as such, whatever its boxes seem to hold.
    if kind == "total" or (kind != "data" and record.problem is None):
        return record, kind
    # Files that were put one behind the other have their header in the middle.
    return record, "header" if cells == titles else "data"


def _padded(record: Record, lines: list[str], width: int | None) -> Record:
    """A line of a sheet that lacks blank cells at its end, as some spreadsheets leave them out, with those cells.

    One that the file breaks off in has no line end, and stays as it is.
    """
    cells = record.cells
    if record.problem != "ragged" or cells is None or width is None or len(cells) > width:
        return record
    if not lines[record.line_to - 1].endswith(("\n", "\r")):
        return record
    return record._replace(cells=[*cells, *[""] * (width - len(cells))], problem=None, detail=None)


def _in_doubt(record: Record, why: str) -> Record:
    return record if record.problem else record._replace(problem=IN_DOUBT, detail=why)


def _above_header(
    lines: list[str], at: int, splitter: RecordSplitter, export: Export, wanted: list[str]
) -> tuple[Record, str]:
    line = lines[at]
    if not line.strip():
        return _line(lines, at), "blank"
    record = splitter.take(at, None)
    # A comment above the header is skipped, but a header may well begin with "#" (pot numbers).
    if _is_comment(line, export) and not (
        record.cells and count_known(record.cells, [*wanted, *mapped_keys(export)])
    ):
        return _line(lines, at), "comment"
    return record, "header"


def _is_comment(line: str, export: Export) -> bool:
    return bool(export.comment_prefix) and line.lstrip().startswith(export.comment_prefix)


def _header_problem(record: Record, task: _Task, lines: list[str], above: int) -> FileProblem | None:
    """What is wrong with the header. `above`: lines that no title_lines counts."""
    if record.cells is None:
        sentence = f"the header on line {record.line_from} cannot be read: {record.detail}"
        return FileProblem("columns_changed", sentence, "correct the header and export the file again")
    export, wanted = task.export, task.wanted
    problem = judge_header(record.cells, record.text, record.line_from, wanted, export, task.earlier_header)
    if problem is None or problem.code != "columns_changed" or not wanted or isinstance(export, SheetExport):
        return problem
    there = header_elsewhere(lines, record.line_from, wanted, export)
    if there is None:
        return problem
    return FileProblem(
        "columns_changed",
        f"the header stands on line {there}, and by the settings it should be line {record.line_from}",
        f"set title_lines = {there - 1 - above} for this export in site.toml, or export the file as before",
    )


def _nothing_in(found: _Found, lines: int) -> FileProblem:
    if {"not_filled_in", "noted_only"} & set(found.kinds):
        sentence = f"a sheet in which no pH and no EC is filled in ({_lines_of(lines)})"
        mend = "nothing to do if nothing was measured, otherwise save the sheet and drop it again"
        return FileProblem("header_only", sentence, mend)
    return FileProblem(
        "header_only",
        f"only a header and no data in {_lines_of(lines)}",
        "nothing to do if the site had nothing to report, otherwise export the file again",
    )


def _no_header(lines: list[str], export: Export) -> FileProblem:
    if not lines:
        sentence = "the file is empty"
    elif export.title_lines:
        sentence = (
            f"no header stands below the {_lines_of(export.title_lines)} above it ({_lines_of(len(lines))})"
        )
    else:
        sentence = f"the file has no header, only blank or comment lines ({_lines_of(len(lines))})"
    return FileProblem("empty_file", sentence, "export the file again")


def _line(lines: list[str], at: int) -> Record:
    return Record(at + 1, at + 1, lines[at].rstrip("\r\n"), None)


def _lines_of(number: int) -> str:
    return "1 line" if number == 1 else f"{number} lines"
