"""Whether pots are picked from the front of the bench: their rows against those of pots picked by lot.

A pot that is picked by lot stands in the front row with chance 1 / rows of its bench. How many of them do is a
binomial number where all benches have as many rows, else a sum of such (Poisson-binomial). The chance of so many or
more in front is its exact upper tail: the binomial test, one-sided, since too few from the front do no harm here.

Sources: the binomial test, W. J. Conover, Practical Nonparametric Statistics, 3rd edition, 1999, section 3.1 (from
memory); its sum over benches by folding the binomial distributions into each other. Level and least number are house
defaults.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import reduce
from typing import Final

import numpy as np
import polars as pl
from scipy import stats

from pipeline.measures.padded import Floats, Ints

LEAST_POTS: Final = 20
"""House default. On benches of four rows it takes 11 of 20 in front then, where 5 would be expected."""
LEVEL: Final = 0.01
"""House default: of a hundred sites that pick by lot one is asked by chance. Compared in sql/judgement."""


def tail_chance(in_front: int, pots: Ints, chances: Floats) -> float:
    """Chance of `in_front` or more successes.

    `pots` and `chances`, one each a kind of bench: how many pots, and each one's chance. Independent pots, exact.
    """
    parts = [stats.binom.pmf(np.arange(n + 1), n, chance) for n, chance in zip(pots, chances, strict=True)]
    if len(parts) == 1:
        return float(stats.binom.sf(in_front - 1, pots[0], chances[0]))
    return min(1.0, float(np.sum(reduce(np.convolve, parts)[max(in_front, 0) :])))


def front_of_bench(rows: pl.DataFrame) -> pl.DataFrame:
    """Pots in the front row beside those to be expected, a row a site.

    `rows`: site_id, parts (rows of the bench), pots, in_front, first_on, as in sql/measures/recorded_rows.sql. Result:
    site_id, first_on, pots, in_front, expected, p (null with fewer than LEAST_POTS), reason (`too_few` then).
    """
    found = rows.group_by("site_id", maintain_order=True).agg(
        pl.col("first_on").min(),
        pl.col("pots").sum(),
        pl.col("in_front").sum(),
        expected=(pl.col("pots") / pl.col("parts")).sum(),
        kinds=pl.struct("pots", "parts"),
    )
    chances = [
        _chance(site["in_front"], site["kinds"]) if site["pots"] >= LEAST_POTS else None
        for site in found.iter_rows(named=True)
    ]
    return found.select(
        "site_id",
        "first_on",
        pl.col("pots").cast(pl.Int32),
        pl.col("in_front").cast(pl.Int32),
        pl.col("expected").cast(pl.Float64),
        p=pl.Series(chances, dtype=pl.Float64),
        reason=pl.when(pl.col("pots") < LEAST_POTS).then(pl.lit("too_few")),
    )


def _chance(in_front: int, kinds: Sequence[Mapping[str, int]]) -> float:
    """Of one site, which has a handful of kinds of benches however many lots it has."""
    pots = np.array([kind["pots"] for kind in kinds])
    return tail_chance(in_front, pots, 1.0 / np.array([kind["parts"] for kind in kinds]))


__all__ = ["LEAST_POTS", "LEVEL", "front_of_bench", "tail_chance"]
