"""The settings files as Pydantic models: what may stand in leachbook.toml and in a site's site.toml."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, Field, StrictBool, model_validator
from pydantic_core import PydanticCustomError

from pipeline.languages import known_languages
from pipeline.settings.addresses import Email
from pipeline.settings.benches import Bench, Feeding
from pipeline.settings.fields import Day, Frozen, Name, Text, Whole
from pipeline.settings.mail import Mail
from pipeline.settings.policy import PolicyPeriod
from pipeline.settings.schedule import Schedule
from pipeline.settings.words import ExtractionMethod, Kind, WeekDay

Paper = Literal["a4", "letter"]
Encoding = Literal["utf-8", "utf-8-sig", "utf-16", "cp1252", "latin-1"]

# A day whose parts cannot be taken for each other, to see whether a format can be read back; in a zone, so
# that a format with an offset can write one.
_SAMPLE = datetime(2026, 11, 25, 14, 35, tzinfo=UTC)
_SHOWN_DIRECTIVES = frozenset("YymdbBaAjeuVG%")


def _refuse(right: str) -> PydanticCustomError:
    return PydanticCustomError("right", "{right}", {"right": right})


def _check_time_zone(text: str) -> str:
    try:
        ZoneInfo(text)
    except (KeyError, ValueError, OSError):
        raise _refuse('a time zone of the IANA list, like "Europe/Madrid" or "America/Chicago"') from None
    return text


def _reads_back(*parts: str) -> Callable[[str], str]:
    """Check that a format writes these parts of a moment and that strptime finds them again."""

    def check(text: str) -> str:
        try:
            again = datetime.strptime(_SAMPLE.strftime(text), text)
        except (ValueError, re.error):
            again = None
        if again is None or any(getattr(again, part) != getattr(_SAMPLE, part) for part in parts):
            raise _refuse(f"a format from which {', '.join(parts)} can be read, like {_EXAMPLES[parts]}")
        return text

    return check


def _check_language(text: str) -> str:
    if text not in known_languages():
        # as pydantic says it of fixed words
        known = " or ".join(repr(language) for language in known_languages())
        raise PydanticCustomError("literal_error", "Input should be {expected}", {"expected": known})
    return text


Language = Annotated[str, AfterValidator(_check_language)]
"""A language that has a catalog in report_templates/languages, or English."""

_DAY_PARTS = ("year", "month", "day")
_TIME_PARTS = ("hour", "minute")
_EXAMPLES = {
    _DAY_PARTS: '"%d.%m.%Y"',
    _TIME_PARTS: '"%H:%M"',
    _DAY_PARTS + _TIME_PARTS: '"%Y-%m-%d %H:%M"',
}


def _check_shown_date(text: str) -> str:
    """A format in which reports print dates: known directives only, day and month among them."""
    directives = re.findall(r"%-?(.)", text)
    shows_day = "j" in directives or ({"d", "e"} & set(directives) and {"m", "b", "B"} & set(directives))
    if text.endswith("%") or not set(directives) <= _SHOWN_DIRECTIVES or not shows_day:
        raise _refuse('a format that shows day and month, like "%Y-%m-%d", "%d.%m.%Y" or "%a %d %b"')
    return text


def _check_hour(text: str) -> str:
    """A time of day as 08:00."""
    if not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", text):
        raise _refuse('a time of day with four digits, like "08:00"')
    return text


def _leave_a_day(closed: tuple[WeekDay, ...]) -> tuple[WeekDay, ...]:
    """Weekdays without sampling; not all seven."""
    if len(set(closed)) == 7:
        raise _refuse("at least one weekday on which sampling is possible, so six days at most,")
    return closed


def _check_pattern(text: str) -> str:
    """A glob below the site's folder; links are checked where the folder is at hand."""
    parts = PurePosixPath(text).parts
    if (
        not parts
        or "\\" in text
        or "\0" in text
        or ":" in parts[0]
        or text.startswith(("/", "~"))
        or ".." in parts
    ):
        raise _refuse('a pattern inside the site\'s folder, with forward slashes, like "drop/readings*.csv"')
    return text


TimeZone = Annotated[Text, AfterValidator(_check_time_zone)]
ShownDate = Annotated[Text, AfterValidator(_check_shown_date)]
Identifier = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]*$")]


class Person(Frozen):
    """Somebody who gets reports."""

    name: Name
    email: Email


class Group(Frozen):
    """leachbook.toml: the group of sites, and what holds for a site that says nothing else."""

    name: Name
    time_zone: TimeZone
    language: Language = "en"
    paper: Paper = "a4"
    date_format: ShownDate = "%Y-%m-%d"
    manager: Person | None = None
    schedule: Schedule = Schedule()
    mail: Mail = Mail()


class Grower(Person):
    """A head grower of a site; no houses means all of them."""

    id: Identifier
    houses: tuple[Text, ...] = ()


class Column(Frozen):
    """The header of a column as the export writes it, and the unit of its figures.

    `other_names`: headers that the column had or has in other files. `header_unit_is_wrong`: the header names
    another unit than the meter writes, and that is known.
    """

    column: Text
    unit: Text | None = None
    other_names: tuple[Text, ...] = ()
    header_unit_is_wrong: StrictBool = False

    @model_validator(mode="before")
    @classmethod
    def _take_plain_header(cls, value: object) -> object:
        """`ph = "pH"` is short for `ph = {column = "pH"}`."""
        return {"column": value} if isinstance(value, str) else value


class Export(Frozen):
    """One [[export]]: which files a site drops, in which dialect, and what their columns are."""

    kind: Kind
    files: Annotated[Text, AfterValidator(_check_pattern)]
    mode: Literal["increment", "cumulative"] = "increment"
    encoding: Encoding = "utf-8"
    delimiter: Literal[",", ";", "\t", "|"] = ","
    decimal: Literal[".", ","] = "."
    thousands: Literal["", ".", ",", "'", " "] = ""
    number_marks: tuple[Text, ...] = ()
    date_format: Annotated[Text, AfterValidator(_reads_back(*_DAY_PARTS))] = "%Y-%m-%d"
    time_format: Annotated[Text, AfterValidator(_reads_back(*_TIME_PARTS))] | None = None
    datetime_format: Annotated[Text, AfterValidator(_reads_back(*_DAY_PARTS, *_TIME_PARTS))] | None = None
    title_lines: Whole = Field(0, ge=0, le=100)
    units_row: StrictBool = False
    column_order: Literal["fixed", "any"] = "fixed"
    extra_columns: Literal["ignore", "note"] = "ignore"
    ec_compensated: StrictBool = True
    # None: where a file's numbers are distinct within lot, day and purpose, they tell its pots apart.
    numbers_pots: StrictBool | None = None
    week_rule: Literal["iso", "january_1", "first_full_week"] = "iso"
    week_starts: WeekDay = "monday"
    week_day: WeekDay = "wednesday"
    total_words: tuple[Text, ...] = ("total", "totals", "sum", "mean", "average")
    comment_prefix: str = "#"
    columns: dict[str, Column]
    values: dict[str, dict[str, Text]] = Field(default_factory=dict)


class SiteFacts(Frozen):
    """site.toml without its lists; time zone, language, paper and date format fall back on the group's."""

    id: Identifier
    name: Name
    time_zone: TimeZone
    language: Language = "en"
    paper: Paper = "a4"
    date_format: ShownDate = "%Y-%m-%d"
    length_unit: Literal["in", "cm"] = "cm"
    volume_unit: Literal["mL", "fl oz"] = "mL"
    temperature_unit: Literal["°C", "°F"] = "°C"
    extraction_method: ExtractionMethod | None = None
    first_night: Day | None = None
    settle_minutes: Whole = Field(0, ge=0, le=1440)
    holidays: tuple[Day, ...] = ()
    no_sampling: Annotated[tuple[WeekDay, ...], AfterValidator(_leave_a_day)] = ()
    calendar: Literal["lot", "house_day"] = "house_day"
    calendar_time: Annotated[Text, AfterValidator(_check_hour)] = "08:00"


class SiteSettings(SiteFacts):
    """A site: its facts, growers, exports and own policy, and the folder in which it drops its files."""

    folder: Path
    growers: tuple[Grower, ...] = ()
    exports: tuple[Export, ...] = ()
    policy: tuple[PolicyPeriod, ...] = ()
    benches: tuple[Bench, ...] = ()
    feedings: tuple[Feeding, ...] = ()


@dataclass(frozen=True, slots=True)
class Settings:
    """All that a home's settings say; `files` holds the files as they are, by their path below the home."""

    group: Group
    policy: tuple[PolicyPeriod, ...] = ()
    sites: tuple[SiteSettings, ...] = ()
    files: dict[str, bytes] = field(default_factory=dict)


__all__ = [
    "Bench",
    "Column",
    "Export",
    "Feeding",
    "Group",
    "Grower",
    "Mail",
    "Person",
    "Schedule",
    "Settings",
    "SiteFacts",
    "SiteSettings",
]
