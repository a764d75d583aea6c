"""Files that are the sampling sheet or its calibration boxes, filled in: known by their header, whatever their name.

A spreadsheet saves a sheet as it pleases: with commas, semicolons or tabs, as utf-8, utf-16 or in its own encoding.
What it chose is found from the file's bytes alone, so the same bytes are always read the same way.
"""

from __future__ import annotations

import codecs
import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from pipeline.intake.decode import BOM, UTF16_MARKS, split_lines
from pipeline.intake.header import header_key
from pipeline.settings import Export, SiteSettings
from pipeline.settings.models import Encoding
from pipeline.settings.sheet import SHEET_MARKS, SheetExport, read_export

Delimiter = Literal[",", ";", "\t"]

HEAD_BYTES: Final = 16_384
"""The header of a sheet stands within so many bytes from the file's start."""

_DELIMITERS: Final[tuple[Delimiter, ...]] = (",", ";", "\t")
_SEPARATOR_LINE = re.compile(r'("?)sep=.\1[,;|\t]*', re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class SheetFile:
    """A file that is ours: the number of its export, its header, and how it is written."""

    number: int
    header: tuple[str, ...]
    encoding: Encoding
    delimiter: Delimiter


def find_sheet(data: bytes) -> SheetFile | None:
    """What a file is by its first line that is not blank; None where that is not the header of a sheet.

    The first HEAD_BYTES are enough for the number; the encoding needs all bytes.
    """
    line = _first_line(data)
    if line is None:
        return None
    for delimiter in _DELIMITERS:
        header = _cells(line, delimiter)
        number = _number_of(header)
        if number is not None:
            return SheetFile(number, tuple(header), _encoding(data), delimiter)
    return None


def fit_sheet(export: Export, site: SiteSettings, data: bytes) -> Export:
    """The export with the dialect and the columns of one file, where it is a sheet's; any other as it is."""
    found = find_sheet(data) if isinstance(export, SheetExport) else None
    if found is None:
        return export
    fitted = read_export(site, found.number, found.header)
    return fitted.model_copy(update={"encoding": found.encoding, "delimiter": found.delimiter})


def _first_line(data: bytes) -> str | None:
    """The first line with anything in it but what names the delimiter; None where it does not end within the head."""
    head = data[:HEAD_BYTES]
    if head.startswith(UTF16_MARKS):
        text = head[: len(head) // 2 * 2].decode("utf-16", "replace")
    else:
        # The header itself is plain ASCII; letters of the lines below it do not matter here.
        text = head.decode("utf-8", "replace")
    for number, line in enumerate(split_lines(text.removeprefix(BOM))):
        bare = line.rstrip("\r\n")
        if not bare.strip() or (number == 0 and _SEPARATOR_LINE.fullmatch(bare)):
            continue
        return None if line == bare and len(data) > HEAD_BYTES else bare
    return None


def _cells(line: str, delimiter: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=delimiter, strict=True), [])
    except csv.Error:
        return []


def _number_of(header: Sequence[str]) -> int | None:
    keys = [header_key(name) for name in header]
    for number, marks in SHEET_MARKS.items():
        if all(keys.count(mark) == 1 for mark in marks):
            return number
    return None


def _encoding(data: bytes) -> Encoding:
    """By the mark; without one it is utf-8 where all bytes are, and what is left is a spreadsheet's own, cp1252."""
    if data.startswith(UTF16_MARKS):
        return "utf-16"
    if data.startswith(codecs.BOM_UTF8):
        return "utf-8-sig"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"
