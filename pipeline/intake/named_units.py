"""Units as headers and rows of units name them: those that are known, and those that a quantity has and we have not.

A figure in a unit that nobody here knows is not read as if it were in another one, so such a unit has to be seen.
Words in brackets that are no unit, like ``EC (leachate)``, say nothing.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from pipeline.settings import Column
from pipeline.settings.words import UNIT_OF_FIELD
from pipeline.units import UNITS, Quantity, conversion, unit_in_cell

_IN_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]+)[)\]}]")
_LONGEST_UNIT = 30
# How units are written in headers beside the names that settings and cells have for them; compared by `_key`.
_SPELLINGS: Mapping[Quantity, Mapping[str, str]] = {
    "ec": {
        **dict.fromkeys(("millisiemens", "millisiemens/cm", "mmhos", "mmhos/cm", "mmho"), "mS/cm"),
        **dict.fromkeys(("microsiemens", "mikrosiemens", "mikros/cm", "micros/cm", "mcs/cm"), "µS/cm"),
        **dict.fromkeys(("umho", "umhos", "umho/cm", "umhos/cm"), "µS/cm"),
        "ds": "dS/m",
        "siemens/m": "S/m",
    },
    "volume": {
        **dict.fromkeys(("cm3", "ccm", "milliliter", "milliliters", "millilitre", "millilitres"), "mL"),
        **dict.fromkeys(("mililitro", "mililitros", "mls"), "mL"),
        **dict.fromkeys(("zentiliter", "centiliter", "centilitre", "centilitro", "centilitros"), "cL"),
        **dict.fromkeys(("deziliter", "deciliter", "decilitre", "decilitro"), "dL"),
        **dict.fromkeys(("liter", "liters", "litre", "litres", "litro", "litros", "ltr", "lt"), "L"),
        **dict.fromkeys(("fluidounce", "fluidounces", "ounce", "ounces", "usfloz"), "fl oz"),
    },
    "length": {},
    "temperature": {
        **dict.fromkeys(("celsius", "degc", "gradc", "degreesc", "oc"), "°C"),
        **dict.fromkeys(("fahrenheit", "degf", "degreesf"), "°F"),
    },
    "alkalinity": {
        **dict.fromkeys(("mg/lascaco3", "mgcaco3/l", "mg/lalscaco3", "mg/lcomocaco3", "mg/lencaco3"), "mg/L CaCO3"),
        **dict.fromkeys(("ppmascaco3", "mg/l", "ppm", "mg/l(caco3)"), "mg/L CaCO3"),
        # One mmol of acid or bicarbonate is one meq.
        **dict.fromkeys(("mval/l", "mval", "mmol/l", "mmol", "mmol/lhco3", "mmolhco3/l", "meq/lhco3"), "meq/L"),
    },
}  # fmt: skip
# One of the three scales, which one nobody says.
_SOME_SCALE: Final = frozenset({"ppm", "mg/l", "ppmtds", "tdsppm"})
# Units that a quantity can be in and that are not known, by `_key`.
_FOREIGN: Mapping[Quantity, re.Pattern[str]] = {
    "ec": re.compile(
        r"(?:[a-z]|milli|micro|mikro)?(?:s|siemens|mhos?)/[a-z]{0,2}m|[kmund]?mhos?|[nk]s|cf|ppt|‰|%"
        r"|g/l|mmol/l|meq/l|[kmu]?(?:ohm|Ω|ω)s?[*·./]?c?m?"
    ),
    "volume": re.compile(
        r"(?:us|imp|uk)?(?:gal|gals|gallons?|galon|galones|qt|qts|quarts?|pt|pts|pints?|pinte)|imp(?:erial)?floz"
        r"|cups?|tsp|tbsp|tassen?|[hkun]l|hectolit(?:er|re)s?|[dm]m?3|cuin|in3|cuft|ft3|%|pct|min|mins|h"
        r"|(?:[mcdhu]?l|liter|litre|fl\.?oz)/(?:m2|m²|sqm|qm|sqft|ft2|min|h|hr|ha|d|day|tag)"
    ),
    "length": re.compile(r"mm|m|dm|ft"),
    "temperature": re.compile(r"°?k|kelvin|°?re|°?reaumur|°ra?|°?rankine"),
    "alkalinity": re.compile(
        r"°?dkh|°?dh|°kh|kh|°fh|fh|°f|°th|°e|gpg|grad?d?h|grad|mg/l(?:as|als)?hco3(?:-)?|mghco3/l|ppm(?:as)?hco3"
        r"|mmol/lcaco3|mmolcaco3/l|%|g/l"
    ),
}
# Fields whose figures are in one unit whatever the header says, with the units that they are not in.
_NOT_OF_FIELD: Mapping[str, tuple[str, re.Pattern[str]]] = {
    "drain": (
        "min",
        re.compile(r"h|hrs?|hours?|std|stunden?|horas?|uur|uren|heures?|s|secs?|sek|seconds?|sekunden"),
    ),
    "slope": ("%", re.compile(r"mv|mv/ph|mv/dec(?:ade)?|mv/dekade")),
    "offset": ("mV", re.compile(r"v|µv|uv")),
    "nitrogen": ("ppm", re.compile(r"mmol/l|mmol|meq/l|g/l|%|lbs?")),
    "ph": ("pH", re.compile(r"mv")),
}  # fmt: skip
# What also is a word or a mark: taken for a unit in brackets only, or in a row of units.
_LONE = re.compile(
    r"[a-z]|min|in|no|pt|pts|cup|cups|[nk]s|kh|fh|grad|%|mm|\W|ds|cf|lt|d?m3|lbs?|ounces?|uur|sec"
)
# A unit that stands amid words must be one for certain; at the end of a header a letter is enough.
_AT_THE_END: Final = frozenset({"c", "f", "k", "l", "h", "%", "ds", "cf"})


@dataclass(frozen=True, slots=True)
class NamedUnit:
    """A unit as it is written, with the name that we have for it; `known` is None for one that is not known."""

    written: str
    known: str | None


def unit_named(quantity: Quantity, written: str, unit: str | None) -> NamedUnit | None:
    """The unit that a text is, or None for a text that is none of this quantity; `unit` is that of the column.

    A bare ppm is the column's scale where it has one, and otherwise some scale.
    """
    text = " ".join(written.split())
    if not text or len(text) > _LONGEST_UNIT:
        return None
    key = _key(text)
    if quantity == "ec" and key in _SOME_SCALE:
        is_scale = unit is not None and unit.casefold().startswith("ppm")
        return NamedUnit(text, unit if is_scale else None)
    found = _SPELLINGS[quantity].get(key) or unit_in_cell(quantity, text, unit)
    # "oz" is a fluid ounce only where the column is in them; elsewhere it contradicts.
    known = (one for one in UNITS[quantity] if _key(one) == key or unit_in_cell(quantity, key, one))
    found = found or next(known, None)
    if found is not None:
        return NamedUnit(text, found)
    return NamedUnit(text, None) if _FOREIGN[quantity].fullmatch(key) else None


def contradiction(field: str, column: Column, header: str) -> NamedUnit | None:
    """The first unit in a header other than the one in which the settings have the column, or None."""
    return next(
        filter(
            None, (_contradicts(field, column, one) for one in named_in_header(field, header, column.unit))
        ),
        None,
    )


def contradiction_in_row(field: str, column: Column, cell: str) -> NamedUnit | None:
    """The unit in a cell of the row of units, where it is another than the settings have, or None."""
    written = cell.strip().strip("()[]{}").strip()
    named = _named(field, written, column.unit)
    return None if named is None else _contradicts(field, column, named)


def _contradicts(field: str, column: Column, named: NamedUnit) -> NamedUnit | None:
    quantity = UNIT_OF_FIELD.get(field)
    if column.header_unit_is_wrong or (quantity is not None and column.unit is None):
        return None
    if quantity is None or named.known is None:
        return named
    return named if conversion(quantity, named.known) != conversion(quantity, column.unit) else None


def named_in_header(field: str, header: str, unit: str | None = None) -> list[NamedUnit]:
    """The units of a field's quantity in a header: in brackets, and among its words behind blank, comma or slash."""
    found = [_named(field, written, unit) for written in _IN_BRACKETS.findall(header)]
    plain = re.sub(r"[_,;]", " ", re.sub(r"\s*/\s*", "/", _IN_BRACKETS.sub(" ", header)))
    parts = plain.split()
    at = 0
    while at < len(parts):
        length, named = _longest(field, parts, at, unit)
        found.append(named)
        at += length
    return [one for one in found if one is not None]


def _longest(field: str, parts: list[str], at: int, unit: str | None) -> tuple[int, NamedUnit | None]:
    """The longest unit that begins with a word of a header, with the number of its words."""
    for length in (4, 3, 2):
        words = parts[at : at + length]
        if len(words) < length or any(len(word) == 1 and word.isalpha() for word in words[:1]):
            continue
        # Databases write ec_ms_cm.
        named = _named(field, " ".join(words), unit) or (
            _named(field, "/".join(words), unit) if length == 2 else None
        )
        if named is not None:
            return length, named
    part, is_last = parts[at], at == len(parts) - 1
    if (whole := _named(field, part, unit)) is not None:
        return 1, whole if _stands_alone(part, is_last=is_last and at > 0) else None
    before, _, behind = part.partition("/")
    pieces = [one for one in (behind, part.rpartition("/")[2]) if _stands_alone(one, is_last=is_last)]
    pieces += [before] if behind and _stands_alone(before, is_last=False) else []
    return 1, next((one for piece in pieces if (one := _named(field, piece, unit)) is not None), None)


def _stands_alone(part: str, *, is_last: bool) -> bool:
    """Whether a word of a header is more than a letter or a little word, or ends it as a unit may."""
    return not _LONE.fullmatch(part.casefold()) or (is_last and part.casefold() in _AT_THE_END)


def _named(field: str, written: str, unit: str | None) -> NamedUnit | None:
    """The unit that a text is for a field, by its quantity, or by the one unit that the field has."""
    quantity = UNIT_OF_FIELD.get(field)
    if quantity is not None:
        return unit_named(quantity, written, unit)
    other = _NOT_OF_FIELD.get(field)
    text = " ".join(written.split())
    return NamedUnit(text, None) if other is not None and other[1].fullmatch(_key(text)) else None


def unit_taken(field: str, column: Column) -> str:
    """The unit in which the figures of a column are taken to be."""
    return column.unit or (_NOT_OF_FIELD[field][0] if field in _NOT_OF_FIELD else "")


def _key(text: str) -> str:
    """A unit as it is compared: no case, no blanks, u for micro, a slash for what stands below it."""
    key = "".join(
        text.replace("\u03bc", "u").replace("\u00b5", "u").replace("\u00ba", "\u00b0").split()
    ).casefold()
    key = key.replace("₃", "3").replace("³", "3").replace("²", "2").replace("⁻¹", "-1")
    key = re.sub(r"(?<=[a-z])[.·*]?(cm|m|l)-1(?![0-9])", r"/\1", key)
    return key.removesuffix(".")
