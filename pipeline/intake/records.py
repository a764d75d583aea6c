"""Physical lines into records: strict CSV with line numbers, one malformed line at a time.

Strict means what the standard library's `csv.reader(strict=True)` means.  Where it would give up on the
rest of the file, only the offending physical line is set apart and reading goes on with the next.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import NamedTuple

from pipeline.intake.line_ranges import say_lines

QUOTE = '"'
NUL = "\0"
_LINE_END = re.compile(r"\r\n|\n|\r")

# From how many columns on a line inside a quoted cell is taken for a record of its own.
_LEAST_COLUMNS_FOR_DOUBT = 3


class Record(NamedTuple):
    """One record: physical lines `line_from` to `line_to` (from 1, both included), its text without the last
    line end, and its cells unless it has a problem."""

    line_from: int
    line_to: int
    text: str
    cells: list[str] | None
    problem: str | None = None
    detail: str | None = None


@contextmanager
def unlimited_fields() -> Iterator[None]:
    """Lift the csv module's limit of 131,072 characters a field while a file is read."""
    before = csv.field_size_limit(2**31 - 1)
    try:
        yield
    finally:
        csv.field_size_limit(before)


class RecordSplitter:
    """Takes records off a list of physical lines, from any line on, in time linear in the file's size."""

    def __init__(
        self,
        lines: Sequence[str],
        delimiter: str,
        reads_like_record: Callable[[Sequence[str]], bool] = lambda _: False,
    ) -> None:
        """`reads_like_record`: whether cells say what a record says, also where some lack or are too many."""
        self._reads_like_record = reads_like_record
        self._lines = lines
        self._delimiter = delimiter
        # Lines up to this one were seen from inside a quoted cell that came to nothing.  The state inside a
        # cell is the same whoever opened it, so an opening quote before it comes to nothing as well; without
        # this a file of stray quotes would be read anew from each of its lines.
        self._doomed_before = 0

    def take(self, at: int, width: int | None) -> Record:
        """The record that starts at index `at`; `width` is the header's number of cells, where known.

        Needs `unlimited_fields`.
        """
        line = self._lines[at]
        if QUOTE not in line:
            text = line.rstrip("\r\n")
            return self._judged(at, at, text, text.split(self._delimiter), width)
        try:
            cells = next(csv.reader((line,), delimiter=self._delimiter, strict=True))
        except csv.Error as error:
            if "unexpected end of data" not in str(error):
                return self._quoting(at, "text stands after a closing quotation mark")
            return self._take_long(at, width)
        return self._judged(at, at, line.rstrip("\r\n"), cells, width)

    def _take_long(self, at: int, width: int | None) -> Record:
        """A record whose quoted cell is still open at the end of its first line."""
        open_here = "a quotation mark is opened here and not properly closed"
        if at < self._doomed_before:
            return self._quoting(at, open_here)
        following = (self._lines[index] for index in range(at, len(self._lines)))
        reader = csv.reader(following, delimiter=self._delimiter, strict=True)
        try:
            cells = next(reader)
        except csv.Error:
            self._doomed_before = at + reader.line_num - 1
            return self._quoting(at, open_here)
        last = at + reader.line_num - 1
        doubt = self._doubt(at, last, cells, width)
        if doubt:
            self._doomed_before = last
            return self._quoting(
                at, f"a quotation mark is opened here and closed on line {last + 1}, {doubt}"
            )
        return self._judged(at, last, _without_line_end("".join(self._lines[at : last + 1])), cells, width)

    def _doubt(self, at: int, last: int, cells: list[str], width: int | None) -> str | None:
        """Why a record over several lines is not believed: it would have swallowed readings in a note."""
        if width is None:
            return None
        if len(cells) != width:
            return f"which would make {len(cells)} cells where the header has {width}"
        swallowed = sorted({*self._whole_lines(at, last, width), *self._lines_in_cells(at, cells, width)})
        if not swallowed:
            return None
        is_one = len(swallowed) == 1
        told = say_lines([index + 1 for index in swallowed])
        return f"but {told} inside it {'reads like a record of its' if is_one else 'read like records of their'} own"

    def _whole_lines(self, at: int, last: int, width: int) -> Iterator[int]:
        """Physical lines after the first that are as wide as the header."""
        if width < _LEAST_COLUMNS_FOR_DOUBT:
            return
        # What follows the closing quotation mark in the last line are the cells that are left, fewer than a
        # record has; not so where the open cell is the first one, or where the line begins with the mark.
        misleads = self._delimiter not in self._lines[at] or self._lines[last].startswith(QUOTE)
        for index in range(at + 1, last if misleads else last + 1):
            if self._is_record(self._lines[index], width):
                yield index

    def _lines_in_cells(self, at: int, cells: list[str], width: int) -> Iterator[int]:
        """Lines of the quoted cells, the last one up to the closing mark, that have what a record has."""
        index = at
        for cell in cells:
            _, *further = _LINE_END.split(cell)
            for line in further:
                index += 1
                if self._delimiter in line and self._has_values(line, width):
                    yield index

    def _has_values(self, line: str, width: int) -> bool:
        try:
            # Not strict: what is left open or stands behind a mark does not matter here.
            cells = next(csv.reader((line,), delimiter=self._delimiter), [])
        except csv.Error:
            cells = line.split(self._delimiter)
        return (len(cells) == width >= _LEAST_COLUMNS_FOR_DOUBT) or self._reads_like_record(cells)

    def _is_record(self, line: str, width: int) -> bool:
        """Whether a line would be a whole record if it stood by itself."""
        if line.count(self._delimiter) < width - 1:
            return False
        try:
            return len(next(csv.reader((line,), delimiter=self._delimiter, strict=True))) == width
        except csv.Error:
            return False

    def _judged(self, at: int, last: int, text: str, cells: list[str], width: int | None) -> Record:
        problem = detail = None
        if NUL in text:
            count = text.count(NUL)
            problem = "nul_bytes"
            bytes_stand = _count(count, "zero byte stands", "zero bytes stand")
            detail = f"{bytes_stand} in this record, which no text has; export the file again"
        elif width is not None and len(cells) != width:
            problem = "ragged"
            detail = (
                f"{_count(len(cells), 'cell stands', 'cells stand')} here and the header has {width}"
                "; make both agree, or put a cell that holds the delimiter in quotation marks"
            )
        return Record(at + 1, last + 1, text, cells, problem, detail)

    def _quoting(self, at: int, what: str) -> Record:
        text = self._lines[at].rstrip("\r\n")
        detail = (
            f"{what}; a quotation mark inside a cell is written twice and the cell put in quotation marks"
        )
        return Record(at + 1, at + 1, text, None, "quoting", detail)


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


def _without_line_end(text: str) -> str:
    if text.endswith("\r\n"):
        return text[:-2]
    return text[:-1] if text.endswith(("\n", "\r")) else text
