"""Where a lot's means go: Theil-Sen slope, exact Mann-Kendall test, and the day on which the target is left.

Slope: median of the slopes of all pairs (Sen 1968); interval: the ordered pair slopes cut by Kendall's exact null of a
series without ties. Test: S against every order of the same values, counted one by one.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from functools import lru_cache

from tests.oracle.figures import median_of
from tests.oracle.series import Point

EPOCH = date(1970, 1, 1)
LEAST_FOR_SLOPE, LEAST_TO_JUDGE = 4, 5
FURTHEST_DAYS = 365
ALPHA = Fraction(1, 20)
# Days that are whole but for the last bits of a root are whole.
WHOLE = 1e-6


@dataclass(frozen=True)
class Trend:
    """Slopes a week. Days are None where nothing is forecast."""

    n: int
    first_on: date
    last_on: date
    slope: Fraction | None
    slope_low: Fraction | None
    slope_high: Fraction | None
    p: Fraction | None
    is_trend: bool | None
    heads_for: str | None = None
    earliest_on: date | None = None
    likely_on: date | None = None
    latest_on: date | None = None
    is_within_two_samplings: bool | None = None
    last_fit: Fraction | None = None


@lru_cache(maxsize=4096)
def orders_by_s(counts: tuple[int, ...]) -> dict[int, int]:
    """How many different orders of a multiset have each S; counts[k] is how often the k-th smallest value occurs.

    The value that stands last rises over all smaller ones before it and falls below all larger ones.
    """
    if sum(counts) == 0:
        return {0: 1}
    total: Counter[int] = Counter()
    for place, often in enumerate(counts):
        if often == 0:
            continue
        rest = (*counts[:place], often - 1, *counts[place + 1 :])
        here = sum(counts[:place]) - sum(counts[place + 1 :])
        for s, orders in orders_by_s(rest).items():
            total[s + here] += orders
    return dict(total)


def s_of(values: list[Fraction]) -> int:
    """Pairs that rise less pairs that fall."""
    return sum(
        (later > earlier) - (later < earlier)
        for place, later in enumerate(values)
        for earlier in values[:place]
    )


def mann_kendall_p(values: list[Fraction]) -> Fraction:
    """The share of orders whose S is at least as far from 0."""
    sizes = Counter(values)
    orders = orders_by_s(tuple(sizes[value] for value in sorted(sizes)))
    seen = abs(s_of(values))
    return Fraction(sum(often for s, often in orders.items() if abs(s) >= seen), sum(orders.values()))


def slopes_cut_off(n: int) -> int | None:
    """Pair slopes outside of the 95 % interval on each side; None where no such interval exists."""
    orders = orders_by_s((1,) * n)
    ways = math.factorial(n)
    for s in sorted(s for s in orders if s > 0):
        if Fraction(sum(often for other, often in orders.items() if other >= s), ways) <= ALPHA / 2:
            return (n * (n - 1) // 2 - s) // 2
    return None


def trend_of(points: list[Point], last: int) -> Trend:
    """The trend over the last points of the newest segment, without its forecast."""
    newest = [point for point in points if point.segment == points[-1].segment][-last:]
    n, first_on, last_on = len(newest), newest[0].day, newest[-1].day
    if n < LEAST_FOR_SLOPE:
        return Trend(n, first_on, last_on, None, None, None, None, None)
    last_fit = line_at_end(newest)
    slopes = sorted(
        (later.value - earlier.value) / (later.day - earlier.day).days * 7
        for place, later in enumerate(newest)
        for earlier in newest[:place]
    )
    if n < LEAST_TO_JUDGE:
        return Trend(n, first_on, last_on, median_of(slopes), None, None, None, None, last_fit=last_fit)
    cut = slopes_cut_off(n)
    assert cut is not None
    p = mann_kendall_p([point.value for point in newest])
    low, high = slopes[cut], slopes[-1 - cut]
    return Trend(n, first_on, last_on, median_of(slopes), low, high, p, p <= ALPHA, last_fit=last_fit)


def line_at_end(points: list[Point]) -> Fraction:
    """Where the line through the medians of days and values stands on the last day."""
    slope = median_of(
        [
            (later.value - earlier.value) / (later.day - earlier.day).days
            for place, later in enumerate(points)
            for earlier in points[:place]
        ]
    )
    day, value = (
        median_of([Fraction((point.day - EPOCH).days) for point in points]),
        median_of([point.value for point in points]),
    )
    assert slope is not None
    assert day is not None
    assert value is not None
    return value + slope * ((points[-1].day - EPOCH).days - day)


def forecast(
    points: list[Point],
    last: int,
    edges: tuple[Fraction, Fraction] | None,
    ends_on: date | None,
    interval_days: int,
) -> Trend:
    """The trend with the days on which the target is left if it goes on; a range from one residual SD before the
    edge by the steepest slope to one behind it by the flattest.
    """
    trend = trend_of(points, last)
    slope = trend.slope
    if not trend.is_trend or not slope or edges is None:
        return trend
    newest = [point for point in points if point.segment == points[-1].segment][-last:]
    days = [Fraction((point.day - EPOCH).days) for point in newest]
    middle_day, middle = median_of(days), median_of([point.value for point in newest])
    assert middle_day is not None
    assert middle is not None
    fitted = [middle + slope / 7 * (day - middle_day) for day in days]
    if not all(edges[0] <= value <= edges[1] for value in (fitted[-1], newest[-1].value)):
        return trend
    off = sum(((point.value - fit) ** 2 for point, fit in zip(newest, fitted, strict=True)), Fraction(0))
    residual = math.sqrt(off / (len(newest) - 2))
    assert trend.slope_low is not None
    assert trend.slope_high is not None
    rises = slope > 0
    to_edge = edges[1] - middle if rises else middle - edges[0]
    steep, flat = (trend.slope_high, trend.slope_low) if rises else (-trend.slope_low, -trend.slope_high)
    until = (trend.last_on - EPOCH).days + FURTHEST_DAYS
    if ends_on is not None:
        until = min(until, (ends_on - EPOCH).days)

    def meets(distance: float, speed: Fraction) -> float:
        return max(float(middle_day) + distance / float(speed) * 7, float(days[-1]))

    earliest = math.floor(meets(float(to_edge) - residual, steep) + WHOLE)
    likely = math.floor(max(middle_day + to_edge / abs(slope) * 7, days[-1]))
    latest = math.ceil(meets(float(to_edge) + residual, flat) - WHOLE) if flat > 0 else None
    if earliest > until:
        return trend

    def day(number: int | None) -> date | None:
        return None if number is None or number > until else EPOCH + timedelta(days=number)

    return Trend(
        trend.n,
        trend.first_on,
        trend.last_on,
        slope,
        trend.slope_low,
        trend.slope_high,
        trend.p,
        trend.is_trend,
        "high" if rises else "low",
        day(earliest),
        day(likely),
        day(latest),
        likely <= min(until, (trend.last_on - EPOCH).days + 2 * interval_days),
        trend.last_fit,
    )
