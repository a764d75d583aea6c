"""The words of the trade in five languages, as the tables beside this file hold them."""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from pipeline.errors import AssetMissing
from pipeline.settings.words import FIELDS, KINDS

_FOLDER = Path(__file__).parent
_CAMEL = re.compile(r"(?<=[a-zà-ÿ][a-zà-ÿ])(?=[A-ZÀ-Þ][a-zà-ÿ])")
_LETTER_DIGIT = re.compile(r"(?<=[^\W\d_])(?=\d)")
OTHER = "other"
"""The field of words that say that a figure is about something else: feed, tap water, a target, the air."""


@dataclass(frozen=True, slots=True)
class HeaderWord:
    """One way in which a header names a field."""

    field: str
    language: str
    words: tuple[str, ...]


def fold(text: str) -> str:
    """A text as words compare: no case, no accents, no signs, one blank between words.

    ``SampleDate``, ``sample_date`` and ``Sample Date`` are the same, ``EC25`` is ``ec 25``.
    """
    text = text.replace("µ", "u").replace("μ", "u").replace("œ", "oe").replace("Œ", "oe")
    text = _LETTER_DIGIT.sub(" ", _CAMEL.sub(" ", text))
    plain = "".join(
        letter for letter in unicodedata.normalize("NFKD", text) if not unicodedata.combining(letter)
    )
    return " ".join("".join(letter if letter.isalnum() else " " for letter in plain.casefold()).split())


def cell_key(text: str) -> str:
    """A cell as it is looked up: like `fold`, but digits and the signs of sizes stay where they are."""
    plain = "".join(
        letter
        for letter in unicodedata.normalize("NFKD", text.replace("œ", "oe"))
        if not unicodedata.combining(letter)
    )
    return " ".join(re.sub(r"[_\-\u2010-\u2015]", " ", plain.casefold()).replace(".", "").split())


@lru_cache(maxsize=1)
def header_words() -> Mapping[str, tuple[HeaderWord, ...]]:
    """For each kind of file the words of its fields."""
    found: dict[str, list[HeaderWord]] = {kind: [] for kind in KINDS}
    for row in _read("headers.csv"):
        kinds = KINDS if row["kind"] == "*" else (row["kind"],)
        for kind in kinds:
            if row["field"] != OTHER and row["field"] not in FIELDS[kind].known:
                continue
            found[kind] += [
                HeaderWord(row["field"], row["language"], tuple(fold(word).split()))
                for word in _words(row["headers"])
            ]
    return {kind: tuple(words) for kind, words in found.items()}


@lru_cache(maxsize=1)
def known_phrases() -> frozenset[str]:
    """Every header of every kind, folded: what tells a header from a title."""
    return frozenset(" ".join(word.words) for words in header_words().values() for word in words)


@lru_cache(maxsize=1)
def cell_words() -> Mapping[str, Mapping[str, str]]:
    """For each field the cells that are known, by `cell_key`, with our word for each."""
    found: dict[str, dict[str, str]] = {}
    for row in _read("cell_words.csv"):
        table = found.setdefault(row["field"], {})
        for cell in _words(row["cells"]):
            table.setdefault(cell_key(cell), row["word"])
    return found


@lru_cache(maxsize=1)
def crop_words() -> Mapping[str, str]:
    """Names of crops in other languages and habits, by `cell_key`, with the name of the published tables."""
    return {cell_key(name): row["crop"] for row in _read("crop_words.csv") for name in _words(row["names"])}


@lru_cache(maxsize=1)
def unit_words() -> Mapping[str, tuple[str, str]]:
    """Spellings of units, by `unit_key`, with quantity and unit; ``none`` stands for units without conversion."""
    found: dict[str, tuple[str, str]] = {}
    for row in _read("unit_words.csv"):
        for spelling in _words(row["spellings"]):
            key = unit_key(spelling)
            found.setdefault(key, (row["quantity"], row["unit"] or key))
    return found


def unit_key(text: str) -> str:
    """A unit as it is looked up: no case, no blanks, one letter for micro and one sign for degrees."""
    text = (
        text.replace("μ", "u")
        .replace("µ", "u")
        .replace("º", "°")
        .replace("³", "3")
        .replace("₃", "3")
        .replace("²", "")
    )
    return "".join(text.split()).casefold().rstrip(".")


def _words(cell: str) -> Iterator[str]:
    return (word.strip() for word in cell.split(";") if word.strip())


def _read(name: str) -> list[dict[str, str]]:
    try:
        with (_FOLDER / name).open(encoding="utf-8", newline="") as stream:
            return list(csv.DictReader(stream))
    except OSError as error:
        raise AssetMissing(
            f"{_FOLDER / name}: cannot be read ({error.strerror}); install leachbook again."
        ) from error
