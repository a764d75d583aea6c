"""Charts of a lot's sampling means around the lot's own baseline: EWMA, moving range, run rules.

The first samplings of a segment (five, house default) are the baseline: centre their mean, spread their mean moving
range / 1.128. From then on every sampling is held against it. A segment ends where stage, feed, substrate or
treatment changes; there the chart starts anew. Fewer samplings: the result says so and is null.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals and moving range), 6.3.2.4 (EWMA,
with the limits that widen from the first point on), 6.3.2 (Western Electric rules 1 to 4, from Western Electric,
Statistical Quality Control Handbook, 1956); L. S. Nelson, J. Quality Technology 16 (1984) 237, test 3 (six points
in a row steadily up or down).

A baseline of five is itself uncertain, so the limits are wider than the published ones by the variance of its
mean (house default, derived below); with a known centre they are the published ones. And the spread is never taken
as smaller than what the pots alone would give: four moving ranges can be small by chance.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import polars as pl
from scipy import signal

from pipeline.measures.padded import DECIMALS, Bools, Floats, column, nan_mean, pad, reason_of
from pipeline.measures.trend import one_a_day

LAMBDA: Final = 0.3
"""Published range 0.2 to 0.3 (e-Handbook 6.3.2.4)."""
LIMIT_SIGMAS: Final = 3.0
D2_OF_TWO: Final = 1.128
"""Mean range of two values in SDs, as the e-Handbook rounds it."""
D4_OF_TWO: Final = 3.267
"""Upper limit of a moving range in mean moving ranges."""
BASELINE_SAMPLINGS: Final = 5
WE4_RUN: Final = 8
NELSON_RUN: Final = 6
RULES: Final = ("we1", "we2", "we3", "we4", "nelson3")


def ewma(values: Floats, start: Floats, weight: float = LAMBDA) -> Floats:
    """z(t) = weight · x(t) + (1 - weight) · z(t - 1), z(0) = start: groups x samplings, NaN at the end of rows.

    Source: NIST/SEMATECH e-Handbook, 6.3.2.4.
    """
    off = values - start[:, None]
    smooth = signal.lfilter([weight], [1.0, weight - 1.0], off, axis=1)
    return np.asarray(start[:, None] + smooth, dtype=np.float64)


def ewma_half_width(
    places: Floats,
    sigma: Floats,
    *,
    weight: float = LAMBDA,
    sigmas: float = LIMIT_SIGMAS,
    baseline: int | None = None,
) -> Floats:
    """Distance of the limits from the centre at the 1st, 2nd, 3rd ... point (`places`), in the unit of `sigma`.

    `baseline`: how many values the centre is the mean of; None: the centre is known, and these are the exact
    widening limits of the e-Handbook, 6.3.2.4. With an estimated centre c, z - c = weighted sum of (x - c), so
    its variance grows by (1 - (1 - weight)^t)² σ² / baseline.
    """
    faded = (1.0 - weight) ** places
    variance = weight / (2.0 - weight) * (1.0 - faded**2)
    if baseline is not None:
        variance = variance + np.square(1.0 - faded) / baseline
    half: Floats = sigmas * sigma * np.sqrt(variance)
    return half


def moving_ranges(values: Floats) -> Floats:
    """Distance of each value from the one before it; NaN for the first: groups x samplings."""
    before = np.concatenate([np.full((values.shape[0], 1), np.nan), values[:, :-1]], axis=1)
    moved: Floats = np.abs(values - before)
    return moved


def spread_of(values: Floats) -> Floats:
    """SD between samplings of each row: mean moving range / 1.128; NaN below two values."""
    return nan_mean(moving_ranges(values)) / D2_OF_TWO


def run_rules(z: Floats) -> dict[str, Bools]:
    """Which points complete a pattern: rule name to groups x samplings. `z`: distances from the centre in SDs.

    we1: one point beyond 3; we2: two of three beyond 2 on one side; we3: four of five beyond 1 on one side;
    we4: eight in a row on one side; nelson3: six in a row steadily up or down. "Beyond" is strict, a value on
    the centre ends a run, and the point that signals belongs to the pattern itself.
    """
    # Two equal means may differ in their last bits, which is no move and no side.
    z = np.round(z, DECIMALS)
    moves = np.concatenate([np.full((z.shape[0], 1), np.nan), np.diff(z, axis=1)], axis=1)
    either = {
        "we1": [_so_many(side * z > 3.0, 1, 1) for side in (1, -1)],
        "we2": [_so_many(side * z > 2.0, 2, 3) for side in (1, -1)],
        "we3": [_so_many(side * z > 1.0, 4, 5) for side in (1, -1)],
        "we4": [_so_many(side * z > 0.0, WE4_RUN, WE4_RUN) for side in (1, -1)],
        "nelson3": [_so_many(side * moves > 0.0, NELSON_RUN - 1, NELSON_RUN - 1) for side in (1, -1)],
    }
    return {rule: above | below for rule, (above, below) in either.items()}


def _so_many(holds: Bools, least: int, of: int) -> Bools:
    """Where it holds, and holds at `least` so many times among the last `of` points."""
    padded = np.concatenate([np.zeros((holds.shape[0], of), dtype=np.int64), holds.cumsum(axis=1)], axis=1)
    seen = padded[:, of:] - padded[:, :-of]
    enough: Bools = holds & (seen >= least)
    return enough


def drift_charts(
    frame: pl.DataFrame,
    keys: Sequence[str],
    *,
    day: str,
    value: str,
    segment: str | None = None,
    baseline: int = BASELINE_SAMPLINGS,
    least_sigma: float = 0.0,
    weight: float = LAMBDA,
    sigmas: float = LIMIT_SIGMAS,
) -> pl.DataFrame:
    """Every sampling on its lot's chart, all lots at once.

    `frame`: one row a sampling, `day` a Date, `value` its mean (pH, or mS/cm), `segment` a number that rises at
    each change (null counts as a segment). `least_sigma`: the SD of a mean that the pots alone give, in the unit
    of the values. Result, one row a sampling: keys, segment, day, value, nth (of its segment, from 1), centre,
    sigma, z (distance from the centre in sigmas), ewma, ewma_low, ewma_high, ewma_side (`low`, `high`, null),
    moving_range, moving_range_high, is_moving_range_high, we1 to we4, nelson3 (Boolean), reason: `too_few` (the
    segment has no sampling after its baseline), `baseline` (belongs to it), `no_spread` (baseline all alike and
    no least sigma), null. Where there is a reason the chart's columns are null.
    Raises ValueError if `baseline` is below three.
    """
    if baseline < 3:
        raise ValueError(f"a baseline of {baseline} samplings; it takes at least 3")
    by = [*keys, *([segment] if segment is not None else [])]
    padded = pad(one_a_day(frame, by, day, value), by, value, order=[day])
    values = padded.floats(value)
    places = np.arange(padded.width)
    first = np.where(places[None, :] < baseline, values, np.nan)
    ranges = moving_ranges(values)
    mean_range = nan_mean(moving_ranges(first))
    centre, sigma = nan_mean(first), np.fmax(mean_range / D2_OF_TWO, least_sigma)

    too_few = np.broadcast_to((padded.n <= baseline)[:, None], values.shape)
    in_baseline = np.broadcast_to(places[None, :] < baseline, values.shape)
    flat = np.broadcast_to(~(sigma > 0.0)[:, None], values.shape)
    watched = ~(too_few | in_baseline | flat)

    z = np.where(watched, (values - centre[:, None]) / np.where(sigma > 0.0, sigma, np.nan)[:, None], np.nan)
    smooth = np.full(values.shape, np.nan)
    smooth[:, baseline:] = ewma(values[:, baseline:], centre, weight)
    after = np.maximum(places - baseline + 1.0, 0.0)[None, :]
    half = ewma_half_width(after, sigma[:, None], weight=weight, sigmas=sigmas, baseline=baseline)
    range_high = np.broadcast_to((D4_OF_TWO * sigma * D2_OF_TWO)[:, None], values.shape)

    def told(name: str, array: Floats) -> pl.Series:
        return column(name, padded.flatten(np.where(watched, array, np.nan)))

    is_watched = pl.Series(padded.flatten(watched))
    off = smooth - centre[:, None]
    rules = {**run_rules(z), "is_moving_range_high": ranges > range_high}
    return (
        padded.long.select(*by, day, value)
        .with_columns(
            column("nth", padded.flatten(np.broadcast_to(places[None, :] + 1, values.shape)), pl.Int64),
            told("centre", np.broadcast_to(centre[:, None], values.shape)),
            told("sigma", np.broadcast_to(sigma[:, None], values.shape)),
            told("z", z),
            told("ewma", smooth),
            told("ewma_low", centre[:, None] - half),
            told("ewma_high", centre[:, None] + half),
            told("moving_range", ranges),
            told("moving_range_high", range_high),
            *(pl.Series(name, padded.flatten(hits)).set(~is_watched, None) for name, hits in rules.items()),
            _words("ewma_side", padded.flatten(off < -half), padded.flatten(off > half), is_watched),
            reason_of(
                (_flat(padded.flatten(too_few)), "too_few"),
                (_flat(padded.flatten(in_baseline)), "baseline"),
                (_flat(padded.flatten(flat)), "no_spread"),
            ),
        )
        .select(
            *by,
            day,
            value,
            *("nth", "centre", "sigma", "z", "ewma", "ewma_low", "ewma_high", "ewma_side"),
            *("moving_range", "moving_range_high", "is_moving_range_high", *RULES, "reason"),
        )
    )


def _flat(values: np.typing.NDArray[np.generic]) -> Bools:
    return np.asarray(values, dtype=np.bool_)


def _words(
    name: str, low: np.typing.NDArray[np.generic], high: np.typing.NDArray[np.generic], is_watched: pl.Series
) -> pl.Series:
    side = reason_of(
        (_flat(low) & is_watched.to_numpy(), "low"), (_flat(high) & is_watched.to_numpy(), "high")
    )
    return side.alias(name)
