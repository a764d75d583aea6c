"""The words of calendar events, in English and Spanish: short, plain, without a name of a person."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

Language = Literal["en", "es"]
Count = tuple[str, str]
"""One of a thing, and several of it."""

MOST_LETTERS: Final = 60
"""Of a name in a heading; the description has it whole."""
MOST_BARE_HOUSE: Final = 3
"""A house called 2 or B is told as House 2, House B."""
_NO_LETTERS: Final = {"Cc", "Cs", "Zl", "Zp"}


@dataclass(frozen=True, slots=True)
class Words:
    """The words of one language. `whys`: reasons of a sampling by the codes of dues, and how each tells its day."""

    sample: str
    house: str
    no_house: str
    bench: str
    heading: str
    calendar: str
    category: str
    cancelled: str
    lots: Count
    pots: Count
    minutes: str
    overdue: Count
    some_overdue: str
    up_to_overdue: str
    due: str
    whys: Mapping[str, tuple[str, str]]
    purposes: Mapping[str, str]
    days: tuple[str, ...]
    months: tuple[str, ...]

    def count(self, number: int, words: Count) -> str:
        """A number of things."""
        return (words[0] if number == 1 else words[1]).format(n=number)

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
        if day is None:
            return ""
        weekday, month = self.days[day.weekday()], self.months[day.month - 1]
        names = {"%a": weekday[:3], "%A": weekday, "%b": month[:3], "%B": month}
        return day.strftime(re.sub(r"%[aAbB]", lambda found: names[found.group()], pattern))


def clean(text: str | None) -> str:
    """One line of text as it may stand in a calendar: no control characters, blanks as single spaces."""
    kept = (" " if unicodedata.category(sign) in _NO_LETTERS else sign for sign in text or "")
    return " ".join("".join(kept).split())


def shorten(text: str, most: int = MOST_LETTERS) -> str:
    """Text for a heading, cut where it is too long for one."""
    return text if len(text) <= most else f"{text[: most - 1].rstrip()}…"


WORDS: Final[Mapping[Language, Words]] = {
    "en": Words(
        sample="Sample",
        house="House",
        no_house="lots without a house",
        bench="bench {bench}",
        heading="{sample} {what}: {load}",
        calendar="{site}: sampling",
        category="Sampling",
        cancelled="Cancelled: {summary}",
        lots=("{n} lot", "{n} lots"),
        pots=("{n} pot", "{n} pots"),
        minutes="about {n} min",
        overdue=("overdue {n} day", "overdue {n} days"),
        some_overdue="{lots} {overdue}",
        up_to_overdue="{lots} overdue up to {n} days",
        due="due {day}",
        whys={
            "first": ("first sampling", ", the lot stands since {on}"),
            "routine": ("routine", ", last read {on}"),
            "problem_crop": ("routine of a crop to watch", ", last read {on}"),
            "after_out": ("again after out of range", " on {on}"),
            "after_treatment": ("again after a treatment", " of {on}"),
            "symptoms": ("affected plants", ", noted {on}"),
            "feed_pair": ("pair around a feeding", ""),
        },
        purposes={
            "affected,healthy": "affected and healthy apart",
            "before_feed": "the day before the feeding",
            "after_feed": "the day of the feeding",
        },
        days=("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"),
        months=(
            "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
            "November", "December",
        ),
    ),
    "es": Words(
        sample="Muestrear",
        house="Invernadero",
        no_house="lotes sin invernadero",
        bench="mesa {bench}",
        heading="{sample} {what}: {load}",
        calendar="{site}: muestreo",
        category="Muestreo",
        cancelled="Anulado: {summary}",
        lots=("{n} lote", "{n} lotes"),
        pots=("{n} maceta", "{n} macetas"),
        minutes="unos {n} min",
        overdue=("{n} día de retraso", "{n} días de retraso"),
        some_overdue="{lots} con {overdue}",
        up_to_overdue="{lots} con hasta {n} días de retraso",
        due="para el {day}",
        whys={
            "first": ("primer muestreo", ", el lote está desde el {on}"),
            "routine": ("rutina", ", última lectura el {on}"),
            "problem_crop": ("rutina de un cultivo a vigilar", ", última lectura el {on}"),
            "after_out": ("de nuevo tras salir del rango", " el {on}"),
            "after_treatment": ("de nuevo tras un tratamiento", " del {on}"),
            "symptoms": ("plantas afectadas", ", vistas el {on}"),
            "feed_pair": ("par en torno a una fertilización", ""),
        },
        purposes={
            "affected,healthy": "afectadas y sanas por separado",
            "before_feed": "la víspera de la fertilización",
            "after_feed": "el día de la fertilización",
        },
        days=("lunes", "martes", "miércoles", "jueves", "viernes", "sábado", "domingo"),
        months=(
            "enero", "febrero", "marzo", "abril", "mayo", "junio", "julio", "agosto", "septiembre", "octubre",
            "noviembre", "diciembre",
        ),
    ),
}  # fmt: skip
