"""Slopes and trend tests against worked examples and printed tables."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.measures.trend import (
    kendall_s,
    mann_kendall_p,
    mann_kendall_z,
    null_of_s,
    smallest_p,
    theil_sen,
    trends,
)
from tests.published.worked import floats, read_worked

# Kendall; Gilbert 1987, Table A18 (three decimals, from memory): n, S, P(S at least as large).
TABLE_A18 = [
    (4, 0, 0.625),
    (4, 2, 0.375),
    (4, 4, 0.167),
    (4, 6, 0.042),
    (5, 0, 0.592),
    (5, 2, 0.408),
    (5, 4, 0.242),
    (5, 6, 0.117),
    (5, 8, 0.042),
    (5, 10, 0.0083),
    (6, 1, 0.500),
    (6, 5, 0.235),
    (6, 9, 0.068),
    (6, 11, 0.028),
    (7, 1, 0.500),
    (7, 9, 0.119),
    (7, 11, 0.068),
    (7, 13, 0.035),
]


def upper_tail(n: int, s: int) -> float:
    values, chance = null_of_s((1,) * n)
    return float(chance[values >= s].sum())


@pytest.mark.parametrize(("n", "s", "printed"), TABLE_A18)
def test_tail_probabilities_as_printed(n: int, s: int, printed: float) -> None:
    assert upper_tail(n, s) == pytest.approx(printed, abs=0.0006)


# Enumerated outside of this project.
def test_tail_probabilities_in_full_precision() -> None:
    worked = read_worked("mann_kendall_exact")
    for n, s, expected in zip(
        worked["n"].cast(pl.Int32), worked["S"].cast(pl.Int32), floats(worked, "P_S_ge"), strict=True
    ):
        assert upper_tail(n, s) == pytest.approx(expected, abs=1e-12)


# Four samplings can never reach 5 %, five can.
@pytest.mark.parametrize(("n", "p"), [(4, 0.083), (5, 0.0167)])
def test_smallest_p(n: int, p: float) -> None:
    assert smallest_p(n) == pytest.approx(p, abs=5e-4)
    rising = np.arange(float(n))[None, :]
    assert mann_kendall_p(rising)[0] == pytest.approx(smallest_p(n), abs=1e-12)


# US EPA QA/G-9S, 2006, p. 109 (as quoted elsewhere): S = 22, variance 155.33, Z = 1.685.
def test_epa_series_with_ties() -> None:
    values = floats(read_worked("epa_trend_with_ties"), "value").to_numpy()[None, :]
    variance, z = mann_kendall_z(values)
    assert kendall_s(values)[0] == 22
    assert variance[0] == pytest.approx(155.33, abs=0.005)
    assert z[0] == pytest.approx(1.685, abs=0.0005)


# Sen 1968, worked example (read): slope 4, interval 3.71 to 4.38, the fourth of 21 pair slopes from either end. The
# example calls its level near 93 %. By the exact distribution (Table A18: P(S >= 15) = 0.015) the true slope lies
# beyond an end with a chance of 0.015, so this interval holds 97 %, and is the one that a level of 95 % asks for.
def test_sen_slope_with_interval() -> None:
    worked = read_worked("sen_1968")
    x, y = floats(worked, "x").to_numpy()[None, :], floats(worked, "y").to_numpy()[None, :]
    slope, low, high, reached = theil_sen(x, y)
    assert slope[0] == pytest.approx(4.0, abs=1e-9)
    assert low[0] == pytest.approx(3.71, abs=0.005)
    assert high[0] == pytest.approx(4.38, abs=0.006)
    assert (low[0], high[0]) == (pytest.approx(26 / 7, abs=1e-9), pytest.approx(35 / 8, abs=1e-9))
    assert reached[0] == pytest.approx(1 - 2 * 0.0150793650793651, abs=1e-12)
    assert np.median(y) - slope[0] * np.median(x) == pytest.approx(4.0, abs=1e-9)


# Constructed; computed outside of this project with SciPy (interval) and pymannkendall (S, variance, Z).
def test_irregular_series() -> None:
    worked = read_worked("irregular_series")
    x, y = floats(worked, "day").to_numpy()[None, :], floats(worked, "value").to_numpy()[None, :]
    slope, low, high, _ = theil_sen(x, y)
    assert slope[0] == pytest.approx(0.00892857142857143, abs=1e-12)
    variance, z = mann_kendall_z(y)
    assert kendall_s(y)[0] == 36
    assert variance[0] == pytest.approx(124.0, abs=1e-9)
    assert z[0] == pytest.approx(3.14309278546856, abs=1e-9)
    # SciPy narrows the interval for ties (0.00635 to 0.01270); ours never lies inside of it.
    assert low[0] <= 0.00634920634920634 + 1e-12
    assert high[0] >= 0.0126984126984127 - 1e-12


def test_irregular_series_as_the_night_sees_it() -> None:
    worked = read_worked("irregular_series")
    frame = pl.DataFrame(
        {"lot": 1, "day": worked["day"].cast(pl.Int32).cast(pl.Date), "value": floats(worked, "value")}
    )
    found = trends(frame, ["lot"], day="day", value="value", last=10)
    assert found["slope_per_week"][0] == pytest.approx(7 * 0.00892857142857143, abs=1e-12)
    assert found["s"][0] == 36
    assert found["is_trend"][0]
