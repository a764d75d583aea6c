"""Cells to values in our units: mS/cm, mL, °C, ISO dates. Exact decimals, rounded half up once."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, time
from fractions import Fraction

from tests.oracle.records import Record
from tests.oracle.settings import MEASURED_CLASSES, Export, SiteSettings, fold

Value = str | Fraction | date | time | bool | None

FIELDS: dict[str, list[str]] = {
    "readings": [
        "lot",
        "house",
        "bench",
        "position",
        "crop",
        "date",
        "datetime",
        "time",
        "year",
        "week",
        "purpose",
        "pot",
        "n_pots",
        "ph",
        "ph_sd",
        "ec",
        "ec_sd",
        "poured",
        "leachate",
        "temperature",
        "drain",
        "condition",
        "sampler",
        "meter",
        "method",
        "note",
    ],
    "lots": [
        "lot",
        "house",
        "bench",
        "crop",
        "cultivar",
        "container",
        "started",
        "start_kind",
        "ends",
        "plants",
        "grower",
        "substrate",
        "irrigation",
        "feed_mode",
        "note",
    ],
    "calibrations": [
        "meter",
        "date",
        "datetime",
        "time",
        "person",
        "slope",
        "offset",
        "buffers",
        "ec_standard",
        "ec_found",
        "passed",
        "note",
    ],
}

# Decimals and digits before the decimal mark that a column keeps.
SCALES: dict[str, tuple[int, int]] = {
    "ph": (3, 3),
    "ph_sd": (3, 3),
    "ec": (4, 5),
    "ec_sd": (4, 5),
    "ec_standard": (4, 5),
    "ec_found": (4, 5),
    "poured": (2, 6),
    "leachate": (2, 6),
    "temperature": (2, 3),
    "drain": (1, 5),
    "slope": (2, 4),
    "offset": (1, 5),
    "n_pots": (0, 9),
    "plants": (0, 18),
}
WORDS: dict[str, tuple[str, ...]] = {
    "purpose": ("routine", "affected", "healthy", "before_feed", "after_feed", "retest"),
    "condition": ("healthy", "affected"),
    "container": MEASURED_CLASSES,
    "start_kind": ("sown", "stuck", "potted", "transplanted"),
    "feed_mode": ("constant", "periodic", "controlled_release"),
    "method": ("pour-through", "1:2 dilution", "saturated media extract"),
    "passed": ("yes", "no", "true", "false"),
}
WEEK_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
FL_OZ_ML = Fraction("29.5735295625")


@dataclass(frozen=True)
class Typed:
    """The values of one record, or the first thing in it that cannot be used."""

    values: dict[str, Value]
    problem: str | None

    def text(self, name: str) -> str | None:
        value = self.values.get(name)
        return value if isinstance(value, str) else None

    def number(self, name: str) -> Fraction | None:
        value = self.values.get(name)
        return value if isinstance(value, Fraction) else None

    def day(self, name: str) -> date | None:
        value = self.values.get(name)
        return value if isinstance(value, date) else None


def round_half_up(value: Fraction, decimals: int) -> Fraction:
    """Rounds to so many decimals; a half goes away from zero."""
    scale = 10**decimals
    doubled = abs(value) * scale * 2 + 1
    whole = doubled.numerator // (doubled.denominator * 2)
    return Fraction(whole if value >= 0 else -whole, scale)


def parse_number(cell: str, decimal: str) -> Fraction | None:
    """Optional sign, digits, at most one decimal mark of the export. No exponent, no thousands marks."""
    if not re.fullmatch(r"[+-]?[0-9]+(" + re.escape(decimal) + r"[0-9]+)?", cell):
        return None
    return Fraction(cell.replace(decimal, "."))


def to_our_unit(value: Fraction, unit: str | None) -> Fraction:
    """mS/cm from dS/m, mmho/cm, µS/cm and the ppm scales; mL from US fluid ounces; °C from °F."""
    if unit in ("µS/cm", "μS/cm", "uS/cm"):
        return value / 1000
    if unit is not None and unit.startswith("ppm "):
        return value / int(unit.removeprefix("ppm "))
    if unit == "fl oz":
        return value * FL_OZ_ML
    if unit == "°F":
        return (value - 32) / Fraction("1.8")
    return value


def read_number(name: str, cell: str, unit: str | None, export: Export) -> Fraction | None:
    """A number in our unit, or None: not a number, too large for its column, or with more decimals than are
    kept.
    """
    value = parse_number(cell, export.decimal)
    if value is None:
        return None
    decimals, digits = SCALES[name]
    converted = to_our_unit(value, unit)
    kept = round_half_up(converted, decimals)
    lost = kept != converted and converted == value
    too_large = abs(kept) >= 10**digits
    return None if lost or too_large or (name == "n_pots" and kept < 1) else kept


def read_date(cell: str, pattern: str) -> datetime | None:
    try:
        return datetime.strptime(cell, pattern)
    except ValueError:
        return None


def read_week(year: str, week: str, export: Export) -> date | None:
    """The day that stands for a week: the export's week day in that ISO week."""
    if not (re.fullmatch(r"[0-9]{4}", year) and re.fullmatch(r"[0-9]{1,2}", week)):
        return None
    try:
        return date.fromisocalendar(int(year), int(week), WEEK_DAYS.index(fold(export.week_day)) + 1)
    except ValueError:
        return None


def read_word(name: str, cell: str, export: Export) -> str | None:
    """Our word for a cell: by the export's own list, or the word itself. None: not a word we know."""
    mapped = export.values.get(name, {}).get(fold(cell))
    if mapped is not None:
        return mapped
    if name not in WORDS:
        return cell
    return fold(cell) if fold(cell) in WORDS[name] else None


def translate(record: Record, header: tuple[str, ...], export: Export, site: SiteSettings) -> Typed:
    """One data record. A required cell that is blank gives the problem, else the first field, in the order of the
    kind's fields, that cannot be used.
    """
    position = {fold(name): index for index, name in enumerate(header)}
    cells = {
        name: record.cells[position[fold(column)]].strip() for name, (column, _) in export.columns.items()
    }
    values: dict[str, Value] = {}
    problems: list[str] = []
    for name in FIELDS[export.kind]:
        cell = cells.get(name, "")
        if cell == "":
            continue
        if name in SCALES:
            values[name] = read_number(name, cell, export.columns[name][1], export)
            if values[name] is None:
                problems.append("number_unreadable")
        elif name in ("date", "started", "ends"):
            moment = read_date(cell, export.date_format)
            values[name] = moment.date() if moment else None
            if moment is None:
                problems.append("date_unreadable")
        elif name == "datetime":
            moment = read_date(cell, export.datetime_format or "%Y-%m-%d %H:%M")
            values["date"] = moment.date() if moment else None
            values["time"] = moment.time() if moment else None
            if moment is None:
                problems.append("date_unreadable")
        elif name == "time":
            moment = read_date(cell, export.time_format or "%H:%M")
            values["time"] = moment.time() if moment else None
            if moment is None:
                problems.append("date_unreadable")
        elif name == "week":
            values["date"] = read_week(cells.get("year", ""), cell, export)
            if values["date"] is None:
                problems.append("week_unreadable")
        elif name == "year":
            continue
        else:
            values[name] = read_word(name, cell, export)
            if values[name] is None:
                problems.append("value_unknown")
    if any(cells.get(name, "") == "" for name in required(export.kind, cells)):
        problems.insert(0, "missing")
    if export.kind == "readings":
        if not cells.get("ph") and not cells.get("ec"):
            problems.append("nothing_measured")
        values.setdefault("purpose", "routine")
        values.setdefault("n_pots", Fraction(1))
        values.setdefault("method", site.extraction_method)
    return Typed(values, problems[0] if problems else None)


def required(kind: str, cells: dict[str, str]) -> list[str]:
    """Fields that must be filled: a reading needs a lot or a house, and a day in one of its three forms."""
    if kind == "lots":
        return ["lot", "crop", "container", "started"]
    day = next((name for name in ("date", "datetime", "week") if cells.get(name)), "date")
    if kind == "calibrations":
        return ["meter", day]
    return ["lot" if cells.get("lot") or not cells.get("house") else "house", day]
