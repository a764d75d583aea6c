"""Plans, drawings and text alternatives of the charts."""

from __future__ import annotations

import itertools
import json
import re
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree  # type: ignore[import-untyped, unused-ignore]

from pipeline.assets import templates_folder
from pipeline.reports.charts import (
    MOST_DATE_TICKS,
    SPEC,
    Plan,
    Size,
    compile_spec,
    describe_chart,
    draw_chart,
    plan_chart,
    plan_date_ticks,
    plan_value_axis,
    to_milliseconds,
)
from pipeline.reports.formats import Voice, load_phrases
from pipeline.reports.summary import Lot, Treatment
from tests.reports.factory import AS_OF, make_figures, make_lot, make_sampling
from tests.reports.test_chart_forecast import LAST as FORECAST_LAST
from tests.reports.test_chart_forecast import make_trend

SIZE = Size(332, 120)
VOICE = Voice(load_phrases("en"), "%Y-%m-%d")
TARGET = (5.4, 6.2, 1.0, 2.6)


def make_plan(lot: Lot, quantity: Any = "ph", days: int = 126, date_format: str = "%Y-%m-%d") -> Plan:
    plan = plan_chart(lot, quantity, AS_OF, days, date_format)
    assert plan is not None
    return plan


def read_texts(svg: str) -> list[str]:
    return [element.text or "" for element in etree.fromstring(svg.encode()).iter("{*}text")]


def read_day(milliseconds: float) -> date:
    return datetime.fromtimestamp(milliseconds / 1000, tz=UTC).date()


def test_shipped_specs_hold_no_data_and_name_every_set() -> None:
    for file in templates_folder("charts").glob("*.vl.json"):
        spec = json.loads(file.read_text("utf-8"))
        names = [layer["data"] for layer in spec["layer"]]
        assert all(set(data) == {"name"} for data in names)
    named = {
        layer["data"]["name"]
        for layer in json.loads(templates_folder("charts", SPEC).read_text("utf-8"))["layer"]
    }
    assert named == make_plan(make_lot(1, "act")).data.keys()


def test_parameters_of_the_plan_are_those_of_the_spec() -> None:
    signals = {signal["name"] for signal in compile_spec(SPEC)["signals"]}
    assert make_plan(make_lot(1, "act")).params.keys() <= signals


def test_a_sampling_that_does_not_count_is_no_mean() -> None:
    lot = make_lot(1, "ok")
    plan = make_plan(lot)
    counting = [s for s in lot.samplings if s.counts]
    assert len(plan.data["means"]) == len(counting) == 9
    assert [point["shape"][0] for point in plan.data["others"]] == ["M"]
    assert plan.marks == {"mean", "pot", "not_counting"}


def test_affected_plants_stand_apart_without_pots() -> None:
    plan = make_plan(make_lot(1, "act"))
    last = plan.data["others"][-1]
    assert (read_day(last["on"]), last["shape"]) == (AS_OF - timedelta(days=3), "triangle-up")
    assert last["on"] not in {pot["on"] for pot in plan.data["pots"]}


def test_pots_that_are_not_usable_for_ec_are_not_drawn() -> None:
    sampling = make_sampling(AS_OF, [5.8] * 5, [2.0, 2.1, 2.2, 2.3, 2.4], TARGET)
    pots = [pot.model_copy(update={"usable_ec": i > 0}) for i, pot in enumerate(sampling.pots)]
    lot = make_lot(1, "ok", samplings=[sampling.model_copy(update={"pots": pots})])
    assert [pot["value"] for pot in make_plan(lot, "ec").data["pots"]] == [2.1, 2.2, 2.3, 2.4]
    assert len(make_plan(lot, "ph").data["pots"]) == 5


def test_a_line_for_several_pots_is_no_pot() -> None:
    sampling = make_sampling(AS_OF, [5.8], [2.0], TARGET, counts=True)
    pots = [pot.model_copy(update={"n_pots": 5}) for pot in sampling.pots]
    plan = make_plan(make_lot(1, "ok", samplings=[sampling.model_copy(update={"pots": pots})]))
    assert plan.data["pots"] == []


def test_ec_without_enough_usable_pots_is_not_in_the_line_unless_it_was_judged() -> None:
    whole = make_sampling(AS_OF, [5.8] * 5, [2.0] * 5, TARGET)
    few = whole.model_copy(update={"ec": make_figures([2.0] * 3, None, None)})
    judged = few.model_copy(
        update={"ec": few.ec.model_copy(update={"side": "high", "verdict": "out", "at_least": True})}
    )
    assert make_plan(make_lot(1, "ok", samplings=[few]), "ec").data["means"] == []
    (point,) = make_plan(make_lot(1, "ok", samplings=[judged]), "ec").data["means"]
    assert point["text"] == "≥\u202f2.00"


def test_nothing_measured_gives_no_chart() -> None:
    assert plan_chart(make_lot(1, "ok", samplings=[]), "ph", AS_OF, 126, "%Y-%m-%d") is None
    assert plan_chart(make_lot(1, "ok"), "ph", AS_OF + timedelta(days=400), 126, "%Y-%m-%d") is None


def test_a_lot_without_a_target_has_no_band() -> None:
    plan = make_plan(make_lot(1, "ok", target_ph=None))
    assert (plan.data["target"], plan.data["edges"]) == ([], [])


@given(st.integers(0, 1200))
def test_date_ticks_end_on_the_last_day_and_stay_readable(span: int) -> None:
    ticks = [read_day(tick) for tick in plan_date_ticks(AS_OF - timedelta(days=span), AS_OF)]
    assert ticks[-1] == AS_OF
    assert len(ticks) <= MOST_DATE_TICKS
    assert ticks == sorted(ticks)
    steps = {(b - a).days for a, b in itertools.pairwise(ticks)}
    assert len(steps) <= 1
    assert all(step % 7 == 0 for step in steps)


@given(st.floats(0, 20), st.floats(0, 20))
def test_the_value_axis_holds_every_value(a: float, b: float) -> None:
    lowest, highest = sorted((a, b))
    start, end, ticks = plan_value_axis(lowest, highest)
    assert start < lowest + 1e-6
    assert end > highest - 1e-6
    assert start <= ticks[0] < ticks[-1] <= end
    assert 3 <= len(ticks) <= 8


def test_every_tick_is_written_and_none_is_hidden() -> None:
    plan = make_plan(make_lot(1, "act"))
    svg = draw_chart(plan, SIZE)
    texts = read_texts(svg)
    assert "6 Apr" in texts
    assert {f"{tick:.1f}" for tick in plan.params["y_ticks"]} <= set(texts)
    assert len([text for text in texts if re.fullmatch(r"\d+ \w{3}", text)]) == len(plan.params["x_ticks"])
    assert not re.search(r'<text[^>]*\sopacity="0"', svg)


def test_months_come_first_where_the_site_writes_so() -> None:
    assert "Apr 6" in read_texts(draw_chart(make_plan(make_lot(1, "ok"), date_format="%m/%d/%Y"), SIZE))


def test_first_and_last_means_are_labelled() -> None:
    plan = make_plan(make_lot(1, "ok"))
    texts = read_texts(draw_chart(plan, SIZE))
    assert plan.data["means"][0]["text"] in texts
    assert plan.data["means"][-1]["text"] in texts


def test_a_drawing_has_the_asked_size_no_ids_and_only_our_font() -> None:
    svg = draw_chart(make_plan(make_lot(1, "act")), SIZE)
    root = etree.fromstring(svg.encode())
    assert (float(root.get("width")), float(root.get("height"))) == (SIZE.width, SIZE.height)
    assert not re.search(r'\sid="', svg)
    assert set(re.findall(r'font-family="([^"]*)"', svg)) == {"Source Sans 3"}
    assert "aria-" not in svg.replace("aria-hidden", "").replace("aria-roledescription", "")


def test_the_same_chart_is_the_same_text() -> None:
    plan = make_plan(make_lot(1, "act"))
    assert draw_chart(plan, SIZE) == draw_chart(plan, SIZE)


def test_charts_share_a_compiled_spec_and_do_not_leak_into_each_other() -> None:
    before = json.dumps(compile_spec(SPEC))
    draw_chart(make_plan(make_lot(1, "act")), SIZE)
    assert json.dumps(compile_spec(SPEC)) == before


def test_the_text_alternative_says_what_the_chart_says() -> None:
    figures = [
        make_sampling(AS_OF - timedelta(days=7 * k), [mean] * 5, [2.0] * 5, TARGET)
        for k, mean in ((2, 6.0), (1, 6.3), (0, 6.5))
    ]
    lot = make_lot(1, "ok", lot_id="P-7", samplings=figures)
    plan = make_plan(lot)
    assert describe_chart(lot, plan, VOICE) == (
        "Chart of pH over time, lot P-7. Target 5.4 to 6.2. 3 samplings that count, from a mean of 6.00 on 2026-03-23 "
        "to 6.50 on 2026-04-06. 2 of them above the target."
    )


def test_the_text_alternative_names_what_stands_apart() -> None:
    lot = make_lot(1, "act")
    text = describe_chart(lot, make_plan(lot), VOICE)
    assert text.endswith("1 sampling does not count. 1 sampling of affected plants apart.")


@pytest.mark.parametrize("value", [0.0, 14.0, 19.99])
def test_extreme_values_are_drawn(value: float) -> None:
    lot = make_lot(1, "ok", samplings=[make_sampling(AS_OF, [5.8] * 5, [value] * 5, TARGET)])
    assert f"{value:.2f}" in read_texts(draw_chart(make_plan(lot, "ec"), SIZE))


def test_a_day_of_treatment_is_a_short_line_at_the_top_and_is_told() -> None:
    lot = make_lot(1, "act")
    first, last = lot.samplings[0].sampled_on, lot.samplings[-1].sampled_on
    days = (first - timedelta(days=400), first, last, last)
    done = [Treatment(treated_on=day, what="leaching", product=None, person=None) for day in days]
    treated = lot.model_copy(update={"treatments": done})
    plan = make_plan(treated)
    ticks = plan.data["treated"]
    assert [read_day(tick["on"]) for tick in ticks] == [first, last]
    assert all(tick["to"] == plan.params["y_to"] > tick["from"] > plan.params["y_from"] for tick in ticks)
    assert "treated" in plan.marks
    assert describe_chart(treated, plan, VOICE).endswith("2 days of treatment are marked.")
    bare = make_plan(lot.model_copy(update={"treatments": []}))
    assert (bare.data["treated"], "treated" in bare.marks) == ([], False)


def test_days_of_feed_are_ticks_at_the_foot_and_are_told() -> None:
    lot = make_lot(1, "act")
    first, last = lot.samplings[0].sampled_on, lot.samplings[-1].sampled_on
    fed = lot.model_copy(update={"fed_on": [first - timedelta(days=1), first, last]})
    plan = make_plan(fed)
    ticks = plan.data["fed"]
    assert [read_day(tick["on"]) for tick in ticks] == [first, last]
    assert all(tick["from"] == plan.params["y_from"] < tick["to"] < plan.params["y_to"] for tick in ticks)
    assert describe_chart(fed, plan, VOICE).endswith("2 days of feed are marked.")
    assert "fed" in plan.marks
    assert "fed" not in make_plan(lot).marks


@pytest.mark.parametrize(
    ("likely", "told"),
    [
        (20, "If the trend goes on, it falls below the target about 2026-04-23."),
        (None, "If the trend goes on, it falls below the target at the earliest on 2026-04-10."),
    ],
)
def test_a_forecast_widens_the_chart_and_is_told(likely: int | None, told: str) -> None:
    lot = make_lot(1, "ok").model_copy(update={"treatments": [], "ends_on": None})
    day = None if likely is None else FORECAST_LAST + timedelta(days=likely)
    trend = make_trend(likely_on=day, latest_on=None)
    ahead = lot.model_copy(update={"trends": {"ph": trend}})
    plan, bare = make_plan(ahead), make_plan(lot.model_copy(update={"trends": {}}))
    assert plan.params["x_to"] > bare.params["x_to"]
    ahead_of_tonight = [read_day(tick) for tick in plan.params["x_ticks"] if read_day(tick) > AS_OF]
    assert ahead_of_tonight
    assert to_milliseconds(ahead_of_tonight[-1]) <= plan.params["x_to"]
    assert all(read_day(tick) <= AS_OF for tick in bare.params["x_ticks"])
    assert "forecast" in plan.marks
    assert describe_chart(ahead, plan, VOICE).endswith(told)
    assert (bare.data["forecast"], bare.data["crossing"]) == ([], [])
    drawn, plain = draw_chart(plan, SIZE), draw_chart(bare, SIZE)
    assert drawn.count("stroke-dasharray") == plain.count("stroke-dasharray") + 1


def place_labels(svg: str) -> list[tuple[float, int]]:
    """Where the labels of the first and the last mean begin (from the drawing's left), and their letters."""
    found = []
    for label in etree.fromstring(svg.encode()).iter("{*}text"):
        if label.get("aria-hidden"):
            moves = [one.get("transform", "") for one in (label, *label.iterancestors())]
            x = sum(float(at[1]) for move in moves if (at := re.match(r"translate\(([-\d.]+)", move)))
            found.append((x, len(label.text)))
    return found


@pytest.mark.parametrize("ec", [2.37, 19.58])
@pytest.mark.parametrize("number", [1, 2, 6])
def test_labels_are_whole_where_the_last_sampling_is_of_tonight(number: int, ec: float) -> None:
    days = [AS_OF - timedelta(days=12 * back) for back in reversed(range(number))]
    lot = make_lot(1, "ok", samplings=[make_sampling(day, [5.9] * 5, [ec] * 5, TARGET) for day in days])
    *first, (x, letters) = place_labels(draw_chart(make_plan(lot, "ec"), SIZE))
    # widths of a figure of Source Sans 3: 0.56 em where it is semibold, else 0.5
    assert x + 0.56 * 11 * letters <= SIZE.width
    assert len(first) == (number > 1)
    # the first ends where it stands, and begins right of the labels of the axis
    assert all(x - 0.5 * 10 * letters >= 28 for x, letters in first)


@pytest.mark.parametrize(("ec", "side"), [(1.02, -1), (0.98, 1), (2.6, -1)])
def test_no_label_lies_on_an_edge_of_the_target(ec: float, side: int) -> None:
    lot = make_lot(
        1,
        "ok",
        samplings=[
            make_sampling(AS_OF - timedelta(days=back), [5.9] * 5, [ec] * 5, TARGET) for back in (20, 6)
        ],
    )
    plan = make_plan(lot, "ec")
    for name in ("first_label", "last_label"):
        (label,) = plan.data[name]
        assert label["dy"] * side >= 8, name
