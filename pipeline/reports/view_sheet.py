"""The sampling sheet as a page for a clipboard: every figure of it in words, boxes named. Pure."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import groupby

from pipeline.programme.sheet import PICKED, Sheet, SheetDue, SheetGroup, SheetLot, SheetPot
from pipeline.programme.sheet_csv import in_volume_unit
from pipeline.reports.formats import Phrases, Voice, format_count, format_number, load_phrases
from pipeline.reports.pages import shorten
from pipeline.reports.summary import Site, Summary
from pipeline.settings.models import Language, Paper

# A house called "2" or "B" is printed as House 2, House B.
MOST_BARE_HOUSE = 3
# A lot of more pots than a page of roomy rows has place for gets lower ones. With still more it may not fit on
# one page: its tables then repeat the lot's code.
MOST_POTS_ROOMY = 12
MOST_POTS_WHOLE = 16
EMPTY_METERS = 2
MOST_MINUTES = 120
# Longer names of benches are in the lot's head in full.
MOST_BENCH_LETTERS = 18
MOST_LARGE_LETTERS = 4
MOST_LEFT_OUT = 30
MOST_REASON_LETTERS = 60
_SEVERAL = re.compile(r"[,;/+&–-]|\s")


@dataclass(frozen=True, slots=True)
class SheetFacts:
    """Whose sheet it is, of which night, and how it speaks."""

    site_id: str
    site_name: str
    group_name: str
    language: Language
    paper: Paper
    date_format: str
    as_of: date
    version: str


@dataclass(frozen=True, slots=True)
class BufferRow:
    """One buffer and what it reads at each temperature."""

    label: str
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Stop:
    """One lot on the list of the walk."""

    number: int
    lot: str
    crop: str
    pots: str
    tag: str
    anchor: str


@dataclass(frozen=True, slots=True)
class HouseStops:
    """The lots of one house in walking order."""

    house: str
    stops: tuple[Stop, ...]


@dataclass(frozen=True, slots=True)
class PotRow:
    """One line of boxes; empty words are boxes to write in."""

    number: int
    bench: str
    is_bench_short: bool
    row: str
    place: str


@dataclass(frozen=True, slots=True)
class GroupTable:
    """The boxes of one purpose; `has_boxes`: with boxes of its own for date, drain time, sampler and meter."""

    caption: str
    how: str
    is_affected: bool
    has_boxes: bool
    rows: tuple[PotRow, ...]


@dataclass(frozen=True, slots=True)
class LotBlock:
    """One sampling to take."""

    number: int
    anchor: str
    code: str
    crop: str
    place: str
    facts: str
    tag: str
    is_late: bool
    was_due: str
    why: str
    also: str
    again: str
    not_before: str
    too_few: str
    pour: str
    collect: str
    drain: str
    continued: str
    is_dense: bool
    is_long: bool
    groups: tuple[GroupTable, ...]


@dataclass(frozen=True, slots=True)
class SheetView:
    """The sampling sheet of one site, ready for its page."""

    title: str
    heading: str
    lead: str
    total: str
    site: str
    foot: str
    group_name: str
    version: str
    as_of: date
    temperatures: tuple[tuple[str, str], ...]
    buffers: tuple[BufferRow, ...]
    meters: tuple[str | None, ...]
    temperature_unit: str
    volume_label: str
    walk: tuple[HouseStops, ...]
    left_out: tuple[str, ...]
    lots: tuple[LotBlock, ...]
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: str


@dataclass(frozen=True, slots=True)
class PrintedSheet:
    """The sheet inside another page, with the phrases that are its own."""

    view: SheetView
    say: Phrases


def sheet_facts(summary: Summary, site: Site) -> SheetFacts:
    """Whose sheet it is, from the document of a night."""
    return SheetFacts(
        site_id=site.site_id,
        site_name=site.name,
        group_name=summary.group_name,
        language=site.language,
        paper=site.paper,
        date_format=site.date_format,
        as_of=summary.night.as_of,
        version=summary.night.leachbook_version,
    )


def sheet_voice(facts: SheetFacts) -> Voice:
    """How the sheet of a site speaks: it has a Spanish of its own, also while other pages have none."""
    return Voice(load_phrases(facts.language, "sheet"), facts.date_format)


def make_sheet_view(sheet: Sheet, facts: SheetFacts, voice: Voice) -> SheetView:
    """Return a site's sheet in the voice of `sheet_voice`."""
    say = voice.say
    day, until = voice.weekday_and_day(facts.as_of), voice.weekday_and_day(sheet.until)
    return SheetView(
        title=say("title", site=facts.site_name, day=day),
        heading=say("heading", site=facts.site_name),
        lead=say("lead", day=day, until=until) if sheet.lots else say("lead.none", day=day),
        total=_total(sheet, say) if sheet.lots else say("nothing_due", until=until),
        site=facts.site_name,
        foot=day,
        group_name=facts.group_name,
        version=facts.version,
        as_of=facts.as_of,
        temperatures=_temperatures(sheet, say),
        buffers=tuple(
            BufferRow(
                label=say("meters.buffer_ph", ph=_number(buffer.label_ph, say, 2)),
                values=tuple(_number(ph, say, 2) for ph in buffer.ph_at_c.values()),
            )
            for buffer in sheet.buffers
        ),
        meters=tuple(sheet.meters) or (None,) * EMPTY_METERS,
        temperature_unit=sheet.temperature_unit,
        volume_label=say("column.volume_fl_oz" if sheet.volume_unit == "fl oz" else "column.volume_ml"),
        walk=tuple(
            HouseStops(house, tuple(_stop(lot, voice) for lot in lots))
            for house, lots in groupby(sheet.lots, key=lambda lot: _house(lot.house, say))
        ),
        left_out=_left_out(sheet, voice),
        lots=tuple(_block(lot, _next_of(lot, sheet), sheet.volume_unit, voice) for lot in sheet.lots),
        steps=_steps(sheet, say),
        cautions=tuple(say(f"cautions.{number}") for number in range(1, 5)),
        sources=say(
            "sources",
            day=voice.day(facts.as_of),
            buffers="; ".join(dict.fromkeys(buffer.source for buffer in sheet.buffers)),
        ),
    )


def make_printed_sheet(summary: Summary, site: Site) -> PrintedSheet | None:
    """A site's sheet for its weekly report; None where the sheet asks for nothing."""
    if site.sheet is None or not site.sheet.lots:
        return None
    facts = sheet_facts(summary, site)
    voice = sheet_voice(facts)
    return PrintedSheet(make_sheet_view(site.sheet, facts, voice), voice.say)


def _number(value: float, say: Phrases, decimals: int | None = None) -> str:
    """A figure with the language's decimal mark; without `decimals` as many as it has, two at most."""
    if decimals is None:
        text = format_number(value, 2)
        text = text.rstrip("0").rstrip(".") if "." in text else text
    else:
        text = format_number(value, decimals)
    return text.replace(".", say.decimal_mark)


def _total(sheet: Sheet, say: Phrases) -> str:
    minutes = round(sheet.minutes)
    hours, rest = divmod(round(minutes / 10) * 10, 60)
    if minutes <= MOST_MINUTES:
        time = say("time.minutes", n=minutes)
    elif rest:
        time = say("time.hours_minutes", hours=hours, minutes=rest)
    else:
        time = say("time.hours", hours=hours)
    lots = say("total.lots", n=len(sheet.lots))
    return say("total", n=sheet.pots, lots=lots, time=time)


def _temperatures(sheet: Sheet, say: Phrases) -> tuple[tuple[str, str], ...]:
    """Each temperature in °C and, where the site writes °F, beside it in °F."""
    degrees = list(sheet.buffers[0].ph_at_c) if sheet.buffers else []
    return tuple(
        (
            say("meters.at", celsius=celsius),
            say("meters.at_f", fahrenheit=round(celsius * 9 / 5 + 32))
            if sheet.temperature_unit == "°F"
            else "",
        )
        for celsius in degrees
    )


def _house(house: str | None, say: Phrases) -> str:
    if house is None or not house.strip():
        return ""
    is_bare = len(house) <= MOST_BARE_HOUSE and " " not in house
    return say("lot.house", house=house) if is_bare else house


def _crop(lot: SheetLot) -> str:
    return f"{lot.crop} ‘{lot.cultivar}’" if lot.cultivar else lot.crop


def _left_out(sheet: Sheet, voice: Voice) -> tuple[str, ...]:
    """What is due as well and not asked for, each with its reason."""
    told = [
        voice.say(
            f"left_out.{one.because}",
            lot=one.lot_id,
            crop=one.crop,
            why=voice.say(f"why.{one.why}"),
            due=voice.weekday_and_day(one.due_on),
            day=voice.weekday_and_day(one.because_until),
            reason=", ".join(
                shorten(" ".join(text.split()), MOST_REASON_LETTERS)
                for text in (one.reason, one.person)
                if text
            ),
        )
        for one in sheet.left_out[:MOST_LEFT_OUT]
    ]
    more = len(sheet.left_out) - len(told)
    return (*told, *((voice.say("left_out.more", n=more),) if more else ()))


def _stop(lot: SheetLot, voice: Voice) -> Stop:
    return Stop(
        number=lot.number,
        lot=lot.lot_id,
        crop=lot.crop,
        pots=_stop_pots(lot, voice),
        tag="" if _is_pair(lot) and not _is_past(lot.due) else _day_of(lot, voice),
        anchor=f"sampling-{lot.number}",
    )


def _is_pair(lot: SheetLot) -> bool:
    """Whether the sampling is taken on two days, the second the day of feeding."""
    return [group.purpose for group in lot.groups] == ["before_feed", "after_feed"]


def _is_past(due: SheetDue) -> bool:
    """Whether the day before a pair's feeding is over; an overdue pair may wait for a later feeding."""
    return bool(due.days_overdue) and due.rule_on < due.due_on + timedelta(days=due.days_overdue or 0)


def _stop_pots(lot: SheetLot, voice: Voice) -> str:
    """How many pots; of a pair around a feeding how many on each of its days, unless they are past."""
    if not _is_pair(lot) or _is_past(lot.due):
        return voice.say("walk.stop", n=lot.n_pots)
    before, after = lot.groups
    return voice.say(
        "walk.pair",
        first=voice.say("walk.stop", n=len(before.pots)),
        when=_day_of(lot, voice),
        n=len(after.pots),
        day=voice.weekday_and_day(lot.due.rule_on + timedelta(days=1)),
    )


def _day_of(lot: SheetLot, voice: Voice) -> str:
    """When to stop there: where a wait is not over, not before its end, which the round of an earlier day must see."""
    if lot.not_before is None:
        return _tag(lot.due, voice)
    return voice.say("walk.not_before", day=voice.weekday_and_day(lot.not_before))


def _next_of(lot: SheetLot, sheet: Sheet) -> SheetLot | None:
    """The sampling of the same lot that the same sheet asks for on a later day."""
    later = (one for one in sheet.lots if one.lot_id == lot.lot_id and one.due.due_on > lot.due.due_on)
    return min(later, key=lambda one: one.due.due_on, default=None)


def _tag(due: SheetDue, voice: Voice) -> str:
    if due.days_overdue:
        return voice.say("lot.overdue", n=due.days_overdue)
    return voice.say("lot.due", day=voice.weekday_and_day(due.due_on))


def _block(lot: SheetLot, later: SheetLot | None, volume_unit: str, voice: Voice) -> LotBlock:
    say = voice.say
    again = ""
    if later is not None:
        why = _why(later.due, voice, is_short=True)
        again = say("lot.again", why=why, day=voice.weekday_and_day(later.not_before or later.due.due_on))
    where = [_house(lot.house, say)]
    if lot.bench and lot.bench.strip():
        where.append(say("lot.bench", bench=lot.bench))
    facts = [say.name("container", lot.container_class)]
    if lot.plants is not None:
        facts.append(say("lot.plants", n=lot.plants).replace(str(lot.plants), _count(lot.plants, say)))
    also = ", ".join(
        say("lot.also_one", why=_why(due, voice, is_short=True), day=voice.weekday_and_day(due.due_on))
        for due in lot.also
    )
    return LotBlock(
        number=lot.number,
        anchor=f"sampling-{lot.number}",
        code=lot.lot_id,
        crop=_crop(lot),
        place=", ".join(part for part in where if part) or say("lot.no_place"),
        facts=", ".join(facts),
        tag=_tag(lot.due, voice),
        is_late=bool(lot.due.days_overdue),
        was_due=say("lot.was_due", day=voice.weekday_and_day(lot.due.due_on)) if lot.due.days_overdue else "",
        why=say("lot.why", why=_why(lot.due, voice)),
        also=say("lot.also", dues=also) if also else "",
        again=again,
        not_before=say("lot.not_before", day=voice.weekday_and_day(lot.not_before)) if lot.not_before else "",
        too_few=_too_few(lot, voice),
        pour=_volume(lot.pour_ml, lot.pour_ml, volume_unit, say),
        collect=_volume(lot.collect_low_ml, lot.collect_high_ml, volume_unit, say),
        drain=say(
            "lot.drain_range",
            low=_number(lot.drain_low_min, say),
            high=_number(lot.drain_high_min, say),
        ),
        continued=say("lot.continued", lot=lot.lot_id, n=lot.n_pots),
        is_dense=MOST_POTS_ROOMY < lot.n_pots <= MOST_POTS_WHOLE,
        is_long=lot.n_pots > MOST_POTS_WHOLE,
        groups=tuple(_group(group, lot, say) for group in lot.groups),
    )


def _too_few(lot: SheetLot, voice: Voice) -> str:
    """What to do where the lot has fewer plants than a sampling needs."""
    if not lot.needed_pots:
        return ""
    if not lot.plants:
        return voice.say("lot.no_plants")
    return voice.say("lot.too_few", n=lot.plants, least=lot.needed_pots)


def _count(value: int, say: Phrases) -> str:
    return format_count(value, say.decimal_mark)


def _why(due: SheetDue, voice: Voice, *, is_short: bool = False) -> str:
    # A pair is read the day before a feeding and on the day of it.
    on = due.rule_on + timedelta(days=1) if due.why == "feed_pair" else due.caused_on
    is_told = not is_short and on is not None and due.interval_days is not None
    key = f"why.{due.why}.caused" if is_told else f"why.{due.why}"
    return voice.say(key, n=due.interval_days, day=voice.weekday_and_day(on))


def _volume(low_ml: float, high_ml: float, unit: str, say: Phrases) -> str:
    """A volume or a range of it, in mL, behind it in brackets where the site uses fluid ounces."""

    def ranged(low: Decimal, high: Decimal, decimals: int | None) -> str:
        ends = [_number(float(end), say, decimals) for end in (low, high)]
        return ends[0] if ends[0] == ends[1] else say("lot.range", low=ends[0], high=ends[1])

    low, high = Decimal(repr(low_ml)), Decimal(repr(high_ml))
    ml = say("lot.ml", n=ranged(low, high, None))
    if unit == "mL":
        return ml
    ounces = ranged(in_volume_unit(low_ml, unit), in_volume_unit(high_ml, unit), 1)
    return say("lot.both", oz=say("lot.fl_oz", n=ounces), ml=ml)


def _group(group: SheetGroup, lot: SheetLot, say: Phrases) -> GroupTable:
    by_hand = "pots.pick_affected" if group.purpose in PICKED else "pots.pick"
    how = say("pots.drawn" if group.is_drawn else by_hand)
    return GroupTable(
        caption=say("pots.count", purpose=say.name("purpose", group.purpose), n=len(group.pots)),
        how=how,
        is_affected=group.purpose == "affected",
        # The second half of a pair is read on another day.
        has_boxes=group is lot.groups[0] or _is_pair(lot),
        rows=tuple(_pot(pot, lot) for pot in group.pots),
    )


def _pot(pot: SheetPot, lot: SheetLot) -> PotRow:
    is_on_grid = pot.row is not None
    # Where a lot stands on several benches, whoever picks a pot writes down which it was.
    known = "" if pot.bench is None and _SEVERAL.search(lot.bench or "") else lot.bench or ""
    return PotRow(
        number=pot.pot,
        bench=shorten(pot.bench or known, MOST_BENCH_LETTERS),
        is_bench_short=len(pot.bench or known) <= MOST_LARGE_LETTERS,
        row=str(pot.row) if is_on_grid else "",
        place=str(pot.column) if is_on_grid else "" if pot.place is None else str(pot.place),
    )


def _steps(sheet: Sheet, say: Phrases) -> tuple[str, ...]:
    drains: Sequence[tuple[float, float]] = list(
        dict.fromkeys((lot.drain_low_min, lot.drain_high_min) for lot in sheet.lots)
    )
    if len(drains) == 1:
        low, high = (_number(end, say) for end in drains[0])
        first = say("steps.1", low=low, high=high)
    else:
        first = say("steps.1_lots")
    return (first, *(say(f"steps.{number}") for number in range(2, 6)))
