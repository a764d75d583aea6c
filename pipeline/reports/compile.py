"""Warehouse rows in, the night's document out: the one place that knows both.

Pure: frames, settings and published tables in, a Summary out. Nothing is judged here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, timedelta
from difflib import get_close_matches
from functools import partial
from typing import Any, get_args

import polars as pl

from pipeline.measures.crop_names import near_crops
from pipeline.programme.sheet import make_sheet
from pipeline.reports.compile_lot import compile_lot
from pipeline.reports.compile_plan import compile_plan, find_slack, sum_weeks
from pipeline.reports.places import say_numbers
from pipeline.reports.policy_lines import list_policy
from pipeline.reports.rows import Published, Rows, arrange_rows
from pipeline.reports.summary import (
    CalendarEvent,
    Correction,
    CropContrast,
    DueState,
    FileReceived,
    Finding,
    Grower,
    HeldCause,
    HeldExample,
    Level,
    Lines,
    Lot,
    Meter,
    Night,
    Quality,
    ReleasedFile,
    Reread,
    RereadLine,
    SetAsideLine,
    Site,
    Summary,
    WaterCheck,
)
from pipeline.reports.wording import Row, Wording
from pipeline.reports.wording_held import is_harmless
from pipeline.settings import PolicyInForce, Settings, SiteSettings
from pipeline.settings.sheet import read_export
from pipeline.warehouse.query import SHEET_DAYS

ORDER_FORMULA = (
    "Lots stand in the order of their level (act, no current reading, watch, OK). Within a level: distance of the mean "
    "beyond the edge of the target in steps (0.2 pH or 0.5 mS/cm is one step; that of a high EC read while the lot is "
    "finishing times a weight, 1.5 unless the policy says otherwise) times one plus the number in a row, and one more "
    "where the retest after a treatment was missed or is still out on the side it was out before; then the number of "
    "plants; then the days to the lot's end. House default."
)
MOST_CORRECTIONS = 20
MOST_SET_ASIDE = 50
_REREAD_FIELDS = [name for name in Reread.model_fields if name not in ("sentence", "group_sentence")]
_REREAD_LINE_FIELDS = [name for name in RereadLine.model_fields if name != "sentence"]
_CROP_CONTRAST_FIELDS = [name for name in CropContrast.model_fields if name != "crop"]
LEVELS: tuple[Level, ...] = get_args(Level)
DUE_STATES: tuple[DueState, ...] = get_args(DueState)


def compile_summary(
    tables: Mapping[str, pl.DataFrame],
    settings: Settings,
    policies: Mapping[str, PolicyInForce],
    published: Published,
    night: Night,
) -> Summary:
    """Make the document of one night.

    tables: as from `pipeline.warehouse.query.fetch_tables`; policies: by site id, in force on the as-of date.
    """
    rows = arrange_rows(tables, published)
    sites = [
        _site(
            site,
            policies[site.id],
            rows,
            Wording(site.date_format, settings.group.date_format, site.language, settings.group.language),
            night.as_of,
        )
        for site in settings.sites
    ]
    levels = Counter(lot.level for site in sites for lot in site.lots)
    return Summary(
        group_name=settings.group.name,
        language=settings.group.language,
        paper=settings.group.paper,
        date_format=settings.group.date_format,
        order_formula=ORDER_FORMULA,
        night=night,
        lots_by_level={level: levels[level] for level in LEVELS},
        crop_contrasts=[
            CropContrast(crop=row["crop_key"], **{name: row[name] for name in _CROP_CONTRAST_FIELDS})
            for row in rows.crop_contrasts
        ],
        sites=sites,
    )


def _site(site: SiteSettings, policy: PolicyInForce, rows: Rows, words: Wording, as_of: date) -> Site:
    state = rows.site("site_states", site.id)[0]
    lots = [compile_lot(lot, rows, words) for lot in rows.site("lots", site.id)]
    levels = Counter(lot.level for lot in lots)
    dues = Counter(lot.due.state for lot in lots)
    releases = sorted(rows.site("releases", site.id), key=lambda row: (row["cause"], row["lot_code"]))
    corrections = rows.site("corrections_tonight", site.id)
    changed = rows.site("reread_lines", site.id)
    plan = compile_plan(rows.site("sampling_plan_days", site.id), rows.site("planned_samplings", site.id))
    intervals: dict[str, int] = {
        name: rule.routine_interval_days for name, rule in policy.values.containers.items()
    }
    return Site(
        site_id=site.id,
        name=site.name,
        language=site.language,
        paper=site.paper,
        date_format=site.date_format,
        growers=[
            Grower(grower_id=grower.id, name=grower.name, houses=list(grower.houses))
            for grower in site.growers
        ],
        first_received_on=state["first_received_on"],
        last_received_on=state["last_received_on"],
        nights_silent=state["nights_silent"],
        is_silent=state["is_silent"],
        last_reading_on=state["last_reading_on"],
        lots_by_level={level: levels[level] for level in LEVELS},
        dues_by_state={due: dues[due] for due in DUE_STATES},
        pots_due=sum(
            lot.due.pots for lot in lots if lot.due.state in ("overdue", "never_sampled", "due_this_week")
        ),
        lots_on_time=sum(lot.due.state not in ("overdue", "never_sampled") for lot in lots),
        plan=plan,
        plan_weeks=sum_weeks(plan, as_of),
        slack_intervals=find_slack(intervals, {lot.container_class for lot in lots}, rows.frequency, words),
        quality_28_days=Quality(**{name: state[name] for name in Quality.model_fields}),
        lines=Lines(**{name: state[name] for name in Lines.model_fields}),
        files_tonight=[
            _file(row, rows.site("not_data_lines", site.id), rows.site("not_data_files", site.id))
            for row in rows.site("files_tonight", site.id)
        ],
        released_tonight=sum(row["records"] for row in releases),
        released_sentences=words.releases(releases),
        group_released_sentences=words.group_texts(partial(_released, releases)),
        released_files=[_released_file(row, words) for row in rows.site("released_files", site.id)],
        superseded_tonight=sum(row["fate"] == "superseded" for row in corrections),
        withdrawn_tonight=sum(row["fate"] == "withdrawn" for row in corrections),
        corrections_tonight=[
            Correction(**{name: row[name] for name in Correction.model_fields})
            for row in corrections[:MOST_CORRECTIONS]
        ],
        rereads_tonight=[
            Reread(
                **{name: row[name] for name in _REREAD_FIELDS},
                **_told(words, partial(Wording.reread, row=row)),
            )
            for row in rows.site("rereads_tonight", site.id)
        ],
        reread_lines=[reread_line(row, words) for row in changed],
        reread_lines_more=changed[0]["lines_in_all"] - len(changed) if changed else 0,
        held=_held(rows.site("held_causes", site.id), words),
        meters=[
            _meter(row, rows.site("meter_findings", site.id), words)
            for row in sorted(rows.site("meter_states", site.id), key=lambda r: str(r["meter_id"]))
        ],
        water=[
            WaterCheck(**{name: row[name] for name in WaterCheck.model_fields})
            for row in rows.site("water_checks", site.id)
        ],
        findings=_with_levels(_site_findings(site, policy, state, rows, words, lots), policy),
        time_zone=site.time_zone,
        calendar=[_event(row) for row in rows.site("calendar", site.id)],
        policy=list_policy(policy),
        lots=lots,
        lots_ended=state["lots_ended"],
        sheet=make_sheet(
            site,
            rows.site("sheet_lots", site.id),
            [row["meter_id"] for row in rows.site("sheet_meters", site.id)],
            rows.buffers,
            as_of=as_of,
            until=as_of + timedelta(days=SHEET_DAYS),
            left_out=rows.site("sheet_left_out", site.id),
        ),
    )


def _event(row: Row) -> CalendarEvent:
    lines = row["description"].split("\n") if row["description"] else []
    facts = {name: row[name] for name in CalendarEvent.model_fields}
    return CalendarEvent(**{**facts, "description": lines})


def reread_line(row: Row, words: Wording) -> RereadLine:
    """One row of the query `reread_lines`."""
    return RereadLine(**{name: row[name] for name in _REREAD_LINE_FIELDS}, sentence=words.reread_line(row))


def _released_file(row: Row, words: Wording) -> ReleasedFile:
    return ReleasedFile(
        file=row["file"],
        received_on=row["received_on"],
        records=len(row["lines"]),
        lines=say_numbers(row["lines"], words.speech),
    )


def _file(row: Row, lines: Sequence[Row], counts: Sequence[Row]) -> FileReceived:
    aside = [one for one in lines if one["file_id"] == row["file_id"]]
    return FileReceived(
        name=row["name"],
        kind=row["kind"],
        received_on=row["received_on"],
        lines=row["lines"],
        records=row["records"],
        held_why=row["problem_sentence"],
        not_data=[
            SetAsideLine(line=one["line"], rule=one["rule"], text=one["text"])
            for one in aside[:MOST_SET_ASIDE]
        ],
        not_data_more=max(0, len(aside) - MOST_SET_ASIDE),
        blank_lines=sum(one["blank"] for one in counts if one["file_id"] == row["file_id"]),
        not_filled_in=sum(one["not_filled_in"] for one in counts if one["file_id"] == row["file_id"]),
    )


def unknown_crops(lots: Iterable[Lot], rows: Rows) -> list[Lot]:
    """Lots whose crop no published table has and for which neither site nor group set a target."""
    known = {crop for crop, _ in rows.ranges}
    return [
        lot
        for lot in lots
        if lot.crop.strip().lower() not in known
        and all(
            target is None or target.source.basis == "general" for target in (lot.target_ph, lot.target_ec)
        )
    ]


def nearest_crop(crop: str, rows: Rows) -> str | None:
    """The crops of the published tables that may have been meant."""
    return "; ".join(near_crops(crop, (known for known, _ in rows.ranges))) or None


def misspelt_crops(lots: Iterable[Lot], policy: PolicyInForce, rows: Rows) -> list[tuple[str, str]]:
    """Crops of the policy that no lot here and no published table has, each with the crop of a lot that it is like.

    A crop of one's own that is not grown at present is like none, and nothing is said.
    """
    values = policy.values
    named = [
        *(one.crop for one in values.targets),
        *(one.crop for one in values.crops),
        *values.problem_crops,
        *values.feed_pair_crops,
    ]
    grown = {lot.crop.strip().lower() for lot in lots}
    known = grown | {crop for crop, _ in rows.ranges}
    unknown = sorted({crop.strip().lower() for crop in named} - known)
    near = ((crop, get_close_matches(crop, sorted(grown), n=1, cutoff=_LIKE)) for crop in unknown)
    return [(crop, found[0]) for crop, found in near if found]


# Findings that no relation makes, so that the policy's level for them is not there yet.
_LEVELLED_HERE = ("site_silent", "crop_unknown", "policy_crop_unknown", "new_columns", "older_file")
# House default: two names of crops with so much in common (difflib's ratio) may be one name with a slip in it.
_LIKE = 0.8


def _with_levels(findings: Sequence[Finding], policy: PolicyInForce) -> list[Finding]:
    """The findings with the levels that the policy sets; without those that it switches off."""
    levels: Mapping[str, str] = {
        rule: level for rule, level in policy.values.finding_levels.items() if rule in _LEVELLED_HERE
    }
    return [
        one.model_copy(update={"level": levels.get(one.rule, one.level)})
        for one in findings
        if levels.get(one.rule) != "off"
    ]


def _is_noted(site: SiteSettings, row: Row) -> bool:
    try:
        return read_export(site, row["export_no"]).extra_columns == "note"
    except IndexError:
        return False  # site.toml has fewer exports by now


def _site_findings(
    site: SiteSettings, policy: PolicyInForce, state: Row, rows: Rows, words: Wording, lots: Sequence[Lot]
) -> list[Finding]:
    findings = []
    if state["is_silent"]:
        findings.append(
            Finding(rule="site_silent", level="warn", **_told(words, partial(_silence, site, state)))
        )
    findings += [
        Finding(
            rule=row["problem"],
            # A header without lines holds nothing: the site may have had nothing to report.
            level="note" if is_harmless(row) else "hold",
            file=row["name"],
            **_told(words, partial(Wording.file, row=row)),
        )
        for row in rows.site("files_tonight", site.id)
        if row["problem"] is not None
    ]
    findings += [
        Finding(
            rule="new_columns",
            level="note",
            file=row["file"],
            **_told(words, partial(Wording.new_columns, row={**row, "is_noted": _is_noted(site, row)})),
        )
        for row in rows.site("new_columns", site.id)
    ]
    findings += [
        Finding(
            rule="older_file",
            level="note",
            file=row["file"],
            **_told(words, partial(Wording.older_file, row=row)),
        )
        for row in rows.site("older_files", site.id)
    ]
    for row in rows.site("troubles", site.id):
        # A file that settles needs nobody: the next night takes it.
        level: Any = "note" if row["code"] in ("unclaimed", "settling") else "hold"
        findings.append(
            Finding(
                rule=row["code"],
                level=level,
                file=row["name"],
                **_told(words, partial(Wording.trouble, row=row)),
            )
        )
    findings += [
        Finding(rule=row["rule"], level=row["level"], **_told(words, partial(Wording.question, row=row)))
        for row in sorted(rows.site("site_questions", site.id), key=lambda r: (r["rule"], r["quantity"]))
    ]
    findings += [
        Finding(
            rule=row["rule"],
            level=row["level"],
            sources=list(dict.fromkeys(one["source"] for one in row["ranges"] or [])),
            **_told(words, partial(Wording.water_finding, row=row)),
        )
        for row in sorted(rows.site("water_findings", site.id), key=lambda r: (r["rule"], r["place"] or ""))
    ]
    findings += [
        Finding(rule=row["rule"], level=row["level"], **_told(words, partial(Wording.list_finding, row=row)))
        for row in sorted(rows.site("list_findings", site.id), key=lambda r: str(r["rule"]))
    ]
    findings += [
        Finding(
            rule="crop_unknown",
            level="warn",
            **_told(
                words,
                partial(Wording.unknown_crop, crop=crop, lots=number, nearest=nearest_crop(crop, rows)),
            ),
        )
        for crop, number in sorted(Counter(lot.crop for lot in unknown_crops(lots, rows)).items())
    ]
    findings += [
        Finding(
            rule="policy_crop_unknown",
            level="warn",
            **_told(words, partial(Wording.policy_crop, crop=crop, near=near)),
        )
        for crop, near in misspelt_crops(lots, policy, rows)
    ]
    return findings


def _told(words: Wording, write: Callable[[Wording], str]) -> dict[str, Any]:
    """A sentence for the site, and beside it the group's where that speaks or writes dates otherwise."""
    return {"sentence": write(words), "group_sentence": words.for_group(write)}


def _held(causes: Sequence[Row], words: Wording) -> list[HeldCause]:
    held = []
    for row in sorted(causes, key=lambda r: (-r["records"], r["cause"], r["what"] or "")):
        sentence, mend = words.held(row)
        examples = [HeldExample(**example) for example in row["examples"]]
        held.append(
            HeldCause(
                cause=row["cause"],
                what=row["what"],
                sentence=sentence,
                group_sentence=words.for_group(partial(_held_sentence, row)),
                mend=mend,
                group_mend=words.for_group(partial(_held_mend, row)),
                records=row["records"],
                examples=examples,
            )
        )
    return held


def _released(releases: Sequence[Row], words: Wording) -> list[str]:
    return words.releases(releases)


def _silence(site: SiteSettings, state: Row, words: Wording) -> str:
    return words.silent(site.name, state["last_received_on"], state["nights_silent"])


def _held_mend(row: Row, words: Wording) -> str:
    return words.held(row)[1]


def _held_sentence(row: Row, words: Wording) -> str:
    return words.held(row)[0]


def _meter(row: Row, of_site: Sequence[Row], words: Wording) -> Meter:
    # One meter may be written in several ways.
    findings = [one for one in of_site if one["meter_key"] == row["meter_id"].lower()]
    return Meter(
        meter_id=row["meter_id"],
        last_calibrated_on=row["last_calibrated_on"],
        last_accepted=row["last_accepted"],
        slope_pct=_float(row["slope_pct"]),
        offset_mv=_float(row["offset_mv"]),
        in_doubt=row["is_in_doubt"],
        readings_in_doubt=row["readings_in_doubt"],
        days_used_without_calibration=row["days_used_without_calibration"],
        sentence=words.meter(row, findings),
        group_sentence=words.for_group(partial(Wording.meter, row=row, findings=findings)),
        findings=[
            Finding(
                rule=one["rule"],
                level=one["level"],
                sentence=words.meter_finding(one),
                group_sentence=words.for_group(partial(Wording.meter_finding, row=one)),
                file=one["file"],
                line=one["line"],
            )
            for one in findings
        ],
    )


def _float(value: Any) -> float | None:
    return None if value is None else float(value)
