"""Measures on generated data against SciPy, where the tests of a measure of its own do not have it beside them."""

from __future__ import annotations

from datetime import timedelta
from math import floor

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from pipeline.measures.contrasts import hedges_g, welch_df
from pipeline.measures.drift import D2_OF_TWO, D4_OF_TWO, moving_ranges, run_rules, spread_of
from pipeline.measures.electrodes import fit_electrode
from pipeline.measures.outliers import grubbs_critical, grubbs_statistic
from tests.measures.series import FIRST_DAY
from tests.measures.test_forecast import forecast

UNHURRIED = settings(deadline=None, max_examples=50)
SEED = 20260406
HUNDREDTHS = st.integers(400, 800).map(lambda hundredths: hundredths / 100)
POTS = st.lists(HUNDREDTHS, min_size=3, max_size=12).filter(lambda values: len(set(values)) > 1)


@UNHURRIED
@given(POTS)
def test_grubbs_statistic_is_the_largest_z_score_of_scipy(values: list[float]) -> None:
    expected = np.abs(stats.zscore(values, ddof=1)).max()
    assert grubbs_statistic(np.array([values]))[0] == pytest.approx(expected)


# Up to n of 14 or so only one pot can lie beyond the critical value, so 5 % are exact where nothing is odd.
@pytest.mark.parametrize("n", [7, 10, 12])
def test_grubbs_test_speaks_of_normal_pots_in_5_of_100(n: int) -> None:
    pots = np.random.default_rng(SEED).normal(6.0, 0.15, size=(20_000, n))
    found = int((grubbs_statistic(pots) > grubbs_critical(np.array([float(n)]))).sum())
    assert stats.binomtest(found, 20_000, 0.05).pvalue > 0.001


@UNHURRIED
@given(POTS, POTS)
def test_hedges_g_is_the_t_of_equal_spreads_without_its_bias(first: list[float], second: list[float]) -> None:
    n_1, n_2 = float(len(first)), float(len(second))
    sds = np.std(first, ddof=1), np.std(second, ddof=1)
    g, _ = hedges_g(
        *(np.array([one]) for one in (np.mean(first) - np.mean(second), sds[0], n_1, sds[1], n_2))
    )
    df = n_1 + n_2 - 2
    d = stats.ttest_ind(first, second).statistic * np.sqrt(1 / n_1 + 1 / n_2)
    exact = special.gamma(df / 2) / (np.sqrt(df / 2) * special.gamma((df - 1) / 2))
    assert g[0] == pytest.approx(d * (1 - 3 / (4 * df - 1)), abs=1e-9)
    # The printed correction stands for one with gamma functions; from four degrees of freedom it is near.
    assert g[0] == pytest.approx(d * exact, rel=0.004)


@UNHURRIED
@given(POTS, POTS)
def test_welchs_degrees_of_freedom_are_those_of_scipy(first: list[float], second: list[float]) -> None:
    sds = [np.array([np.std(values, ddof=1)]) for values in (first, second)]
    ns = [np.array([float(len(values))]) for values in (first, second)]
    expected = stats.ttest_ind(first, second, equal_var=False).df
    assert welch_df(sds[0], ns[0], sds[1], ns[1])[0] == pytest.approx(expected)


def test_the_factors_of_moving_ranges_are_those_of_a_half_normal() -> None:
    ranges = stats.halfnorm(scale=np.sqrt(2))
    assert ranges.mean() == pytest.approx(D2_OF_TWO, abs=0.0005)
    assert 1 + 3 * ranges.std() / ranges.mean() == pytest.approx(D4_OF_TWO, abs=0.0005)
    values = np.random.default_rng(SEED).normal(6.0, 0.15, size=(200, 500))
    assert np.nanmean(moving_ranges(values)) == pytest.approx(0.15 * ranges.mean(), rel=0.01)
    assert spread_of(values).mean() == pytest.approx(0.15, rel=0.01)


RUN_CHANCES = {
    "we1": 2 * stats.norm.sf(3),
    "we2": 2 * stats.norm.sf(2) * stats.binom.sf(0, 2, stats.norm.sf(2)),
    "we3": 2 * stats.norm.sf(1) * stats.binom.sf(2, 4, stats.norm.sf(1)),
    "we4": 2 * 0.5**8,
    "nelson3": 2 / special.factorial(6),
}


# One point of each series that has nothing to tell: the ninth, so that every rule has its points behind it.
@pytest.mark.parametrize("rule", RUN_CHANCES)
def test_a_run_rule_speaks_as_often_as_chance_has_it(rule: str) -> None:
    series = 300_000
    z = np.random.default_rng(SEED).normal(size=(series, 9))
    found = int(run_rules(z)[rule][:, -1].sum())
    assert stats.binomtest(found, series, RUN_CHANCES[rule]).pvalue > 0.001


@UNHURRIED
@given(
    st.lists(st.sampled_from([1.68, 4.0, 7.0, 9.18, 10.01]), min_size=2, max_size=5, unique=True),
    st.lists(st.integers(-200, 200), min_size=5, max_size=5),
)
def test_an_electrodes_line_is_that_of_scipy(ph: list[float], mv: list[int]) -> None:
    line = stats.linregress(np.array(ph) - 7.0, mv[: len(ph)])
    slope, offset, _ = fit_electrode(np.array([ph]), np.array([mv[: len(ph)]], dtype=np.float64))
    assert (slope[0], offset[0]) == pytest.approx((line.slope, line.intercept), abs=1e-6)


@UNHURRIED
@given(st.lists(st.integers(3, 6), min_size=5, max_size=5))
def test_the_likely_day_is_where_scipys_line_meets_the_edge(hundredths: list[int]) -> None:
    values = np.round(6.0 + np.cumsum([0, *hundredths]) / 100, 2).tolist()
    days = np.arange(len(values)) * 14.0
    line = stats.theilslopes(values, days)
    found = forecast(values, low=5.0, high=6.4)
    meets = (6.4 - line.intercept) / line.slope
    assert found["heads_for"] == "high"
    assert found["likely_on"] == FIRST_DAY + timedelta(days=max(floor(meets + 1e-6), int(days[-1])))
