"""Two groups of pots: against SciPy, ties included; words that say no more than the numbers allow."""

from __future__ import annotations

import warnings
from collections.abc import Sequence

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pipeline.measures.contrasts import MOST_DEALS, contrasts, mann_whitney, smallest_p

UNHURRIED = settings(deadline=None, max_examples=50)
TENTHS = st.integers(50, 70).map(lambda tenths: tenths / 10)
GROUP = st.lists(TENTHS, min_size=2, max_size=6)


def rows(affected: Sequence[float | None], healthy: Sequence[float | None], lot: str = "A") -> pl.DataFrame:
    values = [*affected, *healthy]
    return pl.DataFrame(
        {
            "lot": [lot] * len(values),
            "group": ["affected"] * len(affected) + ["healthy"] * len(healthy),
            "value": values,
        },
        schema={"lot": pl.String, "group": pl.String, "value": pl.Float64},
    )


def compare(frame: pl.DataFrame, least_difference: float = 0.0) -> pl.DataFrame:
    return contrasts(
        frame,
        ["lot"],
        value="value",
        group="group",
        first="affected",
        second="healthy",
        least_difference=least_difference,
    )


def found(
    affected: Sequence[float | None], healthy: Sequence[float | None], least: float = 0.0
) -> dict[str, object]:
    return dict(compare(rows(affected, healthy), least).row(0, named=True))


def p_of(first: list[float], second: list[float]) -> float:
    values = np.array([[*first, *second]])
    return float(mann_whitney(values, np.array([len(first)]), np.array([len(second)]))[1][0])


@UNHURRIED
@given(GROUP, GROUP)
def test_exact_p_with_ties_is_that_of_all_permutations(first: list[float], second: list[float]) -> None:
    method = stats.PermutationMethod(n_resamples=10_000)
    expected = stats.mannwhitneyu(first, second, method=method)
    assert p_of(first, second) == pytest.approx(expected.pvalue, abs=1e-9)


@UNHURRIED
@given(st.lists(TENTHS, min_size=4, max_size=14, unique=True))
def test_exact_p_without_ties_is_that_of_scipy(values: list[float]) -> None:
    first, second = values[::2], values[1::2]
    expected = stats.mannwhitneyu(first, second, method="exact")
    assert p_of(first, second) == pytest.approx(expected.pvalue, abs=1e-9)


@UNHURRIED
@given(st.lists(TENTHS, min_size=9, max_size=12), st.lists(TENTHS, min_size=9, max_size=12))
def test_many_pots_by_the_normal_form(first: list[float], second: list[float]) -> None:
    expected = stats.mannwhitneyu(first, second, method="asymptotic")
    values = np.array([[*first, *second]])
    _, p, is_exact = mann_whitney(values, np.array([len(first)]), np.array([len(second)]))
    assert not is_exact[0]
    assert p[0] == pytest.approx(np.nan_to_num(expected.pvalue, nan=1.0), abs=1e-9)


@UNHURRIED
@given(GROUP, GROUP)
def test_welch_is_that_of_scipy(first: list[float], second: list[float]) -> None:
    figures = found(first, second)
    if len(set(first)) == 1 and len(set(second)) == 1:
        assert (figures["ci_low"], figures["p_welch"], figures["reason"]) == (None, None, "no_spread")
        return
    with warnings.catch_warnings():
        # SciPy warns where a group is all alike; its figures still hold.
        warnings.simplefilter("ignore", RuntimeWarning)
        expected = stats.ttest_ind(first, second, equal_var=False)
    interval = expected.confidence_interval(0.95)
    assert figures["df"] == pytest.approx(expected.df, rel=1e-6)
    assert figures["p_welch"] == pytest.approx(expected.pvalue, abs=1e-7)
    assert (figures["ci_low"], figures["ci_high"]) == pytest.approx((interval.low, interval.high), abs=1e-6)


@UNHURRIED
@given(GROUP, GROUP)
def test_the_other_way_round(first: list[float], second: list[float]) -> None:
    one, two = found(first, second), found(second, first)
    assert one["difference"] == pytest.approx(-two["difference"])  # type: ignore[operator]
    assert one["p"] == pytest.approx(two["p"])
    assert one["word"] == two["word"]
    assert one["u"] + two["u"] == len(first) * len(second)  # type: ignore[operator]


@UNHURRIED
@given(GROUP, GROUP, st.integers(-20, 20))
def test_a_shift_changes_nothing(first: list[float], second: list[float], tenths: int) -> None:
    before = found(first, second)
    after = found([x + tenths / 10 for x in first], [x + tenths / 10 for x in second])
    assert after["p"] == before["p"]
    assert after["hedges_g"] == pytest.approx(before["hedges_g"])


def test_a_clear_difference() -> None:
    figures = found([5.1, 5.2, 5.3, 5.2, 5.1], [5.9, 6.0, 6.1, 6.0, 5.9])
    assert figures["word"] == "clear"
    assert figures["difference"] == pytest.approx(-0.8)
    assert figures["p_exact"] == pytest.approx(2 / 252)


def test_a_difference_that_nobody_would_care_for() -> None:
    pots = ([5.91, 5.92, 5.93, 5.92, 5.91], [5.96, 5.97, 5.98, 5.97, 5.96])
    assert found(*pots)["word"] == "clear"
    assert found(*pots, 0.2)["word"] == "not_clear"


def test_ph_and_ec_do_not_explain_it() -> None:
    assert found([5.8, 6.0, 6.2, 5.9, 6.1], [5.9, 6.1, 6.0, 6.2, 5.8])["word"] == "not_clear"


# Three against three: 0.1 at best, however far apart they are.
@pytest.mark.parametrize(
    ("n_1", "n_2", "word"), [(3, 3, "too_few"), (3, 4, "too_few"), (3, 5, "clear"), (4, 4, "clear")]
)
def test_too_few_pots_say_so(n_1: int, n_2: int, word: str) -> None:
    figures = found([4.0 + nth / 100 for nth in range(n_1)], [7.0 + nth / 100 for nth in range(n_2)])
    assert figures["word"] == word
    assert figures["smallest_p"] == pytest.approx(smallest_p(n_1, n_2))


@pytest.mark.parametrize(("affected", "healthy"), [([], [6.0, 6.1]), ([5.0], [6.0, 6.1, 6.2, 6.3, 6.4, 6.5])])
def test_a_group_without_an_interval(affected: list[float], healthy: list[float]) -> None:
    figures = found(affected, healthy)
    assert figures["word"] == "too_few"
    assert figures["ci_low"] is None
    assert (figures["difference"] is None) is (not affected)


def test_groups_all_alike_have_no_interval_and_the_exact_test_speaks_alone() -> None:
    figures = found([5.8] * 5, [6.0] * 5)
    assert (figures["ci_low"], figures["hedges_g"], figures["reason"]) == (None, None, "no_spread")
    assert figures["p"] == pytest.approx(2 / 252)
    assert figures["word"] == "clear"
    assert found([5.8] * 3, [6.0] * 3)["word"] == "too_few"
    assert found([5.8] * 5, [5.8] * 5)["word"] == "not_clear"


def test_other_groups_and_missing_values_are_left_out() -> None:
    frame = rows([5.1, None, 5.2, 5.3], [5.9, 6.0, 6.1])
    other = frame.with_columns(group=pl.lit("edge"))
    assert compare(pl.concat([frame, other])).equals(compare(frame))
    assert compare(frame)["n_first"].to_list() == [3]


def test_contrasts_do_not_mix() -> None:
    both = pl.concat(
        [rows([5.1, 5.2, 5.3, 5.4], [5.9, 6.0, 6.1, 6.3], "B"), rows([6.0, 6.2], [6.1, 6.3, 6.4], "A")]
    )
    alone = compare(both.filter(pl.col("lot") == "B"))
    assert compare(both).filter(pl.col("lot") == "B").equals(alone)


def test_the_largest_exact_test() -> None:
    assert 2 / smallest_p(8, 8) <= MOST_DEALS < 2 / smallest_p(9, 9)


def test_no_contrasts() -> None:
    assert compare(rows([], [])).height == 0
