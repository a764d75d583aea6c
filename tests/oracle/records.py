"""Bytes of an export to numbered records: every physical line is in exactly one of them."""

from __future__ import annotations

from dataclasses import dataclass

from tests.oracle.set_aside import is_doubtful_comment, is_units_row, of_total, says_record
from tests.oracle.settings import Export, fold

BROKEN_QUOTES = "quoting"
# A file without data holds nothing back, but is remarked on like one that is held whole.
HEADER_ONLY = "header_only"


@dataclass(frozen=True)
class Record:
    """One record of a file. `kind` is data, header, title, blank, total, comment, units or separator."""

    record_no: int
    line_from: int
    line_to: int
    text: str
    kind: str
    cells: tuple[str, ...]
    problem: str | None


@dataclass(frozen=True)
class ReadFile:
    """A file in records. With a file problem every data record is held for it."""

    lines: int
    header: tuple[str, ...] | None
    records: tuple[Record, ...]
    file_problem: str | None


def split_lines(text: str) -> list[tuple[str, str]]:
    """Physical lines with their line ends: CR LF, LF or CR; a last line without one counts as well."""
    lines: list[tuple[str, str]] = []
    start = 0
    at = 0
    while at < len(text):
        if text.startswith("\r\n", at):
            end = "\r\n"
        elif text[at] in "\r\n":
            end = text[at]
        else:
            at += 1
            continue
        lines.append((text[start:at], end))
        at += len(end)
        start = at
    if start < len(text):
        lines.append((text[start:], ""))
    return lines


def split_cells(text: str, delimiter: str) -> tuple[list[str] | None, str | None]:
    """Cells of one record, or None with "open" (a quote still open) or "quoting" (text after a closing
    quote).

    A cell that begins with a quote is quoted, a doubled quote in it is one; a quote elsewhere is text.
    """
    cells: list[str] = []
    at = 0
    while True:
        if text.startswith('"', at):
            at += 1
            cell = ""
            while True:
                if at >= len(text):
                    return None, "open"
                if text.startswith('""', at):
                    cell += '"'
                    at += 2
                elif text[at] == '"':
                    at += 1
                    break
                else:
                    cell += text[at]
                    at += 1
            if at < len(text) and not text.startswith(delimiter, at):
                return None, BROKEN_QUOTES
        else:
            end = text.find(delimiter, at)
            end = len(text) if end < 0 else end
            cell = text[at:end]
            at = end
        cells.append(cell)
        if at >= len(text):
            return cells, None
        at += len(delimiter)


def decode(data: bytes, encoding: str) -> tuple[str, str | None]:
    """The text without a byte order mark; what does not decode is read byte by byte and said to be so."""
    try:
        return data.decode(encoding).removeprefix("\ufeff"), None
    except (UnicodeDecodeError, UnicodeError):
        return data.decode("latin-1"), "encoding"


def read_file(data: bytes, export: Export) -> ReadFile:
    """All records of one file: title lines, the header, then data, blanks, totals, comments and repeated
    headers.
    """
    text, file_problem = decode(data, export.encoding)
    lines = split_lines(text)
    records: list[Record] = []
    header: tuple[str, ...] | None = None
    named = named_delimiter(lines)
    titles_end = export.title_lines
    if named is not None:
        # The spreadsheet's own first line counts as none of the title lines.
        records.append(Record(1, 1, 1, lines[0][0], "separator", (), None))
        titles_end += 1
        if named != export.delimiter and file_problem is None:
            file_problem = "delimiter"
    units_at: int | None = None
    at = len(records)
    while at < len(lines):
        first = at
        raw = lines[at][0]
        cells, trouble = split_cells(raw, export.delimiter)
        is_comment = bool(export.comment_prefix) and raw.lstrip().startswith(export.comment_prefix)
        if trouble == "open" and first >= titles_end:
            # A file that is held whole is only counted: nothing is asked of its width.
            is_held = file_problem is not None or header_problem(header, lines, export) is not None
            at, raw, cells, trouble = join_lines(lines, first, export, None if is_held else header)
        at += 1
        kind = "data"
        problem = None
        if first < titles_end:
            kind = "title"
        elif first == units_at and is_units_row(cells or raw.split(export.delimiter), header or (), export):
            kind = "units"
        elif raw.strip() == "" or (cells is not None and all(cell.strip() == "" for cell in cells)):
            kind = "blank"
        elif is_comment and not (
            header and is_doubtful_comment(cells or raw.split(export.delimiter), header, export)
        ):
            kind = "comment"
            if at - first > 1:
                at = first + 1
                raw = lines[first][0]
        elif header is None and cells is not None:
            header = tuple(cell.strip() for cell in cells)
            kind = "data" if has_data_for_header(header, export) else "header"
            units_at = at if export.units_row else None
        elif cells is not None and tuple(cell.strip() for cell in cells) == header:
            kind = "header"
        elif header is not None and cells is not None and of_total(cells, header, export) == "total":
            kind = "total"
        elif "\x00" in raw:
            problem = "nul_bytes"
        elif cells is None:
            problem = trouble
        elif header is not None and len(cells) != len(header):
            problem = "ragged"
        elif is_comment or (cells and header and of_total(cells, header, export) == "doubt"):
            problem = "looks_like_data"
        if first == units_at and kind == "data":
            file_problem = file_problem or "units_changed"
        records.append(
            Record(
                len(records) + 1,
                first + 1,
                at,
                raw,
                kind,
                tuple(cells or ()) if kind == "data" else (),
                problem,
            )
        )
    problem = file_problem or header_problem(header, lines, export)
    if problem is None and not any(record.kind == "data" for record in records):
        problem = HEADER_ONLY
    return ReadFile(len(lines), header, tuple(records), problem)


def join_lines(
    lines: list[tuple[str, str]], first: int, export: Export, header: tuple[str, ...] | None
) -> tuple[int, str, list[str] | None, str | None]:
    """The record whose quote is open at the end of its first line: last line, text, cells, what is wrong.

    Where the quote is never closed, text follows it, or the cell would swallow readings, only the first line is lost.
    """
    alone = first, lines[first][0], None, BROKEN_QUOTES
    raw = lines[first][0]
    cells: list[str] | None = None
    trouble: str | None = "open"
    at = first
    while trouble == "open":
        if at + 1 == len(lines):
            return alone
        raw += lines[at][1] + lines[at + 1][0]
        at += 1
        cells, trouble = split_cells(raw, export.delimiter)
    if trouble is not None or cells is None:
        return alone
    if header is not None and (
        len(cells) != len(header) or swallows(lines[first : at + 1], cells, header, export)
    ):
        return alone
    return at, raw, cells, None


def swallows(lines: list[tuple[str, str]], cells: list[str], header: tuple[str, ...], export: Export) -> bool:
    """Whether a line inside a record of several is a record itself: as wide as the header, or with its values."""
    width, mark = len(header), export.delimiter
    for cell in cells:
        for inner, _ in split_lines(cell)[1:]:
            loose = split_loosely(inner, mark)
            if mark in inner and ((len(loose) == width and width >= 3) or says_record(loose, header, export)):
                return True
    if width < 3:
        return False
    whole = lines[1:]
    if mark not in lines[0][0] or lines[-1][0].startswith('"'):
        whole = lines[1:-1]
    return any(len(split_cells(line, mark)[0] or []) == width for line, _ in whole)


def split_loosely(text: str, delimiter: str) -> list[str]:
    """Cells of a piece of a line; a quote left open lasts to the end, what stands behind a closed one belongs to it."""
    cells = [""]
    is_quoted = False
    at = 0
    while at < len(text):
        if is_quoted and text.startswith('""', at):
            cells[-1] += '"'
            at += 1
        elif text[at] == '"' and (is_quoted or at == 0 or text.endswith(delimiter, 0, at)):
            is_quoted = not is_quoted
        elif text[at] == delimiter and not is_quoted:
            cells.append("")
        else:
            cells[-1] += text[at]
        at += 1
    return cells


def named_delimiter(lines: list[tuple[str, str]]) -> str | None:
    """What a first line like ``sep=;`` names, or None where there is none."""
    first = lines[0][0] if lines else ""
    bare = first[1:] if first.startswith('"') else first
    if bare[:4].casefold() != "sep=" or len(bare) < 5:
        return None
    rest = bare[5:]
    if bare is not first:
        if not rest.startswith('"'):
            return None
        rest = rest[1:]
    return bare[4] if not rest.strip(",;|\t") else None


def has_data_for_header(header: tuple[str, ...], export: Export) -> bool:
    """Whether no column is named, and two cells or more are a bare figure or a day."""
    named = {fold(column) for column, _ in export.columns.values()} & {fold(name) for name in header}
    return not named and sum(map(is_bare_value, header)) >= 2


def is_bare_value(cell: str) -> bool:
    front, has_time, time = cell.replace("T", " ").partition(" ")
    for mark in ",/-":
        front = front.replace(mark, ".")
    parts = front.split(".")
    is_time = bool(time) and all(sign in "0123456789:" for sign in time)
    return (
        len(parts) <= 3
        and all(part.isascii() and part.isdigit() and len(part) <= 4 for part in parts)
        and (is_time or not has_time)
    )


def header_problem(
    header: tuple[str, ...] | None, lines: list[tuple[str, str]], export: Export
) -> str | None:
    """A file without a line, with another delimiter, or with a mapped column missing or doubled, is held
    whole.
    """
    if not lines or header is None:
        return "empty_file"
    names = [fold(name) for name in header]
    wanted = [fold(column) for column, _ in export.columns.values()]
    if len(names) == 1 and len(set(wanted)) > 1:
        return "delimiter"
    if any(names.count(column) != 1 for column in wanted):
        return "columns_changed"
    return None
