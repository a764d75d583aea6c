"""The oracle's statistics against figures worked by hand, and its t quantile against SciPy."""

from __future__ import annotations

from fractions import Fraction

import pytest
from scipy import stats

from tests.oracle.fields import parse_number, round_half_up, to_our_unit, translate
from tests.oracle.figures import Measured, median_of, statistics_of, t_quantile
from tests.oracle.records import Record
from tests.oracle.settings import Export, SiteSettings

SITE = SiteSettings("one", "one", "One", "en", "a4", "%Y", None, "UTC", (), (), ())


@pytest.mark.parametrize("df", [1, 2, 3, 4, 5, 9, 10, 19, 30, 59, 120])
def test_t_quantile_is_scipys(df: int) -> None:
    assert t_quantile(df) == pytest.approx(float(stats.t.ppf(0.975, df)), rel=1e-9)


def test_t_quantile_of_the_printed_table() -> None:
    # Two-sided 95 %: 12.706 with 1 degree of freedom, 4.303 with 2, 2.776 with 4.
    assert [round(t_quantile(df), 3) for df in (1, 2, 4)] == [12.706, 4.303, 2.776]


def singles(*values: str) -> list[Measured]:
    return [Measured(Fraction(value), 1, None) for value in values]


def test_single_pots() -> None:
    # Sum 29.0, mean 5.8. Deviations -0.2 -0.1 0 0.1 0.2, squares sum 0.10, variance 0.10 / 4 = 0.025.
    # SD 0.158114; half width 2.776445 * 0.158114 / sqrt(5) = 0.196324.
    figures = statistics_of(singles("5.6", "5.7", "5.8", "5.9", "6.0"), Fraction("0.2"))
    assert figures.n == 5
    assert figures.mean == Fraction("5.8")
    assert figures.variance == Fraction("0.025")
    assert figures.sd == pytest.approx(0.158114, abs=1e-6)
    assert figures.ci_low == pytest.approx(5.8 - 0.196324, abs=1e-6)
    assert figures.ci_high == pytest.approx(5.8 + 0.196324, abs=1e-6)
    assert (figures.median, figures.least, figures.most) == (
        Fraction("5.8"),
        Fraction("5.6"),
        Fraction("6.0"),
    )
    assert not figures.sd_assumed


def test_seven_pots_at_the_edge_are_exactly_on_it() -> None:
    assert statistics_of(singles(*["5.4"] * 7), Fraction("0.2")).mean == Fraction("5.4")


def test_one_pot_has_no_spread() -> None:
    figures = statistics_of(singles("5.4"), Fraction("0.2"))
    assert (figures.n, figures.variance, figures.ci_low) == (1, None, None)


def test_a_line_of_several_pots_without_sd_takes_the_policys() -> None:
    # 1.959964 * 0.4 / sqrt(5) = 0.350609
    figures = statistics_of([Measured(Fraction("2.6"), 5, None)], Fraction("0.4"))
    assert figures.sd_assumed
    assert figures.ci_low == pytest.approx(2.6 - 0.350609, abs=1e-6)
    assert (figures.median, figures.least, figures.most) == (None, None, None)


def test_a_line_of_several_pots_with_its_own_sd() -> None:
    # t with 4: 2.776445 * 0.1 / sqrt(5) = 0.124166
    figures = statistics_of([Measured(Fraction("6.0"), 5, Fraction("0.1"))], Fraction("0.2"))
    assert not figures.sd_assumed
    assert figures.ci_high == pytest.approx(6.124166, abs=1e-6)


def test_lines_weigh_their_pots() -> None:
    # (5 * 6.0 + 1 * 5.4) / 6 = 5.9; the spread is the policy's although one line has its own.
    figures = statistics_of(
        [Measured(Fraction(6), 5, Fraction("0.1")), Measured(Fraction("5.4"), 1, None)], Fraction("0.2")
    )
    assert figures.mean == Fraction("5.9")
    assert figures.sd_assumed


def test_median_of_an_even_number_is_between_the_two_in_the_middle() -> None:
    assert median_of([Fraction(4), Fraction(1), Fraction(2), Fraction(10)]) == 3
    assert median_of([]) is None


@pytest.mark.parametrize(
    ("value", "decimals", "rounded"),
    [("1.00005", 4, "1.0001"), ("-1.00005", 4, "-1.0001"), ("2.4", 0, "2"), ("0.00004", 4, "0")],
)
def test_half_goes_up(value: str, decimals: int, rounded: str) -> None:
    assert round_half_up(Fraction(value), decimals) == Fraction(rounded)


@pytest.mark.parametrize(
    ("value", "unit", "ours"),
    [
        ("1730", "µS/cm", "1.73"),
        ("2.6", "mmho/cm", "2.6"),
        ("700", "ppm 700", "1"),
        ("1", "fl oz", "29.5735295625"),
        ("77", "°F", "25"),
    ],
)
def test_units(value: str, unit: str, ours: str) -> None:
    assert to_our_unit(Fraction(value), unit) == Fraction(ours)


@pytest.mark.parametrize("cell", ["5.8", "1e3", "nan", "1 000", "", "5,", "--1"])
def test_what_is_no_number_in_a_comma_export(cell: str) -> None:
    assert parse_number(cell, ",") is None


def test_numbers_with_a_decimal_comma() -> None:
    assert parse_number("-5,80", ",") == Fraction("-5.8")


@pytest.mark.parametrize(
    ("cells", "problem"),
    [
        (("2026-04-01", "2026-04-02 10:00", "", ""), "days_disagree"),
        (("2026-04-01", "", "20", "2026"), "days_disagree"),
        (("2026-04-05", "2026-04-05 10:00", "14", "2026"), None),
    ],
)
def test_days_that_disagree(cells: tuple[str, ...], problem: str | None) -> None:
    names = {"lot": "Lot", "date": "Date", "datetime": "T", "week": "Wk", "year": "Yr", "ph": "pH"}
    export = Export("readings", "*", {name: (title, None) for name, title in names.items()})
    record = Record(2, 2, 2, "", "data", ("A", *cells, "5.8"), None)
    assert translate(record, tuple(names.values()), export, SITE).problem == problem
