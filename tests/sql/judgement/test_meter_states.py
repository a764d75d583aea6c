"""Each meter as it stands on the as-of date."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from pipeline.settings.policy import PolicyPeriod
from tests.sql.bench import Bench, site


def meters(bench: Bench, columns: str) -> list[tuple[object, ...]]:
    return bench.rows("meter_states", columns)


def test_the_latest_check_is_the_state(bench: Bench) -> None:
    bench.calibrations("calibrated_on | slope_pct\n2026-03-20 | 84\n2026-03-30 | 98")
    assert meters(
        bench, "meter_id, last_calibrated_on::varchar, last_accepted, slope_pct::double, is_in_doubt"
    ) == [("M1", "2026-03-30", True, 98.0, False)]


@pytest.mark.parametrize(
    ("column", "value", "flag"),
    [
        ("slope_pct", "84", "is_slope_failed"),
        ("offset_mv", "31", "is_offset_failed"),
        ("ec_found_ms_cm", "1.2", "is_ec_failed"),
    ],
)
def test_a_failed_check_says_what_failed(bench: Bench, column: str, value: str, flag: str) -> None:
    bench.calibrations(f"{column}\n{value}", same={"ec_standard_ms_cm": "1.0"})
    flags = ("is_slope_failed", "is_offset_failed", "is_ec_failed")
    assert meters(bench, f"is_in_doubt, {', '.join(flags)}") == [(True, *(one == flag for one in flags))]


def test_a_marginal_slope_is_accepted(bench: Bench) -> None:
    bench.calibrations("slope_pct\n94")
    assert meters(bench, "last_accepted, is_slope_marginal, is_in_doubt") == [(True, True, False)]


def test_what_the_policy_of_the_day_switches_off_is_not_remarked(bench: Bench) -> None:
    off = {"slope_marginal": "off", "solution_expired": "off"}
    bench.use(
        policy=[PolicyPeriod(valid_from=date(2026, 3, 1), finding_levels=off, slope_low_pct=Decimal(80))]
    )
    bench.calibrations("slope_pct | solution | solution_expires_on\n94 | buffer 7 | 2026-03-01")
    columns = "last_accepted, is_slope_marginal, is_solution_expired, slope_low_pct::double"
    assert meters(bench, columns) == [(True, False, False, 80.0)]


def test_readings_since_the_last_good_check_are_in_doubt(bench: Bench) -> None:
    bench.lots()
    bench.calibrations("calibrated_on | slope_pct\n2026-03-10 | 98\n2026-03-20 | 84")
    bench.readings(
        "sampled_on | meter_id\n2026-03-10 | M1\n2026-03-11 | M1\n2026-03-25 | m1\n2026-03-25 | M2"
    )
    assert meters(bench, "meter_id, readings_in_doubt") == [("M1", 2), ("M2", 0)]


def test_after_a_good_check_no_reading_is_in_doubt(bench: Bench) -> None:
    bench.lots()
    bench.calibrations("calibrated_on | slope_pct\n2026-03-20 | 84\n2026-03-30 | 98")
    bench.readings("sampled_on | meter_id\n2026-03-25 | M1")
    assert meters(bench, "readings_in_doubt") == [(0,)]


def test_a_meter_that_was_only_used_is_listed_without_a_check(bench: Bench) -> None:
    bench.lots()
    bench.readings("meter_id\nM9")
    assert meters(bench, "meter_id, last_calibrated_on, last_accepted, is_in_doubt") == [
        ("M9", None, None, False)
    ]


def test_days_of_use_without_calibration_within_28_days(bench: Bench) -> None:
    bench.use(site(calibrations=True))
    bench.lots()
    bench.calibrations("calibrated_on\n2026-03-30")
    bench.readings(
        "sampled_on | meter_id\n2026-03-09 | M1\n2026-03-10 | M1\n2026-03-29 | M1\n2026-03-30 | M1"
    )
    assert meters(bench, "days_used_without_calibration") == [([date(2026, 3, 10), date(2026, 3, 29)],)]


def test_a_site_without_calibrations_is_not_asked_for_them(bench: Bench) -> None:
    bench.lots()
    bench.readings("meter_id\nM1")
    assert meters(bench, "days_used_without_calibration") == [([],)]


def test_spellings_of_one_meter_are_one_meter(bench: Bench) -> None:
    bench.lots()
    bench.calibrations("meter_id\nm1")
    bench.readings("meter_id\nM1")
    assert meters(bench, "meter_id") == [("M1",)]
