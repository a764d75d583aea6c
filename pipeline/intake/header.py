"""The header of an export: how its names compare, and what is wrong with it."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from difflib import SequenceMatcher

from pipeline.intake.decode import FileProblem

DELIMITER_NAMES = {",": 'a comma ","', ";": 'a semicolon ";"', "\t": "a tab", "|": 'a bar "|"'}
_LEAST_LIKENESS = 0.6


def header_key(name: str) -> str:
    """A header as it is compared: trimmed, inner white space as one blank, without regard to case."""
    return " ".join(name.split()).casefold()


def find_column(header: Sequence[str], name: str) -> int | None:
    """Position of a column in the header, or None."""
    key = header_key(name)
    return next((at for at, found in enumerate(header) if header_key(found) == key), None)


def count_known(header: Sequence[str], wanted: Sequence[str]) -> int:
    """How many of the wanted columns the header has."""
    have = {header_key(name) for name in header}
    return len({header_key(name) for name in wanted} & have)


def judge_header(
    header: Sequence[str], text: str, line: int, wanted: Sequence[str], delimiter: str
) -> FileProblem | None:
    """Say what keeps the file from being read by its header, or None.

    `text` is the header's record as it stands in the file, `line` its physical line.
    """
    if count_known(header, wanted) == 0:
        problem = _other_delimiter(text, line, wanted, delimiter)
        if problem:
            return problem
    return _changed_columns(header, line, wanted)


def nearest_header(name: str, candidates: Sequence[str]) -> str | None:
    """The candidate that looks most like the name, or None where nothing looks like it."""
    key = header_key(name)
    best, likeness = None, 0.0
    for candidate in candidates:
        other = header_key(candidate)
        score = SequenceMatcher(None, key, other).ratio()
        if _words(key) & _words(other):  # "pH" and "pH-Wert" share a word, however long the rest is
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


def _changed_columns(header: Sequence[str], line: int, wanted: Sequence[str]) -> FileProblem | None:
    keys = [header_key(name) for name in header]
    by_key = {header_key(name): name for name in wanted}
    missing = [name for key, name in by_key.items() if key not in keys]
    doubled = [name for key, name in by_key.items() if keys.count(key) > 1]
    if not missing and not doubled:
        return None
    free = [name.strip() for name, key in zip(header, keys, strict=True) if key and key not in by_key]
    parts = []
    for name in missing:
        near = nearest_header(name, free)
        hint = f'the nearest header is "{near}"' if near else "no header looks like it"
        parts.append(f'no column "{name}" ({hint})')
    for name in doubled:
        places = [str(at) for at, key in enumerate(keys, 1) if key == header_key(name)]
        parts.append(f'the column "{name}" {len(places)} times (columns {" and ".join(places)})')
    sentence = f"the header on line {line} has {', and '.join(parts)}"
    mend = "name the columns as they are now under [export.columns] in site.toml, or restore the old header"
    return FileProblem("columns_changed", sentence, mend)
