"""The meters of a site, and how good its samplings of the last weeks are."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from tests.oracle.fates import Calibration, SiteFacts
from tests.oracle.lot_part import iso, number
from tests.oracle.samplings import Sampling, is_accepted, is_calibrated_on, is_in_doubt, latest_calibration
from tests.oracle.settings import Home, Policy, SiteSettings, policy_on


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
