"""Student's t on whole columns: quantiles, and how many pots a precision takes.

The database has no t quantile, so `t_quantiles` makes the small table that the SQL joins for its intervals.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import stats

LEVEL: Final = 0.95
"""Confidence of every interval that the tool prints, two-sided."""

SMALLEST_N: Final = 2
"""With one pot there is no spread, so no interval and no answer to how many are needed."""

Floats = NDArray[np.float64]


def t_quantile(df: Floats, level: float = LEVEL) -> Floats:
    """Two-sided t quantile for each number of degrees of freedom; NaN where df is below 1.

    Source: definition, by scipy.stats.t.ppf; checked against the printed table in Harvey, Table 4.15.
    """
    return np.asarray(stats.t.ppf((1.0 + level) / 2.0, np.where(df >= 1, df, np.nan)), dtype=np.float64)


def z_quantile(level: float = LEVEL) -> float:
    """Two-sided normal quantile (1.959964 at 95 %), for a standard deviation that is taken as known."""
    return float(stats.norm.ppf((1.0 + level) / 2.0))


def t_quantiles(max_df: int = 400, level: float = LEVEL) -> pl.DataFrame:
    """Return the t table: df (Int32, 1 to `max_df`), level (Float64), t (Float64, two-sided)."""
    df = np.arange(1, max_df + 1, dtype=np.int32)
    return pl.DataFrame(
        {"df": df, "level": np.full(df.shape, level), "t": t_quantile(df.astype(np.float64), level)},
        schema={"df": pl.Int32, "level": pl.Float64, "t": pl.Float64},
    )


def to_floats(column: pl.Series) -> Floats:
    """A column as Float64 NumPy values; null becomes NaN."""
    return column.cast(pl.Float64).to_numpy().astype(np.float64)


def sample_size(t: Floats | float, sd: Floats, d: float) -> Floats:
    """One pass of n = (t·s/d)², not rounded. Source: Univ. of Missouri course page on sample size (read)."""
    return np.square(t * sd / d)


LEAST_POTS_FOR_SD: Final = 3
"""House default: behind the SD of two pots may stand one 32 times as large (95 %, chi-square with one degree)."""


def pots_for(spreads: pl.DataFrame, d: float) -> pl.Series:
    """`required_n` of a frame with sd and n (usable pots), null below three pots: too few to say."""
    known = pl.when(pl.col("n") >= LEAST_POTS_FOR_SD).then(pl.col("sd")).alias("sd")
    return required_n(spreads.select(known)["sd"], d)


def required_n(sd: pl.Series, d: float, level: float = LEVEL) -> pl.Series:
    """How many pots give a mean within ±`d` (unit of `sd`): Int64, null where the SD is missing or 0.

    Source: Univ. of Missouri course page, n = (t·s/d)² repeated until n settles, rounded up (read); Harvey,
    Example 7.8. Because t depends on n the repetition can swing between two values for ever when few pots are
    enough; what it would settle on is the smallest n (at least 2) with (t(n-1)·s/d)² ≤ n, which is searched
    by halving on the whole column. An SD of 0 says nothing about how many pots to take (copied figures?), so
    there is no answer.
    Raises ValueError unless `d` is positive.
    """
    if not d > 0:
        raise ValueError(f"precision is {d}; it must be above 0")
    spread = to_floats(sd)
    known = np.isfinite(spread) & (spread > 0)
    spread = np.where(known, spread, d)
    # t is never below z, so the first pass with z never asks for too many.
    low = np.maximum(np.ceil(sample_size(z_quantile(level), spread, d)), float(SMALLEST_N))
    # What n = low asks for falls as n grows, so that many are always enough.
    high = np.maximum(np.ceil(sample_size(t_quantile(low - 1.0, level), spread, d)), low)
    while np.any(low < high):
        middle = np.floor((low + high) / 2.0)
        enough = sample_size(t_quantile(middle - 1.0, level), spread, d) <= middle
        high = np.where(enough, middle, high)
        low = np.where(enough, low, middle + 1.0)
    return pl.Series("required_n", np.where(known, low, np.nan), nan_to_null=True).cast(pl.Int64)
