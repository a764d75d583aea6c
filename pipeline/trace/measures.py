"""What a lot's measures were worked out from, step by step, as somebody would check them with a pocket calculator.

Everything here is pure: the inputs of the measures of one lot in, lines of text out. The figures are worked out anew by
the same functions as in the night.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import Any, Final, Literal

import numpy as np
import polars as pl
from pydantic import BaseModel, ConfigDict

from pipeline.measures.contrasts import contrasts
from pipeline.measures.drift import (
    BASELINE_SAMPLINGS,
    D2_OF_TWO,
    D4_OF_TWO,
    LAMBDA,
    RULES,
    drift_charts,
    moving_ranges,
)
from pipeline.measures.forecast import forecasts
from pipeline.measures.outliers import (
    LEAST_POTS,
    LEAST_POTS_GRUBBS,
    NORMAL_MAD,
    NORMAL_MEAN_DEVIATION,
    SCORE_LIMIT,
    grubbs_t,
    score_pots,
    with_and_without,
)
from pipeline.measures.padded import Floats
from pipeline.measures.t_table import LEAST_POTS_FOR_SD, pots_for, t_quantile
from pipeline.measures.trend import interval_cut, newest_segment, one_a_day, pair_slopes, trends

Inputs = Mapping[str, pl.DataFrame]
Row = dict[str, Any]
EPOCH: Final = date(1970, 1, 1)
LOT: Final = ["site_id", "lot_key"]
DAYS_A_WEEK: Final = 7
WEEKS_OF_A_STEP: Final = 8
"""House default: a trend is spoken of where it moves a step in so many weeks (sql/judgement/reasons.sql)."""
STEP_DUST: Final = 1e-8
"""As in the SQL: slopes are kept to nine decimals."""


class TracedMeasure(BaseModel):
    """One measure of one quantity and how it came about."""

    model_config = ConfigDict(frozen=True)

    measure: Literal["pots", "trend", "forecast", "own_chart", "contrast"]
    quantity: Literal["ph", "ec"]
    sampled_on: date | None
    purpose: str | None
    steps: list[str]


def trace_measures(inputs: Inputs, on: date) -> list[TracedMeasure]:
    """Every measure of one lot: outlier pots of the day `on`, then what is made of all its samplings.

    `inputs`: the queries of sql/measures by name, with the rows of the one lot, and of its site in `limits`.
    """
    limits = inputs["limits"].row(0, named=True)
    traced: list[TracedMeasure] = []
    for quantity in ("ph", "ec"):
        part = {
            name: frame.filter(pl.col("quantity") == quantity)
            for name, frame in inputs.items()
            if "quantity" in frame.columns
        }
        traced += _pots(part, quantity, limits, on)
        traced += _over_samplings(part, quantity, limits)
        traced += _compared(part["compared_pots"], quantity, limits[f"step_{quantity}"])
    return traced


def _pots(part: Inputs, quantity: str, limits: Row, on: date) -> list[TracedMeasure]:
    """Outliers, and how many pots would be enough, of each sampling of a day."""
    pots = part["usable_pots"].filter(pl.col("sampled_on") == on)
    spreads = part["spreads"].filter(pl.col("sampled_on") == on)
    traced = []
    for purpose in sorted({*pots["purpose"].to_list(), *spreads["purpose"].to_list()}):
        steps = _outlier_steps(pots.filter(pl.col("purpose") == purpose), limits[f"outlier_{quantity}"])
        for spread in spreads.filter(pl.col("purpose") == purpose).iter_rows(named=True):
            steps += _needed_steps(spread, limits[f"precision_{quantity}"])
        if steps:
            traced.append(_measure("pots", quantity, steps, on, purpose))
    return traced


def _measure(
    measure: str, quantity: str, steps: list[str], on: date | None = None, purpose: str | None = None
) -> TracedMeasure:
    return TracedMeasure.model_validate(
        {"measure": measure, "quantity": quantity, "sampled_on": on, "purpose": purpose, "steps": steps}
    )


def _outlier_steps(pots: pl.DataFrame, distance: float) -> list[str]:
    values = pots["value"].sort()
    if values.len() < LEAST_POTS:
        return (
            [f"pots that lie apart: not judged with {values.len()}, it takes {LEAST_POTS}"]
            if values.len()
            else []
        )
    scored = score_pots(pots, [*LOT, "sampled_on", "purpose"], "value", distance)
    row = scored.sort(pl.col("modified_z").abs(), descending=True, nulls_last=True).row(0, named=True)
    median = _median(values)
    apart = (values - median).abs()
    steps = [f"pots in order {_listed(values)}: median {median:.4f}"]
    if row["modified_z"] is None:
        return [*steps, "all alike: no pot lies apart"]
    without = with_and_without(pots, [*LOT, "sampled_on", "purpose"], "value", distance).row(0, named=True)
    return [*steps, *_apart_steps(row, without, median, apart, distance), *_grubbs_steps(without, values)]


def _apart_steps(row: Row, without: Row, median: float, apart: pl.Series, distance: float) -> list[str]:
    """The modified z-score of the farthest pot, and the figures without what lies apart."""
    if row["score_by"] == "mad":
        off, factor = _median(apart), f"{NORMAL_MAD}"
        spread = f"median distance from it {off:.4f}, score of the farthest {factor} × ({row['value']:g} - "
    else:
        off, factor = float(apart.sum()) / apart.len(), f"1 / {NORMAL_MEAN_DEVIATION}"
        spread = f"mean distance from it {off:.4f}, score of the farthest {factor} × ({row['value']:g} - "
    steps = [f"{spread}{median:.4f}) / {off:.4f} = {row['modified_z']:.2f}"]
    away = abs(row["value"] - median)
    if not row["is_outlier"]:
        why = f"it takes more than {SCORE_LIMIT} and a distance of {distance:g} (this one is {away:.4f} away)"
        return [*steps, f"no pot lies apart: {why}"]
    interval = (
        f", 95 % interval {without['ci_low_without']:.4f} to {without['ci_high_without']:.4f}"
        if without["ci_low_without"] is not None
        else ""
    )
    return [
        *steps,
        (
            f"beyond {SCORE_LIMIT} and at least {distance:g} away: {without['n_outliers']} of {without['n']} pots lie "
            f"apart; without mean {without['mean_without']:.4f}{interval}; the report keeps them all"
        ),
    ]


def _grubbs_steps(row: Row, values: pl.Series) -> list[str]:
    """Grubbs' test of the pot farthest from the mean, for one row of `with_and_without`."""
    n = row["n"]
    if n < LEAST_POTS_GRUBBS:
        return [f"Grubbs' test: not judged with {n} pots, it takes {LEAST_POTS_GRUBBS}"]
    if row["grubbs_g"] is None:
        return []
    farthest = values[(values - row["mean"]).abs().arg_max()]
    t = float(grubbs_t(_floats([n]))[0])
    word = "above: it speaks" if row["is_grubbs_outlier"] else "not above: it is silent"
    return [
        (
            f"Grubbs' test of the pot farthest from the mean: |{farthest:g} - {row['mean']:.4f}| / SD {row['sd']:.4f} "
            f"= G {row['grubbs_g']:.4f}"
        ),
        (
            f"beside ({n} - 1) / √{n} × √(t² / ({n - 2} + t²)) = {row['grubbs_critical']:.4f} with t = {t:.4f}, which "
            f"{n - 2} degrees of freedom pass with 0.05 / (2 × {n}) on one side; {word}"
        ),
    ]


def _needed_steps(spread: Row, precision: float) -> list[str]:
    sd = spread["sd"]
    if spread["n"] < LEAST_POTS_FOR_SD:
        return [
            (
                f"pots needed for the mean ± {precision:g}: too few pots to say ({spread['n']}, it takes "
                f"{LEAST_POTS_FOR_SD})"
            )
        ]
    needed = pots_for(pl.DataFrame([spread]), precision)[0]
    if needed is None:
        return []
    t = float(t_quantile(_floats([needed - 1.0]))[0])
    return [
        (
            f"pots needed for the mean ± {precision:g}: ({t:.3f} × {sd:.4f} / {precision:g})² = "
            f"{(t * sd / precision) ** 2:.2f}, so {needed} (t for {needed - 1} degrees of freedom)"
        )
    ]


def _over_samplings(part: Inputs, quantity: str, limits: Row) -> list[TracedMeasure]:
    """Trend, forecast and the lot's own chart."""
    series = part["series"]
    if series.is_empty():
        return []
    last = int(limits["trend_samplings"])
    found = trends(series, LOT, day="sampled_on", value="mean", segment="segment", last=last)
    row = found.row(0, named=True)
    newest = newest_segment(series, LOT, "sampled_on", "segment")
    points = one_a_day(newest, LOT, "sampled_on", "mean").sort("sampled_on")
    step = limits[f"step_{quantity}"]
    steps = [*_trend_steps(row, points.tail(last), last), *_size_steps(row, step)]
    traced = [_measure("trend", quantity, steps)]
    told = forecasts(found.join(part["standing"], on=LOT, how="inner"))
    if told.height:
        forecast = told.row(0, named=True)
        steps = _forecast_steps(row, forecast)
        if forecast["reason"] is None and not _is_large(row, step):
            steps.append("the report says nothing of it: the trend is too small")
        traced += [_measure("forecast", quantity, steps)] if steps else []
    least = limits[f"least_sigma_{quantity}"]
    chart = drift_charts(newest, LOT, day="sampled_on", value="mean", segment="segment", least_sigma=least)
    return [*traced, _measure("own_chart", quantity, _chart_steps(chart, least))]


def _trend_steps(row: Row, points: pl.DataFrame, last: int) -> list[str]:
    n = points.height
    listed = ", ".join(f"{day} {mean:.4f}" for day, mean in points.select("sampled_on", "mean").iter_rows())
    steps = [
        f"means since the last change of stage, feed, substrate or treatment, the last {last} at most: {listed}"
    ]
    if row["reason"] == "too_few":
        return [*steps, f"{_samplings(n)}: no trend judged (a slope takes four, a trend five)"]
    days = _floats(points["sampled_on"].cast(pl.Int32).to_list())
    slopes = pair_slopes(days[None, :], _floats(points["mean"].to_list())[None, :])[0] * DAYS_A_WEEK
    steps.append(
        f"slopes of all {slopes.size} pairs a week, in order: {_listed(slopes.tolist())}; "
        f"the middle one {row['slope_per_week']:.4f} (Theil-Sen)"
    )
    if row["reason"] == "not_judged":
        return [*steps, f"{_samplings(n)}: no trend judged (it takes five)"]
    if row["slope_low"] is not None:
        cut, _ = interval_cut(n)
        steps.append(
            f"interval, the {_nth(cut + 1)} slope from each end: {row['slope_low']:.4f} to {row['slope_high']:.4f} "
            f"({row['level_reached'] * 100:.1f} %, the least that reaches 95 %)"
        )
    word = "a trend" if row["is_trend"] else "no trend"
    return [
        *steps,
        (
            f"pairs that rise less pairs that fall: S = {row['s']} of {slopes.size}; among all orders of these means "
            f"{row['p']:.4f} lie as far from 0 (Mann-Kendall, exact): p = {row['p']:.4f} beside 0.05, {word}"
        ),
    ]


def _is_large(row: Row, step: float) -> bool:
    return bool(abs(row["slope_per_week"]) * WEEKS_OF_A_STEP >= step - STEP_DUST)


def _size_steps(row: Row, step: float) -> list[str]:
    """Whether a trend is large enough for a word in the report."""
    if not row["is_trend"]:
        return []
    moved = abs(row["slope_per_week"]) * WEEKS_OF_A_STEP
    word = "the report speaks of it" if _is_large(row, step) else "too small to be spoken of"
    return [
        (
            f"in {WEEKS_OF_A_STEP} weeks {WEEKS_OF_A_STEP} × {abs(row['slope_per_week']):.4f} = {moved:.4f} "
            f"beside a step of {step:g}: {word}"
        )
    ]


_NO_FORECAST: Final = {
    "no_target": "no forecast: no target",
    "no_trend": "no forecast: no trend",
    "already_out": "no forecast: the last mean or the line's last point lies outside of the target",
    "not_before_end": "no forecast: not before the lot's end",
}


def _forecast_steps(trend: Row, forecast: Row) -> list[str]:
    reason = forecast["reason"]
    if reason is not None:
        return [_NO_FORECAST[reason]] if reason in _NO_FORECAST else []
    edge = forecast[forecast["heads_for"]]
    slope = trend["slope_per_week"]
    middle = EPOCH + timedelta(days=trend["middle_day"])
    to_edge = (edge - trend["middle_value"]) / slope * DAYS_A_WEEK
    steep, flat = ("slope_high", "slope_low") if slope > 0 else ("slope_low", "slope_high")
    return [
        (
            f"the line turns about the medians, {middle} and {trend['middle_value']:.4f}; to the edge {edge:g}: "
            f"({edge:g} - {trend['middle_value']:.4f}) / {slope:.4f} × 7 = {to_edge:.1f} days, "
            f"{_day(forecast['likely_on'])}"
        ),
        (
            f"earliest with the slope {trend[steep]:.4f}, one residual SD ({trend['residual_sd']:.4f}) before the "
            f"edge: {_day(forecast['earliest_on'])}; latest with {trend[flat]:.4f}, one behind it: "
            f"{_day(forecast['latest_on'])}"
        ),
    ]


def _chart_steps(chart: pl.DataFrame, least: float) -> list[str]:
    points = chart.sort("sampled_on")
    last = points.row(-1, named=True)
    if last["reason"] in ("too_few", "baseline"):
        return [
            f"{_samplings(points.height)} since the last change: no chart (it takes {BASELINE_SAMPLINGS + 1})"
        ]
    values = points["mean"]
    first = values.head(BASELINE_SAMPLINGS)
    mean_range = float(moving_ranges(_floats(first.to_list())[None, :])[0, 1:].mean())
    steps = [
        f"baseline, the first {BASELINE_SAMPLINGS} means {_listed(first)}: centre {first.sum() / first.len():.4f}"
    ]
    if last["reason"] == "no_spread":
        return [*steps, "all alike: no chart"]
    steps += [
        (
            f"SD between samplings: mean moving range {mean_range:.4f} / {D2_OF_TWO} = {mean_range / D2_OF_TWO:.4f}, "
            f"at least {least:.4f} (policy's SD of pots / √5): {last['sigma']:.4f}"
        ),
        (
            f"EWMA from the centre on, {LAMBDA} × mean + {1 - LAMBDA:g} × the one before: "
            f"{_listed(points['ewma'].drop_nulls())}; limits of the last {last['ewma_low']:.4f} to "
            f"{last['ewma_high']:.4f}, "
            f"{'beyond, ' + last['ewma_side'] if last['ewma_side'] else 'inside'}"
        ),
        (
            f"last moving range {last['moving_range']:.4f} beside {D4_OF_TWO} × {last['sigma'] * D2_OF_TWO:.4f} = "
            f"{last['moving_range_high']:.4f}: {'beyond' if last['is_moving_range_high'] else 'inside'}"
        ),
        (
            f"last mean lies {(last['mean'] - last['centre']) / last['sigma']:.2f} SD from the centre; run rules "
            f"that it completes: {', '.join(rule for rule in RULES if last[rule]) or 'none'}"
        ),
    ]
    return steps


_GROUPS: Final = {
    "affected": ("affected", None),
    "feed": ("before feed", "after feed"),
    "treatment": ("before the treatment", "after it"),
}


def _compared(pots: pl.DataFrame, quantity: str, least: float) -> list[TracedMeasure]:
    keys = [*LOT, "comparison", "first_on", "second_on", "second_purpose"]
    found = contrasts(
        pots, keys, value="value", group="grp", first="first", second="second", least_difference=least
    )
    traced = []
    for row in found.filter((pl.col("n_first") > 0) & (pl.col("n_second") > 0)).iter_rows(named=True):
        mine = pots.filter(pl.col("comparison") == row["comparison"])
        traced.append(
            _measure("contrast", quantity, _pots_steps(row, mine, least), row["first_on"], row["comparison"])
        )
    return traced


def _pots_steps(row: Row, pots: pl.DataFrame, least: float) -> list[str]:
    names = _GROUPS[row["comparison"]]
    groups = {name: pots.filter(pl.col("grp") == name)["value"].sort() for name in ("first", "second")}
    second_name = names[1] or row["second_purpose"].replace("_", " ")
    steps = [
        (
            f"{names[0]} ({row['first_on']}) {_listed(groups['first'])}: mean {row['mean_first']:.4f}; "
            f"{second_name} ({row['second_on']}) {_listed(groups['second'])}: mean {row['mean_second']:.4f}; "
            f"difference {row['difference']:.4f}"
        )
    ]
    return [*steps, *contrast_steps(row, least, "pots")]


def contrast_steps(row: Row, least: float, units: str) -> list[str]:
    """What is worked out from the values of two groups, for one row of `contrasts`; `units` are pots or lots."""
    if row["word"] == "too_few":
        return [f"too few {units}: the smallest p that they can give is {row['smallest_p']:.4f}"]
    steps = []
    if row["ci_low"] is not None:
        half = row["ci_high"] - row["difference"]
        t = float(t_quantile(_floats([row["df"]]))[0])
        steps.append(
            f"95 % interval (Welch, {row['df']:.2f} degrees of freedom): {row['difference']:.4f} ± {t:.3f} × "
            f"{half / t:.4f} = {row['ci_low']:.4f} to {row['ci_high']:.4f}"
        )
    kind = "exact" if row["p_exact"] is not None else "normal approximation"
    steps.append(
        f"U = {row['u']:g} of {row['n_first']} × {row['n_second']}, p = {row['p']:.4f} (Mann-Whitney, {kind})"
    )
    if row["hedges_g"] is not None:
        steps.append(f"the difference is {abs(row['hedges_g']):.2f} pooled SD (Hedges' g)")
    words = {
        "clear": f"clear: the interval leaves 0 out, p is at most 0.05 and the difference is at least {least:g}",
        "not_clear": f"not clear: it takes an interval without 0, p of at most 0.05 and a difference of {least:g}",
    }
    return [*steps, words[row["word"]]]


_NAMES: Final = {
    "pots": "pots",
    "trend": "trend",
    "forecast": "forecast",
    "own_chart": "the lot's own chart",
    "contrast": "contrast",
}


def write_measures(measures: Iterable[TracedMeasure]) -> list[str]:
    """Measures as lines for a terminal."""
    lines = []
    for one in measures:
        of = f", {one.purpose.replace('_', ' ')}" if one.purpose else ""
        lines.append(f"  {'pH' if one.quantity == 'ph' else 'EC'}, {_NAMES[one.measure]}{of}")
        lines += [f"      {step}" for step in one.steps]
    return lines


def _floats(values: Iterable[float]) -> Floats:
    return np.array(list(values), dtype=np.float64)


def _median(values: pl.Series) -> float:
    return float(np.median(values.to_numpy()))


def _listed(values: Iterable[float]) -> str:
    return " ".join(f"{value:.4f}".rstrip("0").rstrip(".") for value in values)


def _samplings(n: int) -> str:
    return "1 sampling" if n == 1 else f"{n} samplings"


def _nth(number: int) -> str:
    return f"{number}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(number, 'th') }"


def _day(day: date | None) -> str:
    return "beyond the lot's end" if day is None else day.isoformat()
