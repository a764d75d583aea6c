"""Where a chart draws a forecast, from the dates that the trend gives."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.reports.chart_forecast import LEAST_DAYS_AHEAD, SHARE_AHEAD, plan_forecast
from pipeline.reports.summary import Target, Trend
from tests.reports.factory import make_target

END = date(2026, 4, 6)
LAST = END - timedelta(days=3)


def make_trend(**changes: Any) -> Trend:
    """A pH that falls by 0.07 a week and stands at 5.60 on its last day."""
    facts: dict[str, Any] = {
        "samplings": 6,
        "first_on": LAST - timedelta(days=70),
        "last_on": LAST,
        "slope_per_week": -0.07,
        "slope_low": -0.09,
        "slope_high": -0.05,
        "p": 0.01,
        "is_trend": True,
        "heads_for": "low",
        "earliest_on": LAST + timedelta(days=7),
        "likely_on": LAST + timedelta(days=20),
        "latest_on": LAST + timedelta(days=30),
        "leaves_within_two_samplings": True,
        "last_fit": 5.60,
        "sentence": "",
    }
    return Trend(**facts | changes)


TARGET: Target = make_target(5.4, 6.2)


def test_the_line_ends_on_the_likely_day_and_the_bar_on_the_latest() -> None:
    found = plan_forecast(make_trend(), TARGET, END, 126, None)
    assert found is not None
    assert [(point["on"], round(point["value"], 6)) for point in found.line] == [
        (LAST, 5.60),
        (LAST + timedelta(days=20), 5.40),
    ]
    assert (found.edge, found.cross_from, found.until) == (
        5.4,
        LAST + timedelta(days=7),
        LAST + timedelta(days=30),
    )


def test_what_lies_further_ahead_than_the_chart_looks_is_cut_off() -> None:
    found = plan_forecast(make_trend(), TARGET, END, 10, None)
    assert found is not None
    assert found.until == END + timedelta(days=LEAST_DAYS_AHEAD)
    assert found.line[-1]["on"] == found.until
    assert round(found.line[-1]["value"], 6) == round(5.60 - 0.07 * 17 / 7, 6)


@pytest.mark.parametrize(
    ("changes", "ends_on", "until"),
    [
        pytest.param({"latest_on": None}, None, END + timedelta(days=50), id="no-latest-day"),
        pytest.param({"latest_on": None}, END + timedelta(days=9), END + timedelta(days=9), id="lot-ends"),
        pytest.param(
            {"likely_on": None, "latest_on": None}, None, END + timedelta(days=50), id="only-earliest"
        ),
    ],
)
def test_a_bar_without_a_latest_day_goes_on_to_the_end(
    changes: dict[str, Any], ends_on: date | None, until: date
) -> None:
    found = plan_forecast(make_trend(**changes), TARGET, END, 125, ends_on)
    assert found is not None
    assert (found.cross_from, found.until) == (LAST + timedelta(days=7), until)


@pytest.mark.parametrize(
    ("changes", "target"),
    [
        pytest.param({"heads_for": None}, TARGET, id="nothing-forecast"),
        pytest.param({}, None, id="no-target"),
        pytest.param({"earliest_on": LAST, "likely_on": LAST, "latest_on": LAST}, TARGET, id="no-time-left"),
    ],
)
def test_no_forecast_is_drawn(changes: dict[str, Any], target: Target | None) -> None:
    assert plan_forecast(make_trend(**changes), target, END, 126, None) is None


def test_a_lot_without_a_trend_has_no_forecast() -> None:
    assert plan_forecast(None, TARGET, END, 126, None) is None


@given(
    early=st.integers(0, 400),
    likely=st.none() | st.integers(0, 400),
    late=st.none() | st.integers(0, 400),
    span=st.integers(0, 400),
    ends=st.none() | st.integers(0, 400),
)
def test_nothing_is_drawn_beyond_the_chart(
    early: int, likely: int | None, late: int | None, span: int, ends: int | None
) -> None:
    days = sorted([early, early if likely is None else likely, early if late is None else late])
    trend = make_trend(
        earliest_on=LAST + timedelta(days=days[0]),
        likely_on=None if likely is None else LAST + timedelta(days=days[1]),
        latest_on=None if likely is None or late is None else LAST + timedelta(days=days[2]),
    )
    ends_on = None if ends is None else END + timedelta(days=ends)
    found = plan_forecast(trend, TARGET, END, span, ends_on)
    if found is None:
        return
    furthest = END + timedelta(days=max(LEAST_DAYS_AHEAD, round(span * SHARE_AHEAD)))
    assert LAST < found.until <= min(furthest, ends_on or furthest)
    assert all(LAST <= point["on"] <= found.until for point in found.line)
    assert found.cross_from is None or LAST <= found.cross_from < found.until
