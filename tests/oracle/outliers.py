"""Pots that lie apart from the others of their sampling, the figures without them, and how many pots would be enough.

Modified z-score by median and MAD (Iglewicz and Hoaglin 1993): 0.6745 |x - median| > 3.5 MAD, and where the
MAD is 0, |x - median| > 3.5 x 1.253314 mean deviation. n = (t s / d)^2 by trying one n after the other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from tests.oracle.figures import Measured, Statistics, median_of, statistics_of, t_quantile
from tests.oracle.samplings import Judged, Pot, Sampling

MAD_OF_NORMAL = Fraction("0.6745")
SD_IN_MEAN_DEVIATIONS = Fraction("1.253314")
LIMIT = Fraction("3.5")
LEAST_POTS = 5
LEAST_POTS_GRUBBS = 7
LEAST_POTS_FOR_SD = 3


@dataclass(frozen=True)
class Grubbs:
    """The farthest pot from the mean in SDs, and the two-sided 5 % point for so many pots."""

    g: float
    critical: float


@dataclass(frozen=True)
class Apart:
    """What was found among the pots of one quantity. `count` is None where too few pots were read by themselves."""

    count: int | None
    pots: tuple[Pot, ...]
    without: Statistics | None
    grubbs: Grubbs | None = None


def value_of(pot: Pot, quantity: str) -> Fraction | None:
    """The usable figure of a pot."""
    if not (pot.usable_ph if quantity == "ph" else pot.usable_ec):
        return None
    return pot.reading.ph if quantity == "ph" else pot.ec_ms_cm


def limit_of(sampling: Sampling, quantity: str) -> Fraction:
    return sampling.policy["outlier_ph" if quantity == "ph" else "outlier_ec_ms_cm"]


def lies_apart(value: Fraction, values: list[Fraction], least: Fraction) -> bool:
    """Far in spreads and far in pH or mS/cm."""
    middle = median_of(values)
    assert middle is not None
    off = abs(value - middle)
    distances = [abs(other - middle) for other in values]
    mad = median_of(distances)
    if mad:
        is_far = MAD_OF_NORMAL * off > LIMIT * mad
    else:
        mean_deviation = sum(distances, Fraction(0)) / len(distances)
        is_far = mean_deviation > 0 and off > LIMIT * SD_IN_MEAN_DEVIATIONS * mean_deviation
    return is_far and off >= least


def apart(sampling: Sampling, quantity: str) -> Apart:
    """Outliers among the usable pots, where each was read by itself; a line for several pots hides its pots."""
    usable = [(pot, value_of(pot, quantity)) for pot in sampling.pots]
    known = [(pot, value) for pot, value in usable if value is not None]
    if len(known) < LEAST_POTS or any(pot.reading.n_pots > 1 for pot, _ in known):
        return Apart(None, (), None)
    values = [value for _, value in known]
    grubbs = grubbs_of(values)
    least = limit_of(sampling, quantity)
    odd = tuple(pot for pot, value in known if lies_apart(value, values, least))
    if not odd:
        return Apart(0, (), None, grubbs)
    kept = [Measured(value, 1, None) for pot, value in known if pot not in odd]
    return Apart(len(odd), odd, statistics_of(kept, Fraction(0)), grubbs)


def grubbs_of(values: list[Fraction]) -> Grubbs | None:
    """Grubbs 1969, from seven pots that are not all alike."""
    n = len(values)
    if n < LEAST_POTS_GRUBBS or len(set(values)) == 1:
        return None
    mean = sum(values, Fraction(0)) / n
    variance = sum(((value - mean) ** 2 for value in values), Fraction(0)) / (n - 1)
    g = math.sqrt(max((value - mean) ** 2 for value in values) / variance)
    # 0.05 / (2 n) above t and as much below -t
    t = t_quantile(n - 2, 1 - 0.05 / n)
    return Grubbs(g, (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t)))


def side_of(value: Fraction, judged: Judged) -> str:
    assert judged.target is not None
    if value < judged.target.low:
        return "low"
    return "high" if value > judged.target.high else "in_range"


def side_without(sampling: Sampling, quantity: str) -> str | None:
    """The side that the sampling would be on without its only outlier, where that is another side; else None."""
    judged = sampling.quantities[quantity]
    found = apart(sampling, quantity)
    if judged.side is None or judged.at_least or found.count != 1:
        return None
    assert found.without is not None
    assert found.without.mean is not None
    other = side_of(found.without.mean, judged)
    return None if other == judged.side else other


@lru_cache(maxsize=4096)
def t_squared(n: int) -> float:
    return float(t_quantile(n - 1)) ** 2


def pots_needed(sampling: Sampling, quantity: str) -> int | None:
    """The first n from 2 on with (t s / d)^2 at most n; None where the SD was not measured, is 0 or of
    two pots alone.
    """
    variance = None
    figures = sampling.quantities[quantity].statistics
    if not figures.sd_assumed:
        variance = figures.variance
    if not variance or figures.n < LEAST_POTS_FOR_SD:
        return None
    precision = sampling.policy["precision_ph" if quantity == "ph" else "precision_ec_ms_cm"]
    ratio = float(variance / (precision * precision))
    # Below 3.84 s^2 / d^2 pots can never be enough, as t is above 1.96.
    n = max(2, math.floor(3.84 * ratio))
    while t_squared(n) * ratio > n:
        n += 1
    return n
