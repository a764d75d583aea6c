"""Charts of one lot: Vega-Lite specs without data, compiled once a process, filled and drawn as SVG.

Nothing here knows a page. A chart holds only numbers and dates, never text of an export.
"""

from __future__ import annotations

import copy
import json
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache
from typing import Any, Literal

from pipeline.assets import templates_folder
from pipeline.reports.chart_forecast import Forecast, plan_forecast
from pipeline.reports.fonts import find_font_folder
from pipeline.reports.formats import Voice, format_number, writes_month_first
from pipeline.reports.summary import Figures, Lot, Quantity, Sampling, Target, Trend

VL_VERSION = "6.4"
CHART_LOCALE = "chart locale"
"""Context of the one message of a catalog that is the name of a d3 locale."""
ENGLISH_LOCALE = "en-US"
SPEC = "lot_quantity.vl.json"
DAY_MS = 86_400_000
TICK_DAYS = (7, 14, 28, 56, 91, 182, 364)
MOST_DATE_TICKS = 7
MOST_VALUE_STEPS = 5
ROOM_BESIDE_TARGET = 0.1  # so that the band is seen to end
LABEL_STEP = 10
LABEL_ROOM = (0.04, 0.026)
"""Room beside the first and the last mean for their labels, as a share of the time shown: for none, for a letter."""
NEAR_EDGE = 0.07
"""A label whose mean is nearer to a target's edge than this share of the height would lie on the edge's line."""
TREATED_TICK = 0.12
"""Length of a treatment's mark, as a share of the height."""
FED_TICK = 0.05
"""Length of the mark of a day of feed, likewise."""
ROOM_BESIDE_TICKS = 0.15  # so that a target's edge or a dot does not lie on the frame
VALUE_STEPS = (0.2, 0.5, 1.0, 2.0, 5.0, 10.0)
IN_RANGE_COLOUR = "#000000"
OUT_COLOUR = "#D55E00"
CROSS = "M-0.8,-0.8L0.8,0.8M-0.8,0.8L0.8,-0.8"
DECIMALS: dict[Quantity, int] = {"ph": 2, "ec": 2}

MarkName = Literal["pot", "mean", "not_counting", "affected", "other", "treated", "fed", "forecast"]


@dataclass(frozen=True, slots=True)
class Size:
    """Size of a chart in CSS pixels (96 to the inch)."""

    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Plan:
    """What a chart shows: values for the spec's named data sets and parameters, and the marks that occur."""

    quantity: Quantity
    data: dict[str, list[dict[str, Any]]]
    params: dict[str, Any]
    marks: frozenset[MarkName]
    shown: tuple[Sampling, ...]
    target: Target | None


@dataclass(frozen=True, slots=True)
class Chart:
    """A drawn chart and the sentence that says what it shows."""

    svg: str
    alt: str
    quantity: Quantity
    marks: frozenset[MarkName]


def get_figures(sampling: Sampling, quantity: Quantity) -> Figures:
    """Return the statistics of one quantity."""
    return sampling.ph if quantity == "ph" else sampling.ec


def get_target(lot: Lot, quantity: Quantity) -> Target | None:
    """Return the target of one quantity."""
    return lot.target_ph if quantity == "ph" else lot.target_ec


def to_milliseconds(day: date) -> int:
    """Return the start of a day in UTC, in milliseconds since 1970, as the chart's time scale wants it."""
    return int(datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp() * 1000)


def is_judged(sampling: Sampling, quantity: Quantity) -> bool:
    """Tell whether a sampling belongs to the lot's line: it counts, for routine or retest, and has a mean."""
    figures = get_figures(sampling, quantity)
    if not sampling.counts or sampling.purpose not in ("routine", "retest") or figures.mean is None:
        return False
    return figures.side is not None or figures.n >= sampling.min_pots


def plan_chart(
    lot: Lot, quantity: Quantity, as_of: date, days: int, date_format: str, mark: str = "."
) -> Plan | None:
    """Work out what the chart of a lot shows for the last days up to the as-of date; None when there is nothing.

    `mark`: the decimal mark of its labels.
    """
    first_day = as_of - timedelta(days=days)
    shown = tuple(
        sampling
        for sampling in lot.samplings
        if sampling.sampled_on >= first_day and get_figures(sampling, quantity).mean is not None
    )
    if not shown:
        return None
    target = get_target(lot, quantity)
    means = [plan_mean(sampling, quantity, mark) for sampling in shown if is_judged(sampling, quantity)]
    others = [plan_other(sampling, quantity) for sampling in shown if not is_judged(sampling, quantity)]
    pots = [pot for sampling in shown for pot in plan_pots(sampling, quantity)]
    start, end = shown[0].sampled_on, max(as_of, shown[-1].sampled_on)
    span = max((end - start).days, 7)
    ahead = plan_forecast(lot.trends.get(quantity), target, end, span, lot.ends_on)
    until = ahead.until if ahead else end
    # room for the labels of the first and of the last mean
    width = span + max((until - end).days, 0)
    x_from = to_milliseconds(end) - round((span + width * 0.06) * DAY_MS)
    x_to = to_milliseconds(max(until, end)) + round(width * 0.08 * DAY_MS)
    if means:
        x_from = min(x_from, means[0]["on"] - round(measure_label(means[0]) * width * DAY_MS))
        x_to = max(x_to, means[-1]["on"] + round(measure_label(means[-1]) * width * DAY_MS))
    values = [point["value"] for point in ahead.line] if ahead else []
    values += [point["mean"] for point in (*means, *others)] + [pot["value"] for pot in pots]
    values += [edge for point in means for edge in (point["ci_low"], point["ci_high"]) if edge is not None]
    if target:
        beside = (target.high - target.low) * ROOM_BESIDE_TARGET
        values += [target.low - beside, target.high + beside]
    treated = pick_days((done.treated_on for done in lot.treatments), start, end)
    fed = pick_days(lot.fed_on, start, end)
    y_from, y_to, y_ticks = plan_value_axis(max(min(values), 0.0), max(values))
    return Plan(
        quantity=quantity,
        data={
            "target": [{"from": x_from, "to": x_to, "low": target.low, "high": target.high}]
            if target
            else [],
            "edges": [{"from": x_from, "to": x_to, "edge": edge} for edge in (target.low, target.high)]
            if target
            else [],
            "treated": [
                {"on": on, "from": y_to - (y_to - y_from) * TREATED_TICK, "to": y_to} for on in treated
            ],
            "fed": [{"on": on, "from": y_from, "to": y_from + (y_to - y_from) * FED_TICK} for on in fed],
            "forecast": [{**point, "on": to_milliseconds(point["on"])} for point in ahead.line]
            if ahead
            else [],
            "crossing": [
                {
                    "from": to_milliseconds(ahead.cross_from),
                    "to": to_milliseconds(ahead.until),
                    "edge": ahead.edge,
                }
            ]
            if ahead and ahead.cross_from
            else [],
            "pots": pots,
            "means": means,
            "intervals": [point for point in means if point["ci_low"] is not None],
            "others": others,
            "first_label": [{**point, "dy": clear_edges(point, target, y_to - y_from)} for point in means[:1]]
            if len(means) > 1
            else [],
            "last_label": [
                {
                    **point,
                    "dy": move_last_label(point, others, ahead) or clear_edges(point, target, y_to - y_from),
                }
                for point in means[-1:]
            ],
        },
        params={
            "x_from": x_from,
            "x_to": x_to,
            "x_ticks": plan_date_ticks(start, end, max(until, end)),
            "x_format": "%b %-d" if writes_month_first(date_format) else "%-d %b",
            "y_from": y_from,
            "y_to": y_to,
            "y_ticks": y_ticks,
            "y_format": ".1f",
        },
        marks=collect_marks(shown, quantity, bool(pots), bool(means))
        | name_present(treated=treated, fed=fed, forecast=ahead),
        shown=shown,
        target=target,
    )


def plan_mean(sampling: Sampling, quantity: Quantity, mark: str = ".") -> dict[str, Any]:
    """Return the point of a sampling that counts."""
    figures = get_figures(sampling, quantity)
    is_out = figures.side in ("low", "high")
    text = format_number(figures.mean, DECIMALS[quantity], mark)
    return {
        "on": to_milliseconds(sampling.sampled_on),
        "mean": figures.mean,
        # neither pH nor EC goes below 0
        "ci_low": None if figures.ci_low is None else max(0.0, figures.ci_low),
        "ci_high": figures.ci_high,
        "colour": OUT_COLOUR if is_out else IN_RANGE_COLOUR,
        "shape": "circle",
        "size": 36,
        "text": f"{mark_at_least(figures)}{text}",
    }


def pick_days(days: Iterable[date], start: date, end: date) -> list[int]:
    """Return the days from start to end, each once, in order, in milliseconds."""
    return sorted({to_milliseconds(day) for day in days if start <= day <= end})


def name_present(**found: object) -> frozenset[Any]:
    """Return the names of what there is."""
    return frozenset(name for name, what in found.items() if what)


def move_last_label(last: dict[str, Any], others: list[dict[str, Any]], ahead: Forecast | None = None) -> int:
    """Return how far down the last mean's label goes (pixels), out of the way of marks to its right."""
    beside = [point["mean"] for point in others if point["on"] >= last["on"]]
    if ahead:
        beside += [point["value"] for point in ahead.line]
    if not beside:
        return 0
    return LABEL_STEP if max(beside) >= last["mean"] else -LABEL_STEP


def measure_label(point: dict[str, Any]) -> float:
    """Return the room that the label of a mean takes beside it, as a share of the time shown."""
    return LABEL_ROOM[0] + LABEL_ROOM[1] * len(point["text"])


def clear_edges(point: dict[str, Any], target: Target | None, height: float) -> int:
    """Return how far down a mean's label goes (pixels), so that no edge of the target strikes it through."""
    edges = [target.low, target.high] if target else []
    near = [edge for edge in edges if abs(point["mean"] - edge) < NEAR_EDGE * height]
    if not near:
        return 0
    return -LABEL_STEP if point["mean"] >= near[0] else LABEL_STEP


def mark_at_least(figures: Figures) -> str:
    """Return the sign for a mean that is known to lie further out still."""
    return ("≤\u202f" if figures.side == "low" else "≥\u202f") if figures.at_least else ""


def plan_other(sampling: Sampling, quantity: Quantity) -> dict[str, Any]:
    """Return the mark of a sampling apart from the line: of other plants, or one that does not count."""
    shapes: dict[MarkName, str] = {"affected": "triangle-up", "other": "triangle-down", "not_counting": CROSS}
    return {
        "on": to_milliseconds(sampling.sampled_on),
        "mean": get_figures(sampling, quantity).mean,
        "shape": shapes[name_other(sampling)],
    }


def name_other(sampling: Sampling) -> MarkName:
    """Tell which mark a sampling apart from the line gets."""
    if sampling.purpose == "affected":
        return "affected"
    return "not_counting" if sampling.purpose in ("routine", "retest") else "other"


def plan_pots(sampling: Sampling, quantity: Quantity) -> list[dict[str, Any]]:
    """Return the usable single pots of a routine or retest sampling; a line for several pots is no pot."""
    if sampling.purpose not in ("routine", "retest"):
        return []
    on = to_milliseconds(sampling.sampled_on)
    if quantity == "ph":
        values = [pot.ph for pot in sampling.pots if pot.usable_ph and pot.n_pots == 1]
    else:
        values = [pot.ec_ms_cm for pot in sampling.pots if pot.usable_ec and pot.n_pots == 1]
    return [{"on": on, "value": value} for value in values if value is not None]


def collect_marks(
    shown: tuple[Sampling, ...], quantity: Quantity, has_pots: bool, has_means: bool
) -> frozenset[MarkName]:
    """Return the marks that occur, for the key beside the chart."""
    marks: set[MarkName] = {name_other(sampling) for sampling in shown if not is_judged(sampling, quantity)}
    if has_pots:
        marks.add("pot")
    if has_means:
        marks.add("mean")
    return frozenset(marks)


def plan_date_ticks(start: date, end: date, until: date | None = None) -> list[int]:
    """Return tick dates of which one is `end`, a whole number of weeks apart, few enough to be read.

    `until`: last day that the chart shows, where it looks ahead.
    """
    span, ahead = (end - start).days, (until - end).days if until else 0
    step = next((days for days in TICK_DAYS if (span + ahead) / days < MOST_DATE_TICKS), TICK_DAYS[-1])
    days = (*range(-step, -span - 1, -step), *range(0, ahead + 1, step))
    return sorted(to_milliseconds(end + timedelta(days=day)) for day in days)


def plan_value_axis(lowest: float, highest: float) -> tuple[float, float, list[float]]:
    """Return from, to and ticks of the value axis: round steps that hold every value."""
    span = max(highest - lowest, 0.4)
    step = next((size for size in VALUE_STEPS if span / size <= MOST_VALUE_STEPS), VALUE_STEPS[-1])
    first, last = math.floor(round(lowest / step, 6)), math.ceil(round(highest / step, 6))
    last = max(last, first + 2)
    ticks = [round(k * step, 6) for k in range(first, last + 1)]
    room = step * ROOM_BESIDE_TICKS
    return round(ticks[0] - room, 6), round(ticks[-1] + room, 6), ticks


@cache
def compile_spec(name: str) -> dict[str, Any]:
    """Compile a Vega-Lite spec of the templates to Vega, once a process, with the package's font known."""
    import vl_convert

    vl_convert.register_font_directory(str(find_font_folder()))
    spec = json.loads(templates_folder("charts", name).read_text("utf-8"))
    compiled: dict[str, Any] = vl_convert.vegalite_to_vega(spec, vl_version=VL_VERSION)
    return compiled


def fill_spec(compiled: dict[str, Any], plan: Plan, size: Size) -> dict[str, Any]:
    """Return the Vega spec with the plan's values in its named data sets and parameters.

    The room for the axes is fixed in the spec: measuring every label takes longer than drawing the chart.
    """
    spec = copy.copy(compiled)
    room = compiled["padding"]
    spec["width"] = size.width - room["left"] - room["right"]
    spec["height"] = size.height - room["top"] - room["bottom"]
    spec["data"] = [
        {"name": part["name"], "values": plan.data[part["name"]]} if part["name"] in plan.data else part
        for part in compiled["data"]
    ]
    spec["signals"] = [
        {**signal, "value": plan.params[signal["name"]]} if signal["name"] in plan.params else signal
        for signal in compiled["signals"]
    ]
    return spec


def draw_chart(plan: Plan, size: Size, locale: Any = ENGLISH_LOCALE) -> str:
    """Draw a plan as SVG; `locale` names the marks in figures and the names of months (d3)."""
    import vl_convert

    return vl_convert.vega_to_svg(
        fill_spec(compile_spec(SPEC), plan, size),
        allowed_base_urls=[],
        format_locale=locale,
        time_format_locale=locale,
    )


def describe_chart(lot: Lot, plan: Plan, voice: Voice) -> str:
    """Say in words what the chart shows, for those who do not see it."""
    say, decimals = voice.say, DECIMALS[plan.quantity]
    name = say(f"chart.{plan.quantity}", lot=lot.lot_id)
    judged = [sampling for sampling in plan.shown if is_judged(sampling, plan.quantity)]
    parts = [name]
    if plan.target:
        parts.append(
            say(
                "chart.target",
                low=voice.number(plan.target.low, 1),
                high=voice.number(plan.target.high, 1),
            )
        )
    if judged:
        first, last = (get_figures(sampling, plan.quantity) for sampling in (judged[0], judged[-1]))
        key = "chart.one" if len(judged) == 1 else "chart.many"
        parts.append(
            say(
                key,
                n=len(judged),
                first=f"{mark_at_least(first)}{voice.number(first.mean, decimals)}",
                first_day=voice.day(judged[0].sampled_on),
                last=f"{mark_at_least(last)}{voice.number(last.mean, decimals)}",
                last_day=voice.day(judged[-1].sampled_on),
            )
        )
        sides = [get_figures(sampling, plan.quantity).side for sampling in judged]
        parts += [
            say(f"chart.{side}", n=sides.count(side))
            for side in ("low", "high")
            if plan.target and side in sides
        ]
    apart = [name_other(sampling) for sampling in plan.shown if not is_judged(sampling, plan.quantity)]
    parts += [
        say(f"chart.{mark}", n=apart.count(mark))
        for mark in ("not_counting", "affected", "other")
        if mark in apart
    ]
    if plan.data["treated"]:
        parts.append(say("chart.treated", n=len(plan.data["treated"])))
    if plan.data["fed"]:
        parts.append(say("chart.fed", n=len(plan.data["fed"])))
    if "forecast" in plan.marks:
        parts.append(describe_forecast(lot.trends[plan.quantity], voice))
    return " ".join(parts)


def describe_forecast(trend: Trend, voice: Voice) -> str:
    """Say where the dashed line leads, and when."""
    key = f"chart.forecast_{trend.heads_for}"
    if trend.likely_on is not None:
        return voice.say(key, day=voice.day(trend.likely_on))
    # every forecast has its earliest day, and the last sampling's is no later
    return voice.say(f"{key}_from", day=voice.day(trend.earliest_on or trend.last_on))


def make_chart(
    lot: Lot, quantity: Quantity, as_of: date, voice: Voice, *, days: int, size: Size
) -> Chart | None:
    """Plan, draw and describe the chart of one quantity of a lot; None when nothing was measured in the time."""
    plan = plan_chart(lot, quantity, as_of, days, voice.date_format, voice.say.decimal_mark)
    if plan is None:
        return None
    locale = voice.say.tongue.find(ENGLISH_LOCALE, CHART_LOCALE)
    return Chart(draw_chart(plan, size, locale), describe_chart(lot, plan, voice), quantity, plan.marks)
