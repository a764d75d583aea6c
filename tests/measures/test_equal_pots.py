"""How often honest pots are all alike to the last digit, so that a question about copied figures is a false one."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

PLACES_OF_THE_MEAN = 200


def chance_of_equal_pots(pots: int, sd: float, digit: float) -> float:
    """Share of samplings whose pots, normal about any mean, are all rounded to one figure."""
    means = (np.arange(PLACES_OF_THE_MEAN) + 0.5) / PLACES_OF_THE_MEAN * digit
    cells = np.arange(-100, 102) * digit
    upper = stats.norm.cdf((cells + digit / 2 - means[:, None]) / sd)
    lower = stats.norm.cdf((cells - digit / 2 - means[:, None]) / sd)
    return float(((upper - lower) ** pots).sum(axis=1).mean())


# As DEVELOPERS.md has them: 0.2 %, 1 %, 10 %, and three pots 4 %.
@pytest.mark.parametrize(
    ("pots", "sd", "percent"), [(5, 0.15, 0.2), (5, 0.10, 1.0), (5, 0.05, 9.8), (3, 0.15, 3.9)]
)
def test_one_decimal_of_ph(pots: int, sd: float, percent: float) -> None:
    assert round(100 * chance_of_equal_pots(pots, sd, 0.1), 1) == percent


def test_two_decimals_are_almost_never_all_alike() -> None:
    assert chance_of_equal_pots(5, 0.05, 0.01) < 0.0001


def test_the_chance_is_what_drawing_gives() -> None:
    drawn = np.random.default_rng(1).normal(np.linspace(5.75, 5.85, 40_000)[:, None], 0.1, (40_000, 5))
    equal = (np.round(drawn, 1).min(axis=1) == np.round(drawn, 1).max(axis=1)).mean()
    assert equal == pytest.approx(chance_of_equal_pots(5, 0.1, 0.1), abs=0.0015)
