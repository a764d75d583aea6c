"""Layout of a file beside the settings and the files before it: moved columns, other units."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from tests.oracle.fields import QUANTITIES, to_our_unit, typed_unit
from tests.oracle.records import HEADER_ONLY, ReadFile, Record, read_file, split_cells
from tests.oracle.set_aside import count_values, is_units_row
from tests.oracle.settings import Export, fold

# Units that a quantity is measured in elsewhere, and for fields with one unit those that it is not.
UNKNOWN: dict[str, tuple[str, ...]] = {
    "ec": ("cf", "ppt", "g/l", "s/cm", "ns/cm", "ds/cm", "ms/mm", "mmol/l", "meq/l", "\u2030"),
    "volume": (
        "gal",
        "gallon",
        "gallons",
        "qt",
        "quart",
        "pint",
        "hl",
        "cup",
        "m3",
        "%",
        "min",
        "l/m2",
        "ml/m2",
    ),
    "temperature": ("k", "kelvin", "\u00b0k"),
    "alkalinity": ("\u00b0dh", "\u00b0dkh", "\u00b0fh", "\u00b0kh", "mg/l hco3", "gpg"),
    "drain": ("h", "hr", "hrs", "hours", "std", "s", "sec"),
    "ph": ("mv",),
}


def read_in_layout(data: bytes, export: Export, earlier: tuple[str, ...] | None = None) -> ReadFile:
    """A file in records, held whole as well where its columns moved or its units changed.

    `earlier` is the header of the newest readable file of the export before it.
    """
    read = read_file(data, export)
    if read.header is None or read.file_problem not in (None, HEADER_ONLY):
        return read
    units = [record for record in read.records if record.kind == "units"] or undeclared_units(read, export)
    problem = moved(read.header, earlier, export) or other_units(units, read.header, export)
    return replace(read, file_problem=problem or read.file_problem)


def undeclared_units(read: ReadFile, export: Export) -> list[Record]:
    """The line straight below the header where all that stands in it is units, though nobody said that it comes."""
    kinds = [record.kind for record in read.records]
    at = kinds.index("header") + 1 if "header" in kinds else len(kinds)
    if export.units_row or at >= len(kinds) or kinds[at] != "data" or read.header is None:
        return []
    record = read.records[at]
    cells = [cell for cell in split_cells(record.text, export.delimiter)[0] or [] if cell.strip()]
    alone = all(is_units_row([cell], read.header, export) for cell in cells)
    whole = split_cells(record.text, export.delimiter)[0] or []
    return [record] if cells and alone and not count_values(whole, read.header, export) else []


def moved(header: tuple[str, ...], earlier: tuple[str, ...] | None, export: Export) -> str | None:
    """Mapped columns in another relative order than before hold the file, unless any order is allowed."""
    if earlier is None or export.column_order == "any":
        return None
    names, before = [fold(name) for name in header], [fold(name) for name in earlier]
    both = {fold(column) for column, _ in export.columns.values()} & set(names) & set(before)
    same = [name for name in names if name in both] == [name for name in before if name in both]
    return None if same else "columns_moved"


def other_units(rows: list[Record], header: tuple[str, ...], export: Export) -> str | None:
    """A unit in the header or below it that is another than the column's, known or not, holds the file; a word that
    is none does not.
    """
    names = [fold(name) for name in header]
    for name, (column, unit) in export.columns.items():
        if name in export.wrong_headers:
            continue
        at = names.index(fold(column))
        said = words_for_units(header[at])
        for row in rows:
            cells = split_cells(row.text, export.delimiter)[0] or []
            said += [cells[at].strip().strip("()[]").strip()] if at < len(cells) else []
        if any(is_other_unit(name, one, unit) for one in said):
            return "units_changed"
    return None


def words_for_units(title: str) -> list[str]:
    """What stands in brackets, and the words outside them that may be units: the last ones, and any longer word."""
    said: list[str] = []
    outside = ""
    rest = title
    while rest:
        before, opening, rest = rest.partition("(" if "(" in rest else "[")
        outside += before + " "
        if opening:
            inside, _, rest = rest.partition(")" if opening == "(" else "]")
            said.append(inside.strip())
    words = outside.replace(",", " ").replace("_", " ").split()
    tails = [" ".join(words[-length:]) for length in (1, 2) if len(words) > length]
    return said + [word for word in (*words, *tails) if len(word) > 2 or word in tails]


def is_other_unit(name: str, said: str, unit: str | None) -> bool:
    """Whether a text is a unit and not the column's."""
    key = " ".join(said.split()).casefold()
    quantity = QUANTITIES.get(name)
    if quantity is None or unit is None:
        return key in UNKNOWN.get(name, ())
    found = typed_unit(name, said, unit)
    if found:
        return to_our_unit(Fraction(1), found) != to_our_unit(Fraction(1), unit)
    is_scale = key in ("ppm", "mg/l") and quantity == "ec" and not unit.casefold().startswith("ppm")
    return is_scale or (key == "oz" and quantity == "volume") or key in UNKNOWN[quantity]
