"""Outlier pots: found, shown beside, never dropped; silent where the pots are too few or all alike."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pipeline.measures.outliers import (
    LEAST_DISTANCE,
    depends_on_outlier,
    is_outlier,
    modified_z_scores,
    score_pots,
    with_and_without,
)
from tests.measures.series import pots

UNHURRIED = settings(deadline=None)
PH = LEAST_DISTANCE["ph"]
POTS = st.lists(st.integers(400, 800).map(lambda hundredths: hundredths / 100), min_size=5, max_size=9)


def found(values: Sequence[float | None]) -> dict[str, object]:
    return dict(with_and_without(pots(values), ["lot"], "value", PH).row(0, named=True))


def test_one_pot_unlike_the_others() -> None:
    figures = found([5.8, 5.9, 5.9, 6.0, 7.2])
    assert (figures["n"], figures["n_outliers"], figures["n_without"]) == (5, 1, 4)
    assert figures["mean"] == pytest.approx(6.16)
    assert figures["mean_without"] == pytest.approx(5.9)
    assert figures["reason"] is None


def test_intervals_with_and_without_are_those_of_scipy() -> None:
    figures = found([5.8, 5.9, 5.9, 6.0, 7.2])
    for ending, values in (("", [5.8, 5.9, 5.9, 6.0, 7.2]), ("_without", [5.8, 5.9, 5.9, 6.0])):
        expected = stats.t.interval(0.95, len(values) - 1, np.mean(values), stats.sem(values))
        assert (figures[f"ci_low{ending}"], figures[f"ci_high{ending}"]) == pytest.approx(expected)


# The score of 6.24 is 4.7: far enough out by the score, but nobody would act on 0.29 pH.
@pytest.mark.parametrize(("odd", "outliers"), [(6.24, 0), (6.25, 1)])
def test_the_least_distance_counts_from_its_edge(odd: float, outliers: int) -> None:
    assert found([5.91, 5.95, 5.95, 5.99, odd])["n_outliers"] == outliers


def test_no_outlier_leaves_nothing_to_show_beside() -> None:
    figures = found([5.8, 5.9, 5.9, 6.0, 6.1])
    assert figures["n_outliers"] == 0
    assert figures["mean_without"] is None
    assert figures["n_without"] is None


def test_more_than_half_alike() -> None:
    assert found([6.0, 6.0, 6.0, 6.0, 6.5])["n_outliers"] == 1


def test_pots_all_alike_but_one_have_no_interval_without_it() -> None:
    figures = found([5.8, 5.8, 5.8, 5.8, 6.2])
    assert (figures["n_outliers"], figures["mean_without"], figures["sd_without"]) == (1, 5.8, 0.0)
    assert (figures["ci_low_without"], figures["ci_high_without"]) == (None, None)
    assert figures["ci_low"] is not None


def test_too_few_pots_are_not_judged() -> None:
    figures = found([5.9, 5.9, 5.9, 7.0])
    assert (figures["n_outliers"], figures["reason"]) == (None, "too_few")
    assert score_pots(pots([5.9, 5.9, 5.9, 7.0]), ["lot"], "value", PH)["is_outlier"].to_list() == [None] * 4


def test_pots_all_alike_have_no_score() -> None:
    figures = found([5.9] * 5)
    assert (figures["n_outliers"], figures["reason"]) == (0, "no_spread")
    assert score_pots(pots([5.9] * 5), ["lot"], "value", PH)["modified_z"].to_list() == [None] * 5


@pytest.mark.parametrize(("n", "is_given"), [(6, False), (7, True)])
def test_grubbs_stands_beside_from_seven_pots(n: int, *, is_given: bool) -> None:
    figures = found([5.9 + 0.01 * nth for nth in range(n - 1)] + [8.0])
    assert (figures["grubbs_g"] is not None) is is_given
    assert figures["is_grubbs_outlier"] is (True if is_given else None)


def test_grubbs_has_no_limit_where_all_are_alike() -> None:
    figures = found([5.9] * 7)
    assert (figures["grubbs_g"], figures["grubbs_critical"], figures["is_grubbs_outlier"]) == (None,) * 3


def test_grubbs_says_no_to_even_pots() -> None:
    assert found([5.7, 5.8, 5.9, 6.0, 6.1, 6.2, 6.3])["is_grubbs_outlier"] is False


def test_each_pot_with_its_score() -> None:
    scored = score_pots(pots([5.8, 5.9, None, 5.9, 6.0, 7.2]), ["lot"], "value", PH)
    assert scored["is_outlier"].to_list() == [False, False, False, False, True]
    assert scored["modified_z"].to_list() == pytest.approx([-0.6745, 0, 0, 0.6745, 13 * 0.6745])
    assert scored["score_by"].unique().to_list() == ["mad"]


@pytest.mark.parametrize(
    ("mean", "without", "depends"),
    [(6.3, 5.9, True), (5.9, 6.0, False), (6.2, 6.0, False), (6.0, None, None)],
)
def test_whether_one_pot_decides(mean: float, without: float | None, *, depends: bool | None) -> None:
    frame = pl.DataFrame(
        {"mean": [mean], "without": [without]}, schema={"mean": pl.Float64, "without": pl.Float64}
    )
    decides = depends_on_outlier(pl.col("mean"), pl.col("without"), pl.lit(5.8), pl.lit(6.2))
    assert frame.select(decides).item() is depends


# SciPy's MAD is the same quantity, scaled.
@UNHURRIED
@given(POTS)
def test_scores_are_those_of_scipy(values: list[float]) -> None:
    scores = modified_z_scores(np.array([values]))
    mad = float(stats.median_abs_deviation(values))
    assert scores.mad[0] == pytest.approx(mad, abs=1e-12)
    if mad > 1e-9:
        assert scores.score[0] == pytest.approx(0.6745 * (np.array(values) - np.median(values)) / mad)


@UNHURRIED
@given(POTS, st.integers(-100, 100))
def test_a_shift_changes_no_outlier(values: list[float], hundredths: int) -> None:
    before, after = np.array([values]), np.array([values]) + hundredths / 100
    np.testing.assert_array_equal(is_outlier(before, PH), is_outlier(after, PH))


@UNHURRIED
@given(POTS)
def test_the_order_of_pots_does_not_matter(values: list[float]) -> None:
    shuffled = sorted(values)
    first = with_and_without(pots(values), ["lot"], "value", PH)
    second = with_and_without(pots(shuffled), ["lot"], "value", PH)
    assert first["n_outliers"].to_list() == second["n_outliers"].to_list()


def test_no_samplings() -> None:
    assert with_and_without(pots([]), ["lot"], "value", PH).height == 0
    assert score_pots(pots([]), ["lot"], "value", PH).height == 0
