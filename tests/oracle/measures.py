"""All measures of one standing lot beside its verdicts, and the reasons that they give."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any

from tests.oracle.contrasts import Contrast, contrasts_of
from tests.oracle.drift import OnChart, chart_of
from tests.oracle.fates import Lot
from tests.oracle.outliers import side_without
from tests.oracle.samplings import QUANTITIES, Sampling, stage_on
from tests.oracle.series import drift_of, points_of
from tests.oracle.settings import Policy
from tests.oracle.targets import References, target_of
from tests.oracle.treatments import LastTreatment
from tests.oracle.trend import Trend, forecast

# Code, level, quantity, side.
Found = tuple[str, str, str | None, str | None]
POTS_OF_A_SAMPLING = 5


@dataclass(frozen=True)
class Measures:
    """By quantity; one without a counting sampling has no trend and no chart."""

    trends: dict[str, Trend]
    charts: dict[str, OnChart]
    contrasts: list[Contrast]
    drifts: dict[str, str]
    treatment: LastTreatment | None
    # How the source water is judged for the lot's container; None: not judged.
    water: str | None
    # Quantities with a trend that moves a step or more in eight weeks.
    moving: frozenset[str] = frozenset()


def iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def measure_lot(
    lot: Lot,
    samplings: Sequence[Sampling],
    policy: Policy,
    references: References,
    as_of: date,
    interval_days: int,
    starts: Collection[date],
    treatment: LastTreatment | None,
    water: str | None,
) -> Measures:
    """Trends, charts and contrasts take the policy in force on the as-of date.

    Trends and charts begin anew on each day of `starts`.
    """
    trends: dict[str, Trend] = {}
    charts: dict[str, OnChart] = {}
    drifts: dict[str, str] = {}
    steps = {"ph": policy["step_ph"], "ec": policy["step_ec_ms_cm"]}
    for quantity in QUANTITIES:
        points = points_of(samplings, quantity, starts)
        if not points:
            continue
        target = target_of(lot, quantity, policy, references, stage_on(lot, as_of, policy))
        edges = None if target is None else (target.low, target.high)
        trends[quantity] = forecast(points, int(policy["trend_samplings"]), edges, lot.ends_on, interval_days)
        spread = policy["summary_ph_sd" if quantity == "ph" else "summary_ec_sd_ms_cm"]
        charts[quantity] = chart_of(points, float(spread) / math.sqrt(POTS_OF_A_SAMPLING))
        direction = drift_of(samplings, quantity, steps[quantity])
        if direction is not None:
            drifts[quantity] = direction
    pair = None if treatment is None else treatment.pair(as_of)
    contrasts = contrasts_of(samplings, policy, as_of, pair)
    moving = frozenset(
        quantity for quantity, trend in trends.items() if is_worth_a_word(trend, steps[quantity])
    )
    return Measures(trends, charts, contrasts, drifts, treatment, water, moving)


def is_worth_a_word(trend: Trend, step: Fraction) -> bool:
    """A trend by the test, and one that moves a step or more in eight weeks."""
    return bool(trend.is_trend) and trend.slope is not None and abs(trend.slope) * 8 >= step


def measure_reasons(samplings: Sequence[Sampling], last: Sampling | None, measures: Measures) -> list[Found]:
    """What trends, charts and contrasts say; nothing of it acts by itself."""
    found: list[Found] = []
    for quantity, trend in measures.trends.items():
        is_moving = quantity in measures.moving
        if is_moving:
            assert trend.slope is not None
            found.append(("trend", "note", quantity, "high" if trend.slope > 0 else "low"))
        if (
            is_moving
            and trend.heads_for is not None
            and trend.earliest_on is not None
            and trend.likely_on is not None
        ):
            level = "watch" if trend.is_within_two_samplings else "note"
            found.append(("forecast", level, quantity, trend.heads_for))
        if trend.is_trend is None and quantity in measures.drifts:
            found.append(("drift", "note", quantity, measures.drifts[quantity]))
    for quantity, chart in measures.charts.items():
        if chart.side is not None and last is not None and chart.day == last.sampled_on:
            found.append(("off_baseline", "note", quantity, chart.side))
    found += affected_reasons(measures)
    found += treatment_reasons(measures)
    found += water_reasons(measures)
    if last is not None:
        for quantity in QUANTITIES:
            found += one_pot_reasons(last, quantity)
            found += surprises(samplings, last, quantity, measures)
    return found


def affected_reasons(measures: Measures) -> list[Found]:
    """Where affected plants differ; where nothing differs clearly, that they are not explained, or too few."""
    affected = [each for each in measures.contrasts if each.comparison == "affected"]
    clear = [each for each in affected if each.compared.word == "clear"]
    if clear:
        return [
            ("affected_differ", "watch", each.quantity, "high" if each.compared.difference > 0 else "low")
            for each in clear
        ]
    if not affected:
        return []
    unclear = any(each.compared.word == "not_clear" for each in affected)
    return [("affected_unexplained" if unclear else "affected_too_few", "note", None, None)]


def treatment_reasons(measures: Measures) -> list[Found]:
    """What moved by a treatment, with a side only where it moved clearly."""
    if measures.treatment is None or measures.treatment.after is None:
        return []
    found: list[Found] = []
    for each in measures.contrasts:
        if each.comparison == "treatment":
            rose = "high" if each.compared.difference < 0 else "low"
            side = rose if each.compared.word == "clear" else None
            found.append(("treatment_result", "note", each.quantity, side))
    return found


def water_reasons(measures: Measures) -> list[Found]:
    """pH that rises at a pace worth a word where the water is more alkaline than the container bears."""
    trend = measures.trends.get("ph")
    if "ph" not in measures.moving or trend is None or trend.slope is None or trend.slope <= 0:
        return []
    return [("alkaline_water", "note", "ph", "high")] if measures.water in ("high", "acid") else []


def one_pot_reasons(last: Sampling, quantity: str) -> list[Found]:
    """The side hangs on one pot: watch, or a note where low EC would be no more than one."""
    other, side = side_without(last, quantity), last.quantities[quantity].side
    if other is None:
        return []
    is_note = quantity == "ec" and last.stage != "active" and "high" not in (other, side)
    return [("depends_on_one_pot", "note" if is_note else "watch", quantity, side)]


def surprises(
    samplings: Sequence[Sampling], last: Sampling, quantity: str, measures: Measures
) -> list[Found]:
    """Clearly out after clearly in, and no drift, and no trend worth a word, that way."""
    judged = last.quantities[quantity]
    before = [
        sampling.quantities[quantity].verdict
        for sampling in samplings
        if sampling.is_followed
        and sampling.counts
        and sampling.quantities[quantity].side is not None
        and sampling is not last
    ]
    if judged.verdict != "clearly_out" or not before or before[-1] != "in_range":
        return []
    trend = measures.trends[quantity]
    is_awaited = measures.drifts.get(quantity) == judged.side or (
        quantity in measures.moving
        and trend.slope is not None
        and (trend.slope > 0) == (judged.side == "high")
    )
    return [] if is_awaited else [("surprising", "note", quantity, judged.side)]


def trend_part(trend: Trend) -> dict[str, Any]:
    def number(value: Any) -> float | None:
        return None if value is None else float(value)

    return {
        "samplings": trend.n,
        "first_on": iso(trend.first_on),
        "last_on": iso(trend.last_on),
        "slope_per_week": number(trend.slope),
        "slope_low": number(trend.slope_low),
        "slope_high": number(trend.slope_high),
        "p": number(trend.p),
        "is_trend": trend.is_trend,
        "heads_for": trend.heads_for,
        "earliest_on": iso(trend.earliest_on),
        "likely_on": iso(trend.likely_on),
        "latest_on": iso(trend.latest_on),
        "leaves_within_two_samplings": trend.is_within_two_samplings,
        "last_fit": number(trend.last_fit),
    }


def chart_part(chart: OnChart) -> dict[str, Any]:
    return {
        "sampled_on": iso(chart.day),
        "baseline": None if chart.centre is None else float(chart.centre),
        "smoothed": None if chart.smoothed is None else float(chart.smoothed),
        "low": chart.low,
        "high": chart.high,
        "side": chart.side,
        "rules": list(chart.rules),
    }
