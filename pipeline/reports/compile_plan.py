"""The planning view of the document, and where the policy samples less often than is published. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from pipeline.reports.summary import PlanDay, PlannedSampling, PlanWeek, PublishedInterval, SlackInterval
from pipeline.reports.wording import Row, Wording

WEEKS = 4


def compile_plan(days: Iterable[Row], samplings: Iterable[Row]) -> list[PlanDay]:
    """Days on which something is planned, in order; rows of `sampling_plan_days` and `planned_samplings` of a site."""
    by_day: dict[date, list[PlannedSampling]] = {}
    for row in sorted(samplings, key=lambda row: (row["house"] or "", row["lot_key"], row["purposes"])):
        by_day.setdefault(row["plan_on"], []).append(
            PlannedSampling(
                lot_id=row["lot_id"],
                house=row["house"],
                rule=row["why"],
                purpose=row["purposes"],
                due_on=row["due_on"],
                days_overdue=row["days_overdue"],
                pots=row["pots"],
                minutes=float(row["minutes"]),
            )
        )
    return [
        PlanDay(
            plan_on=row["plan_on"],
            lots=row["lots"],
            pots=row["pots"],
            minutes=float(row["minutes"]),
            samplings=by_day.get(row["plan_on"], []),
        )
        for row in sorted(days, key=lambda row: row["plan_on"])
    ]


def sum_weeks(plan: Sequence[PlanDay], as_of: date) -> list[PlanWeek]:
    """The plan's four weeks, seven days each from the as-of day on, also those without a sampling."""
    weeks = []
    for number in range(WEEKS):
        first = as_of + timedelta(days=7 * number)
        last = first + timedelta(days=6)
        days = [day for day in plan if first <= day.plan_on <= last]
        weeks.append(
            PlanWeek(
                first_on=first,
                last_on=last,
                lots=len({one.lot_id for day in days for one in day.samplings}),
                pots=sum(day.pots for day in days),
                minutes=round(sum(day.minutes for day in days), 2),
            )
        )
    return weeks


def find_slack(
    intervals: Mapping[str, int],
    classes: Iterable[str],
    frequency: Sequence[Mapping[str, Any]],
    words: Wording,
) -> list[SlackInterval]:
    """Container classes in use whose routine interval, in days, is longer than a source says.

    frequency: rows of pipeline/reference/sampling_frequency.csv; one that names no container class or no longest time
    says nothing here. All sources for the class are told, in the order of the table, those it keeps to also.
    """
    slack = []
    for name in sorted(set(classes), key=list(intervals).index):
        published = [
            PublishedInterval(
                as_printed=row["frequency_as_printed"],
                interval_high_days=row["interval_high_days"],
                source=row["source"],
                url=row["source_url"],
                how_known=row["how_known"],
            )
            for row in frequency
            if name in (row["container_classes"] or "").split() and row["interval_high_days"] is not None
        ]
        if any(intervals[name] > one.interval_high_days for one in published):
            told = [(one.as_printed, one.source, one.how_known) for one in published]
            slack.append(
                SlackInterval(
                    container_class=name,
                    interval_days=intervals[name],
                    published=published,
                    sentence=words.slack_interval(name, intervals[name], told),
                )
            )
    return slack


__all__ = ["compile_plan", "find_slack", "sum_weeks"]
