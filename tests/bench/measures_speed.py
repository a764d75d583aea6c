"""How long trend and EWMA take for 100,000 lots of 12 samplings, beside SciPy called lot by lot.

    .venv/bin/python -m tests.bench.measures_speed

SciPy is timed on 1,000 of the lots and scaled up to all of them. A plain loop for the EWMA alone, without limits or
rules, is timed on all lots: on 1,000 it takes a few milliseconds, so that one hiccup of the machine, scaled up, is
taken for seconds.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from time import perf_counter

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import stats

from pipeline.measures.drift import LAMBDA, drift_charts
from pipeline.measures.trend import LAST_SAMPLINGS, trends

LOTS, SAMPLINGS, SAMPLE = 100_000, 12, 1_000
SEED = 20260406


def samplings(values: NDArray[np.float64]) -> pl.DataFrame:
    """One row a sampling, one sampling a fortnight."""
    lots, length = values.shape
    days = np.tile(np.arange(length, dtype=np.int32) * 14, lots)
    return pl.DataFrame(
        {"lot": np.repeat(np.arange(lots), length), "day": days, "value": values.ravel()}
    ).with_columns(pl.col("day").cast(pl.Date))


def seconds(work: Callable[[], object]) -> float:
    begin = perf_counter()
    work()
    return perf_counter() - begin


def trends_lot_by_lot(values: NDArray[np.float64]) -> list[tuple[float, float]]:
    """What SciPy gives for each lot's last samplings: slope and exact p."""
    days = np.arange(LAST_SAMPLINGS) * 14.0
    return [
        (float(stats.theilslopes(row, days).slope), float(stats.kendalltau(days, row, method="exact").pvalue))
        for row in values[:, -LAST_SAMPLINGS:]
    ]


def ewma_lot_by_lot(values: NDArray[np.float64]) -> list[float]:
    """A loop over the samplings of each lot, as one would write it."""
    ends = []
    for row in values.tolist():
        smooth = sum(row[:5]) / 5
        for value in row[5:]:
            smooth = LAMBDA * value + (1 - LAMBDA) * smooth
        ends.append(smooth)
    return ends


def main() -> None:
    values = np.random.default_rng(SEED).normal(6.0, 0.12, size=(LOTS, SAMPLINGS))
    frame, few = samplings(values), values[:SAMPLE]
    scale = LOTS / SAMPLE
    rows = [
        (
            "trend: slope, interval, exact p",
            seconds(lambda: trends(frame, ["lot"], day="day", value="value")),
            None,
        ),
        ("trend, SciPy lot by lot (slope and p)", seconds(lambda: trends_lot_by_lot(few)) * scale, SAMPLE),
        (
            "charts: EWMA, limits, run rules",
            seconds(lambda: drift_charts(frame, ["lot"], day="day", value="value")),
            None,
        ),
        ("EWMA alone, loop lot by lot", seconds(lambda: ewma_lot_by_lot(values)), None),
    ]
    lines = [f"{LOTS:,} lots of {SAMPLINGS} samplings", "", "| what | seconds |", "|---|---|"]
    for name, time_s, scaled_from in rows:
        note = "" if scaled_from is None else f" (scaled up from {scaled_from:,} lots)"
        lines.append(f"| {name}{note} | {time_s:.1f} |")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
