"""What the pages have in common: marks, a lot's heading, its samplings in words, sources. Pure.

Every figure comes from the summary; here it only gets words and an order.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from pipeline.reports.charts import Chart, Size, make_chart
from pipeline.reports.formats import Voice
from pipeline.reports.summary import (
    Due,
    Figures,
    Finding,
    Level,
    Lot,
    OtherRange,
    PolicyValue,
    Quantity,
    Reason,
    Sampling,
    Site,
    SlackInterval,
    Source,
    Target,
)

LEVELS: tuple[Level, ...] = ("act", "no_reading", "watch", "ok")
LEVEL_SIGNS: dict[Level, str] = {"act": "■", "no_reading": "□", "watch": "◆", "ok": "●"}
MOST_BARE_HOUSE = 3  # a house called "2" or "B" is printed as House 2, House B
SIDE_SIGNS = {"low": "▼", "high": "▲"}


@dataclass(frozen=True, slots=True)
class Mark:
    """A level as word and shape; the colour comes from the style sheet and only helps."""

    level: Level
    sign: str
    word: str


@dataclass(frozen=True, slots=True)
class LevelCount:
    """How many lots have a level."""

    mark: Mark
    count: int


@dataclass(frozen=True, slots=True)
class FigureText:
    """One quantity of one sampling in words."""

    mean: str
    interval: str
    sign: str
    verdict: str
    is_out: bool
    is_judged: bool
    sd_assumed: bool


@dataclass(frozen=True, slots=True)
class SamplingRow:
    """One sampling as a row of a table."""

    sampling: Sampling
    purpose: str
    pots: str
    ph: FigureText
    ec: FigureText
    leachate: str
    meters: str
    counts: str


@dataclass(frozen=True, slots=True)
class TargetText:
    """The range of one quantity with its source, and what others publish."""

    quantity: Quantity
    heading: str
    low: str
    high: str
    source: str
    others: tuple[str, ...]
    other_ranges: tuple[str, ...]
    missing: str
    unused_group: str


@dataclass(frozen=True, slots=True)
class LotName:
    """How a page calls a lot."""

    anchor: str
    lot_id: str
    crop: str
    cultivar: str | None
    place: str
    plants: str
    ships: str
    container: str
    stage: str


@dataclass(frozen=True, slots=True)
class LotBlock:
    """Everything a page shows about one lot."""

    lot: Lot
    mark: Mark
    name: LotName
    reasons: tuple[Reason, ...]
    charts: tuple[tuple[Quantity, Chart | None], ...]
    chart_days: int
    key: tuple[str, ...]
    rows: tuple[SamplingRow, ...]
    rows_left_out: int
    has_assumed_sd: bool
    has_not_shown: bool
    targets: tuple[TargetText, ...]
    treatments: str
    waiting: str
    measures: tuple[tuple[Quantity, tuple[str, ...]], ...]
    measures_line: str
    due: str


@dataclass(frozen=True, slots=True)
class LotRow:
    """One lot as a row: its last counting figures and its next sampling."""

    lot: Lot
    mark: Mark
    name: LotName
    last: SamplingRow | None
    ph_target: str
    ec_target: str
    due: str
    is_late: bool
    has_block: bool


def make_mark(level: Level, voice: Voice) -> Mark:
    """Return a level's shape and word."""
    return Mark(level, LEVEL_SIGNS[level], voice.say.name("level", level))


def count_levels(lots_by_level: dict[Level, int], voice: Voice) -> tuple[LevelCount, ...]:
    """Return the counts of all levels, worst first, levels without a lot included."""
    return tuple(LevelCount(make_mark(level, voice), lots_by_level.get(level, 0)) for level in LEVELS)


def name_place(lot: Lot, voice: Voice) -> str:
    """Say where a lot stands, as the site calls it."""
    house = lot.house or ""
    if len(house) <= MOST_BARE_HOUSE and " " not in house:
        house = voice.say("lot.house", house=house) if house else ""
    parts = [house] if house else []
    if lot.bench:
        parts.append(voice.say("lot.bench", bench=lot.bench))
    return ", ".join(parts) or voice.say("lot.no_place")


def name_lot(lot: Lot, voice: Voice) -> LotName:
    """Return the words for a lot."""
    return LotName(
        anchor=name_anchor(lot.lot_id),
        lot_id=lot.lot_id,
        crop=lot.crop,
        cultivar=lot.cultivar,
        place=name_place(lot, voice),
        plants=voice.say("lot.plants", n=lot.plants, count=voice.count(lot.plants))
        if lot.plants is not None
        else "",
        ships=voice.say("lot.ships", day=voice.day(lot.ends_on)) if lot.ends_on else "",
        container=voice.say.name("container", lot.container_class),
        stage=voice.say.name("stage", lot.stage),
    )


def describe_figures(figures: Figures, decimals: int, voice: Voice) -> FigureText:
    """Put the statistics of one quantity into the words of a table."""
    prefix = ("≤\u202f" if figures.side == "low" else "≥\u202f") if figures.at_least else ""
    low, high = figures.ci_low, figures.ci_high
    # What decided are pots that lean one way: their mean is a bound, and the usable pots' interval is not its own.
    has_interval = low is not None and high is not None and not figures.at_least
    interval = (
        f"{voice.number(max(0.0, low), decimals)}–{voice.number(max(0.0, high), decimals)}"
        if low is not None and high is not None and has_interval
        else ""
    )
    return FigureText(
        mean=prefix + voice.number(figures.bound if figures.at_least else figures.mean, decimals),
        interval=interval + ("†" if figures.sd_assumed and has_interval else ""),
        sign=SIDE_SIGNS.get(figures.side or "", ""),
        verdict=describe_verdict(figures, voice),
        is_out=figures.side in SIDE_SIGNS,
        is_judged=figures.side is not None,
        sd_assumed=figures.sd_assumed,
    )


def describe_verdict(figures: Figures, voice: Voice) -> str:
    """Say the verdict of one quantity, or why there is none."""
    say = voice.say
    if figures.side is None or figures.verdict is None:
        return (
            say.name("not_judged", figures.not_judged_why)
            if figures.not_judged_why
            else say("not_judged.other")
        )
    if figures.side == "in_range":
        return say.name("verdict", figures.verdict)
    parts = [say(f"side.{figures.side}"), say.name("verdict", figures.verdict)]
    if figures.in_a_row > 1:
        parts.append(say("verdict.in_a_row", ordinal=say.ordinal(figures.in_a_row)))
    if figures.inside_another_range:
        parts.append(say("verdict.inside_another"))
    return ", ".join(parts)


def describe_sampling(sampling: Sampling, voice: Voice) -> SamplingRow:
    """Put one sampling into the words of a table row."""
    return SamplingRow(
        sampling=sampling,
        purpose=voice.say.name("purpose", sampling.purpose),
        pots=str(sampling.n_pots),
        ph=describe_figures(sampling.ph, 2, voice),
        ec=describe_figures(sampling.ec, 2, voice),
        leachate=voice.number(sampling.leachate_median_ml, 0),
        meters=", ".join(sampling.meter_ids) or "–",
        counts=voice.say.name("counts", sampling.proper if sampling.counts else "not_counting"),
    )


def list_reasons(lot: Lot) -> tuple[Reason, ...]:
    """The lot's reasons as a page shows them: that affected plants were sampled is told by how they differ."""
    differ = any(reason.code == "affected_differ" for reason in lot.reasons)
    return tuple(reason for reason in lot.reasons if not (differ and reason.code == "affected_noted"))


def name_anchor(lot_id: str) -> str:
    """The place of a lot on its site's page; the same every night, so that a link kept by somebody leads there still.

    Codes of lots are one whatever their case.
    """
    return "lot-" + re.sub(r"[^a-z0-9-]", lambda letter: f"_{ord(letter[0]):x}_", lot_id.lower())


def describe_source(source: Source, voice: Voice) -> str:
    """Name a source and how well it is known."""
    known = voice.say.name("known", source.how_known)
    basis = voice.say.name("basis", source.basis)
    if source.stage is not None:
        basis = voice.say("target.own_stage", basis=basis, stage=voice.say.name("stage", source.stage))
    told = f"{basis}: {voice.say.text(source.text)}"
    # The basis says already that it is somebody's own.
    return told if source.how_known == "own value" else f"{told} ({known})"


def describe_other(other: OtherRange, voice: Voice) -> str:
    """Name a range that another source publishes."""
    known = voice.say.name("known", other.how_known)
    return f"{voice.number(other.low, 1)}–{voice.number(other.high, 1)}, {voice.say.text(other.source)} ({known})"


def describe_target(lot: Lot, quantity: Quantity, target: Target | None, voice: Voice) -> TargetText:
    """Put the target of one quantity into words, or say why there is none."""
    return TargetText(
        quantity=quantity,
        heading=voice.say(f"quantity.{quantity}"),
        low=voice.number(target.low, 1) if target else "",
        high=voice.number(target.high, 1) if target else "",
        source=describe_target_source(quantity, target, voice) if target else "",
        others=tuple(describe_other(other, voice) for other in target.others) if target else (),
        other_ranges=list_other_ranges(target, voice),
        missing="" if target else lot.no_target_why.get(quantity, voice.say("target.none")),
        unused_group=target.unused_group.sentence if target and target.unused_group else "",
    )


def describe_target_source(quantity: Quantity, target: Target, voice: Voice) -> str:
    """Name the source of a target; the general range says first that the crop has none of its own."""
    source = describe_source(target.source, voice)
    if target.source.basis != "general":
        return source
    return f"{voice.say('target.no_published', quantity=voice.say.name('short', quantity))}; {source}"


def list_other_ranges(target: Target | None, voice: Voice) -> tuple[str, ...]:
    """Ranges that other sources publish, each once, in the order of the sources."""
    ranges = [(other.low, other.high) for other in target.others] if target else []
    return tuple(
        f"{voice.number(low, 1)}–{voice.number(high, 1)}"
        for low, high in dict.fromkeys(ranges)
        if target and (low, high) != (target.low, target.high)
    )


def write_range(target: Target | None, voice: Voice) -> str:
    """Write a target as low–high, with a star where it is the general range; a dash for none."""
    if target is None:
        return "–"
    star = "*" if target.source.basis == "general" else ""
    return f"{voice.number(target.low, 1)}–{voice.number(target.high, 1)}{star}"


def describe_due(lot: Lot, as_of: date, voice: Voice) -> str:
    """Say when the next sampling of a lot is due, or how late it is; and that a treatment waits for its retest."""
    treated = describe_waiting(lot, as_of, voice)
    if treated and lot.due.rule == "after_treatment":
        return treated
    text = _describe_ruling(lot.due, as_of, voice)
    return f"{text}; {treated}" if treated else text


def describe_waiting(lot: Lot, as_of: date, voice: Voice) -> str:
    """Say that a lot was treated and when its retest is due; nothing where no treatment waits."""
    day = lot.due.retest_due_on
    if day is None or day < as_of:
        return ""
    return voice.say("due.treated", day=voice.weekday_and_day(day))


def _describe_ruling(due: Due, as_of: date, voice: Voice) -> str:
    say = voice.say
    if due.due_on is None:
        return say.name("due", due.state)
    if due.state == "excused" and due.excused_until:
        return say("due.excused_until", day=voice.day(due.excused_until))
    if due.days_overdue:
        return say("due.never_by" if due.state == "never_sampled" else "due.overdue_by", n=due.days_overdue)
    if due.state == "ships_first":
        return say("due.ships_first")
    if 0 <= (due.due_on - as_of).days < 7:
        return voice.weekday_and_day(due.due_on)
    return voice.day(due.due_on)


def tell_next(lot: Lot, voice: Voice) -> str:
    """The sentences of a lot's block about its next sampling: how it stands, the rule with its day, other dues."""
    due, say = lot.due, voice.say
    standing = ""
    if due.state == "excused" and due.excused_until:
        standing = due.excuse or f"{capitalize(say('due.excused_until', day=voice.day(due.excused_until)))}."
    elif due.days_overdue:
        key = "due.never_by" if due.state == "never_sampled" else "due.overdue_by"
        standing = f"{capitalize(say(key, n=due.days_overdue))}."
    elif due.state == "ships_first":
        standing = f"{capitalize(say('due.ships_first'))}."
    also = f"{say('due.also')} {'; '.join(due.also)}." if due.also else ""
    return " ".join(filter(None, (standing, due.why, also)))


def write_minutes(minutes: float, voice: Voice) -> str:
    """Write a time for work: minutes up to two hours, then hours and minutes, rounded up to whole minutes."""
    whole = math.ceil(minutes - 1e-9)
    if whole < 120:
        return voice.say("time.minutes", minutes=whole)
    hours, rest = divmod(whole, 60)
    return (
        voice.say("time.hours_minutes", hours=hours, minutes=rest)
        if rest
        else voice.say("time.hours", hours=hours)
    )


def find_last_counting(lot: Lot) -> Sampling | None:
    """Return the lot's last counting routine or retest sampling."""
    counting = [s for s in lot.samplings if s.counts and s.purpose in ("routine", "retest")]
    return counting[-1] if counting else None


def make_lot_row(lot: Lot, as_of: date, voice: Voice, has_block: bool) -> LotRow:
    """Return a lot as a row."""
    last = find_last_counting(lot)
    return LotRow(
        lot=lot,
        mark=make_mark(lot.level, voice),
        name=name_lot(lot, voice),
        last=describe_sampling(last, voice) if last else None,
        ph_target=write_range(lot.target_ph, voice),
        ec_target=write_range(lot.target_ec, voice),
        due=describe_due(lot, as_of, voice),
        is_late=bool(lot.due.days_overdue),
        has_block=has_block,
    )


def make_lot_block(
    lot: Lot, as_of: date, voice: Voice, *, chart_days: int, chart_size: Size, most_rows: int | None
) -> LotBlock:
    """Return everything a page shows about one lot: charts of the last days, the newest samplings first."""
    quantities: tuple[Quantity, ...] = ("ph", "ec")
    charts = tuple(
        (quantity, make_chart(lot, quantity, as_of, voice, days=chart_days, size=chart_size))
        for quantity in quantities
    )
    newest_first = lot.samplings[::-1]
    shown = newest_first if most_rows is None else newest_first[:most_rows]
    marks = frozenset[str]().union(*(chart.marks for _, chart in charts if chart))
    rows = tuple(describe_sampling(sampling, voice) for sampling in shown)
    return LotBlock(
        lot=lot,
        mark=make_mark(lot.level, voice),
        name=name_lot(lot, voice),
        reasons=list_reasons(lot),
        charts=charts,
        chart_days=chart_days,
        key=tuple(
            voice.say(f"key.{mark}")
            for mark in ("mean", "pot", "not_counting", "affected", "other", "treated", "fed", "forecast")
            if mark in marks
        ),
        rows=rows,
        rows_left_out=len(newest_first) - len(shown),
        has_assumed_sd=any(text.sd_assumed for row in rows for text in (row.ph, row.ec)),
        has_not_shown=any(row.sampling.counts and row.sampling.proper == "not_shown" for row in rows),
        targets=(
            describe_target(lot, "ph", lot.target_ph, voice),
            describe_target(lot, "ec", lot.target_ec, voice),
        ),
        treatments=list_treatments(lot, voice),
        waiting=describe_waiting(lot, as_of, voice),
        measures=tuple(
            (quantity, found) for quantity in quantities if (found := list_measures(lot, quantity, voice))
        ),
        measures_line=write_measures(lot),
        due=tell_next(lot, voice),
    )


MOST_TREATMENTS = 4


def list_treatments(lot: Lot, voice: Voice) -> str:
    """What was done to a lot, newest first; older ones are counted."""
    shown = [
        f"{voice.day(done.treated_on)} {voice.say.name('treatment', done.what)}"
        + (f" ({details})" if (details := ", ".join(filter(None, (done.product, done.person)))) else "")
        for done in lot.treatments[::-1][:MOST_TREATMENTS]
    ]
    more = len(lot.treatments) - len(shown)
    return "; ".join([*shown, voice.say("treatment.more", n=more)] if more else shown)


def list_measures(lot: Lot, quantity: Quantity, voice: Voice) -> tuple[str, ...]:
    """What the measures say of a quantity beside the reasons: trend, own chart, pots needed, contrasts."""
    told = {(reason.code, reason.quantity) for reason in lot.reasons}
    sentences = []
    if quantity in lot.trends and ("trend", quantity) not in told:
        sentences.append(lot.trends[quantity].sentence)
    if quantity in lot.own_charts and ("off_baseline", quantity) not in told:
        sentences.append(lot.own_charts[quantity].sentence)
    if quantity in lot.pots_sentences:
        sentences.append(lot.pots_sentences[quantity])
    sentences += [
        contrast.sentence
        for contrast in lot.contrasts
        if contrast.quantity == quantity
        # A treatment's result is a reason in any case, affected plants where they differ.
        and contrast.comparison != "treatment"
        and not (contrast.comparison == "affected" and ("affected_differ", quantity) in told)
    ]
    # The quantity stands before the list.
    before = f"{voice.say.name('short', quantity)}: "
    return tuple(
        capitalize(sentence.removeprefix(before)) if sentence.startswith(before) else sentence
        for sentence in sentences
    )


def capitalize(sentence: str) -> str:
    """The sentence with a capital first letter, the rest as it is."""
    return sentence[:1].upper() + sentence[1:]


def write_measures(lot: Lot) -> str:
    """The measures in one line for print: judged trends that are no reason, and where more pots would be needed."""
    told = {(reason.code, reason.quantity) for reason in lot.reasons}
    parts = [
        trend.sentence
        for quantity, trend in lot.trends.items()
        if trend.is_trend is not None and ("trend", quantity) not in told
    ]
    return " ".join([*parts, *lot.pots_sentences.values()])


def collect_sources(
    lots: Iterable[Lot],
    policy: Iterable[PolicyValue],
    findings: Iterable[Finding],
    voice: Voice,
    intervals: Iterable[SlackInterval] = (),
) -> tuple[tuple[str, str], ...]:
    """Return every source that a page leans on, once, with how well it is known, in order of the name.

    What is common practice or somebody's own value has no source to list.
    """
    found: dict[str, tuple[str, str | None]] = {}

    def add(text: str, how_known: str, url: str | None = None) -> None:
        if how_known not in ("common practice", "own value"):
            known, address = found.get(text, (how_known, None))
            found[text] = (known, address or url)

    for lot in lots:
        for target in (lot.target_ph, lot.target_ec):
            if target:
                add(target.source.text, target.source.how_known, target.source.url)
                for other in target.others:
                    add(other.source, other.how_known)
        for option in lot.options:
            add(option.source, option.how_known)
    for value in policy:
        if value.source:
            add(value.source, "published")
    for finding in findings:
        for source in finding.sources:
            add(source, "published")
    for interval in intervals:
        for published in interval.published:
            add(published.source, published.how_known, published.url)
    return tuple(
        (f"{voice.say.text(text)}, {url}" if url else voice.say.text(text), voice.say.name("known", known))
        for text, (known, url) in sorted(found.items())
    )


def describe_freshness(site: Site, voice: Voice) -> str:
    """Say how old a site's data is."""
    if site.last_received_on is None:
        return voice.say("site.never")
    if site.is_silent:
        return voice.say(
            "site.silent", n=site.nights_silent or 0, day=voice.weekday_and_day(site.last_received_on)
        )
    if site.last_reading_on is None:
        return voice.say("site.no_readings", day=voice.weekday_and_day(site.last_received_on))
    return voice.say("site.fresh", day=voice.weekday_and_day(site.last_reading_on))
