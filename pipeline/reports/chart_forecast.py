"""Where a chart draws a lot's forecast: the trend's line, and the days between which it crosses the target's edge."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from pipeline.reports.summary import Target, Trend

SHARE_AHEAD = 0.4
"""A chart looks ahead for at most this share of the days that it looks back, so that the samplings stay legible."""
LEAST_DAYS_AHEAD = 14


@dataclass(frozen=True, slots=True)
class Forecast:
    """Points of the line (on: date, value), the edge that it heads for, and the last day that is drawn.

    `cross_from`: first day of the bar on the edge, which ends on `until`; None where it lies beyond.
    """

    line: tuple[dict[str, Any], ...]
    edge: float
    cross_from: date | None
    until: date


def plan_forecast(
    trend: Trend | None, target: Target | None, end: date, span: int, ends_on: date | None
) -> Forecast | None:
    """Plan the forecast of one quantity; None where nothing is forecast.

    `end`: last day of the chart without it, `span`: days that the chart looks back, `ends_on`: the lot's end.
    Without a latest day the bar goes on as far as the chart does, at most to the lot's end.
    """
    if trend is None or target is None or trend.heads_for is None or trend.last_on is None:
        return None
    if trend.last_fit is None or trend.slope_per_week is None:
        return None
    furthest = end + timedelta(days=max(LEAST_DAYS_AHEAD, round(span * SHARE_AHEAD)))
    until = min(day for day in (trend.latest_on, furthest, ends_on) if day is not None)
    if until <= trend.last_on:
        return None
    line_ends = min(trend.likely_on or until, until)
    days = (line_ends - trend.last_on).days
    points = [(trend.last_on, trend.last_fit)]
    if days:
        points.append((line_ends, trend.last_fit + trend.slope_per_week * days / 7))
    crosses = trend.earliest_on is not None and trend.earliest_on < until
    return Forecast(
        line=tuple({"on": day, "value": value} for day, value in points),
        edge=target.high if trend.heads_for == "high" else target.low,
        cross_from=trend.earliest_on if crosses else None,
        until=until,
    )
