"""A lot's own chart: EWMA and run rules around the mean of its first five samplings, each segment by itself.

By the recursions of the NIST/SEMATECH e-Handbook (6.3.2.2, 6.3.2.4), the Western Electric rules and Nelson's third
test, in plain loops. The limits are wider by the variance of the baseline's mean.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from itertools import pairwise

from tests.oracle.series import Point

WEIGHT = Fraction(3, 10)
BASELINE = 5
D2 = Fraction("1.128")


@dataclass(frozen=True)
class OnChart:
    """The last point of a lot's chart. Figures are None while the chart has only its baseline."""

    day: date
    centre: Fraction | None = None
    smoothed: Fraction | None = None
    low: float | None = None
    high: float | None = None
    side: str | None = None
    rules: tuple[str, ...] = ()


def sigma_of(first: list[Fraction], least: float) -> float:
    """Mean moving range / 1.128, but no less than what the pots alone would give."""
    ranges = [abs(after - before) for before, after in pairwise(first)]
    return max(float(sum(ranges, Fraction(0)) / len(ranges) / D2), least)


def half_width(place: int, sigma: float) -> float:
    """Three sigmas of the EWMA at its 1st, 2nd ... point around a centre that is the mean of five."""
    faded = (1 - WEIGHT) ** place
    variance = WEIGHT / (2 - WEIGHT) * (1 - faded**2) + (1 - faded) ** 2 / BASELINE
    return 3 * sigma * math.sqrt(variance)


def so_many(offs: list[Fraction], beyond: float, least: int, of: int) -> bool:
    """The last lies beyond, and at least so many of the last few on its side."""
    for side in (1, -1):
        holds = [float(side * off) > beyond if beyond else side * off > 0 for off in offs]
        if holds[-1] and sum(holds[-of:]) >= least:
            return True
    return False


def climbs(values: list[Fraction]) -> bool:
    """Six in a row steadily up, or down."""
    if len(values) < 6:
        return False
    moves = [after - before for before, after in pairwise(values[-6:])]
    return all(move > 0 for move in moves) or all(move < 0 for move in moves)


def chart_of(points: list[Point], least_sigma: float) -> OnChart:
    """The last point on the chart of its segment."""
    newest = [point.value for point in points if point.segment == points[-1].segment]
    day = points[-1].day
    first, watched = newest[:BASELINE], newest[BASELINE:]
    if not watched:
        return OnChart(day)
    sigma = sigma_of(first, least_sigma)
    if sigma == 0:
        return OnChart(day)
    centre = sum(first, Fraction(0)) / BASELINE
    smoothed = centre
    for value in watched:
        smoothed = WEIGHT * value + (1 - WEIGHT) * smoothed
    half = half_width(len(watched), sigma)
    off = float(smoothed - centre)
    offs = [value - centre for value in watched]
    rules = {
        "we1": so_many(offs, 3 * sigma, 1, 1),
        "we2": so_many(offs, 2 * sigma, 2, 3),
        "we3": so_many(offs, sigma, 4, 5),
        "we4": so_many(offs, 0, 8, 8),
        "nelson3": climbs(watched),
    }
    return OnChart(
        day,
        centre,
        smoothed,
        float(centre) - half,
        float(centre) + half,
        "low" if off < -half else "high" if off > half else None,
        tuple(name for name, holds in rules.items() if holds),
    )
