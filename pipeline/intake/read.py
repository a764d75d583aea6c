"""Bytes of an export into numbered records and their cells, whatever the dialect; no input and output.

Every physical line of the file is in exactly one record, for any bytes at all: the sum of
``line_to - line_from + 1`` over the records is the file's number of lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.intake.decode import FileProblem, decode, split_lines
from pipeline.intake.header import count_known, judge_header
from pipeline.intake.records import Record, RecordSplitter, unlimited_fields
from pipeline.settings import Export

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
    end, kind ``data``, ``header``, ``title``, ``blank``, ``total`` or ``comment``, problem, problem_detail).
    `cells`: record_no and a column ``c0``, ``c1`` ... per header position, of data records without problem.
    `lines`: physical lines.  `file_problem`: why the whole file is held; then every data record carries its
    code as problem (``header_only`` holds nothing and is said once).
    """

    records: pl.DataFrame
    cells: pl.DataFrame
    header: list[str] | None
    lines: int
    file_problem: FileProblem | None


def read_records(data: bytes, export: Export, known_headers: Sequence[str] | None = None) -> ReadResult:
    """Read one file of an export.

    `known_headers` are the columns that must be there, by default all that the export maps.  Never raises
    for what is in the file: problems are values.
    """
    wanted = [column.column for column in export.columns.values()] if known_headers is None else known_headers
    text, problem = decode(data, export.encoding)
    lines = split_lines(text)
    with unlimited_fields():
        return _read_lines(lines, problem, export, list(wanted))


def _read_lines(
    lines: list[str], problem: FileProblem | None, export: Export, wanted: list[str]
) -> ReadResult:
    splitter = RecordSplitter(lines, export.delimiter)
    found = _Found()
    at = 0
    while at < min(export.title_lines, len(lines)):
        found.add(_line(lines, at), "title")
        at += 1
    header: list[str] | None = None
    while at < len(lines) and header is None:
        record, kind = _above_header(lines, at, splitter, export, wanted)
        found.add(record, kind)
        at = record.line_to
        if kind == "header":
            header = record.cells if record.cells is not None else []
            problem = problem or _header_problem(record, wanted, export.delimiter)
    if header is None:
        problem = problem or _no_header(lines, export)
    width = len(header) if header is not None and problem is None else None
    _read_body(lines, at, splitter, export, width, found)
    if problem is None and "data" not in found.kinds:
        problem = FileProblem(
            "header_only",
            f"only a header and no data in {_lines_of(len(lines))}",
            "nothing to do if the site had nothing to report, otherwise export the file again",
        )
    elif problem is not None:
        found.hold_all(problem)
    return ReadResult(
        records=found.records(),
        cells=found.cells(header),
        header=header,
        lines=len(lines),
        file_problem=problem,
    )


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


def _read_body(
    lines: list[str], at: int, splitter: RecordSplitter, export: Export, width: int | None, found: _Found
) -> None:
    """Everything below the header."""
    totals = frozenset(word.strip().casefold() for word in export.total_words)
    # A line of delimiters only is what a spreadsheet leaves of an empty row.
    nothing = f"{export.delimiter} \t\r\n"
    while at < len(lines):
        line = lines[at]
        if not line.strip(nothing):
            found.add(_line(lines, at), "blank")
            at += 1
        elif _is_comment(line, export):
            found.add(_line(lines, at), "comment")
            at += 1
        else:
            record = splitter.take(at, width)
            found.add(record, _kind_of(record, totals))
            at = record.line_to


def _kind_of(record: Record, totals: frozenset[str]) -> str:
    if record.cells is None:
        return "data"
    first = record.cells[0].strip().rstrip(":").casefold() if record.cells else ""
    if first:
        return "total" if first in totals else "data"
    return "data" if any(cell.strip() for cell in record.cells) else "blank"


def _above_header(
    lines: list[str], at: int, splitter: RecordSplitter, export: Export, wanted: list[str]
) -> tuple[Record, str]:
    line = lines[at]
    if not line.strip():
        return _line(lines, at), "blank"
    record = splitter.take(at, None)
    # A comment above the header is skipped, but a header may well begin with "#" (pot numbers).
    if _is_comment(line, export) and not (record.cells and count_known(record.cells, wanted)):
        return _line(lines, at), "comment"
    return record, "header"


def _is_comment(line: str, export: Export) -> bool:
    return bool(export.comment_prefix) and line.lstrip().startswith(export.comment_prefix)


def _header_problem(record: Record, wanted: list[str], delimiter: str) -> FileProblem | None:
    if record.cells is None:
        sentence = f"the header on line {record.line_from} cannot be read: {record.detail}"
        return FileProblem("columns_changed", sentence, "correct the header and export the file again")
    return judge_header(record.cells, record.text, record.line_from, wanted, delimiter)


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
