"""What `status` lists as due, day by day, on the terminal and for machines."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from pipeline.due_lines import MOST_DAYS, describe_due_days, tell_due_days
from pipeline.reports.summary import PlanDay, PlannedSampling, Summary
from tests.reports.factory import AS_OF, make_site, make_summary


def make_planned(lot: str, days_overdue: int | None = None, **changes: Any) -> PlannedSampling:
    facts: dict[str, Any] = {
        "lot_id": lot,
        "house": "1",
        "rule": "routine",
        "purpose": "routine",
        "due_on": AS_OF - timedelta(days=days_overdue or 0),
        "days_overdue": days_overdue,
        "pots": 5,
        "minutes": 20.0,
    }
    return PlannedSampling(**(facts | changes))


def make_plan_day(days: int, *samplings: PlannedSampling) -> PlanDay:
    return PlanDay(
        plan_on=AS_OF + timedelta(days=days),
        lots=len(samplings),
        pots=sum(one.pots for one in samplings),
        minutes=sum(one.minutes for one in samplings),
        samplings=list(samplings),
    )


def summary_of(*days: PlanDay) -> Summary:
    return make_summary([make_site(1, ()).model_copy(update={"plan": list(days)})])


def test_a_line_for_each_day_of_the_week() -> None:
    summary = summary_of(
        make_plan_day(0, make_planned("A"), make_planned("B", 1), make_planned("C", 12)),
        make_plan_day(2, make_planned("D", purpose="after_feed"), make_planned("E", purpose="retest")),
        make_plan_day(6, make_planned("F", purpose="affected,healthy", pots=10)),
        make_plan_day(7, make_planned("G")),
    )
    name = summary.sites[0].name
    assert tell_due_days(summary) == [
        f"  DUE  {name}, Mon 2026-04-06: C (overdue 12 days); B (overdue 1 day); A; 15 pots",
        f"  DUE  {name}, Wed 2026-04-08: D (day of feeding); E (retest); 10 pots",
        f"  DUE  {name}, Sun 2026-04-12: F (affected and healthy); 10 pots",
    ]


def test_many_lots_and_many_days_are_counted() -> None:
    day = make_plan_day(1, *(make_planned(f"L{n}", pots=1) for n in range(8)))
    (line,) = tell_due_days(summary_of(day))
    assert line.endswith(": L0; L1; L2; L3; L4; L5; 2 more; 8 pots")
    many = tell_due_days(summary_of(*(make_plan_day(0, make_planned("A")) for _ in range(MOST_DAYS + 2))))
    assert len(many) == MOST_DAYS + 1
    assert many[-1] == "  DUE  2 more days on the sites' pages."


def test_a_group_in_which_nothing_is_due_has_no_line() -> None:
    assert tell_due_days(summary_of()) == []
    assert describe_due_days(summary_of()) == []


def test_the_same_for_a_machine() -> None:
    summary = summary_of(make_plan_day(0, make_planned("A", 3)), make_plan_day(7, make_planned("B")))
    assert describe_due_days(summary) == [
        {
            "site": summary.sites[0].site_id,
            "sample_on": "2026-04-06",
            "pots": 5,
            "minutes": 20.0,
            "samplings": [
                {
                    "lot": "A",
                    "house": "1",
                    "rule": "routine",
                    "purposes": "routine",
                    "due_on": "2026-04-03",
                    "days_overdue": 3,
                    "pots": 5,
                }
            ],
        }
    ]
