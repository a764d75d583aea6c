"""Each meter as it stands on the as-of date."""

from __future__ import annotations

from datetime import date

from tests.sql.bench import Bench, site


def meters(bench: Bench, columns: str) -> list[tuple[object, ...]]:
    return bench.rows("meter_states", columns)


def test_the_latest_check_is_the_state(bench: Bench) -> None:
    bench.calibrations("calibrated_on | slope_pct\n2026-03-20 | 84\n2026-03-30 | 98")
    assert meters(
        bench, "meter_id, last_calibrated_on::varchar, last_accepted, slope_pct::double, is_in_doubt"
    ) == [("M1", "2026-03-30", True, 98.0, False)]


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


def test_a_day_whose_buffers_did_not_bracket_was_checked_all_the_same(bench: Bench) -> None:
    bench.use(site(calibrations=True))
    bench.lots()
    bench.calibrations("buffers\n7.00/10.01")
    bench.readings("sampled_on | meter_id\n2026-03-29 | M1\n2026-03-30 | M1")
    assert meters(bench, "days_used_without_calibration, days_used_unchecked") == [
        ([date(2026, 3, 29), date(2026, 3, 30)], [date(2026, 3, 29)])
    ]
