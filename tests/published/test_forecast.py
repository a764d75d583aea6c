"""Forecasts against published lines: the median of the pair slopes through the medians, worked forward to a level."""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest

from pipeline.measures.forecast import forecasts
from pipeline.measures.trend import trends
from tests.published.worked import floats, read_worked

DAY_0 = date(1970, 1, 1)


def forecast(name: str, level: float, *, sign: int = 1) -> dict[str, object]:
    """The forecast for published points, x being days and y the mean of each; `level` is the edge ahead.

    With `sign` -1 all is upside down.
    """
    worked = read_worked(name)
    frame = pl.DataFrame(
        {"lot": 1, "day": worked["x"].cast(pl.Int32).cast(pl.Date), "value": sign * floats(worked, "y")}
    )
    far = -1e6
    low, high = sorted((sign * level, sign * far))
    told = trends(frame, ["lot"], day="day", value="value", last=12).with_columns(
        low=low, high=high, ends_on=pl.lit(None, dtype=pl.Date), interval_days=14
    )
    return dict(forecasts(told).row(0, named=True))


# Sen 1968, worked example (read): slope 4; intercept 4 with the medians of x and y, as W. J. Conover, Practical
# Nonparametric Statistics, 1980, has it, and as the SciPy test suite prints it for these points. So y = 4 + 4x is 100
# where x = 24, 200 where x = 49, and 101.9 where x = 24.475, within day 24.
@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("level", "day"), [(100.0, 24), (200.0, 49), (101.9, 24)])
def test_sens_line_worked_forward(level: float, day: int, sign: int) -> None:
    found = forecast("sen_1968", level, sign=sign)
    assert found["slope_per_week"] == pytest.approx(sign * 4.0 * 7)
    assert found["likely_on"] == DAY_0 + timedelta(days=day)
    assert found["heads_for"] == ("high" if sign > 0 else "low")


# The last point, 78, lies above the line, 76: a level between them has been left already.
def test_a_level_below_sens_last_point_is_left_already() -> None:
    assert forecast("sen_1968", 77.0)["reason"] == "already_out"
    assert forecast("sen_1968", 78.0)["reason"] is None


# Helsel and Hirsch (from memory): y = 0 + 1·x, which a single point far off does not move. So y is 12 where x = 12.
@pytest.mark.parametrize("sign", [1, -1])
def test_a_kendall_line_with_one_point_far_off(sign: int) -> None:
    found = forecast("kendall_line", 12.0, sign=sign)
    assert (found["slope_per_week"], found["middle_day"], found["middle_value"]) == (
        pytest.approx(sign * 7.0),
        4.0,
        sign * 4.0,
    )
    # Of 21 pairs 20 rise and one falls; Kendall, Table A18 of Gilbert 1987: P(S >= 19) = 0.0014 one-sided.
    assert (found["s"], found["p"]) == (sign * 19, pytest.approx(2 * 0.0014, abs=1e-4))
    assert found["likely_on"] == DAY_0 + timedelta(days=12)
