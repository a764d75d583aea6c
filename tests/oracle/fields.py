"""Cells to values in our units: mS/cm, mL, °C, ISO dates. Exact decimals, rounded half up once."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

from tests.oracle import more_kinds
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
        "poured_with",
        "poured_ec",
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
        "valid_from",
        "parent",
        "event",
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
        "stage",
        "found_4",
        "found_7",
        "found_10",
        "left_4",
        "left_7",
        "left_10",
        "mv_4",
        "mv_7",
        "mv_10",
        "temperature",
        "ec_left",
        "solution",
        "solution_expires",
        "note",
    ],
    **more_kinds.FIELDS,
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
    "poured_ec": (4, 5),
    "leachate": (2, 6),
    "temperature": (2, 3),
    "drain": (1, 5),
    "slope": (2, 4),
    "offset": (1, 5),
    **more_kinds.SCALES,
    "n_pots": (0, 10),
    "plants": (0, 19),
}
WORDS: dict[str, tuple[str, ...]] = {
    "purpose": ("routine", "affected", "healthy", "before_feed", "after_feed", "retest"),
    "condition": ("healthy", "affected"),
    "poured_with": ("distilled", "deionised", "rain", "tap", "other"),
    "container": MEASURED_CLASSES,
    "start_kind": ("sown", "stuck", "potted", "transplanted"),
    "feed_mode": ("constant", "periodic", "controlled_release"),
    "method": ("pour-through", "1:2 dilution", "saturated media extract"),
    "passed": ("yes", "no", "true", "false"),
    **more_kinds.WORDS,
}
WEEK_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
FL_OZ_ML = Fraction("29.5735295625")

# Blanks that stand between thousands and before units: plain, no-break, thin, narrow no-break.
BLANKS = " \u00a0\u2009\u202f"
THOUSANDS = {"": "", ".": ".", ",": ",", "'": "'’", " ": BLANKS}
PARTS = {
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "⅓": "1/3",
    "⅔": "2/3",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
}
WITH_FRACTIONS = ("poured", "leachate", "drain")
# Whole numbers, and from where to where.
COUNTS = {"n_pots": (1, 99_999), "plants": (0, 2**63 - 1)}
# The one unit of fields that have no choice of units, as it may be typed behind a figure.
OWN_UNITS = {
    "drain": "min",
    "slope": "%",
    "offset": "mv",
    "mv_4": "mv",
    "mv_7": "mv",
    "mv_10": "mv",
    "nitrogen": "ppm",
}
QUANTITIES = {
    "ec": "ec",
    "ec_sd": "ec",
    "ec_standard": "ec",
    "ec_found": "ec",
    "poured": "volume",
    "poured_ec": "ec",
    "leachate": "volume",
    "temperature": "temperature",
    "ec_left": "ec",
    "target_ec": "ec",
    "alkalinity": "alkalinity",
}
# Units as they may be typed behind a figure, without case and with u for micro.
TYPED: dict[str, dict[str, str]] = {
    "ec": {
        "ms": "mS/cm",
        "ms/cm": "mS/cm",
        "us": "µS/cm",
        "us/cm": "µS/cm",
        "ds/m": "dS/m",
        "mmho": "mmho/cm",
        "mmho/cm": "mmho/cm",
        "s/m": "S/m",
        "ms/m": "mS/m",
        "us/m": "µS/m",
        "ppm 500": "ppm 500",
        "ppm 640": "ppm 640",
        "ppm 700": "ppm 700",
    },
    "volume": {
        "ml": "mL",
        "cc": "cc",
        "cl": "cL",
        "dl": "dL",
        "l": "L",
        "fl oz": "fl oz",
        "fl. oz": "fl oz",
        "fl.oz": "fl oz",
        "floz": "fl oz",
    },
    "temperature": {"°c": "°C", "c": "°C", "°f": "°F", "f": "°F"},
    "alkalinity": {
        "mg/l caco3": "mg/L CaCO3",
        "ppm caco3": "ppm CaCO3",
        "meq/l": "meq/L",
        "meq": "meq/L",
    },
}
# Units whose figures are converted; in the others the digits stay what they are.
CONVERTED = ("µS/cm", "μS/cm", "uS/cm", "ppm 500", "ppm 640", "ppm 700", "fl oz", "°F", "meq/L")
# Parts of the metre and the litre, by case-folded name: how many of our unit one of them is.
METRIC = {
    "s/m": Fraction(1000, 100),
    "ms/m": Fraction(1, 100),
    "us/m": Fraction(1, 1000 * 100),
    "cl": Fraction(1000, 100),
    "dl": Fraction(1000, 10),
    "l": Fraction(1000),
}


@dataclass(frozen=True)
class Typed:
    """The values of one record, or the first thing in it that cannot be used."""

    values: dict[str, Value]
    problem: str | None
    # Fields whose cells cannot be used, or are blank and must not be.
    faulty: frozenset[str] = frozenset()

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


def parse_number(cell: str, decimal: str, thousands: str = "") -> Fraction | None:
    """Optional sign, digits, at most one decimal mark of the export, thousands in strict groups of three.

    No exponent; a group of thousands never begins with 0.
    """
    sign = -1 if cell.startswith("-") else 1
    whole, mark, decimals = cell[1 if cell[:1] in ("+", "-") else 0 :].partition(decimal)
    if mark and not is_digits(decimals):
        return None
    groups = [whole]
    for variant in THOUSANDS[thousands]:
        groups = [part for group in groups for part in group.split(variant)]
    if len(groups) > 1:
        good = all(is_digits(group) and len(group) == 3 for group in groups[1:])
        if not good or not is_digits(groups[0]) or len(groups[0]) > 3 or groups[0].startswith("0"):
            return None
    elif not is_digits(whole) and not (whole == "" and mark):
        return None
    digits = "".join(groups) + decimals
    return sign * Fraction(int(digits), 10 ** len(decimals))


def is_digits(text: str) -> bool:
    return text.isascii() and text.isdigit()


def parse_fraction(cell: str) -> Fraction | None:
    """``1/2``, ``1 1/2``, ``½``, ``2½``: a proper fraction in halves, quarters, eighths or sixteenths, or thirds."""
    cell = cell.replace("⁄", "/")
    for blank in BLANKS:
        cell = cell.replace(blank, " ")
    if cell and cell[-1] in PARTS:
        whole = cell[:-1].removesuffix(" ")
        return Fraction(whole or 0) + Fraction(PARTS[cell[-1]]) if whole == "" or is_digits(whole) else None
    whole, _, part = cell.rpartition(" ")
    above, slash, below = part.partition("/")
    if not slash or not is_digits(above) or not is_digits(below) or (whole and not is_digits(whole)):
        return None
    if int(below) not in (2, 3, 4, 8, 16) or not 0 < int(above) < int(below):
        return None
    return int(whole or 0) + Fraction(int(above), int(below))


def part_unit(cell: str) -> tuple[str, str]:
    """What is written as a figure, and what stands behind it."""
    figure = set("0123456789.,/⁄'’" + BLANKS + "".join(PARTS))
    end = 1 if cell[:1] in ("+", "-") else 0
    while end < len(cell) and cell[end] in figure:
        end += 1
    while end > 0 and not (is_digits(cell[end - 1]) or cell[end - 1] in PARTS):
        end -= 1
    return cell[:end], cell[end:].strip(BLANKS)


def typed_unit(name: str, typed: str, unit: str | None) -> str | None:
    """The unit that somebody typed behind a figure; None where it is not one of this column."""
    key = " ".join(typed.split()).casefold().replace("μ", "u").replace("µ", "u").replace("º", "°")
    key = key.removesuffix(".")
    if name in OWN_UNITS:
        return "" if key == OWN_UNITS[name] else None
    if key == "ppm" and unit is not None and unit.casefold().startswith("ppm "):
        return unit
    if key == "oz" and unit == "fl oz":
        return unit
    return TYPED.get(QUANTITIES.get(name, ""), {}).get(key)


def to_our_unit(value: Fraction, unit: str | None) -> Fraction:
    """mS/cm from dS/m, mmho/cm, µS/cm and the ppm scales; mL from US fluid ounces; °C from °F; mg/L CaCO3."""
    if metric_key(unit) in METRIC:
        return value * METRIC[metric_key(unit)]
    if unit == "meq/L":
        return value * Fraction("50.04")
    if unit == "ppm CaCO3":
        return value
    if unit in ("µS/cm", "μS/cm", "uS/cm"):
        return value / 1000
    if unit is not None and unit.startswith("ppm "):
        return value / int(unit.removeprefix("ppm "))
    if unit == "fl oz":
        return value * FL_OZ_ML
    if unit == "°F":
        return (value - 32) / Fraction("1.8")
    return value


def metric_key(unit: str | None) -> str:
    return (unit or "").casefold().replace("µ", "u").replace("μ", "u")


# Volumes, times, spreads and concentrations; a pH or an EC below 0 is held for that.
NEVER_BELOW_0 = {
    *("ph_sd", "ec_sd", "poured", "poured_ec", "leachate", "drain", "target_ec", "alkalinity", "nitrogen")
}


def read_number(name: str, cell: str, unit: str | None, export: Export) -> Fraction | None:
    """A number in our unit, or None: not a number, too large for its column, or with more decimals than are
    kept.
    """
    if len(cell) > 40:
        return None
    cell = without_marks(cell, export.number_marks)
    if name in COUNTS:
        return read_count(name, cell, export)
    written, typed = part_unit(cell)
    if typed:
        unit = typed_unit(name, typed, unit)
        if unit is None:
            return None
    value = parse_number(written, export.decimal, export.thousands)
    if value is None and name in WITH_FRACTIONS:
        value = parse_fraction(written)
    if value is None:
        return None
    decimals, digits = SCALES[name]
    converted = to_our_unit(value, unit)
    kept = round_half_up(converted, decimals)
    lost = kept != converted and unit not in CONVERTED and metric_key(unit) not in METRIC
    is_below = value < 0 and name in NEVER_BELOW_0
    return None if lost or is_below or abs(kept) >= 10**digits else kept


def without_marks(cell: str, marks: tuple[str, ...]) -> str:
    """The cell without the marks that the export lets stand behind a number."""
    while True:
        mark = next((one for one in marks if cell.endswith(one) and cell != one), None)
        if mark is None:
            return cell
        cell = cell[: -len(mark)].rstrip()


def read_count(name: str, cell: str, export: Export) -> Fraction | None:
    """A whole number; one with three zeros behind the decimal mark may mean thousands and is not taken."""
    value = parse_number(cell, export.decimal, export.thousands)
    if value is None or value.denominator != 1 or cell.endswith(export.decimal + "000"):
        return None
    least, most = COUNTS[name]
    return value if least <= value <= most else None


def read_date(cell: str, pattern: str, zone: str = "UTC") -> datetime | None:
    """The local moment; one with an offset is turned into the site's local time."""
    try:
        moment = datetime.strptime(cell, pattern)
        # Numbers without a mark between them are taken with all their digits only.
        if re.search("%[A-Za-z]%[A-Za-z]", pattern.replace("%z", "")) and moment.strftime(pattern) != cell:
            return None
        return moment if moment.tzinfo is None else moment.astimezone(ZoneInfo(zone)).replace(tzinfo=None)
    except (ValueError, OverflowError):
        return None


def read_week(year: str, week: str, export: Export) -> date | None:
    """The day that stands for a week: the export's week day in that week of its rule.

    The week may name its year, before or behind itself. Without a word for week, year and number are one only where
    no month has that number.
    """
    bare_pair = re.fullmatch(r"[0-9]{4}[ /-]([0-9]{1,2})|([0-9]{1,2})[ /-][0-9]{4}", week)
    if (bare_pair and int(bare_pair[1] or bare_pair[2]) <= 12) or re.match(r"[. -]", week):
        return None
    named = re.fullmatch(r"([0-9]{4})(?:[ /-]|(?=[A-Za-z]))((?:[A-Za-z]|[0-9]).*)", week)
    behind = re.fullmatch(r"(.*?[0-9]{1,2})[ /-]([0-9]{4})", week)
    if named:
        own, week = named[1], named[2]
    elif behind:
        week, own = behind[1], behind[2]
    else:
        own = ""
    bare = re.fullmatch(r"(?i)(?:w|wk|kw|week|sem|semana)?[. -]?\s*([0-9]{1,2})", week)
    if not bare or (own and year not in ("", own)) or not re.fullmatch(r"[0-9]{4}", own or year):
        return None
    number, in_year = int(bare[1]), int(own or year)
    if not 1 < in_year < 9999:
        return None
    stands = WEEK_DAYS.index(fold(export.week_day))
    for day in days_of_week(number, in_year, export):
        if day.weekday() == stands:
            if export.week_rule == "january_1":
                return min(max(day, date(in_year, 1, 1)), date(in_year, 12, 31))
            return day
    return None


def days_of_week(number: int, year: int, export: Export) -> list[date]:
    """The seven days of a week, by going through the year; nothing where the year has no such week."""
    starts = 0 if export.week_rule == "iso" else WEEK_DAYS.index(fold(export.week_starts))
    day = date(year, 1, 1) - timedelta(days=6)
    count = 0
    while day <= date(year, 12, 31):
        if day.weekday() == starts:
            week = [day + timedelta(days=after) for after in range(7)]
            # The middle of an ISO week, the last day or the first day must lie in the year.
            decides = {"iso": week[3], "january_1": week[6], "first_full_week": week[0]}[export.week_rule]
            first_of_year = decides.year == year or (export.week_rule == "january_1" and count > 0)
            count += 1 if first_of_year else 0
            if first_of_year and count == number:
                return week
        day += timedelta(days=1)
    return []


def read_word(name: str, cell: str, export: Export) -> str | None:
    """Our word for a cell: by the export's own list, or the word itself. None: not a word we know."""
    mapped = export.values.get(name, {}).get(fold(cell))
    if mapped is not None:
        return mapped
    if name not in WORDS:
        return cell
    return {plain_word(word): word for word in WORDS[name]}.get(plain_word(cell))


def plain_word(text: str) -> str:
    """Words compare without regard to case, blanks, hyphens and underscores."""
    return fold(" ".join(text.replace("_", " ").replace("-", " ").split()))


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
    faulty: set[str] = set()
    for name in FIELDS[export.kind]:
        cell = cells.get(name, "")
        if cell == "":
            continue
        if name in SCALES:
            values[name] = read_number(name, cell, export.columns[name][1], export)
            if name == "ph" and values[name] == 0 and cell.startswith("-"):
                values[name] = None
            if values[name] is None:
                problems.append("number_unreadable")
        elif name in ("date", "started", "ends", *more_kinds.DAYS):
            moment = read_date(cell, export.date_format)
            values[name] = moment.date() if moment else None
            if moment is None:
                problems.append("date_unreadable")
        elif name == "datetime":
            moment = read_date(cell, export.datetime_format or "%Y-%m-%d %H:%M", site.time_zone)
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
        if values.get("date" if name in ("datetime", "week") else name) is None:
            faulty.add(name)
    if days_disagree(cells, export, site):
        order = [one for one in problems if one in ("date_unreadable", "week_unreadable")]
        problems.insert(len(order) if problems[: len(order)] == order else 0, "days_disagree")
        faulty.add("date")
    if export.extra_columns == "note":
        values["note"] = with_extras(record, header, export, cells.get("note", ""))
    if any(cells.get(name, "") == "" for name in required(export.kind, cells)):
        problems.insert(0, "missing")
        faulty |= {name for name in required(export.kind, cells) if cells.get(name, "") == ""}
    if export.kind == "readings":
        if not cells.get("ph") and not cells.get("ec"):
            problems.append("nothing_measured")
            faulty |= {"ph", "ec"}
        values.setdefault("purpose", "routine")
        values.setdefault("n_pots", Fraction(1))
        values.setdefault("method", site.extraction_method)
    first, last = values.get("from"), values.get("until")
    other = more_kinds.other_problem(
        export.kind,
        cells,
        first if isinstance(first, date) else None,
        last if isinstance(last, date) else None,
    )
    if other is not None:
        problems.append(other)
        faulty |= {"until"} if other == "until_before_from" else {"ph", "ec", "alkalinity", "nitrogen"}
    return Typed(values, problems[0] if problems else None, frozenset(faulty))


def days_disagree(cells: dict[str, str], export: Export, site: SiteSettings) -> bool:
    """Whether a line's date, time stamp, time and week contradict each other; what cannot be read says nothing."""
    stamp = date_of = at = None
    if cells.get("datetime"):
        stamp = read_date(cells["datetime"], export.datetime_format or "%Y-%m-%d %H:%M", site.time_zone)
    if cells.get("date"):
        date_of = read_date(cells["date"], export.date_format)
    if cells.get("time"):
        at = read_date(cells["time"], export.time_format or "%H:%M")
    if stamp and date_of and stamp.date() != date_of.date():
        return True
    if stamp and at and (stamp.hour, stamp.minute) != (at.hour, at.minute):
        return True
    day = date_of or stamp
    if day is None or not cells.get("week"):
        return False
    week = [
        read_week(cells.get("year", ""), cells["week"], replace(export, week_day=one)) for one in WEEK_DAYS
    ]
    return all(week) and day.date() not in week


def with_extras(record: Record, header: tuple[str, ...], export: Export, note: str) -> str | None:
    """The note and behind it what stands in columns that the export does not name."""
    mapped = {fold(" ".join(column.split())) for column, _ in export.columns.values()}
    parts = [note] if note else []
    for place, (name, cell) in enumerate(zip(header, record.cells, strict=True), start=1):
        plain = " ".join(name.split())
        if fold(plain) not in mapped and cell.strip():
            parts.append(f"{plain or f'column {place}'}: {cell.strip()}")
    return "; ".join(parts) or None


def required(kind: str, cells: dict[str, str]) -> list[str]:
    """Fields that must be filled: a reading needs a lot or a house, and a day in one of its three forms."""
    if kind == "lots":
        return ["lot", "crop", "container", "started"]
    day = next((name for name in ("date", "datetime", "week") if cells.get(name)), "date")
    if kind == "calibrations":
        return ["meter", day]
    if kind != "readings":
        return more_kinds.required(kind, cells, day)
    return ["lot" if cells.get("lot") or not cells.get("house") else "house", day]
