"""Numbers, dates and fixed words as the pages print them, in the site's habit."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from functools import cache
from typing import Any

from pipeline.assets import templates_folder
from pipeline.languages import ENGLISH, Tongue, list_names, load_tongue, write_day

MINUS = "\u2212"


def format_number(value: float | None, decimals: int, mark: str = ".") -> str:
    """Write a number with fixed decimals, rounded half up as written, with a true minus sign; a dash for none."""
    if value is None:
        return "–"
    rounded = Decimal(repr(value)).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)
    text = f"{abs(rounded):f}".replace(".", mark)
    return f"{MINUS}{text}" if rounded < 0 else text


def format_signed(value: float | None, mark: str = ".") -> str:
    """Write a change with its sign and two decimals; one that rounds to nothing has none. A dash for none."""
    if value is None:
        return "–"
    text = f"{value:+z.2f}"
    return (text.removeprefix("+") if text == "+0.00" else text).replace(".", mark)


def format_count(value: int | None, mark: str = ".") -> str:
    """Write a count with a comma between thousands (1,200), a point where decimals have the comma; a dash for none."""
    if value is None:
        return "–"
    return f"{value:,}" if mark == "." else f"{value:,}".replace(",", ".")


@dataclass(frozen=True, slots=True)
class Phrases:
    """The fixed words of the pages in one language: those of report_templates/phrases/, or their translations."""

    tongue: Tongue
    texts: Mapping[str, str | list[str]]

    @property
    def language(self) -> str:
        """Code of the language."""
        return self.tongue.language

    @property
    def decimal_mark(self) -> str:
        """The language's decimal mark."""
        return self.tongue.decimal_mark

    def __call__(self, key: str, **values: Any) -> str:
        """Return the phrase with its values; `n` chooses between one and many. Raises KeyError for an unknown key."""
        text = self.texts[key]
        if isinstance(text, list):
            # one that is not translated has the two forms of English, whatever the language has
            text = text[min(self.tongue.choose(values["n"]), len(text) - 1)]
        return self.tongue.fill(text, values) if values else text

    def name(self, group: str, code: str) -> str:
        """Return the word for a code, or the code itself in plain letters where the group does not know it."""
        text = self.texts.get(f"{group}.{code}")
        return text if isinstance(text, str) else code.replace("_", " ")

    def ordinal(self, number: int) -> str:
        """Return 2nd, 3rd, 11th ..., or as the language writes it."""
        return write_ordinal(number, self.tongue)

    def text(self, message: str) -> str:
        """A text that stands in a table of ours, such as an option or the meaning of a policy's value."""
        return self.tongue.find(message)

    def day(self, day: date | None, pattern: str) -> str:
        """Write a date by a strftime pattern with the language's month and day names; a dash for none."""
        return "–" if day is None else write_day(day, pattern, self.tongue)

    def weekday(self, day: date) -> str:
        """Return the short name of the day of the week."""
        return list_names(self.tongue, "days.short")[day.weekday()]


def write_ordinal(number: int, tongue: Tongue) -> str:
    """2nd, 3rd, 11th ... in English; elsewhere the catalog's "{n}th" for all."""
    if tongue.language != ENGLISH:
        return tongue.fill(tongue.find("{n}th"), {"n": number})
    if number % 100 in (11, 12, 13):
        return f"{number}th"
    return f"{number}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th') }"


@dataclass(frozen=True, slots=True)
class Voice:
    """How one page speaks: its phrases and its way of writing dates."""

    say: Phrases
    date_format: str

    @property
    def language(self) -> str:
        """Code of the language."""
        return self.say.language

    def day(self, day: date | None) -> str:
        """Write a date as the site writes it."""
        return self.say.day(day, self.date_format)

    def weekday_and_day(self, day: date | None) -> str:
        """Write a date with the short day of the week before it, unless the site writes one itself."""
        if day is None or re.search("%[aA]", self.date_format):
            return self.day(day)
        return f"{self.say.weekday(day)} {self.day(day)}"

    def number(self, value: float | None, decimals: int) -> str:
        """Write a number with fixed decimals and the language's decimal mark; a dash for none."""
        return format_number(value, decimals, self.say.decimal_mark)

    def signed(self, value: float | None) -> str:
        """Write a change with its sign."""
        return format_signed(value, self.say.decimal_mark)

    def count(self, value: int | None) -> str:
        """Write a count with a mark between thousands."""
        return format_count(value, self.say.decimal_mark)


def read_phrases(part: str | None = None) -> dict[str, str | list[str]]:
    """The English phrases by key, as they stand in report_templates/phrases/. Raises AssetMissing."""
    name = "en.json" if part is None else f"{part}.en.json"
    phrases: dict[str, str | list[str]] = json.loads(templates_folder("phrases", name).read_text("utf-8"))
    return phrases


def context_of(key: str, part: str | None = None) -> str:
    """The context under which a catalog has a phrase: its key, with the part before it."""
    return key if part is None else f"{part}: {key}"


@cache
def load_phrases(language: str, part: str | None = None) -> Phrases:
    """Read the phrases of a language; a language that has no catalog gets the English ones, and its pages say so.

    `part` names a document with phrases of its own (`sheet`: the sampling sheet), in phrases/<part>.en.json.
    Raises AssetMissing when those are missing too.
    """
    tongue = load_tongue(language)
    english = read_phrases(part)
    if tongue.catalog is None:
        return Phrases(tongue, english)
    texts: dict[str, str | list[str]] = {}
    for key, text in english.items():
        message = tongue.catalog.get(text if isinstance(text, str) else text[0], context_of(key, part))
        texts[key] = text if message is None else _as_phrase(message.string) or text
    return Phrases(tongue, texts)


def _as_phrase(found: str | Sequence[str] | None) -> str | list[str]:
    """What a catalog has; nothing where a form is still empty."""
    if found is None or isinstance(found, str):
        return found or ""
    return list(found) if all(found) else ""


def writes_month_first(date_format: str) -> bool:
    """Tell whether a strftime pattern has the month before the day."""
    month = re.search(r"%-?[mbB]", date_format)
    day = re.search(r"%-?[de]", date_format)
    return bool(month and day and month.start() < day.start() and not date_format.startswith("%Y"))
