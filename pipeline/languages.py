"""What a page says in which language: English stands in the code and in report_templates/phrases/, every other
language in one gettext catalog, report_templates/languages/<language>.po.

A message is an English sentence with named places: `speech("{pots} pots on {day}", pots=5, day=...)`. Figures are
written by the places' own formats, with the language's decimal mark.
"""

from __future__ import annotations

import gettext
import re
import string
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cache
from typing import Any, Final

from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po

from pipeline.assets import templates_folder

ENGLISH: Final = "en"
DECIMAL_MARK: Final = "decimal mark"
"""Context of the one message that is no word: how the language writes the point in 5.8."""


class _Figures(string.Formatter):
    """Fills a message as str.format does, and writes figures with a language's decimal mark."""

    def __init__(self, mark: str) -> None:
        self.mark = mark

    def format_field(self, value: Any, format_spec: str) -> str:
        text = format(value, format_spec)
        return text.replace(".", self.mark) if isinstance(value, float | Decimal) else text


@dataclass(frozen=True, slots=True)
class Tongue:
    """One language. Without a catalog it is English, and a message that a catalog lacks stays English."""

    language: str
    catalog: Catalog | None
    choose: Callable[[int], int]
    figures: _Figures | None

    @property
    def decimal_mark(self) -> str:
        """What stands between 5 and 8 in 5.8."""
        return "." if self.figures is None else self.figures.mark

    def fill(self, text: str, values: Mapping[str, Any]) -> str:
        """A text with its places filled."""
        if self.figures is None:
            return text.format(**values)
        return self.figures.vformat(text, (), values)

    def find(self, message: str, context: str | None = None) -> str:
        """The message as this language has it, places unfilled."""
        found = self._look_up(message, context)
        return found.string if found is not None and isinstance(found.string, str) else message

    def find_many(self, one: str, other: str, number: int, context: str | None = None) -> str:
        """The form of a message that goes with a number, places unfilled."""
        found = self._look_up(one, context)
        if found is None or isinstance(found.string, str):
            return one if number == 1 else other
        return _forms(found)[self.choose(number)]

    def _look_up(self, message: str, context: str | None) -> Message | None:
        found = None if self.catalog is None else self.catalog.get(message, context)
        return found if found is not None and all(_forms(found)) else None


def _forms(message: Message) -> tuple[str, ...]:
    found = message.string or ""
    return (found,) if isinstance(found, str) else tuple(found)


def _choose_english(number: int) -> int:
    return 0 if number == 1 else 1


def known_languages() -> tuple[str, ...]:
    """Codes of the languages that pages can be in, English first."""
    return (ENGLISH, *sorted(path.stem for path in templates_folder("languages").glob("*.po")))


@cache
def load_tongue(language: str) -> Tongue:
    """Read a language's catalog; one that has none speaks English, and its pages say so."""
    path = templates_folder("languages") / f"{language}.po"
    if not path.is_file():
        return Tongue(ENGLISH, None, _choose_english, None)
    with path.open("rb") as file:
        catalog = read_po(file, locale=language)
    mark = catalog.get(".", DECIMAL_MARK)
    return Tongue(
        language,
        catalog,
        gettext.c2py(catalog.plural_expr),
        _Figures(str(mark.string) if mark is not None else "."),
    )


@dataclass(frozen=True, slots=True)
class Speech:
    """A language together with a way of writing dates (strftime; names of days and months in the language)."""

    tongue: Tongue
    date_format: str

    def __call__(self, message: str, /, **values: Any) -> str:
        """The message in this language, its places filled."""
        return self.tongue.fill(self.tongue.find(message), values)

    def many(self, one: str, other: str, number: int, /, **values: Any) -> str:
        """The message for one or for several; the number itself is the place {n}."""
        return self.tongue.fill(self.tongue.find_many(one, other, number), {"n": number, **values})

    def figure(self, value: float, spec: str) -> str:
        """A figure by a format like ".2f", with the language's decimal mark."""
        return format(value, spec).replace(".", self.tongue.decimal_mark)

    def day(self, day: date) -> str:
        """One date."""
        return write_day(day, self.date_format, self.tongue)

    def weekday(self, day: date) -> str:
        """The short name of a day of the week."""
        return list_names(self.tongue, "days.short")[day.weekday()]

    def weekday_and_day(self, day: date) -> str:
        """A date with the short day of the week before it."""
        return f"{self.weekday(day)} {self.day(day)}"


NAMES: Final[Mapping[str, str]] = {
    "days.short": "Mon Tue Wed Thu Fri Sat Sun",
    "days.long": "Monday Tuesday Wednesday Thursday Friday Saturday Sunday",
    "months.short": "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec",
    "months.long": "January February March April May June July August September October November December",
}
_PLACES: Final = {"%a": "days.short", "%A": "days.long", "%b": "months.short", "%B": "months.long"}


def list_names(tongue: Tongue, group: str) -> list[str]:
    """Names of days or months in order; a catalog has them in one message, with blanks between."""
    return tongue.find(NAMES[group], group).split(" ")


def write_day(day: date, pattern: str, tongue: Tongue) -> str:
    """A date by a strftime pattern with the language's names of days and months."""

    def name(match: re.Match[str]) -> str:
        group = _PLACES[match.group()]
        number = day.weekday() if group.startswith("days") else day.month - 1
        return list_names(tongue, group)[number].replace("%", "%%")

    return day.strftime(re.sub(r"%[aAbB]", name, pattern))


__all__ = [
    "DECIMAL_MARK",
    "ENGLISH",
    "NAMES",
    "Speech",
    "Tongue",
    "known_languages",
    "list_names",
    "load_tongue",
    "write_day",
]
