"""Units of the edges and their exact conversion into the units inside.

Inside, everything is mS/cm, mL, cm, °C and mg/L CaCO3.  Whatever else an export writes is converted here, once, with
exact fractions; rounding happens after the conversion and never before.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Literal

Quantity = Literal["ec", "volume", "length", "temperature", "alkalinity"]


@dataclass(frozen=True)
class Conversion:
    """``inside = (value - offset) * factor``; ``offset`` is in the unit that is converted from."""

    factor: Fraction
    offset: Fraction = Fraction(0)

    @property
    def is_identity(self) -> bool:
        """True where the digits stay what they are (dS/m and mmho/cm are mS/cm by another name)."""
        return self.factor == 1 and self.offset == 0

    def apply(self, value: Decimal | int | Fraction) -> Fraction:
        """Convert exactly, without rounding."""
        return (Fraction(value) - self.offset) * self.factor


SAME = Conversion(Fraction(1))

EC_UNITS: Mapping[str, Conversion] = MappingProxyType(
    {
        "mS/cm": SAME,
        "dS/m": SAME,
        "mmho/cm": SAME,
        "µS/cm": Conversion(Fraction(1, 1000)),
        # The metre is 100 centimetres (P, SI), so 1 S/m is 10 mS/cm.
        "S/m": Conversion(Fraction(10)),
        "mS/m": Conversion(Fraction(1, 100)),
        "µS/m": Conversion(Fraction(1, 100_000)),
        # The three scales on which meters print dissolved solids; the scale is part of the unit's name
        # because the same water reads 500, 640 or 700 ppm at 1 mS/cm (P, meter manuals).
        "ppm 500": Conversion(Fraction(1, 500)),
        "ppm 640": Conversion(Fraction(1, 640)),
        "ppm 700": Conversion(Fraction(1, 700)),
    }
)
"""Into mS/cm."""

VOLUME_UNITS: Mapping[str, Conversion] = MappingProxyType(
    {
        "mL": SAME,
        # Cubic centimetres and decimal parts of the litre (P, SI).
        "cc": SAME,
        "cL": Conversion(Fraction(10)),
        "dL": Conversion(Fraction(100)),
        "L": Conversion(Fraction(1000)),
        # US fluid ounce: 1/128 of a gallon of 231 cubic inches of 2.54 cm (P, NIST Handbook 44); exact.
        "fl oz": Conversion(Fraction(Decimal("29.5735295625"))),
    }
)
"""Into mL."""

LENGTH_UNITS: Mapping[str, Conversion] = MappingProxyType(
    {"cm": SAME, "in": Conversion(Fraction(Decimal("2.54")))}
)
"""Into cm (P, international inch, exact)."""

TEMPERATURE_UNITS: Mapping[str, Conversion] = MappingProxyType(
    {"°C": SAME, "°F": Conversion(Fraction(5, 9), Fraction(32))}
)
"""Into °C."""

ALKALINITY_UNITS: Mapping[str, Conversion] = MappingProxyType(
    {
        "mg/L CaCO3": SAME,
        "ppm CaCO3": SAME,
        # Half of the molar mass of CaCO3, 100.09 g (P, Greenhouse Management, "Understanding alkalinity").
        "meq/L": Conversion(Fraction(Decimal("50.04"))),
    }
)
"""Into mg/L CaCO3."""

UNITS: Mapping[Quantity, Mapping[str, Conversion]] = MappingProxyType(
    {
        "ec": EC_UNITS,
        "volume": VOLUME_UNITS,
        "length": LENGTH_UNITS,
        "temperature": TEMPERATURE_UNITS,
        "alkalinity": ALKALINITY_UNITS,
    }
)


def _key(unit: str) -> str:
    """A unit as it is compared: two letters serve for micro, and u stands in for both."""
    plain = " ".join(unit.replace("\u03bc", "u").replace("\u00b5", "u").split())
    return plain.casefold().replace("\u00ba", "\u00b0")


_CANONICAL: Mapping[Quantity, Mapping[str, str]] = MappingProxyType(
    {quantity: {_key(unit): unit for unit in known} for quantity, known in UNITS.items()}
)


def canonical_unit(quantity: Quantity, unit: str) -> str | None:
    """The unit's name as this module writes it, or None for a unit that the quantity does not have.

    Case and spaces do not matter; ``uS/cm`` is ``µS/cm`` with either letter mu.
    """
    return _CANONICAL[quantity].get(_key(unit))


# What meters and people write behind a figure for short, where it can mean one unit only.
_SHORT: Mapping[Quantity, Mapping[str, str]] = MappingProxyType(
    {
        "ec": {"ms": "mS/cm", "us": "µS/cm", "mmho": "mmho/cm"},
        "volume": {"floz": "fl oz", "fl.oz": "fl oz", "fl. oz": "fl oz"},
        "length": {},
        "temperature": {"c": "°C", "f": "°F"},
        "alkalinity": {"meq": "meq/L"},
    }
)


def unit_in_cell(quantity: Quantity, text: str, column_unit: str | None) -> str | None:
    """The unit that somebody typed behind a figure, by the name that this module has for it, or None.

    Short forms count where they can mean one unit only.  Two lean on the column: ``ppm`` is a scale only
    where the column's unit is one, and ``oz`` is a fluid ounce only where the column is in fluid ounces,
    because elsewhere it may have been weighed.
    """
    key = _key(text).removesuffix(".")
    column = None if column_unit is None else canonical_unit(quantity, column_unit)
    if key == "ppm" and column is not None and column.startswith("ppm "):
        return column
    if key == "oz" and column == "fl oz":
        return column
    return canonical_unit(quantity, key) or _SHORT[quantity].get(key)


def conversion(quantity: Quantity, unit: str | None) -> Conversion:
    """The conversion into the unit inside; no unit means that it is written in it already.

    Raises ValueError for a unit that the quantity does not have: the settings refuse it before.
    """
    if unit is None:
        return SAME
    name = canonical_unit(quantity, unit)
    if name is None:
        known = ", ".join(UNITS[quantity])
        raise ValueError(f"{unit!r} is not a unit of {quantity}; known are {known}")
    return UNITS[quantity][name]


def round_half_up(value: Fraction, decimals: int) -> Decimal:
    """Round once, half away from zero, to so many decimals; exact, whatever the decimal context says."""
    scaled = abs(value) * 10**decimals
    whole = (2 * scaled.numerator + scaled.denominator) // (2 * scaled.denominator)
    digits = tuple(int(digit) for digit in str(whole))
    return Decimal((1 if value < 0 and whole else 0, digits, -decimals))
