"""Does a lot's mean move over its last samplings: Theil-Sen slope with interval, exact Mann-Kendall test.

Slope: median of the slopes of all pairs. Source: P. K. Sen, J. American Statistical Association 63 (1968)
1379-1389. Interval: the pair slopes in order, cut off on both sides by the quantile of Kendall's S (Sen 1968;
R. O. Gilbert, Statistical Methods for Environmental Pollution Monitoring, 1987, section 16.5). The quantile is
the exact one of a series without ties (M. G. Kendall, Rank Correlation Methods; Gilbert, Table A18), so the
level that is reached is at least the one asked for, and is reported. With ties it is still higher.

Test: S, the number of pairs that rise less those that fall, against all orders of the same values. With ties the
distribution is that of the inversions of a multiset, whose generating function is the q-multinomial coefficient
(R. P. Stanley, Enumerative Combinatorics 1, section 1.7): exact, and one polynomial for each pattern of ties.

With four samplings the smallest two-sided p is 0.083 and no 95 % interval exists: the slope is shown, nothing is
judged. One look at a lot is meant by p; who looks every two weeks will see a small p by chance now and then.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np
import polars as pl

from pipeline.measures.padded import DECIMALS, Bools, Floats, Ints, column, nan_median, pad, reason_of
from pipeline.measures.t_table import LEVEL

LAST_SAMPLINGS: Final = 6
"""House default: about two months of samplings; older ones tell of another crop stage."""
LEAST_FOR_SLOPE: Final = 4
LEAST_TO_JUDGE: Final = 5
MOST_EXACT: Final = 12
"""Longest series that is judged: the code of a pattern of ties must fit into an integer."""
DAYS_A_WEEK: Final = 7.0
NO_INTERVAL: Final = -1


@lru_cache(maxsize=256)
def null_of_s(tie_sizes: tuple[int, ...]) -> tuple[Ints, Floats]:
    """Exact distribution of S over all orders of values that are tied in groups of these sizes.

    Result: the values of S, rising, and the probability of each. Sizes of 1 (untied values) are listed too.
    """
    orders = np.ones(1, dtype=np.int64)
    placed = 0
    # One group after the other is shuffled in: the Gaussian binomial counts the inversions that this makes.
    for size in tie_sizes:
        orders = np.convolve(orders, np.array(_gaussian_binomial(placed + size, size), dtype=np.int64))
        placed += size
    untied_pairs = (placed * (placed - 1) - sum(size * (size - 1) for size in tie_sizes)) // 2
    s = untied_pairs - 2 * np.arange(orders.size, dtype=np.int64)
    return s[::-1], (orders / orders.sum())[::-1]


@lru_cache(maxsize=1024)
def _gaussian_binomial(n: int, k: int) -> tuple[int, ...]:
    """Coefficients of the Gaussian binomial [n k]: how many 0-1 words with k ones have 0, 1, 2 ... inversions."""
    if k in (0, n):
        return (1,)
    # Pascal's rule for it: [n k] = [n-1 k-1] + q^k [n-1 k].
    short, shifted = _gaussian_binomial(n - 1, k - 1), _gaussian_binomial(n - 1, k)
    sums = [0] * (k * (n - k) + 1)
    for power, count in enumerate(short):
        sums[power] += count
    for power, count in enumerate(shifted):
        sums[power + k] += count
    return tuple(sums)


def kendall_s(values: Floats) -> Ints:
    """S of each row (groups x samplings in order of time, NaN at the end): pairs that rise less pairs that fall."""
    values = np.round(values, DECIMALS)
    first, second = np.triu_indices(values.shape[1], k=1)
    moves = values[:, second] - values[:, first]
    return np.asarray(np.where(np.isfinite(moves), np.sign(moves), 0.0).sum(axis=1), dtype=np.int64)


def mann_kendall_p(values: Floats) -> Floats:
    """Exact two-sided p of each row (groups x samplings, NaN at the end): P(|S| at least as large) by chance.

    NaN below two and above twelve values. All equal values give 1.
    """
    values = np.round(values, DECIMALS)
    n = np.isfinite(values).sum(axis=1)
    size_of_group = np.where(
        np.isfinite(values), (values[:, :, None] == values[:, None, :]).sum(axis=2, dtype=np.int64), 0
    )
    judged = (n >= 2) & (n <= MOST_EXACT)
    # How many values stand in groups of 1, 2, 3 ...: written as digits this names the pattern of ties.
    digits = np.stack([(size_of_group == size).sum(axis=1) for size in range(1, MOST_EXACT + 1)], axis=1)
    code = np.where(judged, digits @ (MOST_EXACT + 1) ** np.arange(MOST_EXACT, dtype=np.int64), 0)
    patterns, which, inverse = np.unique(code, return_index=True, return_inverse=True)
    s = np.abs(kendall_s(values))
    p = np.full(n.shape, np.nan)
    # A loop over patterns, of which there are few dozen at most, whatever the number of lots.
    for number, (pattern, example) in enumerate(zip(patterns, which, strict=True)):
        if pattern == 0:
            continue
        counts = digits[example]
        sizes = tuple(
            size for size, values_in in enumerate(counts, start=1) for _ in range(int(values_in) // size)
        )
        null_s, chance = null_of_s(sizes)
        tail = np.array([chance[np.abs(null_s) >= limit].sum() for limit in range(int(null_s[-1]) + 1)])
        rows = inverse == number
        p[rows] = np.minimum(tail[s[rows]], 1.0)
    return p


def mann_kendall_z(values: Floats) -> tuple[Floats, Floats]:
    """Variance of S with its correction for ties, and the normal score of S with that of continuity, by rows.

    Source: Gilbert 1987, section 16.4.2; US EPA QA/G-9S, 2006. For long series; the night uses the exact p.
    """
    values = np.round(values, DECIMALS)
    there = np.isfinite(values)
    n = there.sum(axis=1).astype(np.float64)
    size = np.where(there, (values[:, :, None] == values[:, None, :]).sum(axis=2), 0).astype(np.float64)
    # Each of a group's `size` values carries its share of the group's term.
    ties = np.where(there, (size - 1.0) * (2.0 * size + 5.0), 0.0).sum(axis=1)
    variance = (n * (n - 1.0) * (2.0 * n + 5.0) - ties) / 18.0
    s = kendall_s(values).astype(np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where(variance > 0, (s - np.sign(s)) / np.sqrt(variance), np.nan)
    return variance, z


@lru_cache(maxsize=64)
def interval_cut(n: int, level: float = LEVEL) -> tuple[int, float]:
    """How many of the ordered pair slopes lie outside the interval on each side, and the level so reached.

    The interval runs from slope cut + 1 to the slope as far from the other end. (-1, NaN) where no interval of
    that level exists: with four samplings even the widest reaches only 91.7 %.
    """
    null_s, chance = null_of_s((1,) * n)
    pairs = n * (n - 1) // 2
    upper_tails = np.array([chance[null_s >= limit].sum() for limit in null_s])
    within = null_s[(upper_tails <= (1.0 - level) / 2.0 + 1e-12) & (null_s > 0)]
    if within.size == 0:
        return NO_INTERVAL, float("nan")
    critical = int(within[0])
    return (pairs - critical) // 2, float(1.0 - 2.0 * chance[null_s >= critical].sum())


def pair_slopes(times: Floats, values: Floats) -> Floats:
    """Slopes of all pairs of each row in order, NaN last: groups x pairs, in units of `values` per one of `times`.

    Times rise along a row; pairs of one time have no slope.
    """
    first, second = np.triu_indices(times.shape[1], k=1)
    apart = times[:, second] - times[:, first]
    with np.errstate(divide="ignore", invalid="ignore"):
        slopes = np.where(apart > 0, (values[:, second] - values[:, first]) / apart, np.nan)
    return np.sort(slopes, axis=1)


def theil_sen(times: Floats, values: Floats, level: float = LEVEL) -> tuple[Floats, Floats, Floats, Floats]:
    """Slope, interval's ends and the level reached, of each row (groups x samplings, NaN at the end).

    NaN where a row has no pair; the interval is NaN where none of that level exists.
    """
    slopes = pair_slopes(times, values)
    pairs = np.isfinite(slopes).sum(axis=1)
    n = np.isfinite(values).sum(axis=1)
    cuts = [
        interval_cut(size, level) if size >= 2 else (NO_INTERVAL, np.nan)
        for size in range(values.shape[1] + 1)
    ]
    cut = np.array([number for number, _ in cuts])[n]
    reached = np.array([share for _, share in cuts])[n]
    # Pairs of one time would shift the cut: the callers have merged them.
    has_interval = (cut != NO_INTERVAL) & (pairs == n * (n - 1) // 2)
    rows = np.arange(n.size)
    low = slopes[rows, np.where(has_interval, cut, 0)] if slopes.shape[1] else np.full(n.shape, np.nan)
    high = slopes[rows, np.where(has_interval, pairs - 1 - cut, 0)] if slopes.shape[1] else low
    return (
        nan_median(slopes) if slopes.shape[1] else np.full(n.shape, np.nan),
        np.where(has_interval, low, np.nan),
        np.where(has_interval, high, np.nan),
        np.where(has_interval, reached, np.nan),
    )


def one_a_day(frame: pl.DataFrame, keys: Sequence[str], day: str, value: str) -> pl.DataFrame:
    """Samplings of one day as one, with their mean: a slope needs time between two points."""
    return (
        frame.filter(pl.col(value).cast(pl.Float64).is_finite().fill_null(value=False))
        .group_by([*keys, day])
        .agg(pl.col(value).cast(pl.Float64).mean())
    )


def newest_segment(frame: pl.DataFrame, keys: Sequence[str], day: str, segment: str | None) -> pl.DataFrame:
    """Only the rows after the last change of stage, feed, substrate or treatment: those of the newest segment.

    Null is a segment like any other.
    """
    if segment is None:
        return frame
    newest = pl.col(segment).sort_by(day, segment).last().over(keys)
    return frame.filter(pl.col(segment).eq_missing(newest))


def trends(
    frame: pl.DataFrame,
    keys: Sequence[str],
    *,
    day: str,
    value: str,
    segment: str | None = None,
    last: int = LAST_SAMPLINGS,
    level: float = LEVEL,
) -> pl.DataFrame:
    """The trend of each group over its last samplings, all groups at once.

    `frame`: one row a sampling, `day` a Date, `value` its mean (pH, or mS/cm). `segment`: a number that rises at
    each change of stage, feed, substrate or treatment; only the newest is looked at. Result, one row a group:
    keys, n, first_day, last_day, slope_per_week (from four samplings), slope_low, slope_high (per week) and
    level_reached (from five), middle_day (Float64, days since 1970) and middle_value: the point through which
    the line runs (medians, W. J. Conover 1980), last_fit (line at the last day), last_value (mean of the last
    day), residual_sd (n - 2), s, p (exact, two-sided, from five), is_trend (p at most 1 - level; null where not
    judged), reason: `too_few` (no slope), `not_judged` (a slope, no test), null.
    Raises ValueError if `last` is above twelve.
    """
    if last > MOST_EXACT:
        raise ValueError(f"the last {last} samplings; at most {MOST_EXACT} can be judged exactly")
    newest = newest_segment(frame, keys, day, segment)
    padded = pad(one_a_day(newest, keys, day, value), keys, value, order=[day], last=last)
    values, days = padded.floats(value), padded.days(day)
    n = padded.n
    shown, judged = n >= LEAST_FOR_SLOPE, n >= LEAST_TO_JUDGE
    slope, low, high, reached = theil_sen(days, values, level)
    middle_day, middle_value = nan_median(days), nan_median(values)
    fitted = middle_value[:, None] + slope[:, None] * (days - middle_day[:, None])
    off = np.where(padded.is_there, values - fitted, 0.0)
    residual_sd = np.sqrt(np.square(off).sum(axis=1) / np.maximum(n - 2, 1))
    ends = np.maximum(n - 1, 0)
    rows = np.arange(n.size)
    p = mann_kendall_p(np.where(judged[:, None], values, np.nan))
    return padded.keys.with_columns(
        column("n", n, pl.Int64),
        column("first_day", days[:, 0], pl.Int32).cast(pl.Date),
        column("last_day", days[rows, ends], pl.Int32).cast(pl.Date),
        column("slope_per_week", _where(shown, slope * DAYS_A_WEEK)),
        column("slope_low", _where(judged, low * DAYS_A_WEEK)),
        column("slope_high", _where(judged, high * DAYS_A_WEEK)),
        column("level_reached", _where(judged, reached)),
        column("middle_day", _where(shown, middle_day)),
        column("middle_value", _where(shown, middle_value)),
        column("last_fit", _where(shown, fitted[rows, ends])),
        column("last_value", _where(shown, values[rows, ends])),
        column("residual_sd", _where(shown, residual_sd)),
        pl.Series("s", kendall_s(values)).set(pl.Series(~judged), None),
        column("p", p),
        pl.Series("is_trend", p <= 1.0 - level + 1e-12).set(pl.Series(~judged), None),
        reason_of((~shown, "too_few"), (~judged, "not_judged")),
    )


def smallest_p(n: int) -> float:
    """The smallest two-sided p that n samplings without ties can give: 0.083 for four, 0.0167 for five."""
    _, chance = null_of_s((1,) * n)
    return float(2.0 * chance[-1])


def _where(is_so: Bools, values: Floats) -> Floats:
    return np.where(is_so, values, np.nan)
