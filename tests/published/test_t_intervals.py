"""Student's t: quantiles and intervals against printed tables and worked examples."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.measures.t_table import t_quantiles, z_quantile
from tests.published.worked import floats, read_worked
from tests.sql.bench import Bench

# Standard t table, two-sided 95 %, as in Harvey, Modern Analytical Chemistry (2000), Table 4.15 (read), and
# 3.182 and 2.093 computed: one printing gives 3.181 for three degrees of freedom, which is a misprint.
PRINTED = {1: 12.706, 2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571, 6: 2.447, 9: 2.262, 19: 2.093}
HALF_A_DIGIT = 0.0005


def interval(bench: Bench, values: list[str]) -> tuple[float, float, float]:
    """Mean, SD and half-width of the interval as a night computes them, the values taken as the pH of pots."""
    bench.lots()
    bench.pots(" ".join(values))
    ((mean, sd, half),) = bench.rows("sampling_figures", "mean, sd, ci_high - mean", "quantity = 'ph'")
    return float(str(mean)), float(str(sd)), float(str(half))


def quantile(df: int) -> float:
    return float(t_quantiles().row(by_predicate=pl.col("df") == df, named=True)["t"])


@pytest.mark.parametrize(("df", "printed"), PRINTED.items())
def test_quantiles_as_printed(df: int, printed: float) -> None:
    assert quantile(df) == pytest.approx(printed, abs=HALF_A_DIGIT)


# Full precision, computed with scipy.stats.t outside of this project.
def test_quantiles_in_full_precision() -> None:
    worked = read_worked("t_quantiles_95")
    for df, expected in zip(worked["df"].cast(pl.Int32), floats(worked, "t_0.975"), strict=True):
        assert quantile(df) == pytest.approx(expected, abs=1e-9)


# Harvey, Example 4.15 (read; the single masses from memory): 3.081 g ± 0.046 g, s = 0.037.
def test_penny_masses(bench: Bench) -> None:
    mean, sd, half = interval(bench, read_worked("harvey_pennies")["mass_g"].to_list())
    assert mean == pytest.approx(3.081, abs=0.0005)
    assert sd == pytest.approx(0.037, abs=0.0005)
    assert half == pytest.approx(0.046, abs=0.0005)
    # Full precision, computed outside of this project.
    assert half == pytest.approx(0.0461975770501426, abs=1e-9)


# Skoog et al., Fundamentals of Analytical Chemistry (memory): 0.084 ± 0.012 at n = 3.
def test_blood_alcohol(bench: Bench) -> None:
    mean, _, half = interval(bench, read_worked("skoog_blood")["percent"].to_list())
    assert mean == pytest.approx(0.084, abs=0.0005)
    assert half == pytest.approx(0.012, abs=0.0005)
    assert half == pytest.approx(0.0124206885587516, abs=1e-9)


# Computed: with five pots the half-width is 1.2417 SD, so 0.25 pH at 0.20 and 0.50 mS/cm at 0.40.
@pytest.mark.parametrize(
    ("sd", "expected", "tolerance"), [(1.0, 1.24166399820376, 1e-9), (0.20, 0.25, 0.005), (0.40, 0.50, 0.005)]
)
def test_half_width_of_five_pots(bench: Bench, sd: float, expected: float, tolerance: float) -> None:
    # Two pots below, one on and two above 6 by the SD have that SD: 4 sd² / (5 - 1).
    pots = [f"{6 + step * sd:.2f}" for step in (-1, -1, 0, 1, 1)]
    _, found_sd, half = interval(bench, pots)
    assert found_sd == pytest.approx(sd)
    assert half == pytest.approx(expected, abs=tolerance)


# The normal quantile that every statistics text prints (memory).
def test_normal_quantile() -> None:
    assert z_quantile() == pytest.approx(1.959964, abs=5e-7)


# US FDA, ORA Laboratory Manual, statistics section (memory), averages 10^-pH: 5.0 and 6.0 would be 5.26. The pH of
# pots is averaged as it is read, since pour-through pH is near normal.
def test_ph_is_averaged_as_it_is_read(bench: Bench) -> None:
    mean, sd, _ = interval(bench, ["5.0", "6.0"])
    assert mean == 5.5
    assert sd == pytest.approx(0.5**0.5)
