"""Trends: against SciPy, against all permutations, and what must hold for any series."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pipeline.measures.trend import (
    interval_cut,
    kendall_s,
    mann_kendall_p,
    mann_kendall_z,
    null_of_s,
    theil_sen,
    trends,
)
from tests.measures.series import samplings

UNHURRIED = settings(deadline=None)
TENTHS = st.integers(40, 80).map(lambda tenths: tenths / 10)
SERIES = st.lists(TENTHS, min_size=4, max_size=6)
FORTNIGHTS = np.arange(12.0) * 14


def found(values: list[float | None], **options: object) -> dict[str, object]:
    frame = samplings(values)
    return dict(trends(frame, ["lot"], day="day", value="value", **options).row(0, named=True))  # type: ignore[arg-type]


def row(values: list[float]) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    return np.array([values])


def p_by_permutations(values: list[float]) -> float:
    """Slow and obvious: every order of the values once."""
    orders = np.array(list(permutations(values)))
    first, second = np.triu_indices(len(values), k=1)
    s = np.sign(orders[:, second] - orders[:, first]).sum(axis=1)
    return float((np.abs(s) >= abs(s[0])).mean())


@UNHURRIED
@given(st.lists(st.integers(0, 3).map(float), min_size=2, max_size=7))
def test_exact_p_with_ties_is_that_of_all_permutations(values: list[float]) -> None:
    assert mann_kendall_p(row(values))[0] == pytest.approx(p_by_permutations(values), abs=1e-12)


@UNHURRIED
@given(st.lists(TENTHS, min_size=3, max_size=12, unique=True))
def test_exact_p_without_ties_is_that_of_scipy(values: list[float]) -> None:
    expected = stats.kendalltau(range(len(values)), values, method="exact").pvalue
    assert mann_kendall_p(row(values))[0] == pytest.approx(expected, abs=1e-9)


@UNHURRIED
@given(st.lists(st.integers(1, 4), min_size=1, max_size=5))
def test_the_null_distribution_is_one(sizes: list[int]) -> None:
    s, chance = null_of_s(tuple(sizes))
    assert chance.sum() == pytest.approx(1.0)
    np.testing.assert_array_equal(s, -s[::-1])
    assert chance == pytest.approx(chance[::-1])


@UNHURRIED
@given(st.lists(TENTHS, min_size=5, max_size=9, unique=True), st.data())
def test_slope_and_interval_are_those_of_scipy(values: list[float], data: st.DataObject) -> None:
    gaps = data.draw(st.lists(st.integers(3, 30), min_size=len(values), max_size=len(values)))
    days = np.cumsum(gaps).astype(float)
    slope, low, high, reached = theil_sen(days[None, :], row(values))
    expected = stats.theilslopes(values, days)
    assert slope[0] == pytest.approx(expected.slope, abs=1e-12)
    # SciPy uses the normal quantile; from five to nine samplings without ties it cuts off as many pair slopes.
    assert (low[0], high[0]) == pytest.approx((expected.low_slope, expected.high_slope), abs=1e-12)
    assert reached[0] >= 0.95


# 20,000 series without a slope: the interval must leave 0 out no more often than it says.
@pytest.mark.parametrize("n", [5, 6, 8])
def test_the_interval_holds_its_level(n: int) -> None:
    values = np.random.default_rng(20260406).normal(size=(20_000, n))
    days = np.broadcast_to(FORTNIGHTS[:n], values.shape)
    _, low, high, reached = theil_sen(days, values)
    assert ((low <= 0) & (high >= 0)).mean() == pytest.approx(reached[0], abs=0.004)


def test_no_interval_of_four_samplings() -> None:
    assert interval_cut(4)[0] == -1
    assert interval_cut(4, level=0.9)[0] == 0


@pytest.mark.parametrize(
    ("n", "reason", "has_slope", "has_p"),
    [
        (1, "too_few", False, False),
        (3, "too_few", False, False),
        (4, "not_judged", True, False),
        (5, None, True, True),
    ],
)
def test_too_few_samplings_say_so(n: int, reason: str | None, *, has_slope: bool, has_p: bool) -> None:
    figures = found([6.0 + 0.1 * nth for nth in range(n)])
    assert figures["reason"] == reason
    assert (figures["slope_per_week"] is not None) is has_slope
    assert (figures["residual_sd"] is not None) is has_slope
    for name in ("slope_low", "slope_high", "level_reached", "s", "p", "is_trend"):
        assert (figures[name] is not None) is has_p


def test_a_steady_rise_per_week() -> None:
    figures = found([5.8, 6.0, 6.2, 6.4, 6.6, 6.8])
    assert figures["slope_per_week"] == pytest.approx(0.1)
    assert (figures["slope_low"], figures["slope_high"]) == pytest.approx((0.1, 0.1))
    assert figures["p"] == pytest.approx(2 / 720)
    assert figures["is_trend"] is True
    assert figures["last_fit"] == pytest.approx(6.8)
    assert figures["residual_sd"] == pytest.approx(0.0, abs=1e-9)


def test_ups_and_downs_are_no_trend() -> None:
    figures = found([6.0, 6.2, 5.9, 6.1, 6.0, 6.1])
    assert figures["is_trend"] is False


def test_only_the_last_samplings_are_looked_at() -> None:
    figures = found([9.0, 3.0, 5.8, 6.0, 6.2, 6.4, 6.6, 6.8])
    assert figures["n"] == 6
    assert figures["slope_per_week"] == pytest.approx(0.1)


def test_a_change_begins_a_new_trend() -> None:
    frame = samplings([6.8, 6.6, 6.4, 5.8, 6.0, 6.2, 6.4, 6.6], segment=[1, 1, 1, 2, 2, 2, 2, 2])
    figures = trends(frame, ["lot"], day="day", value="value", segment="segment")
    assert figures["n"].to_list() == [5]
    assert figures["slope_per_week"].to_list() == pytest.approx([0.1])


def test_no_change_at_all_is_one_segment() -> None:
    frame = samplings([5.8, 6.0, 6.2, 6.4, 6.6]).with_columns(segment=pl.lit(None, dtype=pl.Int64))
    assert trends(frame, ["lot"], day="day", value="value", segment="segment")["n"].to_list() == [5]


def test_two_samplings_of_a_day_are_one() -> None:
    frame = samplings([5.8, 6.0, 6.2, 6.4, 6.6])
    twice = pl.concat([frame, frame.tail(1).with_columns(value=pl.lit(6.8))])
    figures = trends(twice, ["lot"], day="day", value="value")
    assert figures["n"].to_list() == [5]
    assert figures["last_fit"].to_list() == pytest.approx([6.6], abs=0.05)


def test_missing_means_are_left_out() -> None:
    assert found([5.8, None, 6.0, 6.2, 6.4])["n"] == 4


def test_equal_means_are_tied_whatever_their_last_bits() -> None:
    values = [0.1 + 0.2, 0.3, 0.3, 0.1 + 0.2, 0.3]
    assert kendall_s(row(values))[0] == 0
    assert mann_kendall_p(row(values))[0] == 1.0


def test_lots_do_not_mix() -> None:
    many = pl.concat(
        [samplings([5.8 + 0.1 * nth for nth in range(size)], lot=f"L{size}") for size in (6, 3, 4, 5)]
    )
    figures = trends(many, ["lot"], day="day", value="value")
    assert figures["lot"].to_list() == ["L3", "L4", "L5", "L6"]
    assert figures["n"].to_list() == [3, 4, 5, 6]
    for size in (4, 5, 6):
        alone = found([5.8 + 0.1 * nth for nth in range(size)])
        together = figures.row(by_predicate=pl.col("lot") == f"L{size}", named=True)
        assert together["slope_per_week"] == alone["slope_per_week"]
        assert together["p"] == alone["p"]


@UNHURRIED
@given(SERIES, st.integers(-30, 30), st.sampled_from([-2.0, 0.5, 3.0]))
def test_shift_and_scale(values: list[float], tenths: int, factor: float) -> None:
    days = FORTNIGHTS[None, : len(values)]
    slope, low, high, _ = theil_sen(days, row(values))
    moved = row([value * factor + tenths / 10 for value in values])
    scaled, scaled_low, scaled_high, _ = theil_sen(days, moved)
    ends = (low[0] * factor, high[0] * factor)
    assert scaled[0] == pytest.approx(slope[0] * factor, abs=1e-9)
    assert (scaled_low[0], scaled_high[0]) == pytest.approx(
        (min(ends), max(ends)) if len(values) > 4 else ends, abs=1e-9, nan_ok=True
    )
    assert mann_kendall_p(moved)[0] == pytest.approx(mann_kendall_p(row(values))[0])


@UNHURRIED
@given(SERIES)
def test_backwards_is_the_other_way(values: list[float]) -> None:
    assert kendall_s(row(values[::-1]))[0] == -kendall_s(row(values))[0]
    assert mann_kendall_p(row(values[::-1]))[0] == mann_kendall_p(row(values))[0]


def test_the_normal_score_comes_near_the_exact_p() -> None:
    values = np.random.default_rng(1).normal(size=(200, 12)).round(1)
    _, z = mann_kendall_z(values)
    assert 2 * stats.norm.sf(np.abs(z)) == pytest.approx(mann_kendall_p(values), abs=0.02)


def test_more_than_can_be_judged_exactly_is_refused() -> None:
    with pytest.raises(ValueError, match="the last 13 samplings; at most 12 can be judged exactly"):
        found([6.0, 6.1], last=13)


def test_no_lots() -> None:
    assert trends(samplings([]), ["lot"], day="day", value="value").height == 0
