"""Rows of the plan into days and weeks, and where the policy samples less often than is published."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from pipeline.measures.reference_tables import load_sampling_frequency
from pipeline.reports.compile_plan import compile_plan, find_slack, sum_weeks
from pipeline.reports.wording import Wording
from pipeline.settings.containers import CONTAINER_DEFAULTS, CONTAINER_INTERVAL_DAYS

AS_OF = date(2026, 4, 6)
WORDS = Wording("%Y-%m-%d")
FREQUENCY = load_sampling_frequency().to_dicts()
CUSTOM: dict[str, int] = {str(name): rule.routine_interval_days for name, rule in CONTAINER_DEFAULTS.items()}


def planned(lot: str, days: int, house: str | None = "1") -> dict[str, Any]:
    day = AS_OF + timedelta(days=days)
    return {
        "lot_id": lot,
        "lot_key": lot.lower(),
        "house": house,
        "plan_on": day,
        "due_on": day,
        "why": "routine",
        "purposes": "routine",
        "pots": 5,
        "minutes": Decimal("12.50"),
        "days_overdue": None,
    }


def day(days: int, lots: int) -> dict[str, Any]:
    return {
        "plan_on": AS_OF + timedelta(days=days),
        "lots": lots,
        "pots": 5 * lots,
        "minutes": Decimal("12.50") * lots,
    }


def test_days_in_order_with_their_lots_by_house() -> None:
    rows = [planned("B", 3, "2"), planned("C", 0, None), planned("A", 3, "2"), planned("Z", 3, "1")]
    plan = compile_plan([day(3, 3), day(0, 1)], rows)
    assert [(one.plan_on, [lot.lot_id for lot in one.samplings]) for one in plan] == [
        (AS_OF, ["C"]),
        (AS_OF + timedelta(days=3), ["Z", "A", "B"]),
    ]
    assert compile_plan([day(0, 1), day(3, 3)], rows[::-1]) == plan


def test_weeks_count_each_lot_once_and_begin_on_the_as_of_day() -> None:
    rows = [planned("A", 0), planned("A", 6), planned("B", 6), planned("A", 7)]
    weeks = sum_weeks(compile_plan([day(0, 1), day(6, 2), day(7, 1)], rows), AS_OF)
    assert [(week.lots, week.pots, week.minutes) for week in weeks] == [
        (2, 15, 37.5),
        (1, 5, 12.5),
        (0, 0, 0.0),
        (0, 0, 0.0),
    ]
    assert [week.first_on for week in weeks] == [AS_OF + timedelta(days=7 * number) for number in range(4)]
    assert weeks[3].last_on == AS_OF + timedelta(days=27)


def test_four_inch_pots_every_two_weeks_are_less_than_both_sources_say() -> None:
    (slack,) = find_slack(CUSTOM, ["pot_4in", "pot_4in"], FREQUENCY, WORDS)
    assert (slack.container_class, slack.interval_days) == ("pot_4in", 14)
    assert slack.sentence == (
        "Policy: 4 inch pots every 14 days. Published: weekly (NC State Univ., Horticulture Information Leaflet 590 "
        '(2000), read; UMass Extension, Greenhouse Updates, 24 Mar 2023, "Keep an Eye on Substrate pH and EC", read).'
    )


def test_what_a_source_allows_is_told_beside_what_another_does_not() -> None:
    (slack,) = find_slack(CUSTOM, ["nursery"], FREQUENCY, WORDS)
    assert {one.interval_high_days for one in slack.published} == {7, 31}
    assert "at least monthly, EC (Southern Nursery Association" in slack.sentence


def test_the_shipped_intervals_of_larger_pots_and_plugs_are_as_published() -> None:
    assert find_slack(CUSTOM, ["plug", "pot_5_6in", "pot_6_5in_plus"], FREQUENCY, WORDS) == []


def test_by_container_nothing_is_slacker_than_all_sources() -> None:
    intervals: dict[str, int] = {str(name): days for name, days in CONTAINER_INTERVAL_DAYS.items()}
    assert find_slack(intervals, intervals, FREQUENCY, WORDS) == []


def test_a_longer_interval_of_one_s_own_is_named_for_classes_in_use_alone() -> None:
    own = {**CUSTOM, "plug": 5}
    assert [one.container_class for one in find_slack(own, ["plug", "pot_5_6in"], FREQUENCY, WORDS)] == [
        "plug"
    ]
    assert find_slack(own, [], FREQUENCY, WORDS) == []
