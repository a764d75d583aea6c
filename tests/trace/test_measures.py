"""The measures that a trace writes out are those of the document, and each line holds when it is worked out anew."""

from __future__ import annotations

import re
from collections import Counter
from datetime import date, timedelta
from itertools import combinations
from pathlib import Path
from statistics import median

import polars as pl
import pytest
from scipy import stats

from pipeline.reports.summary import Lot, Summary
from pipeline.trace.measures import TracedMeasure, trace_measures, write_measures
from pipeline.warehouse.connect import reader
from pipeline.warehouse.query import fetch_measured, of_lot

NUMBER = r"-?\d+(?:\.\d+)?"
ASKED = rf"\(({NUMBER}) × ({NUMBER}) / ({NUMBER})\)² = ({NUMBER})"
Traced = list[tuple[Lot, date, list[TracedMeasure]]]


@pytest.fixture(scope="module")
def traced(demo_home: Path) -> Traced:
    """Every lot of the demo with its measures on each day on which it was sampled."""
    summary = Summary.model_validate_json((demo_home / "out" / "latest" / "summary.json").read_bytes())
    with reader(demo_home) as connection:
        measured = fetch_measured(connection)
    return [
        (lot, day, trace_measures(of_lot(measured, site.site_id, lot.lot_id.lower()), day))
        for site in summary.sites
        for lot in site.lots
        for day in sorted({one.sampled_on for one in lot.samplings})
    ]


def steps(measures: list[TracedMeasure], measure: str, quantity: str) -> str:
    return "\n".join(
        step for one in measures if (one.measure, one.quantity) == (measure, quantity) for step in one.steps
    )


def numbers(text: str) -> list[float]:
    return [float(one) for one in re.findall(NUMBER, text)]


def test_trends_and_forecasts_are_the_document_s(traced: Traced) -> None:
    seen: Counter[str] = Counter()
    for lot, _, measures in traced:
        for quantity, trend in lot.trends.items():
            told = steps(measures, "trend", quantity)
            points = re.findall(rf"(\d{{4}}-\d\d-\d\d) ({NUMBER})", told.splitlines()[0])
            assert len(points) == trend.samplings
            if trend.slope_per_week is None:
                assert "no trend judged" in told
                seen["too few"] += 1
                continue
            slopes = [
                (float(b) - float(a)) / (date.fromisoformat(then) - date.fromisoformat(first)).days * 7
                for (first, a), (then, b) in combinations(points, 2)
            ]
            assert median(slopes) == pytest.approx(trend.slope_per_week, abs=0.002)
            (middle,) = re.findall(rf"the middle one ({NUMBER})", told)
            assert float(middle) == pytest.approx(trend.slope_per_week, abs=0.0001)
            if trend.p is not None:
                assert f"p = {trend.p:.4f} beside 0.05, {'a trend' if trend.is_trend else 'no trend'}" in told
                (ends,) = re.findall(rf"from each end: ({NUMBER}) to ({NUMBER})", told)
                assert [float(end) for end in ends] == pytest.approx(
                    [trend.slope_low, trend.slope_high], abs=0.0001
                )
            assert ("beside a step of" in told) is bool(trend.is_trend)
            is_spoken_of = any(one.code == "trend" and one.quantity == quantity for one in lot.reasons)
            assert ("the report speaks of it" in told) is is_spoken_of
            forecast = steps(measures, "forecast", quantity)
            assert (trend.likely_on is not None and trend.likely_on.isoformat() in forecast) or (
                "no forecast" in forecast or trend.likely_on is None
            )
            seen["trend" if trend.is_trend else "no trend"] += 1
    assert min(seen["too few"], seen["trend"], seen["no trend"]) > 0


def test_own_charts_are_the_document_s(traced: Traced) -> None:
    seen: Counter[str] = Counter()
    for lot, _, measures in traced:
        for quantity, chart in lot.own_charts.items():
            told = steps(measures, "own_chart", quantity)
            if chart.baseline is None:
                assert "no chart" in told
                seen["none"] += 1
                continue
            assert f"centre {chart.baseline:.4f}" in told
            assert f"{chart.low:.4f} to {chart.high:.4f}, {'beyond' if chart.side else 'inside'}" in told
            assert f"completes: {', '.join(chart.rules) or 'none'}" in told
            baseline, _, smoothing, moving, _ = told.splitlines()
            means = numbers(baseline.split("means ")[1].split(":")[0])
            assert sum(means) / len(means) == pytest.approx(chart.baseline, abs=0.0002)
            assert numbers(smoothing.split(": ")[1].split(";")[0])[-1] == pytest.approx(
                chart.smoothed, abs=0.0001
            )
            factor, mean_range, limit = numbers(moving.split("beside ")[1])
            assert factor * mean_range == pytest.approx(limit, abs=0.0005)
            seen["chart"] += 1
    assert min(seen["none"], seen["chart"]) > 0


def test_contrasts_are_the_document_s_and_scipy_s(traced: Traced) -> None:
    seen = 0
    for measures, lot in {lot.lot_id: (measures, lot) for lot, _, measures in traced}.values():
        for contrast in lot.contrasts:
            (one,) = [
                one
                for one in measures
                if (one.measure, one.purpose, one.quantity)
                == ("contrast", contrast.comparison, contrast.quantity)
            ]
            told = "\n".join(one.steps)
            first, second = (
                numbers(part) for part in re.findall(r"\(\d{4}-\d\d-\d\d\) ([^:]+): mean", one.steps[0])
            )
            assert f"difference {contrast.difference:.4f}" in told
            seen += 1
            if contrast.word == "too_few":
                assert (contrast.p, contrast.ci_low, contrast.ci_high, contrast.hedges_g) == (None,) * 4
                assert "too few pots: the smallest p that they can give is " in told
                continue
            assert contrast.p == pytest.approx(
                stats.mannwhitneyu(first, second, method=stats.PermutationMethod()).pvalue, abs=0.02
            )
            if contrast.ci_low is not None and contrast.ci_high is not None:
                welch = stats.ttest_ind(first, second, equal_var=False).confidence_interval(0.95)
                assert (contrast.ci_low, contrast.ci_high) == pytest.approx(
                    (welch.low, welch.high), abs=0.002
                )
                assert f"{contrast.ci_low:.4f} to {contrast.ci_high:.4f}" in told
            assert f"p = {contrast.p:.4f}" in told
    assert seen >= 4


def test_pots_that_lie_apart_are_the_document_s(traced: Traced) -> None:
    apart = 0
    for lot, day, measures in traced:
        for sampling in (one for one in lot.samplings if one.sampled_on == day):
            for quantity, figures in (("ph", sampling.ph), ("ec", sampling.ec)):
                told = "\n".join(
                    step
                    for one in measures
                    if (one.measure, one.quantity, one.purpose) == ("pots", quantity, sampling.purpose)
                    for step in one.steps
                )
                if figures.outliers:
                    assert f"{figures.outliers} of {figures.n} pots lie apart" in told
                    apart += 1
                elif figures.outliers == 0:
                    assert "no pot lies apart" in told
                if figures.pots_needed is not None:
                    t, sd, precision, asked = map(float, re.findall(ASKED, told)[0])
                    assert asked == pytest.approx((t * sd / precision) ** 2, rel=0.01, abs=0.02)
                    assert f"so {figures.pots_needed} (t for {figures.pots_needed - 1}" in told
                    assert asked <= figures.pots_needed
    assert apart > 0


def grubbs_told(values: list[float]) -> list[str]:
    """What a trace says of Grubbs' test for the pH of one sampling."""
    inputs = table(1)
    (day,) = inputs["series"]["sampled_on"].to_list()
    keys = {"site_id": "north", "lot_key": "p-1", "quantity": "ph", "sampled_on": day, "purpose": "routine"}
    inputs["usable_pots"] = pl.DataFrame([{**keys, "value": value} for value in values])
    return [step for step in write_measures(trace_measures(inputs, day)) if "G" in step or "√" in step]


def test_grubbs_test_is_worked_out() -> None:
    # Mass spectrometer data of the NIST/SEMATECH e-Handbook, 1.3.5.17.1 (from memory): it prints G = 2.4687.
    told = grubbs_told([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57])
    assert told[0].endswith("|245.57 - 206.4338| / SD 15.8526 = G 2.4688")
    assert told[1].strip().startswith("beside (8 - 1) / √8 × √(t² / (6 + t²)) = 2.1266 with t = ")
    t = float(re.findall(rf"with t = ({NUMBER})", told[1])[0])
    assert 7 / 8**0.5 * (t * t / (6 + t * t)) ** 0.5 == pytest.approx(2.1266, abs=1e-4)
    assert stats.t.sf(t, 6) == pytest.approx(0.05 / 16, rel=1e-3)
    assert told[1].endswith("above: it speaks")


def test_grubbs_test_is_silent_about_even_pots_and_not_made_of_six() -> None:
    even = [5.7, 5.8, 5.9, 6.0, 6.1, 6.2, 6.3]
    assert grubbs_told(even)[1].endswith("not above: it is silent")
    assert grubbs_told(even[:6]) == ["      Grubbs' test: not judged with 6 pots, it takes 7"]


def test_two_pots_are_too_few_to_plan_by() -> None:
    inputs = table(1)
    (day,) = inputs["series"]["sampled_on"].to_list()
    keys = {"site_id": "north", "lot_key": "p-1", "quantity": "ph", "sampled_on": day, "purpose": "routine"}
    inputs["spreads"] = pl.DataFrame([{**keys, "n": 2, "sd": 0.1}])
    assert "      pots needed for the mean ± 0.2: too few pots to say (2, it takes 3)" in write_measures(
        trace_measures(inputs, day)
    )


def table(rows: int, quantity: str = "ph", climb: float = 0.1) -> dict[str, pl.DataFrame]:
    """A lot with so many weekly samplings that climb by 0.1 from 5.9, and a target to 6.6."""
    keys = {"site_id": "north", "lot_key": "p-1", "quantity": quantity}
    days = [date(2026, 1, 5) + timedelta(days=7 * at) for at in range(rows)]
    series = pl.DataFrame(
        {"sampled_on": days, "mean": [5.9 + at * climb for at in range(rows)], "segment": [0] * rows},
        schema={"sampled_on": pl.Date, "mean": pl.Float64, "segment": pl.Int64},
    ).with_columns(**{name: pl.lit(value) for name, value in keys.items()})
    standing = pl.DataFrame(
        [{**keys, "low": 5.4, "high": 6.6, "ends_on": date(2026, 6, 1), "interval_days": 14}]
    )
    limits = {
        f"{name}_{of}": value
        for of in ("ph", "ec")
        for name, value in {"outlier": 0.3, "precision": 0.2, "step": 0.2, "least_sigma": 0.09}.items()
    }
    pots = {**keys, "sampled_on": days[0], "purpose": "routine", "value": 1.0, "n": 5, "sd": 0.1}
    compared = {
        **keys,
        "comparison": "feed",
        "first_on": days[0],
        "second_on": days[0],
        "second_purpose": "after_feed",
    }
    return {
        "series": series,
        "standing": standing,
        "limits": pl.DataFrame([{"site_id": "north", "trend_samplings": 6, **limits}]),
        "usable_pots": pl.DataFrame([pots]).clear(),
        "spreads": pl.DataFrame([pots]).clear(),
        "compared_pots": pl.DataFrame([{**compared, "grp": "first", "value": 1.0}]).clear(),
    }


def test_a_climb_of_a_tenth_a_week_meets_the_edge_two_weeks_after_the_last() -> None:
    told = write_measures(trace_measures(table(6), date(2026, 1, 5)))
    assert told[0] == "  pH, trend"
    assert told[2].startswith("      slopes of all 15 pairs a week, in order: 0.1 0.1 ")
    assert told[2].endswith("the middle one 0.1000 (Theil-Sen)")
    assert "S = 15 of 15; among all orders of these means 0.0028" in told[4]
    # 5.9 + 0.1 a week reaches 6.6 seven weeks after 5 January.
    assert told[5].endswith("in 8 weeks 8 × 0.1000 = 0.8000 beside a step of 0.2: the report speaks of it")
    assert "the line turns about the medians, 2026-01-22 and 6.1500; to the edge 6.6" in told[7]
    assert told[7].endswith("(6.6 - 6.1500) / 0.1000 × 7 = 31.5 days, 2026-02-23")


def test_a_climb_too_small_to_be_spoken_of_says_so() -> None:
    slow = table(6, climb=0.024)
    slow["standing"] = slow["standing"].with_columns(high=6.1)
    measures = trace_measures(slow, date(2026, 1, 5))
    told = {one.measure: one.steps for one in measures}
    small = "in 8 weeks 8 × 0.0240 = 0.1920 beside a step of 0.2: too small to be spoken of"
    assert told["trend"][-1] == small
    assert told["forecast"][-1] == "the report says nothing of it: the trend is too small"


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        (1, "1 sampling: no trend judged (a slope takes four, a trend five)"),
        (3, "3 samplings: no trend judged (a slope takes four, a trend five)"),
        (4, "4 samplings: no trend judged (it takes five)"),
        (5, "5 samplings since the last change: no chart (it takes 6)"),
    ],
)
def test_too_few_are_said_so(rows: int, says: str) -> None:
    told = write_measures(trace_measures(table(rows), date(2026, 1, 5)))
    assert f"      {says}" in told
