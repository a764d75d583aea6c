"""Two groups of values held against each other: Welch interval, exact Mann-Whitney test, Hedges' g, a word.

Welch 1947 with Satterthwaite's degrees of freedom; Mann and Whitney 1947 over every way to deal the values out;
Hedges 1981. t for any degrees of freedom by Simpson's rule.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from itertools import combinations
from typing import Any

from tests.oracle.fates import Lot
from tests.oracle.outliers import value_of
from tests.oracle.samplings import QUANTITIES, Sampling
from tests.oracle.settings import Policy, fold

MOST_DEALS = 20_000
WITHIN_DAYS = 3
RECENT_DAYS = 28
PURPOSES_BESIDE = ("healthy", "retest", "routine")


def t_within(t: float, df: float) -> float:
    """Probability between -t and t: with t = sqrt(df) tan(x) the integral of cos(x)^(df - 1)."""
    angle, steps = math.atan(t / math.sqrt(df)), 400
    width = angle / steps
    weights = (4 if step % 2 else 2 for step in range(1, steps))
    inner = sum(
        weight * math.cos(step * width) ** (df - 1)
        for step, weight in zip(range(1, steps), weights, strict=True)
    )
    integral: float = width / 3 * (1 + inner + math.cos(angle) ** (df - 1))
    whole = math.sqrt(math.pi) / 2 * math.exp(math.lgamma(df / 2) - math.lgamma((df + 1) / 2))
    return integral / whole


def t_of(df: float, within: float = 0.95) -> float:
    low, high = 1.9, 13.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if t_within(middle, df) < within else (low, middle)
    return (low + high) / 2


def mean_of(values: Sequence[Fraction]) -> Fraction:
    return sum(values, Fraction(0)) / len(values)


def variance_of(values: Sequence[Fraction]) -> Fraction:
    mean = mean_of(values)
    return sum(((value - mean) ** 2 for value in values), Fraction(0)) / (len(values) - 1)


def welch_half(first: Sequence[Fraction], second: Sequence[Fraction]) -> float | None:
    """Half of the 95 % interval of the difference; None with fewer than two values, or without any spread."""
    if min(len(first), len(second)) < 2:
        return None
    parts = [variance_of(values) / len(values) for values in (first, second)]
    error = sum(parts, Fraction(0))
    if error == 0:
        return None
    below = sum(
        (part**2 / (len(values) - 1) for part, values in zip(parts, (first, second), strict=True)),
        Fraction(0),
    )
    return t_of(float(error**2 / below)) * math.sqrt(error)


def hedges_g(first: Sequence[Fraction], second: Sequence[Fraction]) -> float | None:
    if min(len(first), len(second)) < 2:
        return None
    df = len(first) + len(second) - 2
    pooled = sum(((len(values) - 1) * variance_of(values) for values in (first, second)), Fraction(0)) / df
    if pooled == 0:
        return None
    return float(1 - Fraction(3, 4 * df - 1)) * float(mean_of(first) - mean_of(second)) / math.sqrt(pooled)


def wins(first: Sequence[Fraction], second: Sequence[Fraction]) -> Fraction:
    """U: how often a value of the first group is above one of the second, ties half."""
    return sum((Fraction((one > two) - (one < two) + 1, 2) for one in first for two in second), Fraction(0))


def mann_whitney_p(first: Sequence[Fraction], second: Sequence[Fraction]) -> float:
    """Twice the smaller tail of U over all ways to deal the values out; with very many ways the normal form."""
    everything = [*first, *second]
    u = wins(first, second)
    ways = math.comb(len(everything), len(first))
    if ways > MOST_DEALS:
        return normal_p(everything, u, len(first), len(second))
    ranks = [sum(2 * (other < value) + (other == value) for other in everything) for value in everything]
    seen = sum(ranks[: len(first)])
    sums = [sum(dealt) for dealt in combinations(ranks, len(first))]
    tail = min(sum(1 for each in sums if each <= seen), sum(1 for each in sums if each >= seen))
    return min(1.0, 2 * tail / ways)


def normal_p(everything: Sequence[Fraction], u: Fraction, n_1: int, n_2: int) -> float:
    n = n_1 + n_2
    ties = sum(everything.count(value) ** 3 - everything.count(value) for value in set(everything))
    variance = Fraction(n_1 * n_2, 12) * (n + 1 - Fraction(ties, n * (n - 1)))
    if variance == 0:
        return 1.0
    z = max(float(abs(u - Fraction(n_1 * n_2, 2))) - 0.5, 0.0) / math.sqrt(variance)
    return math.erfc(z / math.sqrt(2))


@dataclass(frozen=True)
class Compared:
    """First group less second. With too few there is no interval, no p and no g."""

    n_first: int
    n_second: int
    mean_first: Fraction
    mean_second: Fraction
    half: float | None
    p: float | None
    g: float | None
    word: str

    @property
    def difference(self) -> Fraction:
        return self.mean_first - self.mean_second

    def as_part(self) -> dict[str, Any]:
        difference = float(self.difference)
        return {
            "n_first": self.n_first,
            "n_second": self.n_second,
            "mean_first": float(self.mean_first),
            "mean_second": float(self.mean_second),
            "difference": difference,
            "ci_low": None if self.half is None else difference - self.half,
            "ci_high": None if self.half is None else difference + self.half,
            "p": self.p,
            "hedges_g": self.g,
            "word": self.word,
        }


def compare_groups(first: Sequence[Fraction], second: Sequence[Fraction], least: Fraction) -> Compared | None:
    """None where a group is empty; means alone where they are too few for a p of 5 %.

    Pots without any spread have no interval: there the exact test speaks alone.
    """
    if not first or not second:
        return None
    smallest = min(Fraction(1), Fraction(2, math.comb(len(first) + len(second), len(first))))
    if smallest > Fraction(1, 20) or min(len(first), len(second)) < 2:
        return Compared(len(first), len(second), mean_of(first), mean_of(second), None, None, None, "too_few")
    half, p = welch_half(first, second), mann_whitney_p(first, second)
    difference = abs(mean_of(first) - mean_of(second))
    is_clear = difference > (half or 0) and p <= 0.05 + 1e-12 and difference >= least
    word = "clear" if is_clear else "not_clear"
    return Compared(
        len(first), len(second), mean_of(first), mean_of(second), half, p, hedges_g(first, second), word
    )


@dataclass(frozen=True)
class Contrast:
    """Two samplings of a lot in one quantity."""

    comparison: str
    quantity: str
    first: Sampling
    second: Sampling
    compared: Compared

    def as_part(self) -> dict[str, Any]:
        return {
            "comparison": self.comparison,
            "quantity": self.quantity,
            "first_on": self.first.sampled_on.isoformat(),
            "second_on": self.second.sampled_on.isoformat(),
            "second_purpose": self.second.purpose,
            **self.compared.as_part(),
        }


def affected_pair(
    samplings: Sequence[Sampling], policy: Policy, as_of: date
) -> tuple[Sampling, Sampling] | None:
    """The newest affected sampling that has one of healthy plants near it, else a routine one; the nearest day."""
    since = as_of - timedelta(days=int(policy["affected_within_days"]))
    pairs = [
        (one, other)
        for one in samplings
        if one.purpose == "affected" and one.sampled_on >= since
        for other in samplings
        if other.purpose in PURPOSES_BESIDE and abs((one.sampled_on - other.sampled_on).days) <= WITHIN_DAYS
    ]
    return min(
        pairs,
        key=lambda pair: (
            -pair[0].sampled_on.toordinal(),
            pair[1].purpose != "healthy",
            abs((pair[0].sampled_on - pair[1].sampled_on).days),
            -pair[1].sampled_on.toordinal(),
            pair[1].purpose,
        ),
        default=None,
    )


def feed_pair(samplings: Sequence[Sampling], as_of: date) -> tuple[Sampling, Sampling] | None:
    """The day before feeding and the day of it, the newest such pair of the last weeks."""
    pairs = [
        (one, other)
        for one in samplings
        if one.purpose == "before_feed"
        for other in samplings
        if other.purpose == "after_feed"
        and 0 <= (other.sampled_on - one.sampled_on).days <= WITHIN_DAYS
        and other.sampled_on >= as_of - timedelta(days=RECENT_DAYS)
    ]
    return max(pairs, key=lambda pair: (pair[1].sampled_on, pair[0].sampled_on), default=None)


def pot_values(sampling: Sampling, quantity: str) -> list[Fraction]:
    values = [value_of(pot, quantity) for pot in sampling.pots if pot.reading.n_pots == 1]
    return [value for value in values if value is not None]


def contrasts_of(
    samplings: Sequence[Sampling],
    policy: Policy,
    as_of: date,
    treatment_pair: tuple[Sampling, Sampling] | None,
) -> list[Contrast]:
    found: list[Contrast] = []
    pairs = {
        "affected": affected_pair(samplings, policy, as_of),
        "feed": feed_pair(samplings, as_of),
        "treatment": treatment_pair,
    }
    for comparison, pair in pairs.items():
        for quantity in QUANTITIES:
            if pair is None:
                continue
            compared = compare_groups(
                pot_values(pair[0], quantity),
                pot_values(pair[1], quantity),
                policy["step_ph" if quantity == "ph" else "step_ec_ms_cm"],
            )
            if compared is not None:
                found.append(Contrast(comparison, quantity, *pair, compared))
    return found


def crop_contrasts(
    means: Sequence[tuple[str, Lot, str, Fraction]], steps: dict[str, Fraction]
) -> list[dict[str, Any]]:
    """Every two sites with the same crop in the same container; `means`: site, lot, quantity, last counting mean."""
    groups: dict[tuple[str, str, str], dict[str, list[Fraction]]] = {}
    for site, lot, quantity, mean in means:
        key = (fold(lot.crop), lot.container_class, quantity)
        groups.setdefault(key, {}).setdefault(site, []).append(mean)
    found: list[dict[str, Any]] = []
    for (crop, container_class, quantity), by_site in groups.items():
        for first, second in combinations(sorted(by_site), 2):
            compared = compare_groups(by_site[first], by_site[second], steps[quantity])
            assert compared is not None
            found.append(
                {
                    "crop": crop,
                    "container_class": container_class,
                    "quantity": quantity,
                    "first_site": first,
                    "second_site": second,
                    **compared.as_part(),
                }
            )
    return found
