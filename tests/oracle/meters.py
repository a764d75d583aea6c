"""The meters of a site, and how good its samplings of the last weeks are."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from tests.oracle.fates import Calibration, SiteFacts
from tests.oracle.findings import with_levels
from tests.oracle.lot_part import iso, number
from tests.oracle.meter_checks import buffers_in
from tests.oracle.samplings import (
    Sampling,
    is_accepted,
    is_calibrated_on,
    is_checked_on,
    is_in_doubt,
    latest_calibration,
)
from tests.oracle.settings import Home, Policy, SiteSettings, policy_on


def remarks_on(check: Calibration, policy: Policy) -> list[tuple[str, str]]:
    """What there is to say of one check alone, by rule and level."""
    slope, offset, shown, standard = check.slope_pct, check.offset_mv, check.ec_found, check.ec_standard
    error, telling = check.worst_error_ph, check.is_telling
    bad_slope = slope is not None and not policy["slope_low_pct"] <= slope <= policy["slope_high_pct"]
    odd_slope = (
        slope is not None and not policy["slope_warn_low_pct"] <= slope <= policy["slope_warn_high_pct"]
    )
    rules = {
        "slope_failed": telling and bad_slope,
        "slope_marginal": telling and odd_slope and not bad_slope,
        "offset_failed": telling and offset is not None and abs(offset) > policy["offset_limit_mv"],
        "buffer_off": error is not None and error > policy["buffer_limit_ph"],
        "ec_standard_off": shown is not None
        and standard is not None
        and abs(shown - standard) > policy["ec_standard_share"] * standard,
        "solution_expired": telling and check.expires is not None and check.expires < check.day,
        "buffers_unread": telling and buffers_in(check.cell) is None,
    }
    failing = ("slope_failed", "offset_failed", "buffer_off", "ec_standard_off")
    rules["check_marked_failed"] = check.passed is False and not any(rules[rule] for rule in failing)
    return with_levels([(rule, "warn") for rule, holds in rules.items() if holds], policy)


def meter_findings(
    meter_id: str, facts: SiteFacts, home: Home, site: SiteSettings, as_of: date
) -> list[dict[str, str]]:
    """Remarks on a meter's checks after its last good one before the days over which quality is counted."""
    checks = [each for each in facts.calibrations if each.meter_id == meter_id]
    start = as_of - timedelta(days=int(policy_on(home, site, as_of)["quality_days"]))
    last_of_day = {each.day: each for each in sorted(checks, key=lambda each: each.when)}
    good = [
        day
        for day, each in last_of_day.items()
        if day <= start and is_accepted(each, policy_on(home, site, day))
    ]
    since = max(good, default=date.min)
    found: list[tuple[str, str]] = []
    for each in checks:
        if each.day > since:
            found += remarks_on(each, policy_on(home, site, each.day))
    for day in {
        one.sampled_on for one in facts.readings if one.meter_id == meter_id and one.sampled_on > since
    }:
        policy = policy_on(home, site, day)
        if is_checked_on(checks, meter_id, day, policy) and not is_calibrated_on(
            checks, facts.readings, meter_id, day, policy
        ):
            found += with_levels([("buffers_not_bracketing", "warn")], policy)
    return [{"rule": rule, "level": level} for rule, level in found]


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
        "findings": meter_findings(meter_id, facts, home, site, as_of),
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
