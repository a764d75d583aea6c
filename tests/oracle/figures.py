"""Statistics of one quantity in one sampling, in exact arithmetic as far as roots allow."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

# The 97.5 % point of the normal distribution, as the policy prints it.
NORMAL_95 = Fraction("1.959964")


def cosine_power_integral(power: int, angle: float) -> float:
    """Integral of cos(x)**power from 0 to the angle, by the textbook's reduction formula."""
    total = angle if power % 2 == 0 else math.sin(angle)
    for n in range(2 if power % 2 == 0 else 3, power + 1, 2):
        total = math.cos(angle) ** (n - 1) * math.sin(angle) / n + (n - 1) / n * total
    return total


def t_within(t: float, df: int) -> float:
    """Probability that Student's t with df degrees of freedom lies within -t and t.

    With t = sqrt(df) tan(x) the density becomes a power of the cosine.
    """
    return cosine_power_integral(df - 1, math.atan(t / math.sqrt(df))) / cosine_power_integral(
        df - 1, math.pi / 2
    )


def t_quantile(df: int, within: float = 0.95) -> float:
    """The t with so much probability between -t and t, by bisection."""
    low, high = 0.0, 1000.0
    for _ in range(200):
        middle = (low + high) / 2
        if t_within(middle, df) < within:
            low = middle
        else:
            high = middle
    return (low + high) / 2


@dataclass(frozen=True)
class Measured:
    """One usable line: its figure, the pots it stands for, its own SD if it has one."""

    value: Fraction
    n_pots: int
    sd: Fraction | None


@dataclass(frozen=True)
class Statistics:
    """n counts pots. `variance` is exact; intervals are floats."""

    n: int
    mean: Fraction | None
    variance: Fraction | None
    sd_assumed: bool
    ci_low: float | None
    ci_high: float | None
    median: Fraction | None
    least: Fraction | None
    most: Fraction | None
    is_pot_level: bool

    @property
    def sd(self) -> float | None:
        return None if self.variance is None else math.sqrt(self.variance)


def median_of(values: list[Fraction]) -> Fraction | None:
    """The middle value, or the mean of the two in the middle."""
    if not values:
        return None
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2


def statistics_of(lines: list[Measured], policy_sd: Fraction) -> Statistics:
    """Mean weighted by pots. Single pots: SD with n - 1, t interval; all alike, the policy's SD.

    A line of several pots: alone and with an SD of its own, t interval; else the policy's SD, taken as
    known, with the normal interval, and no median, extremes or pots in range.
    """
    n = sum(line.n_pots for line in lines)
    if n == 0:
        return Statistics(0, None, None, False, None, None, None, None, None, True)
    mean = sum((line.value * line.n_pots for line in lines), Fraction(0)) / n
    if all(line.n_pots == 1 for line in lines):
        values = [line.value for line in lines]
        variance = None
        low = high = None
        alike = False
        if n >= 2:
            variance = sum(((value - mean) ** 2 for value in values), Fraction(0)) / (n - 1)
            factor = t_quantile(n - 1)
            if variance == 0:
                # Alike to the last digit: a question, not certainty.
                alike, variance, factor = True, policy_sd * policy_sd, float(NORMAL_95)
            half = factor * math.sqrt(variance / n)
            low, high = float(mean) - half, float(mean) + half
        return Statistics(
            n, mean, variance, alike, low, high, median_of(values), min(values), max(values), True
        )
    if len(lines) == 1 and lines[0].sd:
        own = lines[0].sd
        half = t_quantile(n - 1) * float(own) / math.sqrt(n)
        return Statistics(
            n, mean, own * own, False, float(mean) - half, float(mean) + half, None, None, None, False
        )
    half = float(NORMAL_95) * float(policy_sd) / math.sqrt(n)
    return Statistics(
        n, mean, policy_sd * policy_sd, True, float(mean) - half, float(mean) + half, None, None, None, False
    )
