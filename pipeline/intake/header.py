"""The header of an export: how its names compare, and what is wrong with it."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from difflib import SequenceMatcher

from pipeline.intake.decode import FileProblem
from pipeline.intake.named_units import NamedUnit, contradiction, contradiction_in_row, unit_taken
from pipeline.settings import Column, Export
from pipeline.settings.words import UNIT_OF_FIELD
from pipeline.units import UNITS

DELIMITER_NAMES = {",": 'a comma ","', ";": 'a semicolon ";"', "\t": "a tab", "|": 'a bar "|"'}
_LEAST_LIKENESS = 0.6
# A figure or a day, as data hold them and headers do not; so many of them are no header.
_VALUE = re.compile(r"[0-9]{1,4}(?:[.,/-][0-9]{1,4}){0,2}(?:[ T][0-9:]+)?")
_LEAST_VALUES = 2
# How far down a header is looked for that does not stand where the settings say.
_LINES_LOOKED_AT = 60
# What names one of several units: which one, the settings say.
_MANY_MEANINGS = ("ppm", "mg/l", "oz")
# Names of one figure that look nothing like each other, as they stand in headers.
_SAME_FIGURE = (
    {"ec", "lf", "ce", "conductivity", "leitf", "leitfähigkeit", "leitwert", "conductividad", "conductivité"},
    {"ph", "säure", "säuregrad", "säurewert", "zuurgraad", "acidity", "acidez", "acidité"},
)


def header_key(name: str) -> str:
    """A header as it is compared: trimmed, inner white space as one blank, without regard to case."""
    return " ".join(name.split()).casefold()


def find_column(header: Sequence[str], name: str) -> int | None:
    """Position of a column in the header, or None."""
    key = header_key(name)
    return next((at for at, found in enumerate(header) if header_key(found) == key), None)


def place_of(header: Sequence[str], column: Column) -> int | None:
    """Position of a mapped column in the header, by its name or by one of its other names; None where it is not."""
    places = (find_column(header, name) for name in (column.column, *column.other_names))
    return next((at for at in places if at is not None), None)


def mapped_keys(export: Export) -> set[str]:
    """Every header that the export reads, as headers are compared."""
    return {
        header_key(name)
        for column in export.columns.values()
        for name in (column.column, *column.other_names)
    }


def count_known(header: Sequence[str], wanted: Sequence[str]) -> int:
    """How many of the wanted columns the header has."""
    have = {header_key(name) for name in header}
    return len({header_key(name) for name in wanted} & have)


def judge_header(
    header: Sequence[str],
    text: str,
    line: int,
    wanted: Sequence[str],
    export: Export,
    earlier: Sequence[str] | None = None,
) -> FileProblem | None:
    """Say what keeps the file from being read by its header, or None.

    `text` is the header's record as it stands in the file, `line` its physical line, `earlier` the header of the
    newest readable file before it.
    """
    wanted = _as_they_are_now(header, wanted, export)
    if count_known(header, wanted) == 0:
        problem = _other_delimiter(text, line, wanted, export.delimiter) or _no_header(header, line, wanted)
        if problem:
            return problem
    return (
        _two_names(header, line, export)
        or _changed_columns(header, line, wanted, earlier)
        or _other_unit(header, line, export)
        or _moved_columns(header, line, wanted, export, earlier)
    )


def header_elsewhere(lines: Sequence[str], line: int, wanted: Sequence[str], export: Export) -> int | None:
    """The first physical line, other than this one, that has all columns that are looked for; None where none has."""
    for number, text in enumerate(lines[:_LINES_LOOKED_AT], 1):
        if number == line or text.count(export.delimiter) + 1 < len(wanted):
            continue
        cells = next(csv.reader([text], delimiter=export.delimiter), [])
        names = _as_they_are_now(cells, wanted, export)
        if count_known(cells, names) == len({header_key(name) for name in wanted}):
            return number
    return None


def _no_header(header: Sequence[str], line: int, wanted: Sequence[str]) -> FileProblem | None:
    """A line of figures and days in the place of the header, which names none of the columns."""
    if not reads_like_data(header, wanted):
        return None
    values = _values_in(header)
    sentence = f'the file has no header: line {line}, where it should stand, holds data (like "{values[0]}")'
    names = ", ".join(f'"{name}"' for name in wanted)
    mend = f"export the file again with its header, or write the line of column names above it ({names})"
    return FileProblem("columns_changed", sentence, mend)


def reads_like_data(header: Sequence[str], wanted: Sequence[str]) -> bool:
    """Whether what stands in the place of the header names none of the columns and holds figures and days."""
    return count_known(header, wanted) == 0 and len(_values_in(header)) >= _LEAST_VALUES


def _values_in(cells: Sequence[str]) -> list[str]:
    return [cell.strip() for cell in cells if _VALUE.fullmatch(cell.strip())]


def _as_they_are_now(header: Sequence[str], wanted: Sequence[str], export: Export) -> list[str]:
    """The wanted columns by the names that this header has for them."""
    by_key = {header_key(column.column): column for column in export.columns.values()}
    names = []
    for name in wanted:
        column = by_key.get(header_key(name))
        at = None if column is None else place_of(header, column)
        names.append(name if at is None else header[at])
    return names


def _two_names(header: Sequence[str], line: int, export: Export) -> FileProblem | None:
    for name, column in export.columns.items():
        there = [one for one in (column.column, *column.other_names) if find_column(header, one) is not None]
        if len(there) > 1:
            listed = " and ".join(f'"{one}"' for one in there)
            sentence = f"the header on line {line} has {listed}, which are names of one column ({name})"
            mend = f"take one of them away from the other_names of {name} under [export.columns] in site.toml"
            return FileProblem("columns_changed", sentence, mend)
    return None


def _other_unit(header: Sequence[str], line: int, export: Export) -> FileProblem | None:
    """A header that names another unit than the settings, known or not: one of the two is wrong."""
    for name, column in export.columns.items():
        at = place_of(header, column)
        named = None if at is None else contradiction(name, column, header[at])
        if at is not None and named is not None:
            sentence = (
                f'the header on line {line} says "{" ".join(header[at].split())}", and the settings say that {name} '
                f"is in {unit_taken(name, column)}"
            )
            return _units_changed(name, column, named, sentence)
    return None


def judge_units(cells: Sequence[str], header: Sequence[str], line: int, export: Export) -> FileProblem | None:
    """Say which unit in the row below the header contradicts the settings, or None.

    A blank cell says nothing, and so does one that is no unit.
    """
    for name, column in export.columns.items():
        at = place_of(header, column)
        named = None if at is None or at >= len(cells) else contradiction_in_row(name, column, cells[at])
        if named is not None:
            sentence = (
                f'the row of units on line {line} has "{named.written}" under "{column.column}", '
                f"and the settings say {unit_taken(name, column)}"
            )
            return _units_changed(name, column, named, sentence)
    return None


def _units_changed(name: str, column: Column, named: NamedUnit, sentence: str) -> FileProblem:
    """The file's problem with the mend: name the unit, or export the column in one that is known."""
    is_known = named.known is not None or named.written.casefold() in _MANY_MEANINGS
    quantity = UNIT_OF_FIELD.get(name)
    wrong = "add header_unit_is_wrong = true there if the header is wrong"
    if quantity is None:
        mend = (
            f"export the column in {unit_taken(name, column)}, or write {name} = {{column = "
            f'"{" ".join(column.column.split())}", header_unit_is_wrong = true}} under [export.columns] in site.toml '
            "if the header is wrong"
        )
    elif is_known:
        mend = (
            f"set the unit of {name} under [export.columns] in site.toml to what the meter writes, or {wrong}"
        )
    else:
        mend = (
            f"{named.written} is no unit that is known for it: export the column in one of "
            f"{', '.join(UNITS[quantity])} and set the unit of {name} under [export.columns] in site.toml, or {wrong}"
        )
    return FileProblem("units_changed", sentence, mend)


def other_separator(named: str, delimiter: str) -> FileProblem:
    """The file's own first line names another delimiter than the settings."""
    shown = "\\t" if named == "\t" else named
    sentence = (
        f"line 1 says that cells are divided by {DELIMITER_NAMES.get(named, repr(named))}, "
        f"and the settings say {DELIMITER_NAMES.get(delimiter, repr(delimiter))}"
    )
    mend = f'set delimiter = "{shown}" in site.toml, or export the file as before'
    return FileProblem("delimiter", sentence, mend)


def nearest_header(name: str, candidates: Sequence[str]) -> str | None:
    """The candidate that looks most like the name, or None where nothing looks like it."""
    key = header_key(name)
    best, likeness = None, 0.0
    for candidate in candidates:
        other = header_key(candidate)
        score = SequenceMatcher(None, key, other).ratio()
        here, there = _words(key), _words(other)
        if any(names & here and names & there for names in _SAME_FIGURE):
            score = 0.9 + score / 10
        elif here & there:  # "Lot" and "Lot or batch" share a word, however long the rest is
            score = max(score, 0.7 + score / 10)
        if score > likeness:
            best, likeness = candidate, score
    return best if likeness >= _LEAST_LIKENESS else None


def _words(key: str) -> set[str]:
    return set("".join(letter if letter.isalnum() else " " for letter in key).split())


def _other_delimiter(text: str, line: int, wanted: Sequence[str], delimiter: str) -> FileProblem | None:
    best, most = "", 0
    for other in DELIMITER_NAMES:
        if other == delimiter:
            continue
        try:
            cells = next(csv.reader([text], delimiter=other, strict=True), [])
        except csv.Error:
            cells = text.split(other)
        known = count_known(cells, wanted)
        if known > most:
            best, most = other, known
    if not best:
        return None
    columns = len({header_key(name) for name in wanted})
    sentence = (
        f"the header on line {line} is not divided by {DELIMITER_NAMES.get(delimiter, repr(delimiter))}; "
        f"{DELIMITER_NAMES[best]} would divide it into {most} of the {columns} columns that are looked for"
    )
    shown = "\\t" if best == "\t" else best
    return FileProblem(
        "delimiter", sentence, f'set delimiter = "{shown}" in site.toml, or export the file as before'
    )


def _moved_columns(
    header: Sequence[str], line: int, wanted: Sequence[str], export: Export, earlier: Sequence[str] | None
) -> FileProblem | None:
    """The mapped columns stand in another order than before: equal texts would mean other things."""
    if earlier is None or export.column_order == "any":
        return None
    known = {header_key(name) for name in wanted}
    now = [key for key in map(header_key, header) if key in known]
    before = [key for key in map(header_key, earlier) if key in now]
    after = [key for key in now if key in before]
    if after == before:
        return None
    titles = {header_key(name): name.strip() for name in header}
    first = next(at for at, (one, other) in enumerate(zip(after, before, strict=True)) if one != other)
    sentence = (
        f'the header on line {line} has its columns in another order than before: "{titles[after[first]]}" stands '
        f'where "{titles[before[first]]}" was'
    )
    mend = (
        'restore the order, or set column_order = "any" for this export in site.toml; '
        "lines that came before in the other order then count as new lines"
    )
    return FileProblem("columns_moved", sentence, mend)


def _in_its_place(
    name: str, header: Sequence[str], free: Sequence[str], earlier: Sequence[str] | None
) -> str | None:
    """The unmapped header that stands where a missing one stood in a header of the same width."""
    if earlier is None or len(earlier) != len(header):
        return None
    at = find_column(earlier, name)
    there = None if at is None else header[at].strip()
    return there if there in free else None


def _changed_columns(
    header: Sequence[str], line: int, wanted: Sequence[str], earlier: Sequence[str] | None
) -> FileProblem | None:
    keys = [header_key(name) for name in header]
    by_key = {header_key(name): name for name in wanted}
    missing = [name for key, name in by_key.items() if key not in keys]
    doubled = [name for key, name in by_key.items() if keys.count(key) > 1]
    if not missing and not doubled:
        return None
    free = [name.strip() for name, key in zip(header, keys, strict=True) if key and key not in by_key]
    parts = []
    for name in missing:
        near, there = nearest_header(name, free), _in_its_place(name, header, free, earlier)
        if there is not None and near is None:
            hint = f'"{there}" stands in its place'
        else:
            hint = f'the nearest header is "{near}"' if near else "no header looks like it"
        parts.append(f'no column "{name}" ({hint})')
    for name in doubled:
        places = [str(at) for at, key in enumerate(keys, 1) if key == header_key(name)]
        parts.append(f'the column "{name}" {len(places)} times (columns {" and ".join(places)})')
    sentence = f"the header on line {line} has {', and '.join(parts)}"
    mend = (
        "name the columns as they are now under [export.columns] in site.toml, the older names as other_names, "
        "or restore the old header"
    )
    return FileProblem("columns_changed", sentence, mend)
