"""Unit conversions against pint, which keeps the published definitions of its units."""

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.units import Quantity, conversion, round_half_up

REGISTRY: Any = pint.UnitRegistry(non_int_type=Decimal)

PAIRS: list[tuple[Quantity, str, str, str]] = [
    ("ec", "mS/cm", "millisiemens/centimeter", "millisiemens/centimeter"),
    ("ec", "dS/m", "decisiemens/meter", "millisiemens/centimeter"),
    # The mho is the old name of the siemens.
    ("ec", "mmho/cm", "millisiemens/centimeter", "millisiemens/centimeter"),
    ("ec", "µS/cm", "microsiemens/centimeter", "millisiemens/centimeter"),
    ("ec", "S/m", "siemens/meter", "millisiemens/centimeter"),
    ("ec", "mS/m", "millisiemens/meter", "millisiemens/centimeter"),
    ("ec", "µS/m", "microsiemens/meter", "millisiemens/centimeter"),
    ("volume", "mL", "milliliter", "milliliter"),
    ("volume", "cc", "cubic_centimeter", "milliliter"),
    ("volume", "cL", "centiliter", "milliliter"),
    ("volume", "dL", "deciliter", "milliliter"),
    ("volume", "L", "liter", "milliliter"),
    ("volume", "fl oz", "US_fluid_ounce", "milliliter"),
    ("length", "in", "inch", "centimeter"),
    ("length", "cm", "centimeter", "centimeter"),
    ("temperature", "°C", "degC", "degC"),
    ("temperature", "°F", "degF", "degC"),
]


@pytest.mark.parametrize(("quantity", "unit", "theirs", "inside"), PAIRS)
@settings(max_examples=50, deadline=None)
@given(value=st.decimals(-40, 20000, places=4))
def test_conversion_agrees_with_pint(
    quantity: Quantity, unit: str, theirs: str, inside: str, value: Decimal
) -> None:
    expected = REGISTRY.Quantity(value, theirs).to(inside).magnitude
    ours = conversion(quantity, unit).apply(value)
    # pint works with 28 significant digits, we work with fractions.
    assert abs(ours - Fraction(expected)) < Fraction(1, 10**18)


@pytest.mark.parametrize(
    ("quantity", "unit", "theirs", "inside", "value", "decimals"),
    [
        ("volume", "fl oz", "US_fluid_ounce", "milliliter", "1.7", 2),
        ("temperature", "°F", "degF", "degC", "68.5", 2),
        ("ec", "µS/cm", "microsiemens/centimeter", "millisiemens/centimeter", "1413", 4),
    ],
)
def test_kept_digits_agree_with_pint(
    quantity: Quantity, unit: str, theirs: str, inside: str, value: str, decimals: int
) -> None:
    expected = REGISTRY.Quantity(Decimal(value), theirs).to(inside).magnitude
    kept = round_half_up(conversion(quantity, unit).apply(Decimal(value)), decimals)
    assert kept == round(Decimal(expected), decimals)
