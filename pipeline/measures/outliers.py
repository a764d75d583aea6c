"""One pot unlike the others of its sampling: found and shown beside, never dropped.

Modified z-score M = 0.6745 (x - median) / MAD, an outlier above 3.5. Source: B. Iglewicz and D. Hoaglin, How to
Detect and Handle Outliers, ASQC, 1993, as quoted in NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.
Where more than half of the pots are alike the MAD is 0; then the mean absolute deviation from the median times
1.253314 (the square root of half pi) stands for it, as is usual with this score. Beside it from seven pots on
stands Grubbs' test of the pot farthest from the mean, two-sided at 5 % (F. Grubbs, Technometrics 11, 1969, 1-21,
as quoted in e-Handbook 1.3.5.17.1). It is told and decides nothing: it looks for one odd pot among normal ones,
and two odd pots hide each other from it.

The modified z-score of five pots reaches 3.5 easily by chance. So a pot must also lie at least 0.3 pH or
0.5 mS/cm from the median: less than that nobody would act on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from scipy import stats

from pipeline.measures.padded import (
    Bools,
    Floats,
    Padded,
    column,
    nan_mean,
    nan_median,
    nan_sd,
    pad,
    reason_of,
)
from pipeline.measures.t_table import LEVEL, t_quantile

NORMAL_MAD: Final = 0.6745
"""MAD of a normal distribution in standard deviations, as the source rounds it."""
NORMAL_MEAN_DEVIATION: Final = 1.253314
"""Standard deviation of a normal distribution in mean absolute deviations: sqrt(pi / 2)."""
SCORE_LIMIT: Final = 3.5
LEAST_DISTANCE: Final = {"ph": 0.3, "ec": 0.5}
"""House default, pH and mS/cm."""
LEAST_POTS: Final = 5
"""House default: of four pots two may be the odd ones."""
LEAST_POTS_GRUBBS: Final = 7
"""House default: with fewer pots Grubbs' test hardly ever speaks (at n = 3 it cannot)."""
EDGE: Final = 1e-9
"""A pot exactly at the least distance counts, whatever binary fractions make of it."""


@dataclass(frozen=True, slots=True)
class Scores:
    """Scores of pots: samplings x pots; `is_mad` says for a sampling that its MAD was above 0."""

    median: Floats
    mad: Floats
    mean_deviation: Floats
    score: Floats
    is_mad: Bools


def modified_z_scores(values: Floats) -> Scores:
    """Score each value of each row (samplings x pots, NaN where there is none).

    NaN where the row holds nothing but equal values: nothing can be said to be odd there.
    """
    median = nan_median(values)
    off = values - median[:, None]
    mad = nan_median(np.abs(off))
    mean_deviation = nan_mean(np.abs(off))
    is_mad = mad > EDGE
    spread = np.where(is_mad, mad / NORMAL_MAD, NORMAL_MEAN_DEVIATION * mean_deviation)
    spread = np.where(spread > EDGE, spread, np.nan)
    return Scores(median, mad, mean_deviation, off / spread[:, None], is_mad)


def is_outlier(values: Floats, least_distance: float | Floats) -> Bools:
    """Which values are outliers: samplings x pots. `least_distance` in the unit of the values, or a row each."""
    scores = modified_z_scores(values)
    far = np.abs(values - scores.median[:, None]) >= np.reshape(least_distance, (-1, 1)) - EDGE
    enough = np.isfinite(values).sum(axis=1) >= LEAST_POTS
    flagged: Bools = (np.abs(scores.score) > SCORE_LIMIT) & far & enough[:, None]
    return flagged


def grubbs_statistic(values: Floats) -> Floats:
    """G = largest distance from the mean in SDs, of each row; NaN below three values or where the SD is 0."""
    sd = nan_sd(values)
    off = np.where(np.isfinite(values), np.abs(values - nan_mean(values)[:, None]), 0.0).max(
        axis=1, initial=0.0
    )
    judged = (np.isfinite(values).sum(axis=1) >= 3) & (sd > EDGE)
    return np.where(judged, off / np.where(judged, sd, 1.0), np.nan)


def grubbs_critical(n: Floats, alpha: float = 1.0 - LEVEL) -> Floats:
    """Two-sided critical value of Grubbs' test for n values; NaN below three.

    Source: NIST/SEMATECH e-Handbook, 1.3.5.17.1: (n - 1)/sqrt(n) · sqrt(t²/(n - 2 + t²)), t at alpha/(2n).
    """
    n = np.where(n >= 3, n, np.nan)
    t2 = np.square(grubbs_t(n, alpha))
    return np.asarray((n - 1.0) / np.sqrt(n) * np.sqrt(t2 / (n - 2.0 + t2)), dtype=np.float64)


def grubbs_t(n: Floats, alpha: float = 1.0 - LEVEL) -> Floats:
    """The t behind `grubbs_critical`: upper point at alpha/(2n) with n - 2 degrees of freedom."""
    return np.asarray(stats.t.isf(alpha / (2.0 * n), n - 2.0), dtype=np.float64)


def half_width(values: Floats) -> Floats:
    """Half of the 95 % t interval of each row's mean; NaN below two values, and where all are alike.

    An SD of 0 comes of rounding or copying: it is no certainty about the mean, so no interval of no width is told.
    """
    n = np.isfinite(values).sum(axis=1).astype(np.float64)
    sd = nan_sd(values)
    half: Floats = t_quantile(n - 1.0) * np.where(sd > EDGE, sd, np.nan) / np.sqrt(np.maximum(n, 1.0))
    return half


def score_pots(frame: pl.DataFrame, keys: Sequence[str], value: str, least_distance: float) -> pl.DataFrame:
    """Each pot with its score.

    `frame`: one row a usable pot. Result: its rows that have a value, with modified_z (Float64, null where the
    pots are all alike), score_by (`mad`, `mean_deviation`), is_outlier (null where too few pots were read).
    """
    padded = pad(frame, keys, value)
    values = padded.floats(value)
    scores = modified_z_scores(values)
    enough = np.broadcast_to((padded.n >= LEAST_POTS)[:, None], values.shape)
    by_mad = np.broadcast_to(scores.is_mad[:, None], values.shape)
    flat_enough = pl.Series(padded.flatten(enough))
    return padded.long.select(frame.columns).with_columns(
        column("modified_z", padded.flatten(scores.score)),
        pl.Series(padded.flatten(np.where(by_mad, "mad", "mean_deviation"))).alias("score_by"),
        pl.when(flat_enough)
        .then(pl.Series(padded.flatten(is_outlier(values, least_distance))))
        .alias("is_outlier"),
    )


def with_and_without(
    frame: pl.DataFrame, keys: Sequence[str], value: str, least_distance: float
) -> pl.DataFrame:
    """Statistics of each sampling with all its usable pots, and beside them without its outliers.

    `frame`: one row a usable pot; `value` and `least_distance` in pH or mS/cm. Result, one row a sampling: keys,
    n, mean, sd, ci_low, ci_high (95 %), n_outliers, n_without, mean_without, sd_without, ci_low_without,
    ci_high_without (null where there is no outlier; no interval where all are alike), grubbs_g, grubbs_critical,
    is_grubbs_outlier (from seven pots that are not all alike), reason: `too_few` (fewer than five pots: not judged),
    `no_spread` (all alike), null.
    """
    padded = pad(frame, keys, value)
    values = padded.floats(value)
    flagged = is_outlier(values, least_distance)
    n_outliers = flagged.sum(axis=1)
    some = n_outliers > 0
    kept = np.where(flagged, np.nan, values)
    n = padded.n.astype(np.float64)
    enough = padded.n >= LEAST_POTS
    grubbs = np.where(padded.n >= LEAST_POTS_GRUBBS, grubbs_statistic(values), np.nan)
    critical = np.where(np.isfinite(grubbs), grubbs_critical(n), np.nan)
    return padded.keys.with_columns(
        column("n", padded.n, pl.Int64),
        *_figures(values, ""),
        pl.Series("n_outliers", n_outliers.astype(np.int64)).set(pl.Series(~enough), None),
        column("n_without", np.where(some, n - n_outliers, np.nan), pl.Int64),
        *_figures(np.where(some[:, None], kept, np.nan), "_without"),
        column("grubbs_g", grubbs),
        column("grubbs_critical", critical),
        pl.Series("is_grubbs_outlier", grubbs > critical).set(pl.Series(~np.isfinite(grubbs)), None),
        reason_of((~enough, "too_few"), (_all_alike(padded, values), "no_spread")),
    )


def depends_on_outlier(mean: pl.Expr, mean_without: pl.Expr, low: pl.Expr, high: pl.Expr) -> pl.Expr:
    """Whether the outlier alone decides the side: with it low, in range or high, without it another of these.

    Edges belong to the range. Null where there is no outlier or no target.
    """
    return _side(mean, low, high) != _side(mean_without, low, high)


def _side(mean: pl.Expr, low: pl.Expr, high: pl.Expr) -> pl.Expr:
    below = (mean < low - EDGE).cast(pl.Int8)
    above = (mean > high + EDGE).cast(pl.Int8)
    return above - below


def _all_alike(padded: Padded, values: Floats) -> Bools:
    alike: Bools = modified_z_scores(values).mean_deviation <= EDGE
    return alike & (padded.n > 0)


def _figures(values: Floats, ending: str) -> list[pl.Series]:
    mean = nan_mean(values)
    half = half_width(values)
    return [
        column(f"mean{ending}", mean),
        column(f"sd{ending}", nan_sd(values)),
        column(f"ci_low{ending}", mean - half),
        column(f"ci_high{ending}", mean + half),
    ]
