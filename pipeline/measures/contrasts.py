"""Two groups of pots against each other: affected and healthy, before and after, site and site.

Difference of means with the Welch interval (B. L. Welch, Biometrika 34 (1947) 28-35; degrees of freedom by F. E.
Satterthwaite, Biometrics Bulletin 2 (1946) 110-114), the exact Mann-Whitney test (H. B. Mann and D. R. Whitney,
Annals of Mathematical Statistics 18 (1947) 50-60) over all ways to deal the readings out, ties included, and
Hedges' g (L. V. Hedges, J. Educational Statistics 6 (1981) 107-128; Borenstein et al., Introduction to
Meta-Analysis, 2009, chapter 4).

What may be said: `clear` when the interval (where the pots have a spread) leaves 0 out, the exact p is at most 0.05
and the difference is as large as somebody would care for; `too_few` where no arrangement of so many pots
could give a p of 0.05 (three against three: 0.1); else `not_clear`, which is no proof that they are alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import combinations
from math import comb
from typing import Final

import numpy as np
import polars as pl
from scipy import stats

from pipeline.measures.padded import DECIMALS, Bools, Floats, Ints, column, nan_mean, nan_sd, pad, reason_of
from pipeline.measures.t_table import LEVEL, t_quantile

MOST_DEALS: Final = 20_000
"""Up to so many ways to deal (8 against 8) the test is exact; with more pots the normal form does as well."""
CELLS_AT_ONCE: Final = 20_000_000
DUST: Final = 1e-9
"""Differences below it are what binary fractions leave of 0."""
SECOND: Final = "_is_second"


def welch_df(sd_1: Floats, n_1: Floats, sd_2: Floats, n_2: Floats) -> Floats:
    """Satterthwaite's degrees of freedom; NaN where neither group has a spread or one has fewer than two."""
    with np.errstate(divide="ignore", invalid="ignore"):
        v_1, v_2 = np.square(sd_1) / n_1, np.square(sd_2) / n_2
        df: Floats = np.square(v_1 + v_2) / (np.square(v_1) / (n_1 - 1.0) + np.square(v_2) / (n_2 - 1.0))
    return df


def hedges_g(
    difference: Floats, sd_1: Floats, n_1: Floats, sd_2: Floats, n_2: Floats
) -> tuple[Floats, Floats]:
    """Hedges' g and its variance: the difference in pooled SDs, corrected for small samples by 1 - 3/(4 df - 1).

    Source: Borenstein et al. 2009, chapter 4. NaN where the pooled SD is 0 or not known.
    """
    df = n_1 + n_2 - 2.0
    with np.errstate(divide="ignore", invalid="ignore"):
        pooled = np.sqrt(((n_1 - 1.0) * np.square(sd_1) + (n_2 - 1.0) * np.square(sd_2)) / df)
        d = np.where(pooled > 0, difference / pooled, np.nan)
        variance_of_d = (n_1 + n_2) / (n_1 * n_2) + np.square(d) / (2.0 * (n_1 + n_2))
        correction = 1.0 - 3.0 / (4.0 * df - 1.0)
        return correction * d, np.square(correction) * variance_of_d


def smallest_p(n_1: int, n_2: int) -> float:
    """The smallest two-sided exact p that groups of these sizes can give: 2 / C(n1 + n2, n1), at most 1."""
    return min(1.0, 2.0 / comb(n_1 + n_2, n_1))


@lru_cache(maxsize=64)
def _deals(n_1: int, n_2: int) -> Ints:
    """All ways to deal n_1 of n_1 + n_2 readings to the first group: readings x ways, 1 where it gets one."""
    ways = list(combinations(range(n_1 + n_2), n_1))
    deals = np.zeros((n_1 + n_2, len(ways)), dtype=np.int64)
    deals[np.array(ways).T, np.arange(len(ways))] = 1
    return deals


def doubled_ranks(values: Floats) -> Ints:
    """Twice the rank of each value in its row (mean ranks for ties, so twice is whole); 0 where there is none."""
    values = np.round(values, DECIMALS)
    there = np.isfinite(values)
    below = (values[:, None, :] < values[:, :, None]).sum(axis=2)
    alike = (values[:, None, :] == values[:, :, None]).sum(axis=2)
    return np.where(there, 2 * below + alike + 1, 0).astype(np.int64)


def mann_whitney(values: Floats, n_1: Ints, n_2: Ints) -> tuple[Floats, Floats, Bools]:
    """U of the first group, two-sided p, and whether it is exact, of each row.

    `values`: contrasts x readings, the first group's n_1 readings, then the second's n_2, then NaN. Exact: twice
    the smaller tail of U over all ways to deal the readings out (at most 1), ties as they are. Above 20,000 ways
    the normal approximation with corrections for ties and continuity. NaN where a group is empty.
    """
    u, p = np.full(n_1.shape, np.nan), np.full(n_1.shape, np.nan)
    is_exact = np.zeros(n_1.shape, dtype=np.bool_)
    shapes, shape_of = np.unique(np.stack([n_1, n_2], axis=1), axis=0, return_inverse=True)
    # A loop over pairs of sizes, of which there are few, not over contrasts.
    for number, (first, second) in enumerate(shapes.tolist()):
        if first == 0 or second == 0:
            continue
        rows = np.flatnonzero(shape_of.reshape(-1) == number)
        ranks = doubled_ranks(values[rows, : first + second])
        of_first = ranks[:, :first].sum(axis=1)
        u[rows] = of_first / 2.0 - first * (first + 1) / 2.0
        is_exact[rows] = comb(first + second, first) <= MOST_DEALS
        if comb(first + second, first) <= MOST_DEALS:
            p[rows] = _exact_p(ranks, of_first, _deals(first, second))
        else:
            p[rows] = _normal_p(ranks, u[rows], first, second)
    return u, p, is_exact


def _exact_p(ranks: Ints, of_first: Ints, deals: Ints) -> Floats:
    ways = deals.shape[1]
    p = np.empty(ranks.shape[0])
    chunk = max(1, CELLS_AT_ONCE // ways)
    for begin in range(0, ranks.shape[0], chunk):
        part = slice(begin, begin + chunk)
        sums = ranks[part].astype(np.float64) @ deals.astype(np.float64)
        seen = of_first[part, None]
        tail = np.minimum((sums <= seen).sum(axis=1), (sums >= seen).sum(axis=1))
        p[part] = np.minimum(1.0, 2.0 * tail / ways)
    return p


def _normal_p(ranks: Ints, u: Floats, n_1: int, n_2: int) -> Floats:
    n = n_1 + n_2
    # A value in a group of t ties carries (t² - 1) of the group's t³ - t.
    size = (ranks[:, None, :] == ranks[:, :, None]).sum(axis=2)
    ties = (np.square(size) - 1).sum(axis=1)
    sd = np.sqrt(n_1 * n_2 / 12.0 * (n + 1.0 - ties / (n * (n - 1.0))))
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.maximum(np.abs(u - n_1 * n_2 / 2.0) - 0.5, 0.0) / sd
    return np.where(sd > 0, np.minimum(1.0, 2.0 * stats.norm.sf(z)), 1.0)


def contrasts(
    frame: pl.DataFrame,
    keys: Sequence[str],
    *,
    value: str,
    group: str,
    first: str,
    second: str,
    least_difference: float = 0.0,
    level: float = LEVEL,
) -> pl.DataFrame:
    """Compare two groups of pots, all contrasts at once.

    `frame`: one row a pot, `group` says which group it is in; other groups are left out. `value` and
    `least_difference` in pH or mS/cm. Result, one row a contrast: keys, n_first, n_second, mean_first,
    mean_second, difference (first less second), ci_low, ci_high (Welch), df, p_welch, u (of the first group),
    p_exact (null where not exact), p (exact where it is), smallest_p (that groups of these sizes can give, ties
    aside), hedges_g, hedges_se, word (`clear`, `not_clear`, `too_few`), reason (`no_spread`: no interval,
    because the pots of each group are all alike; null). Where a group has fewer than two pots there is no
    interval; where it is empty there is no difference.
    """
    rows = frame.filter(pl.col(group).is_in([first, second])).with_columns(
        (pl.col(group) == second).cast(pl.Int8).alias(SECOND)
    )
    padded = pad(rows, keys, value, order=[SECOND])
    values, is_second = padded.floats(value), padded.floats(SECOND)
    one, two = np.where(is_second == 0, values, np.nan), np.where(is_second == 1, values, np.nan)
    n_1, n_2 = (np.isfinite(part).sum(axis=1).astype(np.int64) for part in (one, two))
    mean_1, mean_2, sd_1, sd_2 = nan_mean(one), nan_mean(two), nan_sd(one), nan_sd(two)
    # Pots that are all alike have an SD that is only what binary fractions leave of 0.
    sd_1, sd_2 = np.round(sd_1, DECIMALS), np.round(sd_2, DECIMALS)
    difference = mean_1 - mean_2
    df = welch_df(sd_1, n_1.astype(np.float64), sd_2, n_2.astype(np.float64))
    error = np.sqrt(np.square(sd_1) / np.maximum(n_1, 1) + np.square(sd_2) / np.maximum(n_2, 1))
    error = np.where(error > 0, error, np.nan)
    half = t_quantile(df, level) * error
    u, p, is_exact = mann_whitney(values, n_1, n_2)
    g, g_variance = hedges_g(difference, sd_1, n_1.astype(np.float64), sd_2, n_2.astype(np.float64))
    least_p = _smallest_p_column(n_1, n_2)
    alpha = 1.0 - level
    too_few = (least_p > alpha + 1e-12) | (n_1 < 2) | (n_2 < 2)
    # Pots all alike in each group have no interval; there the exact test speaks alone.
    within = np.where(np.isfinite(half), half, 0.0)
    is_clear = (np.abs(difference) - within > DUST) & (p <= alpha + 1e-12)
    is_clear &= np.abs(difference) >= least_difference - 1e-9
    everything = np.ones(n_1.shape, dtype=np.bool_)
    return padded.keys.with_columns(
        column("n_first", n_1, pl.Int64),
        column("n_second", n_2, pl.Int64),
        column("mean_first", mean_1),
        column("mean_second", mean_2),
        column("difference", difference),
        column("ci_low", difference - half),
        column("ci_high", difference + half),
        column("df", df),
        column("p_welch", np.asarray(2.0 * stats.t.sf(np.abs(difference / error), df), dtype=np.float64)),
        column("u", u),
        column("p_exact", np.where(is_exact, p, np.nan)),
        column("p", p),
        column("smallest_p", least_p),
        column("hedges_g", g),
        column("hedges_se", np.sqrt(g_variance)),
        reason_of((too_few, "too_few"), (is_clear, "clear"), (everything, "not_clear")).alias("word"),
        reason_of(((n_1 > 1) & (n_2 > 1) & ~np.isfinite(error), "no_spread")),
    )


def site_contrasts(means: pl.DataFrame, least_difference: float) -> pl.DataFrame:
    """Every two sites that grow a crop in the same container class, a lot's mean being one value.

    `means`: one row a lot with site_id, crop_key, container_class, mean (pH or mS/cm). Result: as from `contrasts`
    with the keys crop_key, container_class, first_site, second_site; only where both sites have lots.
    """
    sites = means["site_id"].unique().sort().to_list()
    # A loop over pairs of sites, not over lots.
    both = [
        means.filter(pl.col("site_id").is_in([first, second])).with_columns(
            first_site=pl.lit(first),
            second_site=pl.lit(second),
            grp=pl.when(pl.col("site_id") == first).then(pl.lit("first")).otherwise(pl.lit("second")),
        )
        for first, second in combinations(sites, 2)
    ]
    empty = means.clear().with_columns(first_site=pl.lit(""), second_site=pl.lit(""), grp=pl.lit(""))
    found = contrasts(
        pl.concat(both) if both else empty,
        ["crop_key", "container_class", "first_site", "second_site"],
        value="mean",
        group="grp",
        first="first",
        second="second",
        least_difference=least_difference,
    )
    return found.filter((pl.col("n_first") > 0) & (pl.col("n_second") > 0))


def _smallest_p_column(n_1: Ints, n_2: Ints) -> Floats:
    sizes, size_of = np.unique(np.stack([n_1, n_2], axis=1), axis=0, return_inverse=True)
    each = np.array([smallest_p(first, second) for first, second in sizes.tolist()], dtype=np.float64)
    return each[size_of.reshape(-1)] if each.size else np.zeros(0)
