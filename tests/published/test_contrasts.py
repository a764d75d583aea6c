"""Two groups against each other: worked examples."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.measures.contrasts import contrasts, hedges_g, smallest_p
from tests.published.worked import floats, read_worked


def compare(name: str, column: str, first: str, second: str) -> dict[str, object]:
    worked = read_worked(name)
    frame = pl.DataFrame({"id": 1, "group": worked["group"], "value": floats(worked, column)})
    found = contrasts(frame, ["id"], value="value", group="group", first=first, second=second)
    return dict(found.row(0, named=True))


# R, t.test on sleep, unpaired (read): t = -1.8608, df = 17.776, p = 0.07939, interval -3.3654832 to 0.2054832.
def test_sleep_by_welch() -> None:
    found = compare("student_sleep", "extra", "1", "2")
    assert found["df"] == pytest.approx(17.776, abs=0.0005)
    assert found["p_welch"] == pytest.approx(0.07939, abs=5e-6)
    assert found["ci_low"] == pytest.approx(-3.3654832, abs=5e-8)
    assert found["ci_high"] == pytest.approx(0.2054832, abs=5e-8)
    assert found["word"] == "not_clear"
    # Computed outside of this project: Cohen's d -0.832181 times 1 - 3/(4 df - 1).
    assert found["hedges_g"] == pytest.approx(-0.797018500447446, abs=1e-9)


# scipy.stats.mannwhitneyu, documentation (read): U = 17, exact p = 0.1111.
def test_mann_whitney() -> None:
    worked = read_worked("scipy_mann_whitney")
    first, second = worked["group"].unique(maintain_order=True).to_list()
    found = compare("scipy_mann_whitney", "value", first, second)
    assert found["u"] == 17.0
    assert found["p_exact"] == pytest.approx(0.111111111111111, abs=1e-9)
    assert compare("scipy_mann_whitney", "value", second, first)["u"] == 3.0


# Computed outside of this project; 3 against 3 can never reach 5 %.
def test_smallest_p() -> None:
    worked = read_worked("mann_whitney_smallest_p")
    for n_1, n_2, expected in zip(
        worked["n1"].cast(pl.Int64),
        worked["n2"].cast(pl.Int64),
        floats(worked, worked.columns[2]),
        strict=True,
    ):
        assert smallest_p(n_1, n_2) == pytest.approx(expected, abs=1e-12)


# Borenstein et al., Introduction to Meta-Analysis, 2009, chapter 4 (from memory): means 103 and 100, SD 5.5 and
# 4.5, 50 each: d = 0.5970, g = 0.5924, variance of g 0.0411.
def test_hedges_g() -> None:
    fifty = np.array([50.0])
    g, variance = hedges_g(np.array([103.0 - 100.0]), np.array([5.5]), fifty, np.array([4.5]), fifty)
    assert g[0] == pytest.approx(0.5924, abs=5e-5)
    assert variance[0] == pytest.approx(0.0411, abs=1e-4)
