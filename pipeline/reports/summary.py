"""The document that every page is rendered from, and that `summary.json` holds.

A page shows no figure that is not in here. The JSON Schema beside `summary.json` is made from these models.
Units are in the names: pH without unit, EC in mS/cm at 25 °C, volumes in mL, dates ISO 8601.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from pipeline.programme.sheet import Sheet

Level = Literal["act", "no_reading", "watch", "ok"]
Quantity = Literal["ph", "ec"]
Stage = Literal["establishing", "active", "finishing"]
Side = Literal["low", "in_range", "high"]
Clearness = Literal["clearly_out", "out", "close_to_limit", "in_range"]
DueState = Literal["not_yet", "due_this_week", "overdue", "never_sampled", "ships_first", "excused"]
DueRule = Literal[
    "first",
    "routine",
    "problem_crop",
    "after_out",
    "after_pair_out",
    "after_treatment",
    "symptoms",
    "feed_pair",
]
NotJudged = Literal["too_few_pots", "no_target", "other_method", "volume", "no_temperature", "not_measured"]
WaterWord = Literal["low", "in_range", "high", "acid", "as_set", "weak", "strong", "below_water"]
Proper = Literal["yes", "no", "not_shown"]


class Part(BaseModel):
    """Base of every part: no unknown keys, nothing changed after it was made."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Source(Part):
    """Where a target or rule comes from."""

    basis: Literal["site", "group", "published", "ph_group", "general"]
    text: str = Field(description="Name of the publication, or who set the value")
    url: str | None = None
    how_known: Literal["read", "memory", "common practice", "own value"]
    stage: Stage | None = Field(
        default=None, description="The stage of the lot that an own target is for; None: for all"
    )


class OtherRange(Part):
    """A range that another source publishes for the same crop and quantity."""

    low: float
    high: float
    source: str
    how_known: Literal["read", "memory", "common practice", "own value"]


class UnusedGroup(Part):
    """A pH group or feeding level among which the policy counts the crop, and that what is published goes before."""

    name: str
    low: float | None = Field(description="The group's range; None where an own target stands in its place")
    high: float | None
    sentence: str


class Target(Part):
    """The range a lot is judged against. Edges belong to the range."""

    low: float
    high: float
    source: Source
    others: list[OtherRange]
    unused_group: UnusedGroup | None = None


class Figures(Part):
    """Statistics of one quantity in one sampling, from its usable pots. pH without unit, EC in mS/cm at 25 °C."""

    n: int = Field(description="Usable pots")
    mean: float | None
    sd: float | None
    sd_assumed: bool = Field(
        description="The SD is the policy's: the line stands for several pots and has none"
    )
    ci_low: float | None = Field(description="95 % interval of the mean")
    ci_high: float | None
    median: float | None
    min: float | None
    max: float | None
    pots_in_range: int | None
    side: Side | None = Field(description="None: not judged")
    verdict: Clearness | None
    at_least: bool = Field(description="Judged from biased pots: the true figure lies further out still")
    bound: float | None = Field(
        default=None,
        description="Mean of the biased pots that decided: at least (high) or at most (low) this",
    )
    bound_pots: int | None = Field(default=None, description="How many biased pots decided")
    inside_another_range: bool = Field(
        description="The mean lies inside another published range for the crop"
    )
    in_a_row: int = Field(
        description="Counting samplings out on this side in a row, with this one; 0 in range"
    )
    band: str | None = Field(description="EC only: published band by extraction method")
    not_judged_why: NotJudged | None
    pots_needed: int | None = Field(
        default=None,
        description="Pots that would give the policy's precision at this spread; None: spread not known, or below "
        "three usable pots",
    )
    outliers: int | None = Field(default=None, description="Pots that lie apart; None: too few to say")
    mean_without: float | None = Field(default=None, description="Without the pots that lie apart")
    sd_without: float | None = None
    ci_low_without: float | None = None
    ci_high_without: float | None = None
    grubbs_g: float | None = Field(
        default=None,
        description="Grubbs' test: the largest distance of a pot from the mean, in SDs; None below seven pots read "
        "by themselves, and where all are alike",
    )
    grubbs_critical: float | None = Field(
        default=None, description="What G must be above to speak, two-sided at 5 % for so many pots"
    )
    grubbs_beyond: bool | None = Field(default=None, description="G lies above its critical value")
    depends_on_one_pot: bool = Field(default=False, description="One pot alone decides the side")


class Pot(Part):
    """One accepted line of a sampling, for charts and tables."""

    file: str
    line: int
    pot: str | None
    position: str | None
    n_pots: int
    ph: float | None
    ec_ms_cm: float | None = Field(description="At 25 °C where the meter or the record allows it")
    leachate_ml: float | None
    usable_ph: bool
    usable_ec: bool
    why_not_ec: Literal["over_collected", "under_collected", "no_temperature", "not_measured"] | None
    outlier_ph: bool = False
    outlier_ec: bool = False


class AnsweredDue(Part):
    """The due for which the sheet of a sampling was printed."""

    why: str
    due_on: date


class Sampling(Part):
    """All accepted readings of one lot on one day for one purpose."""

    sampled_on: date
    purpose: str
    n_pots: int
    min_pots: int
    counts: bool
    proper: Proper
    meter_ids: list[str]
    meter_calibrated: bool | None = Field(description="None: the site sends no calibrations")
    meter_in_doubt: bool
    leachate_median_ml: float | None
    leachate_low_ml: float = Field(description="Lower target of the container class")
    leachate_high_ml: float
    pots_over_collected: int
    pots_under_collected: int
    pots_without_volume: int
    ph: Figures
    ec: Figures
    pots: list[Pot]
    findings: list[Finding]
    answers: list[AnsweredDue] = Field(
        default_factory=list, description="Dues that the lines of its sheet name; empty for other exports"
    )


class Finding(Part):
    """One rule's remark, with its figures in the sentence."""

    rule: str
    level: Literal["hold", "exclude", "warn", "note"]
    sentence: str
    group_sentence: str | None = Field(
        default=None, description="The same in the group's language and with its dates, where they differ"
    )
    file: str | None = None
    line: int | None = None
    places: str | None = Field(default=None, description="Files and lines of the pots that it is about")
    sources: list[str] = Field(default_factory=list, description="Publications that the remark leans on")


class Reason(Part):
    """Why a lot has its level. Worst first."""

    code: str
    level: Literal["act", "no_reading", "watch", "note"]
    quantity: Quantity | None
    side: Side | None
    sentence: str
    group_sentence: str | None = Field(
        default=None, description="The same in the group's language and with its dates, where they differ"
    )


class Trend(Part):
    """Where the means of a lot's last counting samplings go, in pH or mS/cm a week."""

    samplings: int
    first_on: date | None
    last_on: date | None
    slope_per_week: float | None = Field(description="Theil-Sen; None below four samplings")
    slope_low: float | None = Field(description="Interval of the slope; None below five samplings")
    slope_high: float | None
    p: float | None = Field(description="Exact Mann-Kendall, two-sided; None below five samplings")
    is_trend: bool | None = Field(description="None: too few samplings to judge")
    heads_for: Literal["low", "high"] | None = Field(description="The edge that will be crossed")
    earliest_on: date | None
    likely_on: date | None
    latest_on: date | None
    leaves_within_two_samplings: bool | None
    last_fit: float | None = Field(
        default=None, description="Value of the trend's line on last_on; None below four samplings"
    )
    sentence: str


class OwnChart(Part):
    """The last counting sampling on the lot's own drift chart: EWMA around its first five samplings."""

    sampled_on: date
    baseline: float | None
    smoothed: float | None
    low: float | None
    high: float | None
    side: Literal["low", "high"] | None
    rules: list[str] = Field(description="Run rules that are met")
    sentence: str


class Contrast(Part):
    """Two samplings of one lot held against each other, first less second."""

    comparison: Literal["affected", "feed", "treatment"]
    quantity: Quantity
    first_on: date
    second_on: date
    second_purpose: str
    n_first: int
    n_second: int
    mean_first: float | None
    mean_second: float | None
    difference: float | None
    ci_low: float | None = Field(description="Welch interval, 95 %")
    ci_high: float | None
    p: float | None = Field(description="Exact Mann-Whitney, two-sided")
    hedges_g: float | None
    word: Literal["clear", "not_clear", "too_few"]
    sentence: str


class Treatment(Part):
    """What was done to a lot to mend its pH or EC."""

    treated_on: date
    what: str
    product: str | None
    person: str | None


class WaterCheck(Part):
    """A check of source water, or of the feed at a hose end, that tonight's judgement takes."""

    checked_on: date
    place: Literal["source_water", "hose_end"]
    spot: str | None = Field(description="Injector, or house")
    ec_ms_cm: float | None = Field(description="At 25 °C")
    alkalinity_mg_l: float | None = Field(description="CaCO3")
    target_ec_ms_cm: float | None = Field(description="What a hose end should read, the water included")
    water_on: date | None = Field(description="Check of the source water that a hose end is held against")
    water_ec_ms_cm: float | None
    words: list[WaterWord] = Field(
        description="How it is judged: alkalinity by container, the feed less the water; none: not judged"
    )


class CropContrast(Part):
    """One crop in one container class at two sites: means of lots' last counting samplings, first less second."""

    crop: str
    container_class: str
    quantity: Quantity
    first_site: str
    second_site: str
    n_first: int = Field(description="Lots")
    n_second: int
    mean_first: float | None
    mean_second: float | None
    difference: float | None
    ci_low: float | None
    ci_high: float | None
    p: float | None
    hedges_g: float | None
    word: Literal["clear", "not_clear", "too_few"]


class Option(Part):
    """A published way to correct something. Never an order; mild ones first."""

    title: str
    text: str
    wait: str | None = Field(description="Waiting time or expected effect, as published")
    cautions: str
    source: str
    how_known: Literal["read", "memory", "common practice"]


class Due(Part):
    """The sampling that ought to happen next: the earliest that no excuse covers."""

    state: DueState
    due_on: date | None
    purpose: str = Field(description="One purpose, or two with a comma between")
    why: str = Field(description="Sentence")
    group_sentence: str | None = Field(
        default=None, description="The same in the group's language and with its dates, where they differ"
    )
    also: list[str] = Field(description="Other dues of the lot, excused ones too, in a few words each")
    days_overdue: int | None
    pots: int
    rule: DueRule | None = Field(default=None, description="Which rule asks for it")
    rule_on: date | None = Field(
        default=None, description="The day by the rule; `due_on` is before it where the site does not sample"
    )
    caused_on: date | None = Field(
        default=None, description="Start, last sampling, treatment, or the day affected plants were noted"
    )
    retest_due_on: date | None = Field(
        default=None, description="A treatment waits for the retest of this day; None: none does"
    )
    excused_until: date | None = Field(default=None, description="With the state `excused`")
    excuse_reason: str | None = None
    excused_by: str | None = None
    excuse: str | None = Field(default=None, description="Sentence, with the state `excused`")
    excused_late: bool = Field(default=False, description="The excuse was entered after the due day")


class PlannedSampling(Part):
    """One sampling of the next four weeks, as the rules see it tonight."""

    lot_id: str
    house: str | None
    rule: DueRule
    purpose: str = Field(description="One purpose, or two with a comma between")
    due_on: date
    days_overdue: int | None = Field(description="None: not overdue tonight")
    pots: int
    minutes: float = Field(description="By the policy's minutes for a pot")


class PlanDay(Part):
    """What is planned for one day; a day without a sampling is left out."""

    plan_on: date
    lots: int
    pots: int
    minutes: float
    samplings: list[PlannedSampling]


class PlanWeek(Part):
    """Seven days of the plan, the first from the as-of day on."""

    first_on: date
    last_on: date
    lots: int = Field(description="Lots to sample, each once")
    pots: int
    minutes: float


class PublishedInterval(Part):
    """How often a source says that a container class is to be sampled."""

    as_printed: str
    interval_high_days: int = Field(description="The longest time between samplings by this source")
    source: str
    url: str | None
    how_known: Literal["read", "memory", "common practice"]


class SlackInterval(Part):
    """A routine interval of the policy that is longer than a published one, for a container class in use."""

    container_class: str
    interval_days: int
    published: list[PublishedInterval]
    sentence: str


class Lot(Part):
    """One lot that stands in a house on the as-of date."""

    lot_id: str
    house: str | None
    bench: str | None
    crop: str
    cultivar: str | None
    container_class: str
    plants: int | None
    started_on: date
    ends_on: date | None
    days_to_end: int | None
    stage: Stage
    grower_id: str | None = Field(description="As the lot list names")
    grower_ids: list[str] = Field(
        description="Who answers for the lot, by the lot list and the growers' houses; empty: nobody is named"
    )
    ph_group: str | None
    target_ph: Target | None
    target_ec: Target | None
    no_target_why: dict[Quantity, str] = Field(description="Sentence for a quantity without a target")
    level: Level
    rank: int = Field(description="Place among all lots of the group, 1 first")
    score: float = Field(
        description="Steps beyond the edge (of a high EC read while finishing times the policy's weight) times "
        "(1 + number in a row, + 1 after a retest missed or still out)"
    )
    reasons: list[Reason]
    options: list[Option]
    last_counting_on: date | None
    days_since_counting: int | None
    due: Due
    trends: dict[Quantity, Trend] = Field(default_factory=dict)
    own_charts: dict[Quantity, OwnChart] = Field(default_factory=dict)
    contrasts: list[Contrast] = Field(default_factory=list)
    pots_sentences: dict[Quantity, str] = Field(
        default_factory=dict, description="Pots that would do, by the last counting sampling"
    )
    treatments: list[Treatment] = Field(default_factory=list, description="Oldest first")
    fed_on: list[date] = Field(
        default_factory=list,
        description="Days of the last year on which a periodically fed lot gets its feed by the site's settings, "
        "oldest first",
    )
    samplings: list[Sampling] = Field(description="Oldest first, all purposes")


class HeldExample(Part):
    """One held record."""

    file: str
    line: int
    text: str


class HeldCause(Part):
    """Held lines that wait for the same thing."""

    cause: str
    what: str | None = Field(description="What is missing or wrong: a lot code, a column")
    sentence: str
    group_sentence: str | None = Field(
        default=None, description="The same in the group's language and with its dates, where they differ"
    )
    mend: str = Field(description="What would release them")
    group_mend: str | None = Field(
        default=None, description="The same in the group's language, where it differs"
    )
    records: int
    examples: list[HeldExample]


class SetAsideLine(Part):
    """One line of a file that is no data."""

    line: int
    rule: Literal["header", "title", "units", "separator", "comment", "total", "noted_only"]
    text: str


class FileReceived(Part):
    """One file of the night."""

    name: str
    kind: str
    received_on: date
    lines: int
    records: int
    held_why: str | None = Field(description="Sentence, when the whole file is held")
    not_data: list[SetAsideLine] = Field(
        default_factory=list,
        description="The first 50 lines that a rule set aside as no data, without blank ones",
    )
    not_data_more: int = Field(default=0, description="Lines set aside beyond those")
    blank_lines: int = Field(default=0, description="Blank records")
    not_filled_in: int = Field(default=0, description="Lines of a sheet whose boxes are blank")


class Correction(Part):
    """A line that gave way tonight; both versions are kept."""

    kind: str
    file: str
    line: int
    text: str
    fate: Literal["superseded", "withdrawn"]
    by_file: str | None = Field(description="Where the line stands that took its place; None: withdrawn")
    by_line: int | None
    by_text: str | None


class Reread(Part):
    """A file that was read again tonight, because its settings had been mended."""

    file: str
    changed_lines: int = Field(description="Lines whose values changed")
    accepted_before: int
    accepted_after: int
    held_before: int
    held_after: int
    sentence: str
    group_sentence: str | None = Field(
        default=None, description="The same in the group's language, where it differs"
    )


class ChangedValue(Part):
    """A value of a line that was read again."""

    field: str = Field(description="Column of the warehouse, with its unit")
    before: str | None = Field(description="None: there was none")
    after: str | None = Field(description="None: there is none any more")


class RereadLine(Part):
    """A line that reading its file again changed. Fates are None where no record begins at the line."""

    file: str
    line: int
    changed_values: list[ChangedValue]
    is_moved: bool = Field(description="Whether its fate, or what holds it, is another one now")
    fate_before: str | None
    cause_before: str | None
    fate_after: str | None
    cause_after: str | None
    sentence: str


class ReleasedFile(Part):
    """A file whose held lines were taken up tonight."""

    file: str
    received_on: date
    records: int
    lines: str = Field(description="Where these records begin, as in: lines 2-6, 9")


class Lines(Part):
    """Fates of the records that a site has sent so far. Their sum is `records`."""

    lines: int = Field(description="Physical lines")
    records: int
    accepted: int
    held: int
    repeated: int
    superseded: int
    withdrawn: int
    not_data: int


class Meter(Part):
    """One meter of a site."""

    meter_id: str
    last_calibrated_on: date | None
    last_accepted: bool | None
    slope_pct: float | None
    offset_mv: float | None
    in_doubt: bool
    readings_in_doubt: int = Field(description="Accepted readings since the last accepted calibration")
    days_used_without_calibration: list[date] = Field(description="In the last 28 days")
    sentence: str | None = Field(description="What is the matter, None when all is well")
    group_sentence: str | None = Field(
        default=None, description="The same in the group's language and with its dates, where they differ"
    )
    findings: list[Finding] = Field(
        default_factory=list,
        description="Remarks on its checks since the last good one before the last 28 days, newest first",
    )


class Quality(Part):
    """Samplings for routine and retest in the 28 days up to the as-of date."""

    samplings: int
    counting: int
    proper: int
    not_shown: int


class Grower(Part):
    """Head grower of a site."""

    grower_id: str
    name: str
    houses: list[str] = Field(description="Empty: all houses")


class CalendarEvent(Part):
    """One event of a site's calendar file: samplings to take, or what no longer stands."""

    uid: str
    sequence: int = Field(description="Grows whenever the event changes")
    status: Literal["confirmed", "cancelled"]
    starts_at: datetime = Field(description="By the clock of the time zone")
    time_zone: str
    minutes: int
    location: str = Field(description="House; empty where it is not known")
    summary: str
    description: list[str] = Field(description="A line for each sampling; none once cancelled")
    changed_on: date = Field(description="Day of the night that made it known")


class PolicyValue(Part):
    """One value of the policy in force on the as-of date."""

    name: str
    value: str
    unit: str | None
    origin: Literal["P", "C", "H", "own"]
    meaning: str
    source: str | None
    default: str | None = Field(description="The default, where the group or site set its own value")


class Site(Part):
    """One site on the as-of date."""

    site_id: str
    name: str
    language: str = Field(description="Code of the language of its pages, as ISO 639 has it")
    paper: Literal["a4", "letter"]
    date_format: str = Field(description="How the site writes dates, strftime")
    growers: list[Grower]
    first_received_on: date | None
    last_received_on: date | None
    nights_silent: int | None = Field(description="Days since the last file arrived")
    is_silent: bool
    last_reading_on: date | None
    lots_by_level: dict[Level, int]
    dues_by_state: dict[DueState, int]
    lots_on_time: int = Field(description="Lots whose next sampling is not in the past")
    pots_due: int | None = Field(
        default=None, description="Pots to sample for everything overdue or due within the week"
    )
    plan: list[PlanDay] = Field(default_factory=list, description="The next four weeks, by day")
    plan_weeks: list[PlanWeek] = Field(default_factory=list, description="The same by week")
    slack_intervals: list[SlackInterval] = Field(
        default_factory=list, description="Where the policy samples less often than is published"
    )
    quality_28_days: Quality
    lines: Lines
    files_tonight: list[FileReceived]
    released_tonight: int = Field(description="Records held last night and accepted tonight")
    released_sentences: list[str]
    group_released_sentences: list[str] | None = Field(
        default=None, description="The same in the group's language, where it differs"
    )
    released_files: list[ReleasedFile] = Field(default_factory=list, description="Where these lines stand")
    superseded_tonight: int = Field(default=0, description="Lines that gave way to a later version tonight")
    withdrawn_tonight: int = Field(
        default=0, description="Lines that the newest version of their list or file no longer has"
    )
    corrections_tonight: list[Correction] = Field(
        default_factory=list, description="The first twenty of these lines, with what took their place"
    )
    rereads_tonight: list[Reread] = Field(default_factory=list)
    reread_lines: list[RereadLine] = Field(
        default_factory=list, description="The first twenty lines that this changed"
    )
    reread_lines_more: int = Field(default=0, description="Lines that it changed beyond those")
    held: list[HeldCause]
    meters: list[Meter]
    water: list[WaterCheck] = Field(default_factory=list)
    time_zone: str = Field(default="UTC", description="Of the site, by the names of IANA")
    calendar: list[CalendarEvent] = Field(
        default_factory=list, description="What the calendar file holds, in the order of time"
    )
    findings: list[Finding] = Field(description="About the site or its files, not about a lot")
    policy: list[PolicyValue]
    lots: list[Lot] = Field(description="In order of attention")
    lots_ended: int
    sheet: Sheet | None = Field(
        default=None, description="The sampling sheet; None: made by a Leachbook that printed none"
    )


class Night(Part):
    """The run itself."""

    leachbook_version: str
    as_of: date
    facts_digest: str
    settings_digest: str
    new_files: int
    new_records: int


class Summary(Part):
    """Everything the pages of one night show."""

    group_name: str
    language: str = Field(description="Code of the language of its pages, as ISO 639 has it")
    paper: Literal["a4", "letter"]
    date_format: str
    order_formula: str = Field(description="How lots are put in order, in words")
    night: Night
    lots_by_level: dict[Level, int]
    crop_contrasts: list[CropContrast] = Field(default_factory=list)
    sites: list[Site]
