"""The oracle's own summary: the same shape as the product's, as far as numbers, dates and states go."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path
from typing import Any

from tests.oracle.attention import (
    DUE_STATES,
    LEVELS,
    Due,
    Reason,
    due_of,
    last_counting,
    level_of,
    rank_key,
    reasons_of,
    routine_interval,
    score_of,
)
from tests.oracle.contrasts import crop_contrasts
from tests.oracle.fates import Calibration, Lot, Night, Reading, Received, Ref, SiteFacts, facts_on
from tests.oracle.findings import findings_of, with_levels
from tests.oracle.measures import Measures, chart_part, measure_lot, trend_part
from tests.oracle.outliers import apart, pots_needed, side_without
from tests.oracle.questions import questions_of, site_questions
from tests.oracle.records import HEADER_ONLY
from tests.oracle.samplings import (
    QUANTITIES,
    Judged,
    Sampling,
    count_in_a_row,
    is_accepted,
    is_calibrated_on,
    is_in_doubt,
    latest_calibration,
    leachate_median,
    sample,
    stage_on,
)
from tests.oracle.series import counted
from tests.oracle.settings import Home, Policy, SiteSettings, fold, policy_on, read_home
from tests.oracle.targets import References, Target, ph_group_of, read_references, target_of

PURPOSES = ("routine", "retest", "affected", "healthy", "before_feed", "after_feed")


@dataclass(frozen=True)
class Standing:
    """A lot on the as-of date with all that was judged."""

    site_id: str
    lot: Lot
    samplings: list[Sampling]
    measures: Measures
    reasons: list[Reason]
    level: str
    score: Fraction
    due: Due


def number(value: Fraction | None) -> float | None:
    return None if value is None else float(value)


def iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def all_samplings(
    home: Home, site: SiteSettings, facts: SiteFacts, references: References
) -> dict[str, list[Sampling]]:
    """Samplings of every lot, oldest first; a day is judged by the policy in force on it."""
    groups: dict[tuple[str, date, int], list[Reading]] = {}
    by_day: dict[date, list[Reading]] = {}
    for reading in facts.readings:
        key = (reading.lot, reading.sampled_on, PURPOSES.index(reading.purpose))
        groups.setdefault(key, []).append(reading)
        by_day.setdefault(reading.sampled_on, []).append(reading)
    calibrations = facts.calibrations if site.sends("calibrations") else None
    samplings: dict[str, list[Sampling]] = {code: [] for code in facts.lots}
    for code, day, purpose in sorted(groups):
        readings = groups[code, day, purpose]
        policy = policy_on(home, site, day)
        samplings[code].append(
            sample(
                facts.lot_on(code, day),
                day,
                PURPOSES[purpose],
                readings,
                by_day[day],
                calibrations,
                policy,
                references,
            )
        )
    return {code: count_in_a_row(each) for code, each in samplings.items()}


# Parts of a lot ----------------------------------------------------------------------------------


def figures_part(sampling: Sampling, quantity: str) -> dict[str, Any]:
    judged: Judged = sampling.quantities[quantity]
    figures, found = judged.statistics, apart(sampling, quantity)
    without = found.without
    return {
        "n": figures.n,
        "mean": number(figures.mean),
        "sd": figures.sd,
        "sd_assumed": figures.sd_assumed,
        "ci_low": figures.ci_low,
        "ci_high": figures.ci_high,
        "median": number(figures.median),
        "min": number(figures.least),
        "max": number(figures.most),
        "pots_in_range": judged.pots_in_range,
        "side": judged.side,
        "verdict": judged.verdict,
        "at_least": judged.at_least,
        "inside_another_range": judged.inside_another_range,
        "in_a_row": judged.in_a_row,
        "band": judged.band,
        "not_judged_why": judged.not_judged_why,
        "pots_needed": pots_needed(sampling, quantity),
        "outliers": found.count,
        "mean_without": number(without.mean) if without else None,
        "sd_without": without.sd if without else None,
        "ci_low_without": without.ci_low if without else None,
        "ci_high_without": without.ci_high if without else None,
        "depends_on_one_pot": side_without(sampling, quantity) is not None,
    }


def sampling_part(sampling: Sampling, own: Sequence[Sampling], facts: SiteFacts) -> dict[str, Any]:
    container = sampling.policy.containers[sampling.lot.container_class]
    readings = [pot.reading for pot in sampling.pots]
    odd = {quantity: apart(sampling, quantity).pots for quantity in QUANTITIES}
    return {
        "sampled_on": iso(sampling.sampled_on),
        "purpose": sampling.purpose,
        "n_pots": sum(reading.n_pots for reading in readings),
        "min_pots": sampling.min_pots,
        "counts": sampling.counts,
        "proper": sampling.proper,
        "meter_ids": list(sampling.meter_ids),
        "meter_calibrated": sampling.meter_calibrated,
        "meter_in_doubt": sampling.meter_in_doubt,
        "leachate_median_ml": number(leachate_median(sampling)),
        "leachate_low_ml": number(container["leachate_low_ml"]),
        "leachate_high_ml": number(container["leachate_high_ml"]),
        "pots_over_collected": sum(pot.reading.n_pots for pot in sampling.pots if pot.is_over),
        "pots_under_collected": sum(pot.reading.n_pots for pot in sampling.pots if pot.is_under),
        "pots_without_volume": sum(reading.n_pots for reading in readings if reading.leachate_ml is None),
        "ph": figures_part(sampling, "ph"),
        "ec": figures_part(sampling, "ec"),
        "findings": findings_of(sampling, questions_of(sampling, own, facts)),
        "pots": [
            {
                "file": pot.reading.file,
                "line": pot.reading.line,
                "pot": pot.reading.pot,
                "position": pot.reading.position,
                "n_pots": pot.reading.n_pots,
                "ph": number(pot.reading.ph),
                "ec_ms_cm": number(pot.ec_ms_cm),
                "leachate_ml": number(pot.reading.leachate_ml),
                "usable_ph": pot.usable_ph,
                "usable_ec": pot.usable_ec,
                "why_not_ec": pot.why_not_ec,
                "outlier_ph": pot in odd["ph"],
                "outlier_ec": pot in odd["ec"],
            }
            for pot in sampling.pots
        ],
    }


def target_part(target: Target | None) -> dict[str, Any] | None:
    if target is None:
        return None
    return {
        "low": number(target.low),
        "high": number(target.high),
        "source": {"basis": target.basis},
        "others": [{"low": number(low), "high": number(high)} for low, high in target.others],
    }


def lot_part(
    standing: Standing, rank: int, policy: Policy, references: References, facts: SiteFacts, as_of: date
) -> dict[str, Any]:
    lot, last = standing.lot, last_counting(standing.samplings)
    return {
        "lot_id": lot.code,
        "house": lot.house,
        "bench": lot.bench,
        "crop": lot.crop,
        "cultivar": lot.cultivar,
        "container_class": lot.container_class,
        "plants": lot.plants,
        "started_on": iso(lot.started_on),
        "ends_on": iso(lot.ends_on),
        "days_to_end": None if lot.ends_on is None else (lot.ends_on - as_of).days,
        "stage": stage_on(lot, as_of, policy),
        "grower_id": lot.grower_id,
        "ph_group": ph_group_of(references, lot.crop, policy),
        "target_ph": target_part(target_of(lot, "ph", policy, references)),
        "target_ec": target_part(target_of(lot, "ec", policy, references)),
        "level": standing.level,
        "rank": rank,
        "score": number(standing.score),
        "reasons": [
            {"code": reason.code, "level": reason.level, "quantity": reason.quantity, "side": reason.side}
            for reason in standing.reasons
        ],
        "last_counting_on": iso(last.sampled_on) if last else None,
        "days_since_counting": (as_of - last.sampled_on).days if last else None,
        "due": {
            "state": standing.due.state,
            "due_on": iso(standing.due.due_on),
            "purpose": standing.due.purpose,
            "days_overdue": standing.due.days_overdue,
            "pots": standing.due.pots,
        },
        "trends": {quantity: trend_part(trend) for quantity, trend in standing.measures.trends.items()},
        "own_charts": {quantity: chart_part(chart) for quantity, chart in standing.measures.charts.items()},
        "contrasts": [contrast.as_part() for contrast in standing.measures.contrasts],
        "samplings": [sampling_part(sampling, standing.samplings, facts) for sampling in standing.samplings],
    }


# Parts of a site ---------------------------------------------------------------------------------


def lines_part(facts: SiteFacts) -> dict[str, int]:
    """Physical lines and records of all files received so far, records by fate."""
    fates = Counter(fate.fate for fate in facts.fates.values())
    return {
        "lines": sum(file.read.lines for file in facts.files),
        "records": sum(len(file.read.records) for file in facts.files),
        **{
            fate: fates[fate]
            for fate in ("accepted", "held", "repeated", "superseded", "withdrawn", "not_data")
        },
    }


def held_part(facts: SiteFacts) -> list[dict[str, Any]]:
    """Held records by cause and by what they wait for, with every record that an example may show."""
    groups: dict[tuple[str, str | None], list[Ref]] = {}
    for ref, fate in facts.fates.items():
        if fate.fate == "held":
            groups.setdefault((fate.cause or "", fate.what), []).append(ref)
    return [
        {
            "cause": cause,
            "what": what,
            "records": len(refs),
            "may_show": [
                {
                    "file": facts.files[ref.file_no].name,
                    "line": facts.files[ref.file_no].read.records[ref.record_no - 1].line_from,
                    "text": facts.files[ref.file_no].read.records[ref.record_no - 1].text,
                }
                for ref in refs
            ],
        }
        for (cause, what), refs in groups.items()
    ]


def gave_way(before: SiteFacts | None, now: SiteFacts, word: str) -> int:
    """Lines that are superseded or withdrawn tonight and were not last night; files held whole do not count."""
    was = before.fates if before is not None else {}
    return sum(
        1
        for ref, fate in now.fates.items()
        if fate.fate == word
        and (ref not in was or was[ref].fate != word)
        and now.files[ref.file_no].read.file_problem is None
    )


def new_columns(facts: SiteFacts, as_of: date) -> list[tuple[str, str]]:
    """One note an export that has columns tonight which no field maps and which it never had before."""
    seen: dict[tuple[int, str], date] = {}
    for file in facts.files:
        if file.read.file_problem is not None or file.read.header is None:
            continue
        mapped = {fold(column) for column, _ in file.export.columns.values()}
        for title in file.read.header:
            if title and fold(title) not in mapped:
                seen.setdefault((id(file.export), title), file.received_on)
    exports = {export for (export, _), day in seen.items() if day == as_of}
    return [("new_columns", "note")] * len(exports)


def released(before: SiteFacts | None, now: SiteFacts) -> int:
    """Records held last night and accepted tonight."""
    if before is None:
        return 0
    return sum(
        1 for ref, fate in before.fates.items() if fate.fate == "held" and now.fates[ref].fate == "accepted"
    )


def meter_part(
    meter_id: str, facts: SiteFacts, home: Home, site: SiteSettings, as_of: date
) -> dict[str, Any]:
    """A meter: its latest calibration; while that one failed, the readings in doubt from the day of the last
    accepted one on.
    """
    policy = policy_on(home, site, as_of)
    latest = latest_calibration(facts.calibrations, meter_id, as_of)
    used = [reading for reading in facts.readings if reading.meter_id == meter_id]
    in_doubt = is_in_doubt(facts.calibrations, meter_id, as_of, policy)

    def accepted(calibration: Calibration) -> bool:
        return is_accepted(calibration, policy_on(home, site, calibration.day))

    good_days = [each.day for each in facts.calibrations if each.meter_id == meter_id and accepted(each)]
    since = max(good_days, default=date.min)
    from_day = as_of - timedelta(days=int(policy["quality_days"]))
    uncalibrated = sorted(
        {
            reading.sampled_on
            for reading in used
            if reading.sampled_on > from_day
            and site.sends("calibrations")
            and not is_calibrated_on(facts.calibrations, facts.readings, meter_id, reading.sampled_on, policy)
        }
    )
    return {
        "meter_id": meter_id,
        "last_calibrated_on": iso(latest.day) if latest else None,
        "last_accepted": accepted(latest) if latest else None,
        "slope_pct": number(latest.slope_pct) if latest else None,
        "offset_mv": number(latest.offset_mv) if latest else None,
        "in_doubt": in_doubt,
        "readings_in_doubt": sum(
            1
            for reading in used
            if in_doubt
            and reading.sampled_on >= since
            and is_in_doubt(facts.calibrations, meter_id, reading.sampled_on, policy)
        ),
        "days_used_without_calibration": [iso(day) for day in uncalibrated],
    }


def quality_part(samplings: dict[str, list[Sampling]], policy: Policy, as_of: date) -> dict[str, int]:
    """Routine samplings and retests of the 28 days that end with the as-of date, lots that have ended
    included.
    """
    from_day = as_of - timedelta(days=int(policy["quality_days"]))
    recent = [
        sampling
        for each in samplings.values()
        for sampling in each
        if sampling.is_followed and from_day < sampling.sampled_on <= as_of
    ]
    return {
        "samplings": len(recent),
        "counting": sum(1 for sampling in recent if sampling.counts),
        "proper": sum(1 for sampling in recent if sampling.proper == "yes"),
        "not_shown": sum(1 for sampling in recent if sampling.proper == "not_shown"),
    }


def is_silent(facts: SiteFacts, policy: Policy, as_of: date) -> bool:
    """Nothing new for so many nights, or nothing ever."""
    if not facts.files:
        return True
    last = max(file.received_on for file in facts.files)
    return (as_of - last).days >= policy["silent_after_nights"]


def is_empty_increment(file: Received) -> bool:
    """Nothing was added since the last file: usual. A whole list with nothing in it is a mistake."""
    return file.read.file_problem == HEADER_ONLY and file.export.mode == "increment"


def site_findings(facts: SiteFacts, site: SiteSettings, policy: Policy, as_of: date) -> list[tuple[str, str]]:
    """A site that has gone quiet, and the files of the night that are held whole."""
    found: list[tuple[str, str]] = []
    if is_silent(facts, policy, as_of):
        found.append(("site_silent", "warn"))
    found += [
        (file.read.file_problem, "note" if is_empty_increment(file) else "hold")
        for file in facts.files
        if file.received_on == as_of and file.read.file_problem is not None
    ]
    return found


def unknown_crops(lots: list[Lot], policy: Policy, references: References) -> list[tuple[str, str]]:
    """A crop of standing lots that no published row has and for which nobody set a target: one finding a crop."""
    unknown = {
        lot.crop
        for lot in lots
        if not any(fold(row.crop) == fold(lot.crop) for row in references.rows)
        and not any((fold(lot.crop), quantity) in policy.site_targets for quantity in ("ph", "ec"))
        and not any((fold(lot.crop), quantity) in policy.group_targets for quantity in ("ph", "ec"))
    }
    return [("crop_unknown", "warn")] * len(unknown)


def policy_numbers(policy: Policy) -> dict[str, float]:
    """Values in force that are numbers, by name; those of container classes as class.value."""
    values = {name: float(value) for name, value in policy.values.items()}
    for container_class, numbers in policy.containers.items():
        for name, value in numbers.items():
            values[f"containers.{container_class}.{name}"] = float(value)
    return values


def stand(
    home: Home,
    site: SiteSettings,
    facts: SiteFacts,
    samplings: dict[str, list[Sampling]],
    references: References,
    as_of: date,
) -> list[Standing]:
    policy = policy_on(home, site, as_of)
    standings: list[Standing] = []
    for code, lot in facts.lots.items():
        if not lot.stands_on(as_of):
            continue
        own = samplings[code]
        measures = measure_lot(lot, own, policy, references, as_of, routine_interval(lot, policy))
        reasons = reasons_of(lot, own, policy, as_of, measures)
        standings.append(
            Standing(
                site.site_id,
                lot,
                own,
                measures,
                reasons,
                level_of(reasons),
                score_of(own, policy),
                due_of(lot, own, policy, as_of),
            )
        )
    return standings


def site_part(
    home: Home,
    site: SiteSettings,
    facts: SiteFacts,
    before: SiteFacts | None,
    samplings: dict[str, list[Sampling]],
    ranked: list[tuple[int, Standing]],
    references: References,
    as_of: date,
) -> dict[str, Any]:
    policy = policy_on(home, site, as_of)
    own = [(rank, standing) for rank, standing in ranked if standing.site_id == site.site_id]
    received = [file.received_on for file in facts.files]
    silent = (as_of - max(received)).days if received else None
    dues = Counter(standing.due.state for _, standing in own)
    meters = {reading.meter_id for reading in facts.readings if reading.meter_id is not None} | {
        calibration.meter_id for calibration in facts.calibrations
    }
    return {
        "site_id": site.site_id,
        "name": site.name,
        "language": site.language,
        "paper": site.paper,
        "date_format": site.date_format,
        "growers": [
            {
                "grower_id": grower["id"],
                "name": grower["name"],
                "houses": list(grower.get("houses", [])),
            }
            for grower in site.growers
        ],
        "first_received_on": iso(min(received)) if received else None,
        "last_received_on": iso(max(received)) if received else None,
        "nights_silent": silent,
        "is_silent": is_silent(facts, policy, as_of),
        "last_reading_on": iso(max((reading.sampled_on for reading in facts.readings), default=None)),
        "lots_by_level": {
            level: sum(1 for _, standing in own if standing.level == level) for level in LEVELS
        },
        "dues_by_state": {state: dues[state] for state in DUE_STATES},
        "pots_due": sum(
            standing.due.pots
            for _, standing in own
            if standing.due.state in ("overdue", "never_sampled", "due_this_week")
        ),
        "lots_on_time": sum(1 for _, standing in own if standing.due.due_on >= as_of),
        "quality_28_days": quality_part(samplings, policy, as_of),
        "lines": lines_part(facts),
        "files_tonight": [
            {
                "name": file.name,
                "kind": file.export.kind,
                "received_on": iso(file.received_on),
                "lines": file.read.lines,
                "records": len(file.read.records),
                "is_held": file.read.file_problem is not None,
            }
            for file in facts.files
            if file.received_on == as_of
        ],
        "released_tonight": released(before, facts),
        "superseded_tonight": gave_way(before, facts, "superseded"),
        "withdrawn_tonight": gave_way(before, facts, "withdrawn"),
        "held": held_part(facts),
        "meters": [meter_part(meter, facts, home, site, as_of) for meter in sorted(meters)],
        "policy": policy_numbers(policy),
        "findings": [
            {"rule": rule, "level": level}
            for rule, level in [
                *site_findings(facts, site, policy, as_of),
                *new_columns(facts, as_of),
                *with_levels(
                    site_questions(facts, [one for own in samplings.values() for one in own], policy, as_of),
                    policy,
                ),
                *unknown_crops([standing.lot for _, standing in own], policy, references),
            ]
        ],
        "lots": [lot_part(standing, rank, policy, references, facts, as_of) for rank, standing in own],
        "lots_ended": sum(
            1 for lot in facts.lots.values() if lot.ends_on is not None and lot.ends_on < as_of
        ),
    }


def crops_part(home: Home, standings: list[Standing], as_of: date) -> list[dict[str, Any]]:
    """Last counting means of the last four weeks, site against site; the first site by name gives the step."""
    if not home.sites:
        return []
    means: list[tuple[str, Lot, str, Fraction]] = []
    for standing in standings:
        last = last_counting(standing.samplings)
        if last is None or last.sampled_on < as_of - timedelta(days=28):
            continue
        for quantity in QUANTITIES:
            means += [
                (standing.site_id, standing.lot, quantity, mean) for _, mean in counted([last], quantity)
            ]
    policy = policy_on(home, min(home.sites, key=lambda site: site.site_id), as_of)
    return crop_contrasts(means, {"ph": policy["step_ph"], "ec": policy["step_ec_ms_cm"]})


def compute(home_folder: Path, nights: list[Night], reference_folder: Path) -> dict[str, Any]:
    """The summary of the last of the nights, from the settings, the files of every night and the published
    tables.
    """
    home = read_home(home_folder)
    references = read_references(reference_folder)
    as_of = nights[-1].as_of
    facts = {site.site_id: facts_on(home, site, nights) for site in home.sites}
    before = {site.site_id: facts_on(home, site, nights[:-1]) for site in home.sites} if nights[:-1] else {}
    samplings = {
        site.site_id: all_samplings(home, site, facts[site.site_id], references) for site in home.sites
    }
    standings = [
        standing
        for site in home.sites
        for standing in stand(home, site, facts[site.site_id], samplings[site.site_id], references, as_of)
    ]
    standings.sort(key=lambda each: rank_key(each.level, each.score, each.lot, each.site_id, as_of))
    ranked = list(enumerate(standings, start=1))
    tonight = [file for each in facts.values() for file in each.files if file.received_on == as_of]
    return {
        "group_name": home.name,
        "language": home.language,
        "paper": home.paper,
        "date_format": home.date_format,
        "night": {
            "as_of": iso(as_of),
            "new_files": len(tonight),
            "new_records": sum(len(file.read.records) for file in tonight),
        },
        "lots_by_level": {
            level: sum(1 for standing in standings if standing.level == level) for level in LEVELS
        },
        "crop_contrasts": crops_part(home, standings, as_of),
        "sites": [
            site_part(
                home,
                site,
                facts[site.site_id],
                before.get(site.site_id),
                samplings[site.site_id],
                ranked,
                references,
                as_of,
            )
            for site in home.sites
        ],
    }


__all__ = ["compute", "fold"]
