"""All sites on one page, for the manager. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from pipeline.reports.formats import Voice
from pipeline.reports.summary import (
    CropContrast,
    HeldCause,
    Level,
    Lot,
    Meter,
    Night,
    Quantity,
    Site,
    Summary,
)
from pipeline.reports.view import (
    LevelCount,
    LotRow,
    count_levels,
    describe_freshness,
    find_last_counting,
    list_reasons,
    make_lot_row,
)
from pipeline.reports.view_plan import WeekCell, list_week_cells, name_weeks

MOST_LOTS: Final = 300
"""In print these are listed, and on the screen shown until somebody asks for all."""
MOST_CROPS: Final = 60


@dataclass(frozen=True, slots=True)
class SiteRow:
    """One site as a row."""

    site: Site
    freshness: str
    counts: tuple[LevelCount, ...]
    lots_total: int


@dataclass(frozen=True, slots=True)
class PlanRow:
    """The plan of one site, by week."""

    site: Site
    weeks: tuple[WeekCell, ...]


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
class ContrastRow:
    """One crop at two sites in words."""

    crop: str
    quantity: str
    first: str
    second: str
    difference: str
    interval: str
    word: str
    is_clear: bool


@dataclass(frozen=True, slots=True)
class CropRow:
    """One crop over all sites: its lots by level, and the span of their last counting means."""

    crop: str
    sites: int
    lots_total: int
    counts: tuple[LevelCount, ...]
    ph: str
    ec: str


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
    plan_weeks: tuple[str, ...]
    plan: tuple[PlanRow, ...]
    lots: tuple[PlacedLot, ...]
    lots_shown: int
    lots_more: int
    crops: tuple[CropRow, ...]
    crops_more: int
    contrasts: tuple[ContrastRow, ...]
    meters: tuple[PlacedMeter, ...]
    held: tuple[PlacedHeld, ...]
    order_formula: str


def list_crops(summary: Summary, voice: Voice) -> tuple[CropRow, ...]:
    """Every crop with its lots at all sites; those with most lots that need someone first."""
    by_crop: dict[str, list[tuple[Site, Lot]]] = {}
    for site in summary.sites:
        for lot in site.lots:
            by_crop.setdefault(" ".join(lot.crop.lower().split()), []).append((site, lot))
    placed = sorted(
        by_crop.values(),
        key=lambda lots: (-sum(lot.level != "ok" for _, lot in lots), lots[0][1].crop.lower()),
    )
    return tuple(_make_crop_row(lots, voice) for lots in placed)


def _make_crop_row(placed: list[tuple[Site, Lot]], voice: Voice) -> CropRow:
    lots = [lot for _, lot in placed]
    levels: Counter[Level] = Counter(lot.level for lot in lots)
    return CropRow(
        crop=lots[0].crop,
        sites=len({site.site_id for site, _ in placed}),
        lots_total=len(lots),
        counts=count_levels({level: levels[level] for level in ("act", "no_reading", "watch", "ok")}, voice),
        ph=_write_span(lots, "ph", voice),
        ec=_write_span(lots, "ec", voice),
    )


def _write_span(lots: Iterable[Lot], quantity: Quantity, voice: Voice) -> str:
    """Lowest and highest mean of the lots' last counting samplings; a dash where there is none."""
    last = [one for lot in lots if (one := find_last_counting(lot)) is not None]
    means = [mean for one in last if (mean := getattr(one, quantity).mean) is not None]
    if not means:
        return "–"
    low, high = (voice.number(value, 2) for value in (min(means), max(means)))
    return low if low == high else f"{low}–{high}"


def list_contrasts(summary: Summary, voice: Voice) -> tuple[ContrastRow, ...]:
    """The same crop across sites, clear differences first; nothing where no difference is clear."""
    names = {site.site_id: site.name for site in summary.sites}

    def describe(one: CropContrast) -> ContrastRow:
        def side(site_id: str, mean: float | None, n: int) -> str:
            return voice.say("contrasts.site", site=names[site_id], mean=voice.number(mean, 2), n=n)

        has_interval = one.ci_low is not None and one.ci_high is not None
        return ContrastRow(
            crop=f"{one.crop}, {voice.say.name('container', one.container_class)}",
            quantity=voice.say.name("short", one.quantity),
            first=side(one.first_site, one.mean_first, one.n_first),
            second=side(one.second_site, one.mean_second, one.n_second),
            difference=voice.signed(one.difference),
            interval=voice.say(
                "contrasts.interval", low=voice.signed(one.ci_low), high=voice.signed(one.ci_high)
            )
            if has_interval
            else "",
            word=voice.say.name("contrasts", one.word),
            is_clear=one.word == "clear",
        )

    rows = sorted(map(describe, summary.crop_contrasts), key=lambda row: not row.is_clear)
    return tuple(rows) if rows and rows[0].is_clear else ()


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
            tuple(reason.group_sentence or reason.sentence for reason in list_reasons(lot)[:2]),
        )
        for site in summary.sites
        for lot in site.lots
        if lot.level != "ok"
    ]
    crops = list_crops(summary, voice)
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
        plan_weeks=name_weeks(summary.sites, voice),
        plan=tuple(PlanRow(site, list_week_cells(site, voice)) for site in summary.sites if site.plan_weeks),
        lots=tuple(sorted(placed, key=lambda lot: lot.row.lot.rank)),
        lots_shown=MOST_LOTS,
        lots_more=max(0, len(placed) - MOST_LOTS),
        crops=crops,
        crops_more=max(0, len(crops) - MOST_CROPS),
        contrasts=list_contrasts(summary, voice),
        meters=tuple(PlacedMeter(site, meter) for site in summary.sites for meter in site.meters),
        held=tuple(PlacedHeld(site, held) for site in summary.sites for held in site.held),
        order_formula=voice.say.text(summary.order_formula),
    )
