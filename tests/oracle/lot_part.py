"""The part of a lot in the oracle's summary: its figures, samplings, targets, reasons and due."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

from tests.oracle.attention import last_counting
from tests.oracle.fates import Lot, Reading, SiteFacts
from tests.oracle.findings import findings_of
from tests.oracle.growers import who_answers
from tests.oracle.lot_account import due_part, is_fed
from tests.oracle.measures import chart_part, trend_part
from tests.oracle.outliers import apart, pots_needed, side_without
from tests.oracle.questions import questions_of
from tests.oracle.samplings import QUANTITIES, Judged, Sampling, leachate_median, stage_on
from tests.oracle.settings import Policy, SiteSettings
from tests.oracle.standing import Standing
from tests.oracle.targets import References, ph_group_of, target_of, unused_group_of
from tests.oracle.treatments import treatment_part
from tests.oracle.water import Waters, is_below_water


def number(value: Fraction | None) -> float | None:
    return None if value is None else float(value)


def iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


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
        "bound": number(judged.decides) if judged.at_least else None,
        "bound_pots": judged.bound_pots,
        "inside_another_range": judged.inside_another_range,
        "in_a_row": judged.in_a_row,
        "band": judged.band,
        "not_judged_why": judged.not_judged_why,
        "pots_needed": pots_needed(sampling, quantity),
        "outliers": found.count,
        "mean_without": number(without.mean) if without else None,
        "sd_without": without.sd if without else None,
        # Alike to the last digit is no certainty: no interval of no width.
        "ci_low_without": without.ci_low if without and without.sd else None,
        "ci_high_without": without.ci_high if without and without.sd else None,
        "grubbs_g": found.grubbs.g if found.grubbs else None,
        "grubbs_critical": found.grubbs.critical if found.grubbs else None,
        "grubbs_beyond": found.grubbs.g > found.grubbs.critical if found.grubbs else None,
        "depends_on_one_pot": side_without(sampling, quantity) is not None,
    }


def sampling_part(
    sampling: Sampling, own: Sequence[Sampling], facts: SiteFacts, waters: Waters
) -> dict[str, Any]:
    container = sampling.policy.containers[sampling.lot.container_class]
    readings = [pot.reading for pot in sampling.pots]
    others = questions_of(sampling, own, facts)
    if is_below_water(sampling, waters):
        others.append(("ec_below_water", "warn"))
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
        "findings": findings_of(sampling, others),
        "answers": [{"why": why, "due_on": iso(day)} for day, why in sorted(answered(readings))],
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


def answered(readings: Sequence[Reading]) -> set[tuple[date, str]]:
    """Day and rule of the dues that the lines name; a pot kept apart from its sampling answers nothing."""
    return {
        (reading.due[1], reading.due[0])
        for reading in readings
        if reading.due is not None and reading.purpose == reading.stated_purpose
    }


def target_part(
    lot: Lot, quantity: str, policy: Policy, references: References, stage: str
) -> dict[str, Any] | None:
    target = target_of(lot, quantity, policy, references, stage)
    if target is None:
        return None
    unused = unused_group_of(lot, quantity, policy, references, target)
    low, high = (None, None) if unused is None or unused[1] is None else map(number, unused[1])
    return {
        "low": number(target.low),
        "high": number(target.high),
        "source": {"basis": target.basis, "stage": target.stage},
        "others": [{"low": number(low), "high": number(high)} for low, high in target.others],
        "unused_group": None if unused is None else {"name": unused[0], "low": low, "high": high},
    }


def days_fed(lot: Lot, site: SiteSettings, as_of: date) -> list[date]:
    """Days of feed of the last year, as the site names them; of periodically fed lots alone."""
    if lot.feed_mode != "periodic":
        return []
    first = max(lot.started_on, as_of - timedelta(days=364))
    days = [first + timedelta(days=n) for n in range((as_of - first).days + 1)]
    return [day for day in days if is_fed(site, lot, day)]


def lot_part(
    standing: Standing,
    rank: int,
    policy: Policy,
    references: References,
    facts: SiteFacts,
    waters: Waters,
    site: SiteSettings,
    as_of: date,
) -> dict[str, Any]:
    lot, last = standing.lot, last_counting(standing.samplings)
    stage = stage_on(lot, as_of, policy)
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
        "stage": stage,
        "grower_id": lot.grower_id,
        "grower_ids": who_answers(
            lot.grower_id, lot.house, [(one["id"], one.get("houses", [])) for one in site.growers]
        ),
        "ph_group": ph_group_of(references, lot.crop, policy),
        "target_ph": target_part(lot, "ph", policy, references, stage),
        "target_ec": target_part(lot, "ec", policy, references, stage),
        "level": standing.level,
        "rank": rank,
        "score": number(standing.score),
        "reasons": [
            {"code": reason.code, "level": reason.level, "quantity": reason.quantity, "side": reason.side}
            for reason in standing.reasons
        ],
        "last_counting_on": iso(last.sampled_on) if last else None,
        "days_since_counting": (as_of - last.sampled_on).days if last else None,
        "due": due_part(standing.account, standing.dues, as_of),
        "trends": {quantity: trend_part(trend) for quantity, trend in standing.measures.trends.items()},
        "own_charts": {quantity: chart_part(chart) for quantity, chart in standing.measures.charts.items()},
        "contrasts": [contrast.as_part() for contrast in standing.measures.contrasts],
        "treatments": [treatment_part(done) for done in standing.treatments],
        "fed_on": [iso(day) for day in days_fed(lot, site, as_of)],
        "samplings": [
            sampling_part(sampling, standing.samplings, facts, waters) for sampling in standing.samplings
        ],
    }
