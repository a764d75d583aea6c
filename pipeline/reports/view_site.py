"""One site as a page: the grower's weekly PDF and the site's HTML page. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from pipeline.reports.charts import Size
from pipeline.reports.formats import Voice
from pipeline.reports.summary import Due, Finding, Level, Lot, Meter, Night, Site, Summary, WaterCheck
from pipeline.reports.view import (
    LevelCount,
    LotBlock,
    LotName,
    LotRow,
    Mark,
    collect_sources,
    count_levels,
    describe_freshness,
    list_reasons,
    make_lot_block,
    make_lot_row,
    make_mark,
    name_lot,
)
from pipeline.reports.view_plan import (
    PlannedWeek,
    SamplingDay,
    describe_sheet,
    list_this_week,
    list_weeks,
    name_sheet,
    write_week_total,
)
from pipeline.reports.view_policy import PolicyView, make_policy_view
from pipeline.reports.view_sheet import PrintedSheet, make_printed_sheet

# What a first page can hold; more are counted and shown behind.
MOST_LINES = 7
MOST_HELD = 4
MOST_REASONS = 2
MOST_CHECKS = 4
MOST_A_DAY = 12
"""House default: lots of one day that the week names; the plan has them all."""
PAGE_MM: dict[Literal["a4", "letter"], float] = {"a4": 267.0, "letter": 249.0}
LIST_HEAD_MM = 20.0
WEEK_DOUBT_MM = 12.0
"""A week that is estimated to end so near the foot of its page may need the next one."""
PRINT_CHART_DAYS = 126
PRINT_ROWS: dict[Level, int] = {"act": 6, "no_reading": 4, "watch": 4, "ok": 4}
PRINT_CHART = Size(332, 116)
SCREEN_CHART_DAYS = 371
SCREEN_CHART = Size(440, 190)


@dataclass(frozen=True, slots=True)
class ActionLine:
    """One lot on the list of what to do this week."""

    name: LotName
    sentences: tuple[str, ...]
    checks: tuple[str, ...]
    has_options: bool
    due: Due
    next_words: str

    @property
    def checks_in_words(self) -> str:
        """What to check first, as it stands after a colon."""
        return join_checks(self.checks)


@dataclass(frozen=True, slots=True)
class WaitingLine:
    """A lot that was treated and waits for its retest, or whose sampling is excused, with what is said of it."""

    name: LotName
    sentence: str


@dataclass(frozen=True, slots=True)
class WaterRow:
    """One check of water or feed in words."""

    check: WaterCheck
    what: str
    judged: str


@dataclass(frozen=True, slots=True)
class SiteView:
    """One site on one day, ready for a page."""

    site: Site
    night: Night
    group_name: str
    title: str
    week: int
    as_of: str
    growers: str
    freshness: str
    lots_total: int
    counts: tuple[LevelCount, ...]
    act_mark: Mark
    no_reading_mark: Mark
    act: tuple[ActionLine, ...]
    act_more: int
    no_reading: tuple[ActionLine, ...]
    no_reading_more: int
    watch_mark: Mark
    watch: tuple[ActionLine, ...]
    watch_more: int
    waiting: tuple[WaitingLine, ...]
    waiting_more: int
    excused: tuple[WaitingLine, ...]
    excused_more: int
    sampling_days: tuple[SamplingDay, ...]
    most_a_day: int
    week_total: str
    sheet_file: str
    sheet_words: str
    sheet: PrintedSheet | None
    plan: tuple[PlannedWeek, ...]
    meters: tuple[Meter, ...]
    held_more: int
    most_held: int
    rows: tuple[LotRow, ...]
    blocks: tuple[LotBlock, ...]
    sources: tuple[tuple[str, str], ...]
    policy: PolicyView
    file_sentences: tuple[str, ...]
    water_sentences: tuple[str, ...]
    water: tuple[WaterRow, ...]
    water_sources: tuple[str, ...]
    has_general_range: bool
    has_out_but_ok: bool
    slack_classes: str
    is_spread: bool
    has_long_list: bool
    is_plan_by_lots: bool


def join_checks(titles: Sequence[str]) -> str:
    """Titles of options as one list within a sentence: small letters at their heads, but for signs like EC."""
    return "; ".join(title[0].lower() + title[1:] if title[1:2].islower() else title for title in titles)


def make_action_line(lot: Lot, voice: Voice) -> ActionLine:
    """Return a lot's line: its worst reasons, what to check first (titles only, never a rate), when to read again."""
    shown = list_reasons(lot)
    reasons = [reason for reason in shown if reason.level == lot.level] or shown
    return ActionLine(
        name=name_lot(lot, voice),
        sentences=tuple(reason.sentence for reason in reasons[:MOST_REASONS]),
        checks=tuple(voice.say.text(option.title) for option in lot.options[:MOST_CHECKS]),
        has_options=bool(lot.options),
        due=lot.due,
        next_words=tell_when(lot, voice),
    )


def tell_when(lot: Lot, voice: Voice) -> str:
    """Say in a few words when a lot is to be read again."""
    say, due = voice.say, lot.due
    if due.days_overdue:
        key = "row.retest_late" if due.rule == "after_treatment" else "row.next_late"
        return say(key, n=due.days_overdue)
    if due.due_on is None:
        return ""
    if due.state == "excused" and due.excused_until:
        return say("row.next_excused", day=voice.day(due.excused_until))
    day = voice.weekday_and_day(due.due_on)
    if due.rule == "after_treatment":
        return say("row.next_treated", day=day)
    if due.retest_due_on:
        return say("row.next_and_treated", day=day, retest=voice.weekday_and_day(due.retest_due_on))
    return say("row.next", day=day)


def list_actions(lots: list[Lot], level: Level, voice: Voice) -> tuple[ActionLine, ...]:
    """Return the lines of all lots of a level, in order of attention."""
    return tuple(make_action_line(lot, voice) for lot in lots if lot.level == level)


def list_waiting(lots: list[Lot], voice: Voice) -> tuple[WaitingLine, ...]:
    """Return the lots that were treated and wait for their retest, with what was done and the day of the retest."""
    return tuple(
        WaitingLine(name_lot(lot, voice), reason.sentence)
        for lot in lots
        for reason in lot.reasons
        if reason.code == "treated" and lot.due.retest_due_on is not None
    )


def list_excused(lots: list[Lot], voice: Voice) -> tuple[WaitingLine, ...]:
    """Return the lots whose sampling is excused, with until when, why and by whom."""
    return tuple(WaitingLine(name_lot(lot, voice), lot.due.excuse) for lot in lots if lot.due.excuse)


def measure_action(line: ActionLine) -> int:
    """Return about how many letters a line of the list has."""
    name = line.name
    parts = (
        name.place,
        name.crop,
        name.cultivar or "",
        name.lot_id,
        name.plants,
        name.ships,
        *line.sentences,
    )
    return sum(len(part) for part in (*parts, *line.checks)) + 60


def measure_day(day: SamplingDay) -> int:
    """Return about how many letters the line of one day has."""
    items = (
        (
            item.name.place,
            item.name.crop,
            item.name.cultivar or "",
            item.name.lot_id,
            item.pots,
            item.purpose,
            item.late,
        )
        for item in day.items[:MOST_A_DAY]
    )
    return len(day.label) + sum(len(part) + 2 for item in items for part in item) + 30


def fits_first_page(jobs: list[list[int]], rows: tuple[LotRow, ...], paper: Literal["a4", "letter"]) -> bool:
    """Tell whether the table of all lots will end on the first page, by a careful estimate in millimetres.

    If not it begins on the second, and the lots' blocks follow it without a break: either way no block, and so
    no rate, comes on the first page. A wrong estimate costs paper, nothing else.
    """
    return measure_week(jobs) + 27.0 + measure_rows(rows) < PAGE_MM[paper]


def measure_week(jobs: list[list[int]]) -> float:
    """Return about how high the first page's head and lines are, in millimetres."""
    return 22.0 + sum(
        sum(4.9 + 4.2 * (letters // 104) for letters in lines) + (2.6 if lines else 0.0) for lines in jobs
    )


def measure_rows(rows: tuple[LotRow, ...]) -> float:
    """Return about how high the rows of the table of all lots are, in millimetres."""
    wraps = (
        len(row.name.crop) + len(row.name.cultivar or "") > 22
        or len(row.name.place) > 18
        or len(row.due) > 16
        for row in rows
    )
    return sum(7.9 if wrap else 4.4 for wrap in wraps)


def fits_after_lots(
    jobs: list[list[int]],
    rows: tuple[LotRow, ...],
    plan: tuple[PlannedWeek, ...],
    paper: Literal["a4", "letter"],
) -> bool:
    """Tell whether the plan ends on the page on which the table of all lots begins, by a careful estimate.

    The week's last lines may stand above that table. If the plan does not fit it comes after the lots' blocks, where
    it leaves no page half empty.
    """
    high = measure_week(jobs)
    carried = max(
        0.0, high % PAGE_MM[paper] if high > PAGE_MM[paper] else high - PAGE_MM[paper] + WEEK_DOUBT_MM
    )
    used = carried + LIST_HEAD_MM + measure_rows(rows) + 36.0
    for week in plan:
        used += 5.6
        for day in week.days:
            letters = sum(
                len(item.name.lot_id) + 2 + sum(len(part) + 3 for part in (item.purpose, item.late) if part)
                for item in day.items
            )
            used += 3.9 + 3.2 * (letters // 95)
    return used < PAGE_MM[paper]


def is_of_water(finding: Finding) -> bool:
    """Whether a finding speaks of source water or feed, which have a line of their own."""
    return finding.rule.startswith(("alkalinity_", "feed_"))


def describe_check(check: WaterCheck, voice: Voice) -> WaterRow:
    """Put a check of water or feed into words."""
    # "acid" says that alkalinity is high, too.
    told = [word for word in check.words if not (word == "high" and "acid" in check.words)]
    words = [voice.say.name("water_word", word) for word in told] or [voice.say("water_word.none")]
    place = voice.say.name("water_place", check.place)
    return WaterRow(check, f"{place}, {check.spot}" if check.spot else place, "; ".join(words))


def make_site_view(
    summary: Summary, site: Site, voice: Voice, *, for_print: bool, week: int | None = None
) -> SiteView:
    """Return a site's view: in print only lots that need someone get a block, on screen every lot.

    `week`: the number by which the report is named, where that is not the week of its as-of day.
    """
    as_of = summary.night.as_of
    number = as_of.isocalendar().week if week is None else week
    block_lots = [lot for lot in site.lots if not for_print or lot.level != "ok"]
    blocks = tuple(
        make_lot_block(
            lot,
            as_of,
            voice,
            chart_days=PRINT_CHART_DAYS if for_print else SCREEN_CHART_DAYS,
            chart_size=PRINT_CHART if for_print else SCREEN_CHART,
            most_rows=PRINT_ROWS[lot.level] if for_print else None,
        )
        for lot in block_lots
    )
    act, no_reading = list_actions(site.lots, "act", voice), list_actions(site.lots, "no_reading", voice)
    watch = list_actions(site.lots, "watch", voice)
    rows = tuple(make_lot_row(lot, as_of, voice, not for_print or lot.level != "ok") for lot in site.lots)
    days = list_this_week(site, as_of, voice)
    waiting, excused = list_waiting(site.lots, voice), list_excused(site.lots, voice)
    held_files = {held.what for held in site.held}
    file_sentences = tuple(
        finding.sentence
        for finding in site.findings
        if finding.file not in held_files and not is_of_water(finding)
    )
    water_sentences = tuple(finding.sentence for finding in site.findings if is_of_water(finding))
    meters = tuple(meter for meter in site.meters if meter.sentence)
    jobs = [
        *([measure_action(line) for line in lines[:MOST_LINES]] for lines in (act, no_reading) if lines),
        [
            len(line.name.place) + len(line.name.crop) + len(line.sentences[0]) + 24
            for line in watch[:MOST_LINES]
        ],
        [measure_day(day) for day in days],
        [
            len(line.name.place) + len(line.name.crop) + len(line.sentence) + 24
            for line in waiting[:MOST_LINES]
        ],
        [
            len(line.name.place) + len(line.name.crop) + len(line.sentence) + 24
            for line in excused[:MOST_LINES]
        ],
        [len(meter.sentence or "") for meter in meters],
        [len(held.sentence) + len(held.mend) for held in site.held[:MOST_HELD]],
        [len(sentence) for sentence in file_sentences],
        [len(sentence) for sentence in water_sentences],
        [len(sentence) for sentence in site.released_sentences],
    ]
    is_spread = not fits_first_page(jobs, rows, site.paper)
    plan = list_weeks(site, voice)
    return SiteView(
        site=site,
        night=summary.night,
        group_name=summary.group_name,
        title=voice.say("site.title", site=site.name, week=number, day=voice.day(as_of)),
        week=number,
        as_of=voice.weekday_and_day(as_of),
        growers=", ".join(grower.name for grower in site.growers),
        freshness=describe_freshness(site, voice),
        lots_total=len(site.lots),
        counts=count_levels(site.lots_by_level, voice),
        act_mark=make_mark("act", voice),
        no_reading_mark=make_mark("no_reading", voice),
        act=act[:MOST_LINES],
        act_more=len(act[MOST_LINES:]),
        no_reading=no_reading[:MOST_LINES],
        no_reading_more=len(no_reading[MOST_LINES:]),
        watch_mark=make_mark("watch", voice),
        watch=watch[:MOST_LINES],
        watch_more=len(watch[MOST_LINES:]),
        waiting=waiting[:MOST_LINES],
        waiting_more=len(waiting[MOST_LINES:]),
        excused=excused[:MOST_LINES],
        excused_more=len(excused[MOST_LINES:]),
        sampling_days=days,
        most_a_day=MOST_A_DAY,
        week_total=write_week_total(site, voice),
        sheet_file=name_sheet(site),
        sheet_words=describe_sheet(site, voice, for_print=for_print),
        sheet=make_printed_sheet(summary, site) if for_print else None,
        plan=plan,
        meters=meters,
        held_more=len(site.held[MOST_HELD:]),
        most_held=MOST_HELD,
        rows=rows,
        blocks=blocks,
        sources=collect_sources(block_lots, site.policy, site.findings, voice, site.slack_intervals),
        policy=make_policy_view(site.policy, voice),
        file_sentences=file_sentences[:MOST_HELD],
        water_sentences=water_sentences,
        water=tuple(describe_check(check, voice) for check in site.water),
        water_sources=tuple(dict.fromkeys(source for finding in site.findings for source in finding.sources)),
        has_general_range=any("*" in row.ph_target + row.ec_target for row in rows),
        has_out_but_ok=any(
            row.mark.level == "ok" and row.last is not None and bool(row.last.ph.sign or row.last.ec.sign)
            for row in rows
        ),
        slack_classes=", ".join(
            voice.say.name("container", one.container_class) for one in site.slack_intervals
        ),
        is_spread=is_spread,
        has_long_list=measure_rows(rows) + LIST_HEAD_MM > PAGE_MM[site.paper],
        is_plan_by_lots=is_spread and fits_after_lots(jobs, rows, plan, site.paper),
    )
