"""How many pots: n = (t·s/d)² against worked examples.

The formula: Univ. of Missouri course page, http://oak.snr.missouri.edu/nr3110/topics/samplesize.php (read).
"""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from scipy import stats

from pipeline.measures.t_table import required_n, sample_size, t_quantile, z_quantile
from tests.published.worked import floats, read_worked


# Harvey, Modern Analytical Chemistry (2000), Example 7.8, p. 191 (read): relative s 2.0 %, error 0.80 %, at
# 95 %: the first pass with z gives 24, then 27, then 27 again.
def test_harvey_passes() -> None:
    sd, error = np.array([2.0]), 0.80
    first = sample_size(z_quantile(), sd, error)[0]
    assert first == pytest.approx(24.01, abs=0.005)
    second = np.ceil(sample_size(t_quantile(np.array([24.0 - 1])), sd, error))[0]
    third = np.ceil(sample_size(t_quantile(np.array([second - 1])), sd, error))[0]
    assert (round(first), second, third) == (24, 27, 27)


def test_harvey_result() -> None:
    assert required_n(pl.Series([2.0]), 0.80).to_list() == [27]


# Computed with scipy.stats.t outside of this project.
def test_smallest_n() -> None:
    worked = read_worked("smallest_n_95")
    expected = worked["n_min_95"].cast(pl.Int64).to_list()
    assert required_n(floats(worked, "s_over_e"), 1.0).to_list() == expected


# Mississippi Administrative Code, Title 11 Part 8 (read): ten values, t = 1.383, sum 724.8, sum of squares
# 60 632.94, n = 33. The error of 10 % of the mean is inferred from the answer.
def test_mississippi() -> None:
    cover = np.array([72.2, 80.0, 22.0, 96.5, 100.2, 25.0, 81.0, 96.0, 100.9, 51.0])
    assert cover.sum() == pytest.approx(724.8, abs=0.05)
    assert np.square(cover).sum() == pytest.approx(60632.94, abs=0.005)
    n = sample_size(1.383, np.array([cover.std(ddof=1)]), 0.10 * cover.mean())[0]
    # 32.77 before rounding up: computed.
    assert n == pytest.approx(32.77, abs=0.005)
    assert np.ceil(n) == 33


# Colorado Division of Reclamation, Mining and Safety (read): one-sided 90 %, error 10 % of the mean.
# https://dnrweblink.state.co.us/DRMSSearch/0/doc/1250747/Page52.aspx
@pytest.mark.parametrize(
    ("mean", "variance", "n", "printed"),
    [(48.83, 188.06, 72, 13.20), (64.40, 134.67, 20, 5.72), (51.95, 204.58, 20, 13.36)],
)
def test_colorado(mean: float, variance: float, n: int, printed: float) -> None:
    # A one-sided 90 % point is the two-sided 80 % point.
    t = t_quantile(np.array([n - 1.0]), level=0.80)
    assert t[0] == pytest.approx(stats.t.ppf(0.90, n - 1), abs=1e-12)
    assert sample_size(t, np.array([variance**0.5]), 0.10 * mean)[0] == pytest.approx(printed, abs=0.005)
