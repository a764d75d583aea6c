"""EWMA, moving range and run rules against the NIST/SEMATECH e-Handbook."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.measures.drift import (
    D2_OF_TWO,
    D4_OF_TWO,
    LIMIT_SIGMAS,
    ewma,
    ewma_half_width,
    moving_ranges,
    run_rules,
    spread_of,
)
from pipeline.measures.padded import nan_mean
from tests.published.worked import floats, read_worked

TARGET, SIGMA = np.array([50.0]), np.array([2.0539])


# Section 6.3.2.2 (read): mean 50.81, mean moving range 1.8778, limits 55.8041 and 45.8159, moving range 6.1349.
def test_flow_rate_limits() -> None:
    values = floats(read_worked("nist_flowrate"), "flowrate").to_numpy()[None, :]
    centre, mean_range = nan_mean(values)[0], nan_mean(moving_ranges(values))[0]
    assert centre == pytest.approx(50.81, abs=5e-5)
    assert mean_range == pytest.approx(1.8778, abs=5e-5)
    half = LIMIT_SIGMAS * spread_of(values)[0]
    assert centre + half == pytest.approx(55.8041, abs=1e-4)
    assert centre - half == pytest.approx(45.8159, abs=1e-4)
    assert D4_OF_TWO * mean_range == pytest.approx(6.1349, abs=0.001)


# All ten points are in control (read).
def test_flow_rate_is_in_control() -> None:
    values = floats(read_worked("nist_flowrate"), "flowrate").to_numpy()[None, :]
    z = (values - nan_mean(values)[:, None]) / spread_of(values)[:, None]
    assert not run_rules(z)["we1"].any()
    assert not (moving_ranges(values) > D4_OF_TWO * nan_mean(moving_ranges(values))[:, None]).any()


# Factors as printed in Walpole et al., Table A.22 (read).
def test_factors_for_two_values() -> None:
    two = read_worked("control_chart_constants").row(by_predicate=pl.col("n") == "2", named=True)
    assert float(two["d2"]) == D2_OF_TWO
    assert float(two["D4"]) == D4_OF_TWO
    assert pytest.approx(float(two["d2_full"]), abs=0.0006) == D2_OF_TWO


# Section 6.3.2.4 (from memory): twenty smoothed values to two decimals.
def test_ewma_as_printed() -> None:
    worked = read_worked("nist_ewma")
    smooth = ewma(floats(worked, "value").to_numpy()[None, :], TARGET)[0]
    assert smooth == pytest.approx(floats(worked, "ewma_published_2dp").to_numpy(), abs=0.0051)
    # Full precision, computed outside of this project.
    assert smooth == pytest.approx(floats(worked, "ewma").to_numpy(), abs=1e-9)


# Published limits of the steady state: 52.5884 and 47.4115 (from memory).
def test_steady_state_limits() -> None:
    half = ewma_half_width(np.array([[1000.0]]), SIGMA[:, None])[0, 0]
    assert 50 + half == pytest.approx(52.5884, abs=1e-4)
    assert 50 - half == pytest.approx(47.4115, abs=1e-4)


# The exact, widening limits; computed outside of this project.
def test_widening_limits() -> None:
    worked = read_worked("nist_ewma")
    half = ewma_half_width(np.arange(1.0, 21.0)[None, :], SIGMA[:, None])[0]
    assert 50 + half == pytest.approx(floats(worked, "ucl_exact").to_numpy(), abs=1e-9)
    assert 50 - half == pytest.approx(floats(worked, "lcl_exact").to_numpy(), abs=1e-9)
    smooth = ewma(floats(worked, "value").to_numpy()[None, :], TARGET)[0]
    assert not (np.abs(smooth - 50) > half).any()


# Western Electric 1956, rules as in section 6.3.2; vectors constructed.
@pytest.mark.parametrize("rule", ["WE1", "WE2", "WE3", "WE4"])
def test_western_electric_rules(rule: str) -> None:
    worked = read_worked("western_electric_rules").filter(pl.col("rule") == rule)
    hits = run_rules(floats(worked, "z").to_numpy()[None, :])[rule.lower()][0]
    assert hits.astype(int).tolist() == worked["signal"].cast(pl.Int64).to_list()


# L. S. Nelson, The Shewhart Control Chart - Tests for Special Causes, J. Quality Technology 16 (1984) 237-239, test 3
# (from memory): six points in a row steadily increasing or decreasing. The test knows no zones, so the centre may be
# crossed; "steadily" leaves no room for two equal points. Vectors constructed.
@pytest.mark.parametrize(
    ("z", "signals"),
    [
        ([-1.0, -0.6, -0.2, 0.2, 0.6, 1.0], [6]),
        ([1.0, 0.6, 0.2, -0.2, -0.6, -1.0], [6]),
        ([-1.0, -0.6, -0.2, 0.2, 0.6], []),
        ([0.5, -0.8, -0.5, -0.1, 0.0, 0.3, 0.4, 0.7], [7, 8]),
        ([-1.0, -0.6, -0.2, -0.2, 0.2, 0.6, 1.0], []),
        ([-1.0, -0.6, -0.2, 0.2, 0.1, 0.6, 1.0], []),
        ([-0.6, -0.3, 0.0, 0.3, 0.6, 0.9, 0.5, 0.4, 0.3, 0.2, 0.1], [6, 11]),
    ],
)
def test_nelsons_third_test(z: list[float], signals: list[int]) -> None:
    hits = run_rules(np.array([z]))["nelson3"][0]
    assert (np.flatnonzero(hits) + 1).tolist() == signals
