"""The dialect of an unknown file: encoding, delimiter, what stands above the header, units row, totals.

The encoding needs no statistics: of the five that an export may have, a mark or zero bytes show utf-16, text
that is valid utf-8 and has letters beyond ASCII is practically never anything else, and what is left is
cp1252 unless it has one of the bytes that cp1252 lacks.
"""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import polars as pl

from pipeline.adopt.dictionary import cell_key, cell_words, fold, known_phrases, unit_key, unit_words
from pipeline.adopt.questions import Choice, Desk, Guess, Question
from pipeline.errors import AdoptError
from pipeline.intake.decode import decode, split_lines
from pipeline.intake.named_units import unit_named
from pipeline.intake.read import ReadResult, read_records
from pipeline.intake.records import unlimited_fields
from pipeline.settings import Column, Export
from pipeline.units import UNITS

DELIMITERS = (";", "\t", ",", "|")
DELIMITER_WORDS = {";": "semicolon", "\t": "tab", ",": "comma", "|": "bar"}
_REMARK = "#"
_COMMENT_MARKS = (_REMARK, "//", "%", "!", "*", "'")
_SEPARATOR = re.compile(r'"?sep=(.)"?[,;|\s]*', re.IGNORECASE)
_FIGURE = re.compile(r"[-+]?[\d.,' \u00a0\u202f]*\d[\d.,' \u00a0\u202f]*")
_DATE_LIKE = re.compile(r"\d{1,4}[./-]\d{1,2}[./-]\d{1,4}(?:[ T].*)?")
_LINES_LOOKED_AT = 300
_LAST_HEADER_RECORD = 60
_DEFAULT_TOTALS = ("total", "totals", "sum", "mean", "average")
_NOT_TEXT = (
    (b"PK\x03\x04", "is a spreadsheet or another packed file, not text; save it as CSV first"),
    (b"\xd0\xcf\x11\xe0", "is an old spreadsheet (.xls), not text; save it as CSV first"),
    (b"%PDF", "is a PDF, not an export; export the table as CSV"),
    (b"\x1f\x8b", "is compressed (gzip); unpack it first"),
    (b"\x89PNG", "is a picture, not an export; export the table as CSV"),
    (b"\xff\xd8\xff", "is a picture, not an export; export the table as CSV"),
)


@dataclass(frozen=True)
class Sheet:
    """A file as its dialect divides it; `cells` holds the data rows only, by header position."""

    encoding: Guess
    delimiter: Guess
    title_lines: Guess
    comment_prefix: Guess | None
    total_words: Guess | None
    totals: tuple[str, ...]
    header: tuple[str, ...]
    header_line: int
    units: tuple[str, ...] | None
    cells: pl.DataFrame

    def column(self, at: int) -> list[str]:
        """The different cells of a column, trimmed, blanks left out, in the order of their appearance."""
        series = self.cells[f"c{at}"].str.strip_chars()
        return series.filter(series != "").unique(maintain_order=True).to_list()


class _Row(NamedTuple):
    line_from: int
    line_to: int
    cells: list[str]


class _Layout(NamedTuple):
    """What one delimiter makes of the file: how well it fits, and where the header would be."""

    delimiter: str
    hits: int
    fitting: int
    width: int
    header: _Row
    below: list[_Row]

    @property
    def share(self) -> float:
        """Which part of the lines below the header has as many cells as the table, from 0 to 1."""
        return self.fitting / len(self.below) if self.below else 1.0


def sniff(data: bytes, name: str, desk: Desk) -> Sheet:
    """Find the dialect of a file, and ask what lines are that look like remarks and like data.

    Raises AdoptError where it is no table of text.
    """
    encoding = guess_encoding(data, name)
    text, problem = decode(data, encoding.value)
    if problem is not None:
        raise AdoptError(f"{name}: {problem.sentence}; {problem.mend}.")
    lines = split_lines(text)
    if not text.strip("\ufeff \t\r\n;,|\0"):
        raise AdoptError(f"{name} is empty; export it again.")
    if text.lstrip().casefold().startswith(("<!doctype", "<html", "<table", "<?xml")):
        raise AdoptError(f"{name} is a web page or XML under the name of a table; save it as CSV first.")
    declared = _SEPARATOR.fullmatch(lines[0].rstrip("\r\n"))
    first = 1 if declared else 0
    comment = _guess_comment(lines, first)
    layout = _find_layout(lines, first, declared[1] if declared else None, comment)
    if layout is None:
        raise AdoptError(_explain_no_layout(lines, first, name))
    delimiter = _explain_delimiter(layout, is_declared=declared is not None)
    units = _units_row(layout)
    comment = _settle_comment(comment, lines, layout, desk)
    prefix = comment.value if comment else _REMARK
    title = _title_lines(lines, first, layout, prefix)
    result, title_lines = _read_whole(data, encoding.value, layout, title, first, prefix, name)
    totals = _find_totals(result, layout.delimiter)
    cells = _data_only(result, len(layout.header.cells), units, totals)
    if cells.is_empty():
        raise AdoptError(f"{name} holds a header and no data; wait for a file with lines in it.")
    return Sheet(
        encoding=encoding,
        delimiter=delimiter,
        title_lines=title_lines,
        comment_prefix=comment if comment and comment.value != _REMARK else None,
        total_words=_explain_totals(totals),
        totals=totals,
        header=tuple(layout.header.cells),
        header_line=layout.header.line_from,
        units=units,
        cells=cells,
    )


def guess_encoding(data: bytes, name: str) -> Guess:
    """The encoding by its mark or by what the bytes can be; raises AdoptError for what is no text."""
    if not data.strip(b"\0 \t\r\n"):
        raise AdoptError(f"{name} is empty; export it again.")
    for magic, what in _NOT_TEXT:
        if data.startswith(magic):
            raise AdoptError(f"{name} {what}.")
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return Guess("utf-16", "certain", "the file begins with the mark of utf-16")
    if data.startswith(codecs.BOM_UTF8):
        return Guess("utf-8-sig", "certain", "the file begins with the mark of utf-8")
    if b"\0" in data:
        if data[1::2].count(0) > 0.6 * len(data[1::2]) and data[::2].count(0) == 0:
            return Guess("utf-16", "likely", "every second byte is zero, as in utf-16 without a mark")
        raise AdoptError(f"{name} has zero bytes in it and is no text; export the table as CSV.")
    strange = sum(data.count(bytes([code])) for code in range(32) if code not in (9, 10, 12, 13))
    if strange > len(data) / 200:
        raise AdoptError(f"{name} is no text; export the table as CSV.")
    if data.isascii():
        return Guess("utf-8", "likely", "only plain letters so far, which every encoding writes alike")
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        pass
    else:
        return Guess("utf-8", "certain", "its letters with accents are valid utf-8")
    try:
        data.decode("cp1252")
    except UnicodeDecodeError:
        return Guess(
            "latin-1", "unsure", "it is neither utf-8 nor cp1252; look whether its accents are right"
        )
    return Guess("cp1252", "likely", "its letters with accents are not utf-8, and cp1252 reads them all")


def is_known(header: str) -> bool:
    """Whether a cell names a column in one of the languages, with or without its unit."""
    plain = re.sub(r"[(\[{][^)\]}]*[)\]}]", " ", header)
    words = fold(plain).split()
    phrases = known_phrases()
    if not words:
        return False
    return any(
        " ".join(words[start:end]) in phrases
        for start, end in ((0, len(words)), (0, len(words) - 1), (0, 1), (len(words) - 1, len(words)))
        if end > start and len(" ".join(words[start:end])) > 1
    )


def _guess_comment(lines: Sequence[str], first: int) -> Guess | None:
    """The mark of lines that are remarks: a sign that no cell begins with, on more than one line or at the top."""
    heads = [line.lstrip() for line in lines[first : first + 5000] if line.strip()]
    for mark in _COMMENT_MARKS:
        marked = [line for line in heads if line.startswith(mark)]
        # A first header like "#" (pot number) or "*" before a figure is no remark.
        if not marked or len(marked) > len(heads) / 2:
            continue
        if mark == _REMARK or all(not any(sign in line for sign in ";\t|") for line in marked):
            return Guess(mark, "likely", f"{_count(len(marked), 'line begins', 'lines begin')} with it")
    return None


def _settle_comment(comment: Guess | None, lines: Sequence[str], layout: _Layout, desk: Desk) -> Guess | None:
    """The mark of remarks, with lines looked at that have it and yet the cells of a record, like a pot called #1.

    The mark "" stands for a file whose lines are all data. None stands for the mark that settings have by themselves.
    """
    mark = comment.value if comment else _REMARK
    below = [line for line in lines[layout.header.line_to :] if line.strip()]
    alike = [line for line in below if line.lstrip().startswith(mark) and _is_record(line, mark, layout)]
    if not alike:
        return comment
    if mark != _REMARK:
        return None
    begin = _count(len(alike), "line begins", "lines begin")
    if len(alike) > len(below) / 2:
        return Guess("", "likely", f'{begin} with "{mark}" and the cells of a record stand behind it')
    text = f'{begin} with "{mark}" although there are figures behind it: data or remarks?'
    choices = (
        Choice("none", f'they are data, like a pot called "{mark}1"'),
        Choice(mark, "they are struck out; a night holds them until somebody has looked at them"),
    )
    answer = desk.ask(Question("comment_prefix", text, choices))
    return Guess("" if answer.value == "none" else answer.value, answer.sure, answer.why)


def _is_record(line: str, mark: str, layout: _Layout) -> bool:
    """Whether a line with the mark of remarks is as wide as the header and has a figure or a day in it."""
    text = line.rstrip("\r\n")
    try:
        with unlimited_fields():
            cells = next(csv.reader((text,), delimiter=layout.delimiter), [])
    except csv.Error:
        cells = text.split(layout.delimiter)
    head = cells[0].strip().removeprefix(mark).strip().rstrip(":") if cells else ""
    if len(cells) != len(layout.header.cells) or cell_key(head) in cell_words()["total"]:
        return False
    filled = [cell.strip() for cell in cells[1:] if cell.strip()]
    return any(_FIGURE.fullmatch(cell) or _DATE_LIKE.fullmatch(cell) for cell in filled)


def _find_layout(lines: list[str], first: int, declared: str | None, comment: Guess | None) -> _Layout | None:
    prefix = comment.value if comment else None
    candidates = [declared] if declared in DELIMITERS else DELIMITERS
    layouts = [
        layout
        for delimiter in candidates
        if delimiter and (layout := _lay_out(_rows(lines, first, delimiter, prefix), delimiter))
    ]
    return max(layouts, key=lambda one: (one.hits, round(one.share, 2), one.width), default=None)


def _explain_no_layout(lines: list[str], first: int, name: str) -> str:
    """Why no delimiter makes a table with a header: none divides the lines, or figures stand from the first line on."""
    for delimiter in DELIMITERS:
        rows = _rows(lines, first, delimiter, None)
        wide = [row for row in rows if len(row.cells) == len(rows[0].cells) > 1]
        if rows and 2 * len(wide) > len(rows):
            cells = (cell.strip() for cell in rows[0].cells)
            data = next(
                (cell for cell in cells if _FIGURE.fullmatch(cell) or _DATE_LIKE.fullmatch(cell)), None
            )
            if data is not None:
                return (
                    f"{name} has no header: line {rows[0].line_from}, where the names of the columns should stand, "
                    f'holds data (like "{data}"); export it with its header, or write one above it.'
                )
    return f"{name}: no comma, semicolon, tab or bar divides its lines into the columns of a table; export it as CSV."


def _rows(lines: list[str], first: int, delimiter: str, prefix: str | None) -> list[_Row]:
    """The first records with their lines; blank lines and remarks left out."""
    part = lines[first : first + _LINES_LOOKED_AT]
    rows: list[_Row] = []
    with unlimited_fields():
        reader = csv.reader(part, delimiter=delimiter)
        before = 0
        for cells in reader:
            start, before = before, reader.line_num
            head = part[start].lstrip()
            if reader.line_num - start > 20:  # a stray quotation mark has swallowed the file
                return [
                    _Row(first + at + 1, first + at + 1, line.rstrip("\r\n").split(delimiter))
                    for at, line in enumerate(part)
                    if line.strip()
                ]
            is_remark = prefix is not None and head.startswith(prefix) and not any(map(is_known, cells[1:]))
            if any(cell.strip() for cell in cells) and not is_remark:
                rows.append(_Row(first + start + 1, first + before, cells))
    return rows


def _lay_out(rows: list[_Row], delimiter: str) -> _Layout | None:
    counts = Counter(len(row.cells) for row in rows if len(row.cells) > 1)
    if not counts:
        return None
    # Where two widths are as frequent, the wider one is the table.
    width = max(counts, key=lambda one: (counts[one], one))
    best: tuple[int, int] | None = None
    for at, row in enumerate(rows[:_LAST_HEADER_RECORD]):
        hits = _header_hits(row.cells, width)
        if hits is not None and (best is None or hits > best[1]):
            best = (at, hits)
    if best is None:
        return None
    header = rows[best[0]]
    below = rows[best[0] + 1 :]
    if len(header.cells) != width and best[1] >= 3:
        width = len(header.cells)  # a few ragged lines do not make another table
    fitting = sum(len(row.cells) == width for row in below)
    return _Layout(delimiter, best[1], fitting, width, header, below)


def _header_hits(cells: list[str], width: int) -> int | None:
    """How many cells name a column, or None for what cannot be a header: figures, dates, a lone title."""
    filled = [cell.strip() for cell in cells if cell.strip()]
    hits = sum(is_known(cell) for cell in filled)
    if len(filled) < 2 or any(_FIGURE.fullmatch(cell) or _DATE_LIKE.fullmatch(cell) for cell in filled):
        return None
    if len(cells) != width and hits < 3:
        return None
    if len(filled) < len(cells) / 2:
        return None
    return hits


def _explain_delimiter(layout: _Layout, *, is_declared: bool) -> Guess:
    if is_declared:
        return Guess(layout.delimiter, "certain", "the first line (sep=) says so")
    sign = DELIMITER_WORDS[layout.delimiter]
    if layout.share > 0.9 and layout.hits >= 2:
        return Guess(
            layout.delimiter, "certain", f"a {sign} divides the lines into {layout.width} columns each"
        )
    why = f"a {sign} divides {layout.fitting} of {len(layout.below)} lines into {layout.width} columns"
    return Guess(layout.delimiter, "likely" if layout.share > 0.6 else "unsure", why)


def _units_row(layout: _Layout) -> tuple[str, ...] | None:
    """The cells of a row of units directly under the header, or None."""
    if not layout.below or layout.below[0].line_from != layout.header.line_to + 1:
        return None
    cells = layout.below[0].cells
    filled = [cell.strip() for cell in cells if cell.strip()]
    known = [cell for cell in filled if _unit_of_cell(cell)]
    real = [cell for cell in known if any(letter.isalpha() or letter in "°%" for letter in cell)]
    if not real or any(_FIGURE.fullmatch(cell) or _DATE_LIKE.fullmatch(cell) for cell in filled):
        return None
    return tuple(cells) if len(known) >= len(filled) / 2 else None


def _unit_of_cell(cell: str) -> bool:
    bare = cell.strip("()[]{} ")
    # One that nobody here knows is a unit as well.
    return unit_key(bare) in unit_words() or any(unit_named(quantity, bare, None) for quantity in UNITS)


def _title_lines(lines: list[str], first: int, layout: _Layout, prefix: str) -> int:
    """The number of the last line above the header that is neither blank nor a remark; 0 without one."""
    titles = [
        number
        for number in range(first + 1, layout.header.line_from)
        if lines[number - 1].strip() and not (prefix and lines[number - 1].lstrip().startswith(prefix))
    ]
    return titles[-1] if titles else 0


def _read_whole(
    data: bytes, encoding: str, layout: _Layout, title: int, first: int, prefix: str, name: str
) -> tuple[ReadResult, Guess]:
    """Read the file as a night would, with the number of title lines at which the header is found."""
    # Whether a sep= line counts among the title lines is the reader's business: the header tells.
    for count in dict.fromkeys((max(0, title - first), title)):
        result = read_records(data, _plain_export(encoding, layout, count, prefix), known_headers=[])
        if result.header is not None and list(result.header) == layout.header.cells:
            return result, _explain_titles(count)
    raise AdoptError(
        f"{name}: its header cannot be told from the lines above it; take them out and try again."
    )


def _plain_export(encoding: str, layout: _Layout, title_lines: int, prefix: str) -> Export:
    header = next(cell for cell in layout.header.cells if cell.strip())
    return Export.model_validate(
        {
            "kind": "readings",
            "files": "drop/x",
            "encoding": encoding,
            "delimiter": layout.delimiter,
            "title_lines": title_lines,
            "comment_prefix": prefix,
            "total_words": [],
            "columns": {"note": Column(column=header)},
        }
    )


def _explain_titles(count: int) -> Guess:
    if count == 0:
        return Guess("0", "certain", "the header is the first line that is not blank and no remark")
    lines = _count(count, "line stands", "lines stand")
    return Guess(str(count), "certain", f"{lines} above the header")


def _find_totals(result: ReadResult, delimiter: str) -> tuple[str, ...]:
    """First filled cells of lines that add up or average: known words, and hardly any lines with them."""
    known = cell_words()["total"]
    blanks = f"{delimiter} \t"
    firsts = Counter(
        text.lstrip(blanks).split(delimiter, 1)[0].strip().strip('"').rstrip(":").strip()
        for text, kind in result.records.select("text", "kind").iter_rows()
        if kind in ("data", "total")
    )
    data = sum(firsts.values())
    return tuple(
        word
        for word, count in sorted(firsts.items())
        if word and cell_key(word) in known and count <= max(2, data / 5)
    )


def _explain_totals(totals: tuple[str, ...]) -> Guess | None:
    if not {word.casefold() for word in totals} - set(_DEFAULT_TOTALS):
        return None
    return Guess(", ".join(totals), "certain", "lines that begin with it are sums or means")


def _data_only(
    result: ReadResult, width: int, units: tuple[str, ...] | None, totals: tuple[str, ...]
) -> pl.DataFrame:
    cells = result.cells
    if cells.is_empty() or f"c{width - 1}" not in cells.columns:
        return pl.DataFrame()
    if units is not None and tuple(cells.drop("record_no").row(0)) == units:
        cells = cells.slice(1)
    names = [name for name in cells.columns if name != "record_no"]
    stripped = cells.select(pl.col(names).str.strip_chars())
    filled = stripped.select(pl.coalesce(pl.when(pl.col(name) != "").then(pl.col(name)) for name in names))
    firsts = filled.to_series().fill_null("").str.strip_chars_end(":").str.to_lowercase()
    return cells.filter(~firsts.is_in([word.lower() for word in totals]))


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
