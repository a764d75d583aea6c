"""The words of calendar events: short, plain, without a name of a person."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Final

from pipeline.languages import Tongue, load_tongue, write_day

Count = tuple[str, str]
"""One of a thing, and several of it."""

CONTEXT: Final = "calendar: "
MOST_LETTERS: Final = 60
"""Of a name in a heading; the description has it whole."""
MOST_BARE_HOUSE: Final = 3
"""A house called 2 or B is told as House 2, House B."""
_NO_LETTERS: Final = {"Cc", "Cs", "Zl", "Zp"}


ENGLISH: Final[Mapping[str, str]] = {
    "sample": "Sample",
    "house": "House",
    "no_house": "lots without a house",
    "bench": "bench {bench}",
    "heading": "{sample} {what}: {load}",
    "calendar": "{site}: sampling",
    "category": "Sampling",
    "cancelled": "Cancelled: {summary}",
    "minutes": "about {n} min",
    "some_overdue": "{lots} {overdue}",
    "up_to_overdue": "{lots} overdue up to {n} days",
    "due": "due {day}",
    "why.first": "first sampling",
    "since.first": ", the lot stands since {on}",
    "why.routine": "routine",
    "since.routine": ", last read {on}",
    "why.problem_crop": "routine of a crop to watch",
    "since.problem_crop": ", last read {on}",
    "why.after_out": "again after out of range",
    "since.after_out": " on {on}",
    "why.after_pair_out": "again after a pair out of range",
    "since.after_pair_out": " on {on}",
    "why.after_treatment": "again after a treatment",
    "since.after_treatment": " of {on}",
    "why.symptoms": "affected plants",
    "since.symptoms": ", noted {on}",
    "why.feed_pair": "pair around a feeding",
    "purposes.affected,healthy": "affected and healthy apart",
    "purposes.before_feed": "the day before the feeding",
    "purposes.after_feed": "the day of the feeding",
}
"""What events say, by a key that is the message's context in a catalog."""
COUNTS: Final[Mapping[str, Count]] = {
    "lots": ("{n} lot", "{n} lots"),
    "pots": ("{n} pot", "{n} pots"),
    "overdue": ("overdue {n} day", "overdue {n} days"),
}
"""The same of things that are counted: one, several."""
WHYS: Final = tuple(key.removeprefix("why.") for key in ENGLISH if key.startswith("why."))
PURPOSES: Final = tuple(key.removeprefix("purposes.") for key in ENGLISH if key.startswith("purposes."))
_PLAIN: Final = tuple(key for key in ENGLISH if "." not in key)


@dataclass(frozen=True, slots=True)
class Words:
    """The words of one language. `whys`: reasons of a sampling by the codes of dues, and how each tells its day."""

    tongue: Tongue
    sample: str
    house: str
    no_house: str
    bench: str
    heading: str
    calendar: str
    category: str
    cancelled: str
    minutes: str
    some_overdue: str
    up_to_overdue: str
    due: str
    whys: Mapping[str, tuple[str, str]]
    purposes: Mapping[str, str]

    def count(self, number: int, thing: str) -> str:
        """A number of things: lots, pots, days overdue."""
        one, several = COUNTS[thing]
        return self.tongue.find_many(one, several, number, f"{CONTEXT}{thing}").format(n=number)

    def place(self, house: str | None) -> str:
        """A house as people name it; empty where it is not known."""
        name = clean(house)
        return f"{self.house} {name}" if 0 < len(name) <= MOST_BARE_HOUSE and " " not in name else name

    def why(self, code: str, caused_on: date | None, pattern: str) -> str:
        """Why a sampling is asked for, with the day of what it follows."""
        text, since = self.whys.get(code, (code.replace("_", " "), ""))
        return text if caused_on is None else text + since.format(on=self.day(caused_on, pattern))

    def day(self, day: date | None, pattern: str) -> str:
        """A date by the site's strftime pattern, with the language's names of days and months."""
        return "" if day is None else write_day(day, pattern, self.tongue)


def clean(text: str | None) -> str:
    """One line of text as it may stand in a calendar: no control characters, blanks as single spaces."""
    kept = (" " if unicodedata.category(sign) in _NO_LETTERS else sign for sign in text or "")
    return " ".join("".join(kept).split())


def shorten(text: str, most: int = MOST_LETTERS) -> str:
    """Text for a heading, cut where it is too long for one."""
    return text if len(text) <= most else f"{text[: most - 1].rstrip()}…"


@cache
def load_words(language: str) -> Words:
    """The words of one language: English stands here, any other in its catalog."""
    tongue = load_tongue(language)

    def said(key: str) -> str:
        return tongue.find(ENGLISH[key], f"{CONTEXT}{key}")

    return Words(
        tongue=tongue,
        whys={
            code: (said(f"why.{code}"), said(f"since.{code}") if f"since.{code}" in ENGLISH else "")
            for code in WHYS
        },
        purposes={purposes: said(f"purposes.{purposes}") for purposes in PURPOSES},
        **{name: said(name) for name in _PLAIN},
    )
