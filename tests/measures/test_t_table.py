"""The t table, half-widths and sample sizes as columns: shapes, nulls, and an obvious second computation."""

from __future__ import annotations

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pipeline.measures.t_table import pots_for, required_n, t_quantiles, z_quantile

# Example times vary with what else the machine does; only results are judged.
UNHURRIED = settings(deadline=None)


def smallest_n_by_counting(sd: float, d: float) -> int:
    """Try n = 2, 3, 4 ... until the pots are enough."""
    n = 2
    while (float(stats.t.ppf(0.975, n - 1)) * sd / d) ** 2 > n:
        n += 1
    return n


def test_t_quantiles_columns() -> None:
    table = t_quantiles(max_df=3)
    assert table.schema == {"df": pl.Int32, "level": pl.Float64, "t": pl.Float64}
    assert table["df"].to_list() == [1, 2, 3]
    assert table["level"].unique().to_list() == [0.95]


def test_t_quantiles_fall_towards_the_normal_quantile() -> None:
    t = t_quantiles(max_df=400)["t"]
    assert t.len() == 400
    assert t.is_sorted(descending=True)
    assert z_quantile() < t[-1] < z_quantile() + 0.01


@pytest.mark.parametrize("level", [0.80, 0.90, 0.95, 0.99])
def test_t_quantiles_are_two_sided(level: float) -> None:
    table = t_quantiles(max_df=50, level=level)
    covered = stats.t.cdf(table["t"], table["df"]) - stats.t.cdf(-table["t"], table["df"])
    assert covered == pytest.approx([level] * 50, abs=1e-12)


@UNHURRIED
@given(st.lists(st.floats(min_value=0.001, max_value=6.0), max_size=8))
def test_required_n_is_the_smallest_that_is_enough(ratios: list[float]) -> None:
    found = required_n(pl.Series(ratios, dtype=pl.Float64), 1.0)
    assert found.dtype == pl.Int64
    assert found.to_list() == [smallest_n_by_counting(ratio, 1.0) for ratio in ratios]


def test_required_n_without_an_answer() -> None:
    assert required_n(pl.Series([None, 0.0, float("nan"), 0.2]), 0.2).to_list() == [None, None, None, 7]


def test_two_pots_say_nothing_about_how_many_are_needed() -> None:
    spreads = pl.DataFrame({"n": [2, 3], "sd": [0.2, 0.2]})
    assert pots_for(spreads, 0.2).to_list() == [None, 7]


def test_required_n_of_no_rows() -> None:
    assert required_n(pl.Series([], dtype=pl.Float64), 0.2).to_list() == []


@pytest.mark.parametrize("d", [0.0, -0.2, float("nan")])
def test_required_n_refuses_a_precision_that_is_not_positive(d: float) -> None:
    with pytest.raises(ValueError, match=r"precision is .*; it must be above 0"):
        required_n(pl.Series([0.2]), d)
