"""A night and a home in a few lines, for the terminal and for machines."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from pipeline.due_lines import describe_due_days, tell_due_days
from pipeline.errors import HomeError, WarehouseError
from pipeline.reports.summary import Level, Lot, RereadLine, Site, Summary
from pipeline.reports.wording_dues import WEEKDAYS
from pipeline.reports.wording_held import FILE_PROBLEMS
from pipeline.warehouse.sealed import check_sealed, mend, warehouse_path

if TYPE_CHECKING:
    # Only named here: telling how things stand must not load what a night needs.
    from pipeline.demo import DemoResult
    from pipeline.nightly import NightResult

LEVEL_WORDS: dict[Level, str] = {
    "act": "ACT",
    "no_reading": "NO CURRENT READING",
    "watch": "WATCH",
    "ok": "OK",
}

MOST_WARNINGS = 30
"""House default: what a terminal shows at once; the pages have them all."""
MOST_DEMO_WARNINGS = 3
MOST_ACTS = 12
MOST_RELEASES = 6
MOST_REREAD = 3
_WIDEST = 100


def read_latest(home: Path) -> Summary:
    """The document of the newest night. Raises HomeError when there is no home, no night, or it is damaged."""
    if not (home / "leachbook.toml").is_file():
        raise HomeError(f"{home}: there is no home there; give the folder that has leachbook.toml in it.")
    path = home / "out" / "latest" / "summary.json"
    try:
        return Summary.model_validate_json(path.read_bytes())
    except FileNotFoundError as error:
        raise HomeError(f"{home}: no night has been run yet; run leachbook nightly {home} first.") from error
    except (ValidationError, json.JSONDecodeError, OSError) as error:
        raise HomeError(f"{path}: cannot be read; run leachbook nightly {home} again.") from error


def check_warehouse(home: Path) -> None:
    """See that the warehouse is the file that the newest night sealed. Raises WarehouseError, ArchiveError."""
    path = warehouse_path(home)
    if not path.is_file():
        raise WarehouseError(f"{path}: the file is gone; {mend(home)}")
    check_sealed(home)


def describe_night(result: NightResult) -> dict[str, Any]:
    """A night's result for machines."""
    return {
        "as_of": result.summary.night.as_of.isoformat(),
        "out": str(result.out),
        "unchanged": result.is_unchanged,
        "new_files": 0 if result.is_unchanged else result.summary.night.new_files,
        "new_records": 0 if result.is_unchanged else result.summary.night.new_records,
        "facts_digest": result.summary.night.facts_digest,
        "needs_somebody": result.needs_somebody,
        "lots_by_level": result.summary.lots_by_level,
        "held_lines": sum(site.lines.held for site in result.summary.sites),
        "released": [] if result.is_unchanged else _released_by_site(result.summary),
        "read_again": [] if result.is_unchanged else _rereads_by_site(result.summary),
        "silent_sites": [site.site_id for site in result.summary.sites if site.is_silent],
    }


def tell_night(
    result: NightResult, most_warnings: int = MOST_WARNINGS, *, standing_home: Path | None = None
) -> list[str]:
    """A night's result for a person: where the pages are and what was found.

    `standing_home`: the home of a night that stood already, so that nobody looked into the drop folders now.
    """
    summary = result.summary
    night = summary.night
    if standing_home is not None:
        first = (
            f"Night of {night.as_of}: it has run before, so the drop folders were not looked into again; "
            f"leachbook nightly {standing_home} takes in what arrived since."
        )
    elif result.is_unchanged:
        first = f"Night of {night.as_of}: nothing new loaded, same digest of facts ({night.facts_digest[:24]}...)."
    else:
        first = (
            f"Night of {night.as_of}: {_count(night.new_files, 'new file')} with "
            f"{_count(night.new_records, 'record')}, headers included."
        )
    return [
        first,
        _levels(summary),
        *_acts(summary),
        *([] if result.is_unchanged else _changes(summary)),
        *_warnings(summary, most_warnings),
        f"Pages: {result.out / 'overview.html'}",
    ]


def tell_demo(result: DemoResult, seconds: float) -> list[str]:
    """What the demo found, in ten lines or so."""
    last = result.nights[-1]
    lines = tell_night(last, MOST_DEMO_WARNINGS)
    page = last.summary.sites[0]
    return [
        *lines[:-1],
        (
            f"Open {last.out / 'overview.html'}, a grower's pages, for example "
            f"{last.out / 'sites' / page.site_id}.pdf, the growers' mail in {result.week.post_folder}, "
            f"and the auditor's {result.dossier}"
        ),
        (
            f"Its days are past: its next night is leachbook nightly {result.home} --as-of "
            f"{last.summary.night.as_of + timedelta(days=1)}"
        ),
        f"{_count(len(result.nights), 'night')} in {seconds:.1f} s.",
    ]


def describe_status(summary: Summary) -> dict[str, Any]:
    """Who needs what, for machines."""
    return {
        "as_of": summary.night.as_of.isoformat(),
        "lots_by_level": summary.lots_by_level,
        "released": _released_by_site(summary),
        "due_by_day": describe_due_days(summary),
        "sites": [
            {
                "site": site.site_id,
                "last_received_on": site.last_received_on and site.last_received_on.isoformat(),
                "silent": site.is_silent,
                "lots_by_level": site.lots_by_level,
                "dues_by_state": site.dues_by_state,
                "pots_this_week": site.plan_weeks[0].pots if site.plan_weeks else 0,
                "minutes_this_week": site.plan_weeks[0].minutes if site.plan_weeks else 0.0,
                "held_lines": site.lines.held,
            }
            for site in summary.sites
        ],
        "lots": [
            {
                "site": site.site_id,
                "lot": lot.lot_id,
                "crop": lot.crop,
                "level": lot.level,
                "due_on": lot.due.due_on and lot.due.due_on.isoformat(),
                "due_state": lot.due.state,
                "due_rule": lot.due.rule,
                "due": lot.due.why,
                "other_dues": lot.due.also,
                "retest_due_on": lot.due.retest_due_on and lot.due.retest_due_on.isoformat(),
                "excused_until": lot.due.excused_until and lot.due.excused_until.isoformat(),
                "reasons": [reason.sentence for reason in lot.reasons],
            }
            for site, lot in _lots(summary)
            if lot.level != "ok"
        ],
    }


def tell_status(summary: Summary, runs: Sequence[str] = ()) -> list[str]:
    """Who needs what, for a person; `runs`: when the last one ended, as from `tell_runs`."""
    lots = [
        f"  {lot_line(site, lot)} {_next(lot, summary.date_format)}"
        for site, lot in _lots(summary)
        if lot.level != "ok"
    ]
    return [
        f"{summary.group_name}: last good night as of {summary.night.as_of}.",
        *runs,
        _levels(summary),
        _sampling(summary),
        *lots,
        *tell_due_days(summary),
        *_warnings(summary, MOST_WARNINGS),
    ]


def lot_line(site: Site, lot: Lot) -> str:
    """One lot with its level and first reason."""
    reason = (lot.reasons[0].group_sentence or lot.reasons[0].sentence) if lot.reasons else ""
    return f"{LEVEL_WORDS[lot.level]}  {site.name}, {lot.lot_id} {lot.crop}: {reason}"


def _acts(summary: Summary) -> list[str]:
    """The lots that need a correction, in order of attention."""
    acts = [f"  {lot_line(site, lot)}" for site, lot in _lots(summary) if lot.level == "act"]
    more = len(acts) - MOST_ACTS
    return acts[:MOST_ACTS] + ([f"  {more} more to act on: leachbook status lists them."] if more > 0 else [])


def _lots(summary: Summary) -> list[tuple[Site, Lot]]:
    """All lots of the group in order of attention."""
    return sorted(((site, lot) for site in summary.sites for lot in site.lots), key=lambda pair: pair[1].rank)


def _levels(summary: Summary) -> str:
    counts = summary.lots_by_level
    total = sum(counts.values())
    return (
        f"{_count(total, 'lot')} at {_count(len(summary.sites), 'site')}: {counts['act']} act, "
        f"{counts['no_reading']} no current reading, {counts['watch']} watch, {counts['ok']} OK."
    )


def _next(lot: Lot, date_format: str) -> str:
    """The lot's next sampling; before it, what takes weight from the last one; after it, a retest that comes later."""
    due = lot.due
    lost = (one for one in lot.reasons[1:] if one.code in ("last_did_not_count", "meter_in_doubt"))
    sentence = " ".join(
        [*(one.group_sentence or one.sentence for one in lost), due.group_sentence or due.why]
    )
    if due.retest_due_on is None or due.rule == "after_treatment":
        return sentence
    day = due.retest_due_on
    return f"{sentence} Treated, retest due {WEEKDAYS[day.weekday()]} {day.strftime(date_format)}."


def _sampling(summary: Summary) -> str:
    """How the sampling stands over all sites, and what this week asks for."""
    counts = {
        state: sum(site.dues_by_state.get(state, 0) for site in summary.sites)
        for state in ("overdue", "never_sampled", "due_this_week", "excused")
    }
    weeks = [site.plan_weeks[0] for site in summary.sites if site.plan_weeks]
    minutes = sum(week.minutes for week in weeks)
    time = f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60:.0f} h"
    return (
        f"Next samplings: {counts['overdue']} overdue, {counts['never_sampled']} never sampled, "
        f"{counts['due_this_week']} due this week, {counts['excused']} excused; "
        f"{_count(sum(week.pots for week in weeks), 'pot')} this week, about {time}."
    )


def _released_by_site(summary: Summary) -> list[dict[str, Any]]:
    """Lines of this night that were held before and count now, for machines."""
    return [
        {
            "site": site.site_id,
            "lines": site.released_tonight,
            "sentences": site.released_sentences,
            "files": [one.model_dump(mode="json") for one in site.released_files],
        }
        for site in summary.sites
        if site.released_tonight
    ]


def _rereads_by_site(summary: Summary) -> list[dict[str, Any]]:
    """Files that this night read again with the first lines that it changed, for machines."""
    return [
        {
            "site": site.site_id,
            "files": [one.model_dump(mode="json") for one in site.rereads_tonight],
            "lines": [one.model_dump(mode="json") for one in site.reread_lines],
            "lines_more": site.reread_lines_more,
        }
        for site in summary.sites
        if site.rereads_tonight
    ]


def _changes(summary: Summary) -> list[str]:
    """Lines that were released, files that were read again, and lines that gave way to others: a line each."""
    told: list[str] = []
    for site in summary.sites:
        sentences = site.group_released_sentences or site.released_sentences
        told += [f"  {site.name}: {text}" for text in sentences[:MOST_RELEASES]]
        if len(sentences) > MOST_RELEASES:
            told.append(f"  {site.name}: {len(sentences) - MOST_RELEASES} more on its page.")
        told += [f"    {one.file} {_cut(one.lines)}" for one in site.released_files[:MOST_RELEASES]]
        if len(site.released_files) > MOST_RELEASES:
            told.append(f"    and {_count(len(site.released_files) - MOST_RELEASES, 'more file')}")
    for site in summary.sites:
        shown = site.reread_lines[:MOST_REREAD]
        told += _reread_files(site, shown)
        more = len(site.reread_lines) - len(shown) + site.reread_lines_more
        if more:
            told.append(f"    and {_count(more, 'more line')}: leachbook held --read-again lists them all.")
    return told + [
        f"  {site.name}: {_gone(site)}; the site's page shows what was sent."
        for site in summary.sites
        if site.superseded_tonight or site.withdrawn_tonight
    ]


def _reread_files(site: Site, shown: list[RereadLine]) -> list[str]:
    """Each file that was read again, and below it the lines of it that are shown."""
    told: list[str] = []
    # A name may have been read again in several versions; the lines stand below the last of them.
    last = {one.file: number for number, one in enumerate(site.rereads_tonight)}
    for number, one in enumerate(site.rereads_tonight):
        told.append(f"  {site.name}: {one.group_sentence or one.sentence}")
        if last[one.file] == number:
            told += [f"    {line.file} {line.sentence}" for line in shown if line.file == one.file]
    return told


def _gone(site: Site) -> str:
    """How many lines gave way tonight, and to what."""
    parts = []
    if site.superseded_tonight:
        parts.append(f"{_count(site.superseded_tonight, 'line')} replaced by a later version")
    if site.withdrawn_tonight:
        parts.append(f"{_count(site.withdrawn_tonight, 'line')} withdrawn")
    return ", ".join(parts)


def _cut(text: str) -> str:
    return text if len(text) <= _WIDEST else f"{text[:_WIDEST].rsplit(', ', 1)[0]}, …"


def _warnings(summary: Summary, most: int) -> list[str]:
    """Quiet sites, files with a problem, meters, other remarks, held lines: a line each, what stops work first."""
    first: list[str] = []
    then: list[str] = []
    for site in summary.sites:
        for finding in site.findings:
            place = "" if finding.rule == "site_silent" else f"{site.name}: "
            text = f"{place}{finding.group_sentence or finding.sentence}"
            (first if finding.rule == "site_silent" or finding.file else then).append(text)
    meters = [
        f"{site.name}: {meter.group_sentence or meter.sentence}"
        for site in summary.sites
        for meter in site.meters
        if meter.in_doubt
    ]
    # Files that are held whole since an earlier night: the findings are about tonight's.
    still = [
        f"{site.name}: {cause.group_sentence or cause.sentence} {cause.mend}"
        for site in summary.sites
        for cause in site.held
        if cause.cause in FILE_PROBLEMS and cause.what not in {finding.file for finding in site.findings}
    ]
    remarks = [*first, *still, *meters, *then]
    told = [f"  {text}" for text in remarks[:most]]
    if len(remarks) > most:
        told.append(f"  {_count(len(remarks) - most, 'more remark')} on the sites' pages.")
    held = sum(site.lines.held for site in summary.sites)
    causes = [cause for site in summary.sites for cause in site.held]
    if held:
        told.append(
            f"  {_count(held, 'line')} held for {_count(len(causes), 'cause')}: leachbook held lists them."
        )
    return told


def _count(number: int, noun: str) -> str:
    return f"1 {noun}" if number == 1 else f"{number} {noun}s"
