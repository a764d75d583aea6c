"""All sites on one page, for the manager. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.reports.formats import Voice
from pipeline.reports.summary import HeldCause, Meter, Night, Site, Summary
from pipeline.reports.view import (
    LevelCount,
    LotRow,
    count_levels,
    describe_freshness,
    make_lot_row,
)


@dataclass(frozen=True, slots=True)
class SiteRow:
    """One site as a row."""

    site: Site
    freshness: str
    counts: tuple[LevelCount, ...]
    lots_total: int


@dataclass(frozen=True, slots=True)
class PlacedLot:
    """A lot that needs someone, with its site."""

    site: Site
    row: LotRow
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlacedMeter:
    """A meter with its site."""

    site: Site
    meter: Meter


@dataclass(frozen=True, slots=True)
class PlacedHeld:
    """Held lines of one cause, with their site."""

    site: Site
    held: HeldCause


@dataclass(frozen=True, slots=True)
class OverviewView:
    """All sites on one day, ready for a page."""

    group_name: str
    night: Night
    title: str
    week: int
    as_of: str
    lots_total: int
    counts: tuple[LevelCount, ...]
    silent: tuple[SiteRow, ...]
    sites: tuple[SiteRow, ...]
    lots: tuple[PlacedLot, ...]
    meters: tuple[PlacedMeter, ...]
    held: tuple[PlacedHeld, ...]
    order_formula: str


def make_overview_view(summary: Summary, voice: Voice) -> OverviewView:
    """Return the overview of a night."""
    night = summary.night
    rows = tuple(
        SiteRow(
            site, describe_freshness(site, voice), count_levels(site.lots_by_level, voice), len(site.lots)
        )
        for site in summary.sites
    )
    placed = [
        PlacedLot(
            site,
            make_lot_row(lot, night.as_of, voice, True),
            tuple(reason.group_sentence or reason.sentence for reason in lot.reasons[:2]),
        )
        for site in summary.sites
        for lot in site.lots
        if lot.level != "ok"
    ]
    return OverviewView(
        group_name=summary.group_name,
        night=night,
        title=voice.say("overview.title", group=summary.group_name, day=voice.day(night.as_of)),
        week=night.as_of.isocalendar().week,
        as_of=voice.weekday_and_day(night.as_of),
        lots_total=sum(row.lots_total for row in rows),
        counts=count_levels(summary.lots_by_level, voice),
        silent=tuple(row for row in rows if row.site.is_silent or row.site.last_received_on is None),
        sites=rows,
        lots=tuple(sorted(placed, key=lambda lot: lot.row.lot.rank)),
        meters=tuple(PlacedMeter(site, meter) for site in summary.sites for meter in site.meters),
        held=tuple(PlacedHeld(site, held) for site in summary.sites for held in site.held),
        order_formula=summary.order_formula,
    )
