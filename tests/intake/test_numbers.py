import re
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.intake.numbers import NumberFormat, plain_pattern, read_number, read_whole
from pipeline.intake.refused import Refused

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
        assert read == Refused("has more decimals than the 3 that are kept; round it to 5.806")
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
        "٥.٨",
        "−5.8",
        "0x1F",
        "1.2.3",
        "5.8 - 6.2",
        "--5.8",
        "n/a",
        "5.8 pH",
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
    form = NumberFormat(".", digits=5, decimals=4, example="1.85", quantity="ec", unit=unit)
    assert read_number(text, form) == Decimal(value)


@settings(deadline=None)
@given(st.integers(-999_999, 999_999), st.sampled_from(".,"))
def test_every_number_with_three_decimals_reads_back(thousandths: int, mark: str) -> None:
    value = Decimal(thousandths).scaleb(-3)
    form = NumberFormat(mark, digits=3, decimals=3, example="5.8")
    assert read_number(f"{value:f}".replace(".", mark), form) == value


PLAIN_COUNT = NumberFormat(".", digits=10, decimals=0, example="5")


@pytest.mark.parametrize(("text", "value"), [("5", 5), ("5.0", 5), ("0005", 5), ("2147483647", 2147483647)])
def test_whole_number(text: str, value: int) -> None:
    assert read_whole(text, PLAIN_COUNT, 1, 2**31 - 1) == value


@pytest.mark.parametrize("text", ["0", "-1", "5.5", "five", "1e3", "1/2", "5 pots", "9" * 41])
def test_not_a_whole_number(text: str) -> None:
    assert read_whole(text, PLAIN_COUNT, 1, 2**31 - 1) == Refused(
        "is not a whole number of 1 or more; write it like 5, without a mark for thousands"
    )


def test_a_whole_number_that_is_too_large() -> None:
    assert read_whole("2147483648", PLAIN_COUNT, 1, 2**31 - 1) == Refused(
        "is too large to be right; write it like 5, without a mark for thousands"
    )


@pytest.mark.parametrize(
    ("text", "thousands", "marks", "outcome"),
    [
        ("1,200", ",", (), 1200),
        ("12*", "", ("*",), 12),
        ("1,20", ",", (), "is not a whole number of 1 or more; write it like 5"),
        (
            "1,200",
            "",
            (),
            (
                "has a comma that may stand for decimals or for thousands; write it like 5, or set decimal or "
                'thousands to "," in site.toml'
            ),
        ),
        (
            "1 200",
            "",
            (),
            (
                "has a blank for thousands, which this export does not declare; write it without, or set "
                'thousands = " " in site.toml'
            ),
        ),
        ("1.000", "", (), "may be thousands or a whole number with decimals; write it like 5"),
        (
            "12*",
            "",
            (),
            (
                'has "*" behind the figure; take it away, or write number_marks = ["*"] in site.toml if it says '
                "nothing about the figure"
            ),
        ),
    ],
)
def test_whole_number_with_the_export_s_marks(
    text: str, thousands: str, marks: tuple[str, ...], outcome: int | str
) -> None:
    form = NumberFormat(".", digits=10, decimals=0, example="5", thousands=thousands, marks=marks)
    expected = Refused(outcome) if isinstance(outcome, str) else outcome
    assert read_whole(text, form, 1, 10_000) == expected


def large(decimal: str, thousands: str) -> NumberFormat:
    return NumberFormat(decimal, digits=7, decimals=4, example="1.85", thousands=thousands)


@pytest.mark.parametrize(
    ("text", "decimal", "thousands", "value"),
    [
        ("1.234,5", ",", ".", "1234.5"),
        ("1.234", ",", ".", "1234"),
        ("-1.234.567,25", ",", ".", "-1234567.25"),
        ("1,234.5", ".", ",", "1234.5"),
        ("1'234.5", ".", "'", "1234.5"),
        ("1’234.5", ".", "'", "1234.5"),
        ("1 234,5", ",", " ", "1234.5"),
        ("1\u00a0234,5", ",", " ", "1234.5"),
        ("1\u202f234,5", ",", " ", "1234.5"),
        ("1\u2009234,5", ",", " ", "1234.5"),
        ("1234,5", ",", ".", "1234.5"),
        ("0,5", ",", ".", "0.5"),
        (",5", ",", ".", "0.5"),
    ],
)
def test_thousands(text: str, decimal: str, thousands: str, value: str) -> None:
    assert read_number(text, large(decimal, thousands)) == Decimal(value)


NO_THOUSANDS_END = (
    "has a point where no thousands end; write three figures behind each mark for thousands, and decimals "
    "like 1,85"
)


@pytest.mark.parametrize(
    "text", ["5.8", "12.34", "1.2345", "1234.567", "1.234.5", "0.850", "00.850", "1..234", "1.234,567.8"]
)
def test_mark_for_thousands_that_stands_elsewhere(text: str) -> None:
    assert read_number(text, large(",", ".")) == Refused(NO_THOUSANDS_END)


@pytest.mark.parametrize(
    ("text", "decimal", "said"),
    [
        ("1.234,5", ",", ('a point for thousands, which this export does not declare; write it without, or set '
         'thousands = "." in site.toml')),
        ("1,234.5", ".", ('a comma for thousands, which this export does not declare; write it without, or set '
         'thousands = "," in site.toml')),
        ("1,234,567", ".", ('a comma for thousands, which this export does not declare; write it without, or '
         'set thousands = "," in site.toml')),
        ("1'234.5", ".", ("an apostrophe for thousands, which this export does not declare; write it without, "
         'or set thousands = "\'" in site.toml')),
        ("1\u202f234", ".", ("a blank for thousands, which this export does not declare; write it without, "
         'or set thousands = " " in site.toml')),
        ("1,234", ".", ("a comma that may stand for decimals or for thousands; write it like 1.85, or set "
         'decimal or thousands to "," in site.toml')),
        ("1.234", ",", ("a point that may stand for decimals or for thousands; write it like 1,85, or set "
         'decimal or thousands to "." in site.toml')),
    ],
)  # fmt: skip
def test_thousands_that_are_not_declared_name_the_setting(text: str, decimal: str, said: str) -> None:
    assert read_number(text, large(decimal, "")) == Refused(f"has {said}")


@settings(deadline=None)
@given(
    st.integers(-9_999_999_9999, 9_999_999_9999), st.sampled_from([",.", ".,", ",'", ", ", ". ", ",\u202f"])
)
def test_every_number_with_thousands_reads_back(ten_thousandths: int, marks: str) -> None:
    value = Decimal(ten_thousandths).scaleb(-4)
    decimal, mark = marks[0], marks[1]
    text = f"{value:,f}".replace(",", "T").replace(".", decimal).replace("T", mark)
    assert read_number(text, large(decimal, " " if mark == "\u202f" else mark)) == value


MARKED = NumberFormat(",", digits=3, decimals=3, example="5.8", marks=("*", "†", "(r)", "!!"))


@pytest.mark.parametrize("text", ["5,8*", "5,8 *", "5,8**", "5,8†*", "5,8 (r)", "5,8!!"])
def test_declared_marks_are_left_aside(text: str) -> None:
    assert read_number(text, MARKED) == Decimal("5.8")


@pytest.mark.parametrize(("text", "mark"), [("5,8#", "#"), ("5,8 !", "!"), ("5,8 §§", "§§"), ("5,8#*", "#")])
def test_a_mark_that_is_not_declared_names_the_setting(text: str, mark: str) -> None:
    assert read_number(text, MARKED) == Refused(
        f'has "{mark}" behind the figure; take it away, or write number_marks = ["{mark}"] in site.toml if it '
        "says nothing about the figure"
    )


@pytest.mark.parametrize("text", ["*", "**", "*5,8"])
def test_marks_are_no_numbers(text: str) -> None:
    assert read_number(text, MARKED) == Refused("is not a number; write it like 5,8")


def ec(unit: str, decimal: str = ".") -> NumberFormat:
    return NumberFormat(decimal, digits=5, decimals=4, example="1.85", quantity="ec", unit=unit)


def volume(unit: str) -> NumberFormat:
    return NumberFormat(".", digits=6, decimals=2, example="75", quantity="volume", unit=unit, fractions=True)


def temperature(unit: str) -> NumberFormat:
    return NumberFormat(".", digits=3, decimals=2, example="21.5", quantity="temperature", unit=unit)


MINUTES = NumberFormat(".", digits=5, decimals=1, example="45", own_unit="min", fractions=True)


@pytest.mark.parametrize(
    ("text", "form", "value"),
    [
        ("2.1 mS", ec("mS/cm"), "2.1"),
        ("2.1mS", ec("µS/cm"), "2.1"),
        ("2,1 mS/cm", ec("µS/cm", ","), "2.1"),
        ("350 µS", ec("mS/cm"), "0.35"),
        ("350 \u03bcS/cm", ec("mS/cm"), "0.35"),
        ("350 \u00b5S/cm", ec("mS/cm"), "0.35"),
        ("350 uS", ec("ppm 500"), "0.35"),
        ("1.9 dS/m", ec("µS/cm"), "1.9"),
        ("1200 ppm", ec("ppm 500"), "2.4"),
        ("1200 ppm", ec("ppm 700"), "1.7143"),
        ("1200 ppm 640", ec("mS/cm"), "1.875"),
        ("75 ml", volume("fl oz"), "75"),
        ("2 fl oz", volume("mL"), "59.15"),
        ("2 fl. oz.", volume("mL"), "59.15"),
        ("1.5 oz", volume("fl oz"), "44.36"),
        ("21 °C", temperature("°F"), "21"),
        ("21 \u00baC", temperature("°F"), "21"),
        ("21C", temperature("°C"), "21"),
        ("70 F", temperature("°C"), "21.11"),
        ("70 °F", temperature("°C"), "21.11"),
        ("45 min", MINUTES, "45"),
        ("1 1/2", volume("fl oz"), "44.36"),
        ("1/2", volume("fl oz"), "14.79"),
        ("½", volume("fl oz"), "14.79"),
        ("2½", volume("fl oz"), "73.93"),
        ("2 ½ fl oz", volume("mL"), "73.93"),
        ("45 1/2", MINUTES, "45.5"),
    ],
)  # fmt: skip
def test_unit_or_fraction_in_the_cell(text: str, form: NumberFormat, value: str) -> None:
    assert read_number(text, form) == Decimal(value)


PPM = (
    'has "ppm" behind the figure and does not say on which scale; write "ppm 500", "ppm 640" or "ppm 700" '
    "behind it, or the value in mS/cm"
)
OZ = 'has "oz" behind the figure, which may be a weight; write "fl oz" or "mL" behind it'
FRACTION = "is a fraction, which only volumes and drain times may be; write it like "


@pytest.mark.parametrize(
    ("text", "form", "reason"),
    [
        ("1200 ppm", ec("mS/cm"), PPM),
        ("210 CF", ec("mS/cm"), ('has "CF" behind the figure, which is no unit of this column; known are '
         "mS/cm, dS/m, mmho/cm, µS/cm, S/m, mS/m, µS/m, ppm 500, ppm 640, ppm 700")),
        ("50 ml", ec("mS/cm"), ('has "ml" behind the figure, which is no unit of this column; known are '
         "mS/cm, dS/m, mmho/cm, µS/cm, S/m, mS/m, µS/m, ppm 500, ppm 640, ppm 700")),
        ("1.5 oz", volume("mL"), OZ),
        ("75 g", volume("mL"), ('has "g" behind the figure, which is no unit of this column; known are mL, '
         "cc, cL, dL, L, fl oz")),
        ("2.1 mS", POINT, "is not a number; write it like 5.8"),
        ("1 h", MINUTES, "is not a number; write it like 45"),
        ("1/2", POINT, FRACTION + "5.8"),
        ("5½", POINT, FRACTION + "5.8"),
        ("½ mS", ec("mS/cm"), FRACTION + "1.85"),
        ("30/60", MINUTES, "is not a number; write it like 45"),
        ("3/2", volume("mL"), "is not a number; write it like 75"),
        ("1/0", volume("mL"), "is not a number; write it like 75"),
        ("1/5", volume("mL"), "is not a number; write it like 75"),
        ("⅓", volume("mL"), "has more decimals than the 2 that are kept; round it to 0.33"),
        ("2.12345 mS", ec("µS/cm"), "has more decimals than the 4 that are kept; round it to 2.1235 mS"),
        ("5.8999999999999995", POINT, "has more decimals than the 3 that are kept; round it to 5.9"),
        ("-12.34567", POINT, "has more decimals than the 3 that are kept; round it to -12.346"),
        ("<0.1", POINT, ("is beyond what the meter can read and no figure; measure again with a meter of that "
         "range, or leave the cell blank")),
        (">20 mS", ec("mS/cm"), ("is beyond what the meter can read and no figure; measure again with a meter "
         "of that range, or leave the cell blank")),
        ("~5.8", POINT, "is only about a figure; write what the meter showed, like 5.8"),
        ("ca. 5.8", POINT, "is only about a figure; write what the meter showed, like 5.8"),
    ],
)  # fmt: skip
def test_what_is_held_and_why(text: str, form: NumberFormat, reason: str) -> None:
    assert read_number(text, form) == Refused(reason)


@settings(deadline=None)
@given(
    st.text("0123456789.,+-'*/½ \u00a0eExmSµCF%<~_n", max_size=12), st.sampled_from([POINT, COMMA, MARKED])
)
def test_the_quick_pattern_takes_nothing_that_the_reader_refuses(text: str, form: NumberFormat) -> None:
    if re.search(plain_pattern(form).replace("$", r"\Z"), text):
        assert read_number(text, form) == Decimal(text.replace(form.decimal, "."))


@settings(deadline=None)
@given(st.text(max_size=45))
def test_any_text_is_a_number_or_refused(text: str) -> None:
    for form in (POINT, MARKED, ec("µS/cm"), volume("fl oz"), MINUTES):
        assert isinstance(read_number(text, form), Decimal | Refused)
        assert isinstance(read_whole(text, form, 0, 10**9), int | Refused)


@pytest.mark.parametrize("text", ["-5", "-0.01", "-.5"])
def test_a_figure_below_nothing_is_refused_where_there_is_none(text: str) -> None:
    ml = replace(volume("mL"), has_negatives=False)
    assert read_number(text, ml) == Refused("is below 0; write it like 75")
    assert not re.fullmatch(plain_pattern(ml), text)
    assert read_number(text[1:], ml) == read_number(text[1:], volume("mL"))
    assert read_number("0", ml) == 0


@pytest.mark.parametrize("text", ["-0", "-0.0", "-.0", "-0.000"])
def test_a_minus_before_nothing_is_refused_where_nothing_lies_below(text: str) -> None:
    assert read_number(text, POINT) == 0
    ph = replace(POINT, has_minus_zero=False)
    assert read_number(text, ph) == Refused("has a minus sign before nothing; write it like 5.8")
    assert read_number(text[1:], ph) == 0
    assert read_number("-5.8", ph) == Decimal("-5.800")
    assert not re.fullmatch(plain_pattern(ph), text)
