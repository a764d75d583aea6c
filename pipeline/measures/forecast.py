"""When a lot leaves its target if its trend goes on: a range of days, and never more than the numbers allow.

The Theil-Sen line turns about its middle point (median day, median value). Leaving is likely on the day on which
the line meets the edge that it heads for. It comes earliest with the steepest slope of the interval, met one
residual SD before the edge, and latest with the flattest, met one residual SD behind it. This range is a plain
reckoning and no confidence interval of a stated level (house default: no source gives one for five samplings).
"""

from __future__ import annotations

from typing import Final

import polars as pl

from pipeline.measures.trend import DAYS_A_WEEK

FURTHEST_DAYS: Final = 365
"""House default: no lot is forecast over more than a year."""
SAMPLINGS_AHEAD: Final = 2
DAY_DUST: Final = 1e-6
"""A day that is whole but for the last bits of binary fractions is whole."""
VALUE_DUST: Final = 1e-9

_RISES = pl.col("slope_per_week") > 0
_DIRECTION = pl.when(_RISES).then(1.0).otherwise(-1.0)
_EDGE = pl.when(_RISES).then(pl.col("high")).otherwise(pl.col("low")).cast(pl.Float64)
_TO_EDGE = (_EDGE - pl.col("middle_value")) * _DIRECTION
_STEEP = pl.when(_RISES).then(pl.col("slope_high")).otherwise(-pl.col("slope_low"))
_FLAT = pl.when(_RISES).then(pl.col("slope_low")).otherwise(-pl.col("slope_high"))


def forecasts(trends: pl.DataFrame) -> pl.DataFrame:
    """When each lot leaves its target.

    `trends`: as from `trend.trends`, with low, high (edges of the target in the unit of the values, null without
    one), ends_on (Date, null if not known) and interval_days (routine interval). Result: all its columns without
    `reason`, and heads_for (`low`, `high`), earliest_on, likely_on, latest_on (Date; null where that day lies
    beyond the lot's end or never comes), is_within_two_samplings (likely_on comes before the sampling after
    next; null where nothing is forecast), reason: `too_few`, `not_judged`, `no_target`, `no_trend`,
    `already_out` (the line's last point or the last mean lies outside of the target), `not_before_end` (even
    the earliest day lies beyond the lot's end), null.
    """
    last = pl.col("last_day").cast(pl.Int32)
    until = pl.min_horizontal(pl.col("ends_on").cast(pl.Int32), last + FURTHEST_DAYS)
    near, behind = _TO_EDGE - pl.col("residual_sd"), _TO_EDGE + pl.col("residual_sd")
    # A lot whose last mean is out has left its target, whatever a line of medians says about it.
    is_out = _is_outside("last_fit") | _is_outside("last_value")
    days = trends.with_columns(
        _earliest=(_meets(near, _STEEP) + DAY_DUST).floor(),
        _likely=(_meets(_TO_EDGE, pl.col("slope_per_week").abs()) + DAY_DUST).floor(),
        _latest=(_meets(behind, _FLAT) - DAY_DUST).ceil(),
        _until=until,
    )
    reason = (
        pl.when(pl.col("reason").is_not_null())
        .then(pl.col("reason"))
        .when(pl.col("low").is_null() | pl.col("high").is_null())
        .then(pl.lit("no_target"))
        .when(~pl.col("is_trend") | (pl.col("slope_per_week") == 0))
        .then(pl.lit("no_trend"))
        .when(is_out)
        .then(pl.lit("already_out"))
        .when(pl.col("_earliest") > pl.col("_until"))
        .then(pl.lit("not_before_end"))
    )
    told = days.with_columns(reason=reason)
    is_told = pl.col("reason").is_null()
    two_ahead = last + SAMPLINGS_AHEAD * pl.col("interval_days")
    within = (pl.col("_likely") <= two_ahead) & (pl.col("_likely") <= pl.col("_until"))
    return told.with_columns(
        heads_for=pl.when(is_told).then(pl.when(_RISES).then(pl.lit("high")).otherwise(pl.lit("low"))),
        earliest_on=_day("_earliest"),
        likely_on=_day("_likely"),
        latest_on=_day("_latest"),
        is_within_two_samplings=pl.when(is_told).then(within),
    ).select(
        *(name for name in trends.columns if name != "reason"),
        "heads_for",
        "earliest_on",
        "likely_on",
        "latest_on",
        "is_within_two_samplings",
        "reason",
    )


def _is_outside(name: str) -> pl.Expr:
    """Edges belong to the target; what binary fractions leave of 0 is no distance."""
    return (pl.col(name) < pl.col("low") - VALUE_DUST) | (pl.col(name) > pl.col("high") + VALUE_DUST)


def _meets(distance: pl.Expr, slope_per_week: pl.Expr) -> pl.Expr:
    """Day on which a line from the middle point has gone this distance; null where it never does.

    Not before the last sampling: what lies before it is known.
    """
    day = pl.col("middle_day") + distance / slope_per_week * DAYS_A_WEEK
    last = pl.col("last_day").cast(pl.Int32).cast(pl.Float64)
    return pl.when(slope_per_week > 0).then(pl.max_horizontal(day, last))


def _day(name: str) -> pl.Expr:
    is_told = pl.col("reason").is_null() & (pl.col(name) <= pl.col("_until"))
    return pl.when(is_told).then(pl.col(name)).cast(pl.Int32).cast(pl.Date)
