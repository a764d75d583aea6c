"""Layout of a file beside the settings and the files before it: moved columns, other units."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from tests.oracle.fields import QUANTITIES, to_our_unit, typed_unit
from tests.oracle.records import HEADER_ONLY, ReadFile, Record, read_file, split_cells
from tests.oracle.settings import Export, fold


def read_in_layout(data: bytes, export: Export, earlier: tuple[str, ...] | None = None) -> ReadFile:
    """A file in records, held whole as well where its columns moved or its units changed.

    `earlier` is the header of the newest readable file of the export before it.
    """
    read = read_file(data, export)
    if read.header is None or read.file_problem not in (None, HEADER_ONLY):
        return read
    units = [record for record in read.records if record.kind == "units"]
    problem = moved(read.header, earlier, export) or other_units(units, read.header, export)
    return replace(read, file_problem=problem or read.file_problem)


def moved(header: tuple[str, ...], earlier: tuple[str, ...] | None, export: Export) -> str | None:
    """Mapped columns in another relative order than before hold the file, unless any order is allowed."""
    if earlier is None or export.column_order == "any":
        return None
    names, before = [fold(name) for name in header], [fold(name) for name in earlier]
    both = {fold(column) for column, _ in export.columns.values()} & set(names) & set(before)
    same = [name for name in names if name in both] == [name for name in before if name in both]
    return None if same else "columns_moved"


def other_units(rows: list[Record], header: tuple[str, ...], export: Export) -> str | None:
    """A unit below the header that is another than the column's holds the file; a word that is none does
    not.
    """
    names = [fold(name) for name in header]
    for row in rows:
        cells = split_cells(row.text, export.delimiter)[0] or []
        for name, (column, unit) in export.columns.items():
            at = names.index(fold(column))
            written = cells[at].strip().strip("()[]").strip() if at < len(cells) else ""
            found = typed_unit(name, written, unit) if unit is not None else None
            is_scale = fold(written) == "ppm" and QUANTITIES.get(name) == "ec"
            if found is None and (is_scale or (fold(written) == "oz" and QUANTITIES.get(name) == "volume")):
                return "units_changed"
            if found and to_our_unit(Fraction(1), found) != to_our_unit(Fraction(1), unit):
                return "units_changed"
    return None
