"""The means of a lot that trends and drift charts look at, and where they start anew."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from itertools import pairwise

from tests.oracle.samplings import Sampling, count

STAGES = ("establishing", "active", "finishing")


@dataclass(frozen=True)
class Point:
    """One day's mean. A higher segment began later."""

    day: date
    value: Fraction
    segment: int


def counted(samplings: Sequence[Sampling], quantity: str) -> list[tuple[Sampling, Fraction]]:
    """Counting routine samplings and retests with their mean; for EC only those with enough pots for it."""
    found: list[tuple[Sampling, Fraction]] = []
    for sampling in samplings:
        mean = sampling.quantities[quantity].statistics.mean
        if not sampling.is_followed or not sampling.counts or mean is None:
            continue
        if quantity == "ec" and count([pot for pot in sampling.pots if pot.usable_ec]) < sampling.min_pots:
            continue
        found.append((sampling, mean))
    return found


def points_of(samplings: Sequence[Sampling], quantity: str, starts: Collection[date] = ()) -> list[Point]:
    """Oldest first; a routine sampling and a retest of one day are one point, their mean.

    A stage begins a segment, and so does each day of `starts`.
    """
    by_day: dict[tuple[int, date], list[Fraction]] = {}
    for sampling, mean in counted(samplings, quantity):
        begun = sum(1 for start in starts if start <= sampling.sampled_on)
        segment = STAGES.index(sampling.stage) + begun
        by_day.setdefault((segment, sampling.sampled_on), []).append(mean)
    return [
        Point(day, sum(means, Fraction(0)) / len(means), segment)
        for (segment, day), means in sorted(by_day.items())
    ]


def drift_of(samplings: Sequence[Sampling], quantity: str, step: Fraction) -> str | None:
    """The way that the last three moves of the mean or more all went, together one step or more."""
    means = [mean for _, mean in counted(samplings, quantity)]
    moves = [after - before for before, after in pairwise(means)]
    if not moves or moves[-1] == 0:
        return None
    run = 0
    while run < len(moves) and moves[-1 - run] * moves[-1] > 0:
        run += 1
    if run < 3 or abs(sum(moves[-run:], Fraction(0))) < step:
        return None
    return "high" if moves[-1] > 0 else "low"
