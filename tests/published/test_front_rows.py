"""The binomial tail of pots in the front row against worked examples of the one-sided binomial test."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.measures.positions import tail_chance


@pytest.mark.parametrize(
    ("found", "number", "chance", "printed", "dust"),
    [
        # A reader's notebook to T. Haslwanter, An Introduction to Statistics with Python, Springer 2016 (read): 51
        # sixes in 235 rolls of a die, 0.02654424571169947. Elsewhere the example is printed as 0.0265443, rounded up.
        # The last digits are those of two ways to work in doubles.
        pytest.param(51, 235, 1 / 6, 0.02654424571169947, 1e-13, id="sixes of a die"),
        # SciPy 1.7, reference of scipy.stats.binom_test (read): 3 of 15 cars unsafe where 10 % are claimed.
        pytest.param(3, 15, 0.1, 0.18406106910639114, 1e-13, id="unsafe cars"),
    ],
)
def test_one_sided_binomial_test(found: int, number: int, chance: float, printed: float, dust: float) -> None:
    assert tail_chance(found, np.array([number]), np.array([chance])) == pytest.approx(printed, abs=dust)
    # the same pots as two kinds of benches that happen to have as many rows
    halves = tail_chance(found, np.array([number // 2, number - number // 2]), np.array([chance, chance]))
    assert halves == pytest.approx(printed, abs=dust)
