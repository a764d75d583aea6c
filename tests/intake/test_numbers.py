from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.intake.numbers import NumberFormat, read_number, read_whole
from pipeline.intake.refused import Refused
from pipeline.units import conversion

POINT = NumberFormat(".", digits=3, decimals=3, example="5.8")
COMMA = NumberFormat(",", digits=3, decimals=3, example="5.8")


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("5.8", "5.800"),
        ("+5.8", "5.800"),
        ("-5.8", "-5.800"),
        (".8", "0.800"),
        ("7", "7.000"),
        ("5.80550", None),
    ],
)
def test_number(text: str, value: str | None) -> None:
    read = read_number(text, POINT)
    if value is None:
        assert read == Refused("has more decimals than the 3 that are kept; round it, write it like 5.8")
    else:
        assert isinstance(read, Decimal)
        assert str(read) == value


@pytest.mark.parametrize(
    "text",
    [
        "5,8x",
        "nan",
        "inf",
        "1e3",
        "1_000",
        "5..8",
        "5.",
        "",
        "+",
        ".",
        "1 000",
        "٥.٨",
        "−5.8",
        "5.8 %",
        "1,234.5",
    ],
)
def test_not_a_number(text: str) -> None:
    assert read_number(text, POINT) == Refused("is not a number; write it like 5.8")


def test_trailing_zeros_lose_nothing() -> None:
    assert read_number("5.80000", POINT) == Decimal("5.8")


@pytest.mark.parametrize(
    ("text", "form", "reason"),
    [
        (
            "5.8",
            COMMA,
            (
                "has a decimal point where this export writes a decimal comma; write it like 5,8, or change "
                "decimal in site.toml"
            ),
        ),
        (
            "5,8",
            POINT,
            (
                "has a decimal comma where this export writes a decimal point; write it like 5.8, or change "
                "decimal in site.toml"
            ),
        ),
        ("5800", POINT, "is too large to be right; write it like 5.8"),
        ("-1000", POINT, "is too large to be right; write it like 5.8"),
        ("5" * 41, POINT, "is too long for a number; write it like 5.8"),
    ],
)
def test_refusals_say_what_to_write(text: str, form: NumberFormat, reason: str) -> None:
    assert read_number(text, form) == Refused(reason)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [("1234.56", "µS/cm", "1.2346"), ("1234.55", "µS/cm", "1.2346"), ("1000", "ppm 700", "1.4286")],
)
def test_a_conversion_may_round_and_does_so_once_half_up(text: str, unit: str, value: str) -> None:
    form = NumberFormat(".", digits=5, decimals=4, example="1.85", conversion=conversion("ec", unit))
    assert read_number(text, form) == Decimal(value)


@given(st.integers(-999_999, 999_999), st.sampled_from(".,"))
def test_every_number_with_three_decimals_reads_back(thousandths: int, mark: str) -> None:
    value = Decimal(thousandths).scaleb(-3)
    form = NumberFormat(mark, digits=3, decimals=3, example="5.8")
    assert read_number(f"{value:f}".replace(".", mark), form) == value


@pytest.mark.parametrize(("text", "value"), [("5", 5), ("5.0", 5), ("0005", 5), ("2147483647", 2147483647)])
def test_whole_number(text: str, value: int) -> None:
    assert read_whole(text, ".", 1, 2**31 - 1) == value


@pytest.mark.parametrize("text", ["0", "-1", "5.5", "five", "2147483648", "1e3"])
def test_not_a_whole_number(text: str) -> None:
    assert read_whole(text, ".", 1, 2**31 - 1) == Refused(
        "is not a whole number of 1 or more; write it like 5, without a mark for thousands"
    )
