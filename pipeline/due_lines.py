"""What is to be sampled within the week, site by site and day by day, for the terminal and for machines. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pipeline.reports.summary import PlanDay, PlannedSampling, Site, Summary
from pipeline.reports.wording_dues import WEEKDAYS

MOST_DAYS = 30
"""House default, as for remarks: what a terminal shows at once; the sites' pages have all days."""
MOST_LOTS = 6
PURPOSE_WORDS = {
    "retest": "retest",
    "affected,healthy": "affected and healthy",
    "before_feed": "before feeding",
    "after_feed": "day of feeding",
}


def describe_due_days(summary: Summary) -> list[dict[str, Any]]:
    """Days on which something is to be sampled, up to six days after the as-of day; what is overdue is on the first."""
    return [
        {
            "site": site.site_id,
            "sample_on": day.plan_on.isoformat(),
            "pots": day.pots,
            "minutes": day.minutes,
            "samplings": [
                {
                    "lot": one.lot_id,
                    "house": one.house,
                    "rule": one.rule,
                    "purposes": one.purpose,
                    "due_on": one.due_on.isoformat(),
                    "days_overdue": one.days_overdue,
                    "pots": one.pots,
                }
                for one in day.samplings
            ],
        }
        for site, day in _days(summary)
    ]


def tell_due_days(summary: Summary) -> list[str]:
    """A line for each day of each site, what is longest overdue first."""
    days = list(_days(summary))
    told = [
        f"  DUE  {site.name}, {WEEKDAYS[day.plan_on.weekday()]} {day.plan_on.strftime(summary.date_format)}: "
        f"{'; '.join(_name_samplings(day))}"
        for site, day in days[:MOST_DAYS]
    ]
    more = len(days) - MOST_DAYS
    return (
        told
        if more <= 0
        else [*told, f"  DUE  {more} more day{'' if more == 1 else 's'} on the sites' pages."]
    )


def _days(summary: Summary) -> Iterator[tuple[Site, PlanDay]]:
    return (
        (site, day)
        for site in summary.sites
        for day in site.plan
        if (day.plan_on - summary.night.as_of).days < 7
    )


def _name_samplings(day: PlanDay) -> Iterator[str]:
    ordered = sorted(day.samplings, key=lambda one: -(one.days_overdue or 0))
    yield from (_name_sampling(one) for one in ordered[:MOST_LOTS])
    if len(ordered) > MOST_LOTS:
        yield f"{len(ordered) - MOST_LOTS} more"
    yield f"{day.pots} pot{'' if day.pots == 1 else 's'}"


def _name_sampling(one: PlannedSampling) -> str:
    """A lot, with what the sampling is for where it is no routine one, and how late it is."""
    told = [PURPOSE_WORDS[one.purpose]] if one.purpose in PURPOSE_WORDS else []
    if one.days_overdue:
        told.append(f"overdue {one.days_overdue} day{'' if one.days_overdue == 1 else 's'}")
    return one.lot_id if not told else f"{one.lot_id} ({', '.join(told)})"


__all__ = ["describe_due_days", "tell_due_days"]
