"""What one physical record of an export says, read again in plain Python from its own lines: no code of the product.

Stricter than the product on purpose: what is not understood here and is accepted there is reported as a difference.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from fractions import Fraction
from typing import Any

Value = str | Fraction | date | time | bool | None

# Decimals that a figure keeps.
DECIMALS = {
    "ph": 3, "ph_sd": 3, "ec": 4, "ec_sd": 4, "ec_standard": 4, "ec_found": 4, "poured": 2, "leachate": 2,
    "temperature": 2, "drain": 1, "slope": 2, "offset": 1, "n_pots": 0, "plants": 0, "ec_left": 4, "target_ec": 4,
    "poured_ec": 4, "alkalinity": 2, "nitrogen": 2,
    **{f"{when}_{buffer}": 3 for when in ("found", "left") for buffer in (4, 7, 10)},
    **{f"mv_{buffer}": 1 for buffer in (4, 7, 10)},
}  # fmt: skip
EC_FIELDS = ("ec", "ec_sd", "ec_standard", "ec_found", "ec_left", "target_ec", "poured_ec")
DAY_FIELDS = ("date", "started", "ends", "from", "until", "entered_on", "planted", "ships", "trained_on")
MORE_DAYS = ("valid_from", "solution_expires")
VOLUME_FIELDS = ("poured", "leachate")
FL_OZ = Fraction("29.5735295625")
SAME = (0, Fraction(1))
# unit as it may be typed: value inside = (value - first) * second
EC_UNITS = {
    **dict.fromkeys(("ms/cm", "ms", "ds/m", "ds", "mmho/cm", "mmho", "mmhos/cm", "mmhos"), (0, Fraction(1))),
    **dict.fromkeys(("us/cm", "us"), (0, Fraction(1, 1000))),
    "s/m": (0, Fraction(10)),
    "ms/m": (0, Fraction(1, 100)),
    "us/m": (0, Fraction(1, 100_000)),
    **{f"ppm{blank}{scale}": (0, Fraction(1, scale)) for scale in (500, 640, 700) for blank in ("", " ")},
}
VOLUME_UNITS = {
    **dict.fromkeys(("ml", "cc"), (0, Fraction(1))),
    "cl": (0, Fraction(10)),
    "dl": (0, Fraction(100)),
    "l": (0, Fraction(1000)),
    **dict.fromkeys(("fl oz", "floz", "fl. oz"), (0, FL_OZ)),
}
TEMPERATURE_UNITS = {
    **dict.fromkeys(("°c", "c"), (0, Fraction(1))),
    **dict.fromkeys(("°f", "f"), (32, Fraction(5, 9))),
}
ALKALINITY_UNITS = {
    **dict.fromkeys(("mg/l caco3", "ppm caco3"), (0, Fraction(1))),
    **dict.fromkeys(("meq/l", "meq"), (0, Fraction("50.04"))),
}
OWN_UNITS = {
    "drain": "min", "slope": "%", "offset": "mv", "mv_4": "mv", "mv_7": "mv", "mv_10": "mv", "nitrogen": "ppm",
}  # fmt: skip
GLYPHS = {
    "½": Fraction(1, 2),
    "¼": Fraction(1, 4),
    "¾": Fraction(3, 4),
    "⅓": Fraction(1, 3),
    "⅔": Fraction(2, 3),
}
WEEK_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
YES, NO = {"yes", "y", "true", "1", "ok", "pass", "passed"}, {"no", "n", "false", "0", "fail", "failed"}


class NotUnderstood(Exception):
    """A record or a cell that should not have been accepted, with the reason."""


@dataclass(frozen=True)
class Source:
    """A file as it was declared: its lines with their ends, and the raw [[export]] table of site.toml."""

    lines: list[str]
    export: Mapping[str, Any]
    site: Mapping[str, Any]


def count_lines(data: bytes, encoding: str) -> int:
    """Physical lines, counted on the bytes: LF, CRLF and a lone CR end one, a rest without an end is one.

    What should be utf-16 and has no mark is counted by its bytes without any zero, and the other way round where nearly
    all zeros come first.
    """
    is_marked = data[:2] in (b"\xfe\xff", b"\xff\xfe")
    wide = encoding == "utf-16" and (is_marked or 0 in data)
    if wide:
        first, second = data[::2], data[1::2]
        is_turned = not is_marked and 2 * first.count(0) >= len(first) and 20 * second.count(0) <= len(second)
        is_turned = is_turned and len(data) > 1 and not data.startswith(b"\xef\xbb\xbf")
        order = ">" if data.startswith(b"\xfe\xff") or is_turned else "<"
        body = data[2:] if data[:2] in (b"\xfe\xff", b"\xff\xfe") else data
        pairs = [body[at : at + 2] for at in range(0, len(body), 2)]
        lf, cr = (b"\0\n", b"\0\r") if order == ">" else (b"\n\0", b"\r\0")
        data = b"".join(b"\n" if pair == lf else b"\r" if pair == cr else b"x" for pair in pairs)
    else:
        data = data.removeprefix(b"\xef\xbb\xbf") if encoding.startswith("utf") else data
    ends = len(re.findall(rb"\r\n|\n|\r", data))
    return ends + (1 if data and data[-1:] not in (b"\n", b"\r") else 0)


def split(data: bytes, encoding: str) -> list[str]:
    """Physical lines of a file that its encoding reads. Raises UnicodeDecodeError."""
    if encoding == "utf-16" and data[:2] not in (b"\xfe\xff", b"\xff\xfe"):
        encoding = "utf-16-le"
    text = data.decode("utf-8-sig" if encoding == "utf-8" else encoding).removeprefix("\ufeff")
    return re.findall(r"[^\r\n]*(?:\r\n|\n|\r)|[^\r\n]+\Z", text)


def fold(text: str) -> str:
    return " ".join(text.replace("_", " ").replace("-", " ").split()).casefold()


def read_cells(source: Source, first: int, last: int) -> list[str]:
    """The cells of the record on these lines (from 1), by the csv module and nothing but these lines."""
    try:
        rows = list(
            csv.reader(
                source.lines[first - 1 : last], delimiter=source.export.get("delimiter", ","), strict=True
            )
        )
    except csv.Error as error:
        raise NotUnderstood(f"lines {first} to {last} are no strict CSV: {error}") from error
    if len(rows) != 1:
        raise NotUnderstood(f"lines {first} to {last} are {len(rows)} rows")
    return rows[0]


def read_record(source: Source, header: list[str], first: int, last: int) -> dict[str, Value]:
    """Every mapped field of a record by its name. Raises NotUnderstood where it should not have been accepted."""
    cells = read_cells(source, first, last)
    if len(cells) != len(header):
        raise NotUnderstood(f"{len(cells)} cells under {len(header)} headers")
    raw: dict[str, str] = {}
    for name, column in source.export["columns"].items():
        title = column if isinstance(column, str) else column["column"]
        places = [at for at, one in enumerate(header) if _same_header(one, title)]
        if len(places) != 1:
            raise NotUnderstood(f"the column {title!r} stands {len(places)} times in the header")
        raw[name] = cells[places[0]].strip()
    return {name: _value(source, name, cell, raw) for name, cell in raw.items() if name != "year"}


def _same_header(one: str, other: str) -> bool:
    return " ".join(one.split()).casefold() == " ".join(other.split()).casefold()


def _value(source: Source, name: str, cell: str, raw: Mapping[str, str]) -> Value:
    words: dict[str, str] = {
        fold(key): word for key, word in source.export.get("values", {}).get(name, {}).items()
    }
    cell = words.get(fold(cell), cell) if cell else cell
    if not cell:
        return None
    if name in DECIMALS:
        return read_figure(name, cell, source.export)
    if name in (*DAY_FIELDS, *MORE_DAYS):
        return _moment(cell, source.export.get("date_format", "%Y-%m-%d")).date()
    if name == "datetime":
        return _moment(cell, source.export["datetime_format"])
    if name == "time":
        return _moment(cell, source.export["time_format"]).time()
    if name == "week":
        return _week(cell, raw.get("year", ""), source.export)
    if name == "passed":
        if cell.casefold() not in YES | NO:
            raise NotUnderstood(f"{cell!r} is neither yes nor no")
        return cell.casefold() in YES
    if name == "grower":
        ids = {fold(one["name"]): one["id"] for one in source.site.get("grower", [])}
        return str(ids.get(fold(cell), cell))
    return cell


def _moment(cell: str, form: str) -> datetime:
    try:
        return datetime.strptime(cell, form)
    except ValueError as error:
        raise NotUnderstood(f"{cell!r} is not written as {form}") from error


def _week(cell: str, year: str, export: Mapping[str, Any]) -> date:
    found = re.fullmatch(
        r"(?:(\d{4})[ /-]?)?((?:w|wk|kw|week|sem|semana)[. -]?\s*)?(\d{1,2})", cell, re.IGNORECASE
    )
    is_month = found is not None and bool(found[1]) and not found[2] and int(found[3]) <= 12
    if found is None or is_month or not (found[1] or re.fullmatch(r"\d{4}", year)):
        raise NotUnderstood(f"{cell!r} of {year!r} is no week")
    day = WEEK_DAYS.index(export.get("week_day", "wednesday")) + 1
    try:
        return date.fromisocalendar(int(found[1] or year), int(found[3]), day)
    except ValueError as error:
        raise NotUnderstood(f"{cell!r} of {year!r} is no ISO week") from error


def read_figure(name: str, cell: str, export: Mapping[str, Any]) -> Fraction:
    """The figure in the unit inside, exact and rounded half up once; a unit typed behind it rules."""
    mark = re.escape(export.get("decimal", "."))
    found = re.fullmatch(rf"([+-]?(?:[0-9]+(?:{mark}[0-9]+)?|{mark}[0-9]+))\s*(\S.*)?", cell)
    if found is not None:
        value = Fraction(found[1].replace(export.get("decimal", "."), "."))
        behind = found[2]
        if behind and name in (*VOLUME_FIELDS, "drain") and re.match(r"[½¼¾⅓⅔/0-9]", behind):
            value, behind = _fraction(cell), None
    else:
        value, behind = _fraction(cell), None
        if name not in (*VOLUME_FIELDS, "drain"):
            raise NotUnderstood(f"{cell!r} is no figure")
    column = export["columns"][name]
    unit = _unit(name, behind, column.get("unit") if isinstance(column, Mapping) else None)
    inside = (value - unit[0]) * unit[1]
    kept = _rounded(inside, DECIMALS[name])
    if unit == SAME and kept != inside:
        raise NotUnderstood(f"{cell!r} has more decimals than are kept")
    return kept


def _fraction(cell: str) -> Fraction:
    found = re.fullmatch(r"(?:(\d+)\s)?(\d+)[/⁄](\d+)", cell)
    if found and int(found[3]):
        return int(found[1] or 0) + Fraction(int(found[2]), int(found[3]))
    found = re.fullmatch(r"(\d+)?\s?([½¼¾⅓⅔])", cell)
    if found:
        return int(found[1] or 0) + GLYPHS[found[2]]
    raise NotUnderstood(f"{cell!r} is no figure")


def _unit(name: str, typed: str | None, declared: str | None) -> tuple[int, Fraction]:
    known: Mapping[str, tuple[int, Fraction]] = (
        EC_UNITS if name in EC_FIELDS
        else VOLUME_UNITS if name in VOLUME_FIELDS
        else TEMPERATURE_UNITS if name == "temperature"
        else ALKALINITY_UNITS if name == "alkalinity"
        else {}
    )  # fmt: skip
    if typed is None:
        return known[_unit_key(declared)] if declared else SAME
    key = _unit_key(typed)
    if key == "ppm" and declared and declared.startswith("ppm "):
        return known[_unit_key(declared)]
    if key == "oz" and declared == "fl oz":
        return known["fl oz"]
    if key == OWN_UNITS.get(name):
        return SAME
    if key not in known:
        raise NotUnderstood(f"{typed!r} is no unit of {name}")
    return known[key]


def _unit_key(unit: str) -> str:
    return " ".join(unit.replace("µ", "u").replace("μ", "u").split()).removesuffix(".").casefold()


def _rounded(value: Fraction, decimals: int) -> Fraction:
    scale = 10**decimals
    whole = (2 * abs(value) * scale + 1) // 2
    return Fraction(whole if value >= 0 else -whole, scale)
