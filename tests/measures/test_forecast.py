"""Forecasts: a range of days, nothing beyond the lot's end, nothing from numbers that are too few."""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest

from pipeline.measures.forecast import forecasts
from pipeline.measures.trend import trends
from tests.measures.series import FIRST_DAY, samplings

LATE = date(2026, 12, 31)
RISING = [5.80, 5.86, 5.91, 5.97, 6.02]


def forecast(
    values: list[float],
    *,
    low: float | None = 5.4,
    high: float | None = 6.2,
    ends_on: date | None = LATE,
    interval_days: int = 14,
) -> dict[str, object]:
    told = trends(samplings(values), ["lot"], day="day", value="value").with_columns(
        low=pl.lit(low, dtype=pl.Float64),
        high=pl.lit(high, dtype=pl.Float64),
        ends_on=pl.lit(ends_on, dtype=pl.Date),
        interval_days=interval_days,
    )
    return dict(forecasts(told).row(0, named=True))


def test_an_exact_line_leaves_on_the_day_it_meets_the_edge() -> None:
    # 0.05 a fortnight from 6.0 on the fifth sampling: 6.2 four fortnights later, without any spread.
    found = forecast([5.8, 5.85, 5.9, 5.95, 6.0])
    fifth = FIRST_DAY + timedelta(days=4 * 14)
    for name in ("earliest_on", "likely_on", "latest_on"):
        day = found[name]
        assert isinstance(day, date)
        assert abs((day - fifth).days - 4 * 14) <= 1
    assert (found["heads_for"], found["reason"]) == ("high", None)
    assert found["is_within_two_samplings"] is False


def test_a_spread_makes_a_range() -> None:
    found = forecast(RISING)
    days = [found["earliest_on"], found["likely_on"], found["latest_on"]]
    assert all(isinstance(day, date) for day in days)
    assert days == sorted(set(days))  # type: ignore[type-var]


def test_falling_is_the_mirror_of_rising() -> None:
    rising = forecast(RISING)
    falling = forecast([12 - value for value in RISING], low=12 - 6.2, high=12 - 5.4)
    assert falling["heads_for"] == "low"
    for name in ("earliest_on", "latest_on"):
        assert abs((falling[name] - rising[name]).days) <= 1  # type: ignore[operator]


@pytest.mark.parametrize(("interval_days", "soon"), [(14, False), (21, True)])
def test_within_two_samplings(interval_days: int, *, soon: bool) -> None:
    # Reaches 6.2 about 35 days after the last sampling.
    found = forecast([5.8, 5.88, 5.96, 6.04, 6.0], interval_days=interval_days)
    assert found["reason"] == "no_trend"
    found = forecast([5.68, 5.76, 5.84, 5.92, 6.0], interval_days=interval_days)
    assert found["is_within_two_samplings"] is soon


def test_nothing_beyond_the_lots_end() -> None:
    soon = FIRST_DAY + timedelta(days=4 * 14 + 7)
    found = forecast([5.8, 5.85, 5.9, 5.95, 6.0], ends_on=soon)
    assert found["reason"] == "not_before_end"
    assert (found["earliest_on"], found["likely_on"], found["latest_on"]) == (None, None, None)
    assert found["is_within_two_samplings"] is None


def test_a_range_that_the_end_cuts_off() -> None:
    whole = forecast(RISING)
    cut = forecast(RISING, ends_on=whole["likely_on"])  # type: ignore[arg-type]
    assert cut["likely_on"] == whole["likely_on"]
    assert cut["latest_on"] is None


def test_no_known_end() -> None:
    assert forecast(RISING, ends_on=None)["likely_on"] == forecast(RISING)["likely_on"]


@pytest.mark.parametrize(
    ("values", "low", "reason"),
    [
        ([6.0, 6.1], 5.4, "too_few"),
        ([5.8, 5.9, 6.0, 6.1], 5.4, "not_judged"),
        (RISING, None, "no_target"),
        ([6.0, 6.1, 5.9, 6.1, 6.0], 5.4, "no_trend"),
        ([6.0, 6.1, 6.2, 6.3, 6.4], 5.4, "already_out"),
        ([5.0, 5.1, 5.2, 5.25, 5.3], 5.4, "already_out"),
        # The line ends inside, at 6.1 and 5.5, but the last mean lies outside.
        ([5.9, 5.95, 6.0, 6.05, 6.21], 5.4, "already_out"),
        ([5.7, 5.65, 5.6, 5.55, 5.39], 5.4, "already_out"),
    ],
)
def test_why_there_is_none(values: list[float], low: float | None, reason: str) -> None:
    found = forecast(values, low=low)
    assert found["reason"] == reason
    for name in ("heads_for", "earliest_on", "likely_on", "latest_on", "is_within_two_samplings"):
        assert found[name] is None


@pytest.mark.parametrize(("values", "heads_for"), [((5.9, 6.2), "high"), ((5.7, 5.4), "low")])
def test_a_last_mean_on_the_edge_is_not_out(values: tuple[float, float], heads_for: str) -> None:
    first, edge = values
    step = 0.05 if heads_for == "high" else -0.05
    # Seven readings of 5.4 have a mean that is an edge but for the last bit.
    last = sum([edge] * 7) / 7
    found = forecast([*(first + nth * step for nth in range(4)), last])
    assert (found["reason"], found["heads_for"]) == (None, heads_for)


def test_a_flattest_slope_of_nothing_never_arrives() -> None:
    # One tie: a trend by the exact test, but the flattest pair slope is 0.
    found = forecast([5.8, 5.8, 5.9, 6.0, 6.1])
    assert found["reason"] is None
    assert found["latest_on"] is None
    assert found["likely_on"] is not None


def test_no_lots() -> None:
    told = trends(samplings([]), ["lot"], day="day", value="value").with_columns(
        low=1.0, high=2.0, ends_on=pl.lit(LATE), interval_days=14
    )
    assert forecasts(told).height == 0
