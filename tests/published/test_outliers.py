"""Outlier tests against worked examples."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.measures.outliers import (
    grubbs_critical,
    grubbs_statistic,
    is_outlier,
    modified_z_scores,
    with_and_without,
)
from tests.published.worked import floats, read_worked


# NIST/SEMATECH e-Handbook, 1.3.5.17.1 (from memory, recomputed): G = 2.4687 for 245.57; printed to four decimals.
def test_uranium_statistic() -> None:
    values = floats(read_worked("grubbs_uranium"), "value").to_numpy()[None, :]
    assert grubbs_statistic(values)[0] == pytest.approx(2.4687, abs=1e-4)
    # Full precision, computed outside of this project.
    assert grubbs_statistic(values)[0] == pytest.approx(2.46876461121245, abs=1e-9)


# The handbook tests the largest value only: its 2.032 is the one-sided 5 % point, so the two-sided one at 10 %.
@pytest.mark.parametrize(
    ("alpha", "expected", "tolerance"), [(0.10, 2.032, 5e-4), (0.05, 2.12664508719547, 1e-6)]
)
def test_uranium_critical_values(alpha: float, expected: float, tolerance: float) -> None:
    assert grubbs_critical(np.array([8.0]), alpha)[0] == pytest.approx(expected, abs=tolerance)


def test_uranium_is_an_outlier_either_way() -> None:
    frame = pl.DataFrame({"lot": 1, "value": floats(read_worked("grubbs_uranium"), "value")})
    found = with_and_without(frame, ["lot"], "value", 0.5)
    assert found["is_grubbs_outlier"].to_list() == [True]


# Two-sided 5 % points as ASTM E178 prints them (from memory).
PRINTED = {3: 1.155, 4: 1.481, 5: 1.715, 6: 1.887, 7: 2.020, 8: 2.126, 9: 2.215, 10: 2.290}


@pytest.mark.parametrize(("n", "printed"), PRINTED.items())
def test_critical_values_as_printed(n: int, printed: float) -> None:
    assert grubbs_critical(np.array([float(n)]))[0] == pytest.approx(printed, abs=0.001)


# Full precision, computed outside of this project.
def test_critical_values_in_full_precision() -> None:
    worked = read_worked("grubbs_critical_two_sided")
    found = grubbs_critical(floats(worked, "n").to_numpy())
    # n = 4 is 1.48125 exactly.
    assert found == pytest.approx(floats(worked, "g_0.05_two_sided").to_numpy(), abs=1e-9)


# Data: Wikipedia, 'Median absolute deviation' (from memory): median 2, MAD 1. Score and limit: Iglewicz and Hoaglin
# 1993, quoted in NIST/SEMATECH e-Handbook 1.3.5.17: only 9 is above 3.5.
def test_modified_z_scores() -> None:
    values = floats(read_worked("median_absolute_deviation"), "value").to_numpy()[None, :]
    scores = modified_z_scores(values)
    assert (scores.median[0], scores.mad[0]) == (2.0, 1.0)
    expected = [-0.6745, -0.6745, 0.0, 0.0, 1.349, 2.698, 4.7215]
    assert scores.score[0] == pytest.approx(expected, abs=1e-9)
    assert is_outlier(values, 0.5)[0].tolist() == [False] * 6 + [True]


# Constructed, computed outside of this project: with a MAD of 0 the mean absolute deviation stands in.
def test_score_where_more_than_half_are_equal() -> None:
    values = floats(read_worked("median_absolute_deviation_zero"), "value").to_numpy()[None, :]
    scores = modified_z_scores(values)
    assert scores.mad[0] == 0.0
    assert scores.mean_deviation[0] == pytest.approx(0.2, abs=1e-12)
    assert scores.score[0] == pytest.approx([0.0, 0.0, 0.0, 0.0, 3.98942324110319], abs=1e-9)
