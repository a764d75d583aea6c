"""Drift charts: baseline first, then the watch; anew at each change; silent where the samplings are too few."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.measures.drift import (
    LAMBDA,
    RULES,
    drift_charts,
    ewma,
    ewma_half_width,
    moving_ranges,
    run_rules,
    spread_of,
)
from tests.measures.series import samplings

UNHURRIED = settings(deadline=None)
STEADY = [6.0, 6.1, 5.9, 6.0, 6.1]
CHART_COLUMNS = ["centre", "sigma", "z", "ewma", "ewma_low", "ewma_high", "moving_range", "moving_range_high"]
VALUES = st.lists(st.floats(-100, 100), min_size=1, max_size=20)


def chart(values: list[float], segment: list[int] | None = None, least_sigma: float = 0.0) -> pl.DataFrame:
    frame = samplings(values, segment=segment)
    return drift_charts(frame, ["lot"], day="day", value="value", segment="segment", least_sigma=least_sigma)


def ewma_by_hand(values: list[float], start: float, weight: float) -> list[float]:
    smooth = []
    for value in values:
        start = weight * value + (1 - weight) * start
        smooth.append(start)
    return smooth


@UNHURRIED
@given(VALUES, st.floats(-100, 100), st.sampled_from([0.1, 0.3, 1.0]))
def test_ewma_by_hand(values: list[float], start: float, weight: float) -> None:
    found = ewma(np.array([values]), np.array([start]), weight)
    assert found[0] == pytest.approx(ewma_by_hand(values, start, weight), abs=1e-9)


# Polars' own exponentially weighted mean, begun at the centre.
@UNHURRIED
@given(VALUES)
def test_ewma_of_polars(values: list[float]) -> None:
    expected = pl.Series([0.0, *values]).ewm_mean(alpha=LAMBDA, adjust=False)[1:]
    assert ewma(np.array([values]), np.zeros(1))[0] == pytest.approx(expected.to_numpy(), abs=1e-9)


# 40,000 baselines of five and what follows: the limits hold for an estimated centre, and for a known one.
@pytest.mark.parametrize("baseline", [5, None])
def test_the_limits_are_three_sds_of_the_ewma(baseline: int | None) -> None:
    values = np.random.default_rng(7).normal(size=(40_000, 15))
    centre = values[:, :5].mean(axis=1) if baseline else np.zeros(40_000)
    off = ewma(values[:, 5:], centre) - centre[:, None]
    half = ewma_half_width(np.arange(1.0, 11.0)[None, :], np.ones((1, 1)), baseline=baseline)
    assert off.std(axis=0) == pytest.approx(half[0] / 3, rel=0.02)


def test_moving_ranges_and_their_spread() -> None:
    values = np.array([[1.0, 3.0, 2.0, np.nan]])
    np.testing.assert_array_equal(moving_ranges(values), [[np.nan, 2.0, 1.0, np.nan]])
    assert spread_of(values)[0] == pytest.approx(1.5 / 1.128)
    assert np.isnan(spread_of(np.array([[1.0, np.nan]]))[0])


def test_the_baseline_comes_first() -> None:
    found = chart([*STEADY, 6.05, 6.0])
    assert found["reason"].to_list() == ["baseline"] * 5 + [None, None]
    assert found["nth"].to_list() == [1, 2, 3, 4, 5, 6, 7]
    assert found["centre"].to_list()[5:] == pytest.approx([6.02, 6.02])
    assert found["sigma"].to_list()[5:] == pytest.approx([0.125 / 1.128] * 2)
    assert found["ewma"].to_list()[5:] == pytest.approx(ewma_by_hand([6.05, 6.0], 6.02, 0.3))
    assert found["ewma_side"].to_list()[5:] == [None, None]
    for name in [*CHART_COLUMNS, *RULES, "is_moving_range_high"]:
        assert found[name].to_list()[:5] == [None] * 5


def test_too_few_samplings_say_so() -> None:
    found = chart(STEADY)
    assert found["reason"].to_list() == ["too_few"] * 5
    assert found.select(CHART_COLUMNS).null_count().row(0) == (5,) * len(CHART_COLUMNS)


@pytest.mark.parametrize(("step", "side"), [(0.5, "high"), (-0.5, "low")])
def test_a_step_is_seen(step: float, side: str) -> None:
    found = chart([*STEADY, *(value + step for value in STEADY)])
    assert found["ewma_side"].to_list()[5:] == [side] * 5
    assert found["we1"].to_list()[5] is True


def test_a_large_move_is_seen_by_the_moving_range() -> None:
    found = chart([*STEADY, 7.0, 7.0])
    assert found["is_moving_range_high"].to_list()[5:] == [True, False]


def test_a_change_begins_a_new_chart() -> None:
    found = chart([*STEADY, 6.0, 7.0, 7.1], [1, 1, 1, 1, 1, 1, 2, 2])
    assert found["nth"].to_list() == [1, 2, 3, 4, 5, 6, 1, 2]
    assert found["reason"].to_list() == ["baseline"] * 5 + [None] + ["too_few"] * 2


def test_a_baseline_all_alike_has_no_limits() -> None:
    assert chart([6.0] * 7)["reason"].to_list()[5:] == ["no_spread"] * 2
    floored = chart([6.0] * 7, least_sigma=0.07)
    assert floored["reason"].to_list()[5:] == [None, None]
    assert floored["sigma"].to_list()[5:] == [0.07, 0.07]


def test_the_pots_alone_give_the_least_spread() -> None:
    assert chart([*STEADY, 6.0], least_sigma=0.5)["sigma"][5] == 0.5
    assert chart([*STEADY, 6.0], least_sigma=0.01)["sigma"][5] == pytest.approx(0.125 / 1.128)


def test_lots_do_not_mix() -> None:
    both = pl.concat([samplings([*STEADY, 6.5], lot="B"), samplings([5.0, *STEADY, 6.0, 6.1], lot="A")])
    found = drift_charts(both, ["lot"], day="day", value="value")
    alone = drift_charts(both.filter(pl.col("lot") == "B"), ["lot"], day="day", value="value")
    assert found.filter(pl.col("lot") == "B").equals(alone)


def test_six_steadily_up() -> None:
    rising = np.array([[0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.5, 0.6]])
    assert np.flatnonzero(run_rules(rising)["nelson3"][0]).tolist() == [5]
    assert not run_rules(rising[:, :5])["nelson3"].any()
    assert np.flatnonzero(run_rules(-rising)["nelson3"][0]).tolist() == [5]


@UNHURRIED
@given(st.lists(st.floats(-4, 4), min_size=1, max_size=15))
def test_run_rules_know_no_side(z: list[float]) -> None:
    above, below = run_rules(np.array([z])), run_rules(-np.array([z]))
    for rule in RULES:
        np.testing.assert_array_equal(above[rule], below[rule])


@UNHURRIED
@given(
    st.lists(st.integers(40, 80).map(lambda tenths: tenths / 10), min_size=6, max_size=12),
    st.integers(-20, 20),
    st.sampled_from([0.5, 2.0]),
)
def test_shift_and_scale(values: list[float], tenths: int, factor: float) -> None:
    before = chart(values, least_sigma=0.01)
    after = chart([value * factor + tenths / 10 for value in values], least_sigma=0.01 * factor)
    for name in ("centre", "ewma", "ewma_high"):
        expected = (before[name] * factor + tenths / 10).to_numpy()
        assert after[name].to_numpy() == pytest.approx(expected, abs=1e-9, nan_ok=True)


def test_a_baseline_of_two_is_refused() -> None:
    with pytest.raises(ValueError, match="a baseline of 2 samplings; it takes at least 3"):
        drift_charts(samplings(STEADY), ["lot"], day="day", value="value", baseline=2)


def test_no_lots() -> None:
    assert drift_charts(samplings([]), ["lot"], day="day", value="value").height == 0
