"""The planning view: what to sample on which day, this week as a list of work and four weeks as a table. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.reports.formats import Voice
from pipeline.reports.summary import Lot, PlanDay, PlannedSampling, PlanWeek, Site
from pipeline.reports.view import LotName, name_lot, write_minutes

THIS_WEEK_DAYS = 7
ROUTINE_PURPOSE = "routine"


@dataclass(frozen=True, slots=True)
class SamplingItem:
    """One lot to sample on one day."""

    name: LotName
    pots: str
    purpose: str
    late: str


@dataclass(frozen=True, slots=True)
class SamplingDay:
    """What is to be sampled on one day."""

    label: str
    items: tuple[SamplingItem, ...]
    lots: str
    pots: str
    pots_count: int
    minutes: str


@dataclass(frozen=True, slots=True)
class PlannedWeek:
    """One week of the plan; `days` is empty where nothing is planned."""

    label: str
    days: tuple[SamplingDay, ...]
    lots: str
    pots: str
    minutes: str


@dataclass(frozen=True, slots=True)
class WeekCell:
    """One week of one site in the overview."""

    pots: int
    text: str


def describe_purpose(purpose: str, voice: Voice) -> str:
    """What a sampling is for; nothing for a routine one."""
    return "" if purpose == ROUTINE_PURPOSE else voice.say.name("purpose", purpose)


def describe_lateness(planned: PlannedSampling, lot: Lot, voice: Voice) -> str:
    """Say how late a planned sampling is, nothing when it is not."""
    if not planned.days_overdue:
        return ""
    key = "due.never_by" if lot.due.state == "never_sampled" else "due.overdue_by"
    return voice.say(key, n=planned.days_overdue)


def make_day(day: PlanDay, lots: Mapping[str, Lot], voice: Voice) -> SamplingDay:
    """Return one day in words."""
    items = tuple(
        SamplingItem(
            name=name_lot(lots[one.lot_id], voice),
            pots=voice.say("sample.pots", n=one.pots),
            purpose=describe_purpose(one.purpose, voice),
            late=describe_lateness(one, lots[one.lot_id], voice),
        )
        for one in day.samplings
    )
    return SamplingDay(
        label=voice.weekday_and_day(day.plan_on),
        items=items,
        lots=voice.count(day.lots),
        pots=voice.count(day.pots),
        pots_count=day.pots,
        minutes=write_minutes(day.minutes, voice),
    )


def list_this_week(site: Site, as_of: date, voice: Voice) -> tuple[SamplingDay, ...]:
    """Return what is to be sampled within seven days, by day; what is overdue stands on the first open day."""
    lots = {lot.lot_id: lot for lot in site.lots}
    return tuple(
        make_day(day, lots, voice) for day in site.plan if (day.plan_on - as_of).days < THIS_WEEK_DAYS
    )


def list_weeks(site: Site, voice: Voice) -> tuple[PlannedWeek, ...]:
    """Return the four weeks; nothing where no week has a sampling."""
    lots = {lot.lot_id: lot for lot in site.lots}

    def make_week(week: PlanWeek) -> PlannedWeek:
        days = (day for day in site.plan if week.first_on <= day.plan_on <= week.last_on)
        return PlannedWeek(
            label=_name_week(week, voice),
            days=tuple(make_day(day, lots, voice) for day in days),
            lots=voice.count(week.lots),
            pots=voice.count(week.pots),
            minutes=write_minutes(week.minutes, voice),
        )

    return tuple(map(make_week, site.plan_weeks)) if site.plan else ()


def write_week_total(site: Site, voice: Voice) -> str:
    """Say how many pots this week asks for, and how long that takes; nothing where it asks for none."""
    if not site.plan_weeks or not site.plan_weeks[0].pots:
        return ""
    week = site.plan_weeks[0]
    return voice.say("sample.total", n=week.pots, time=write_minutes(week.minutes, voice))


def name_sheet(site: Site) -> str:
    """Return the name of the file in which a night puts the site's sampling sheet."""
    return f"{site.site_id}-sheet.pdf"


def describe_sheet(site: Site, voice: Voice, *, for_print: bool) -> str:
    """Say how many pots the sheet asks for, and why the week may ask for more; nothing where there is no sheet."""
    if site.sheet is None or not site.sheet.pots:
        return ""
    key = "sample.on_sheet_here" if for_print else "sample.on_sheet"
    told = voice.say(key, n=site.sheet.pots, file=name_sheet(site))
    is_more = bool(site.plan_weeks) and site.plan_weeks[0].pots > site.sheet.pots
    return f"{told} {voice.say('sample.again')}" if is_more else told


def name_weeks(sites: Sequence[Site], voice: Voice) -> tuple[str, ...]:
    """Return the names of the planned weeks, the same for all sites."""
    return tuple(_name_week(week, voice) for week in sites[0].plan_weeks) if sites else ()


def list_week_cells(site: Site, voice: Voice) -> tuple[WeekCell, ...]:
    """Return pots and time of each week for the overview."""
    return tuple(
        WeekCell(
            week.pots,
            voice.say("plan.cell", n=week.pots, time=write_minutes(week.minutes, voice))
            if week.pots
            else voice.say("plan.nothing"),
        )
        for week in site.plan_weeks
    )


def _name_week(week: PlanWeek, voice: Voice) -> str:
    return voice.say("plan.week", first=voice.day(week.first_on), last=voice.day(week.last_on))


__all__ = [
    "PlannedWeek",
    "SamplingDay",
    "SamplingItem",
    "WeekCell",
    "describe_sheet",
    "list_this_week",
    "list_week_cells",
    "list_weeks",
    "name_sheet",
    "name_weeks",
    "write_week_total",
]
