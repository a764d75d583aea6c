"""Numbers and dates as the pages print them, in the site's habit."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from functools import cache
from typing import Any

from pipeline.assets import templates_folder

MINUS = "\u2212"


def format_number(value: float | None, decimals: int) -> str:
    """Write a number with fixed decimals, rounded half up as written, with a true minus sign; a dash for none."""
    if value is None:
        return "–"
    rounded = Decimal(repr(value)).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)
    text = f"{abs(rounded):f}"
    return f"{MINUS}{text}" if rounded < 0 else text


def format_signed(value: float | None) -> str:
    """Write a change with its sign and two decimals; one that rounds to nothing has none. A dash for none."""
    if value is None:
        return "–"
    text = f"{value:+z.2f}"
    return text.removeprefix("+") if text == "+0.00" else text


def format_count(value: int | None) -> str:
    """Write a count with a comma between thousands (1,200); a dash for none."""
    return "–" if value is None else f"{value:,}"


@dataclass(frozen=True, slots=True)
class Phrases:
    """The fixed words of the pages in one language, from report_templates/phrases/."""

    language: str
    texts: Mapping[str, str | list[str]]

    def __call__(self, key: str, **values: Any) -> str:
        """Return the phrase with its values; `n` chooses between one and many. Raises KeyError for an unknown key."""
        text = self.texts[key]
        if isinstance(text, list):
            text = text[0] if values["n"] == 1 else text[1]
        return text.format(**values) if values else text

    def name(self, group: str, code: str) -> str:
        """Return the word for a code, or the code itself in plain letters where the group does not know it."""
        text = self.texts.get(f"{group}.{code}")
        return text if isinstance(text, str) else code.replace("_", " ")

    def ordinal(self, number: int) -> str:
        """Return 2nd, 3rd, 11th ..."""
        if number % 100 in (11, 12, 13):
            return f"{number}th"
        return f"{number}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th') }"

    def day(self, day: date | None, pattern: str) -> str:
        """Write a date by a strftime pattern with the language's month and day names; a dash for none."""
        if day is None:
            return "–"
        names = {
            "%a": self.texts["days.short"][day.weekday()],
            "%A": self.texts["days.long"][day.weekday()],
            "%b": self.texts["months.short"][day.month - 1],
            "%B": self.texts["months.long"][day.month - 1],
        }
        return day.strftime(
            re.sub(r"%[aAbB]", lambda match: names[match.group()].replace("%", "%%"), pattern)
        )

    def weekday(self, day: date) -> str:
        """Return the short name of the day of the week."""
        return self.texts["days.short"][day.weekday()]


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


@cache
def load_phrases(language: str, part: str | None = None) -> Phrases:
    """Read the phrases of a language; a language that has none yet gets the English ones, and its pages say so.

    `part` names a document with phrases of its own (`sheet`: the sampling sheet), in phrases/<part>.<language>.json.
    Raises AssetMissing when those are missing too.
    """
    before = "" if part is None else f"{part}."
    spoken = language if (templates_folder("phrases") / f"{before}{language}.json").is_file() else "en"
    return Phrases(
        spoken, json.loads(templates_folder("phrases", f"{before}{spoken}.json").read_text("utf-8"))
    )


def writes_month_first(date_format: str) -> bool:
    """Tell whether a strftime pattern has the month before the day."""
    month = re.search(r"%-?[mbB]", date_format)
    day = re.search(r"%-?[de]", date_format)
    return bool(month and day and month.start() < day.start() and not date_format.startswith("%Y"))
