"""Small weeks for tests: a summary of one site by the real night, and growers as settings have them."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from pipeline.delivery.outbox import Letter
from pipeline.delivery.week_letters import SiteMail, Written, write_site_letters
from pipeline.delivery.week_names import name_period
from pipeline.reports.summary import Grower as ToldGrower
from pipeline.reports.summary import PlanDay, PlannedSampling, Reason, Site, Summary
from pipeline.settings import Grower, Mail, Person
from tests.oracle.growers import who_answers

NOW = datetime(2026, 4, 6, 6, 0, tzinfo=UTC)
MANAGER = Person(name="Adela Quillmere", email="adela@quillmere.example")
SENDER = {"name": "Leachbook", "email": "reports@quillmere.example"}


def grower(number: str, *houses: str, name: str = "", email: str = "") -> Grower:
    return Grower(
        id=number, name=name or number.title(), email=email or f"{number}@hill.example", houses=houses
    )


def with_growers(summary: Summary, *growers: Grower, **changed: Any) -> Summary:
    """The summary of a night whose site has these growers."""
    (site,) = summary.sites
    told = [ToldGrower(grower_id=one.id, name=one.name, houses=list(one.houses)) for one in growers]
    named = [(one.id, one.houses) for one in growers]
    lots = [
        lot.model_copy(update={"grower_ids": who_answers(lot.grower_id, lot.house, named)})
        for lot in changed.pop("lots", site.lots)
    ]
    return summary.model_copy(
        update={"sites": [site.model_copy(update={"growers": told, "lots": lots, **changed})]}
    )


def write_mail(
    summary: Summary,
    out: Path,
    *growers: Grower,
    mail: Mail | None = None,
    manager: Person | None = MANAGER,
    known: tuple[Letter, ...] = (),
    now: datetime = NOW,
    period: str | None = None,
) -> list[Written]:
    return write_site_letters(
        SiteMail(
            summary=summary,
            out=out,
            mail=mail or Mail.model_validate({"sender": SENDER}),
            manager=manager,
            growers=growers,
            known=known,
            now=now,
            period=period or name_period(summary.night.as_of),
        )
    )


def reason(level: str) -> Reason:
    return Reason.model_validate(
        {
            "code": "out",
            "level": level if level != "ok" else "note",
            "quantity": "ph",
            "side": "low",
            "sentence": f"pH 5.10 (5.00-5.20) on 2026-04-02: a reason for {level}.",
        }
    )


def plan_day(site: Site) -> PlanDay:
    """All lots of a site on one day, five pots each."""
    day = date(2026, 4, 9)
    samplings = [
        PlannedSampling(
            lot_id=lot.lot_id,
            house=lot.house,
            rule="routine",
            purpose="routine",
            due_on=day,
            days_overdue=None,
            pots=5,
            minutes=20.0,
        )
        for lot in site.lots
    ]
    return PlanDay(plan_on=day, lots=2, pots=10, minutes=40.0, samplings=samplings)
