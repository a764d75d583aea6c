from decimal import ROUND_HALF_UP, Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.units import Quantity, canonical_unit, conversion, round_half_up


@pytest.mark.parametrize(
    ("quantity", "unit", "value", "inside"),
    [
        ("ec", "mS/cm", "1.85", Fraction("1.85")),
        ("ec", "dS/m", "1.85", Fraction("1.85")),
        ("ec", "mmho/cm", "1.85", Fraction("1.85")),
        ("ec", "µS/cm", "1850", Fraction("1.85")),
        ("ec", "ppm 500", "925", Fraction("1.85")),
        ("ec", "ppm 640", "1184", Fraction("1.85")),
        ("ec", "ppm 700", "1295", Fraction("1.85")),
        ("ec", "S/m", "0.185", Fraction("1.85")),
        ("ec", "mS/m", "185", Fraction("1.85")),
        ("ec", "µS/m", "185000", Fraction("1.85")),
        ("volume", "mL", "50", Fraction(50)),
        ("volume", "cc", "50", Fraction(50)),
        ("volume", "cl", "5", Fraction(50)),
        ("volume", "dl", "0.5", Fraction(50)),
        ("volume", "l", "0.05", Fraction(50)),
        ("volume", "fl oz", "1", Fraction("29.5735295625")),
        ("length", "in", "6.5", Fraction("16.51")),
        ("temperature", "°C", "25", Fraction(25)),
        ("temperature", "°F", "77", Fraction(25)),
        ("temperature", "°F", "-40", Fraction(-40)),
        ("temperature", "°F", "70", Fraction(190, 9)),
    ],
)
def test_conversion_is_exact(quantity: Quantity, unit: str, value: str, inside: Fraction) -> None:
    assert conversion(quantity, unit).apply(Decimal(value)) == inside


@pytest.mark.parametrize("written", ["uS/cm", "\u00b5S/cm", "\u03bcS/cm", " US/CM "])
def test_micro_is_known_in_each_spelling(written: str) -> None:
    assert canonical_unit("ec", written) == "µS/cm"


def test_unit_of_another_quantity_is_refused() -> None:
    assert canonical_unit("volume", "mS/cm") is None
    with pytest.raises(
        ValueError, match="'gallon' is not a unit of volume; known are mL, cc, cL, dL, L, fl oz"
    ):
        conversion("volume", "gallon")


@pytest.mark.parametrize(
    ("value", "decimals", "rounded"),
    [
        (Fraction("5.8055"), 3, "5.806"),
        (Fraction("5.80549"), 3, "5.805"),
        (Fraction("0.005"), 2, "0.01"),
        (Fraction("-0.005"), 2, "-0.01"),
        (Fraction("-0.001"), 2, "0.00"),
        (Fraction(1, 3), 4, "0.3333"),
        (Fraction(0), 1, "0.0"),
        (Fraction("999999.995"), 2, "1000000.00"),
    ],
)
def test_rounding_is_half_up_once(value: Fraction, decimals: int, rounded: str) -> None:
    result = round_half_up(value, decimals)
    assert (result, str(result)) == (Decimal(rounded), rounded)


@given(st.decimals(-(10**9), 10**9, places=8), st.integers(0, 6))
def test_rounding_agrees_with_the_decimal_module(value: Decimal, decimals: int) -> None:
    with localcontext(prec=60):
        expected = value.quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP)
    assert round_half_up(Fraction(value), decimals) == expected
