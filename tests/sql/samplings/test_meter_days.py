"""Days on which a meter read leachate: calibrated that day, in doubt since a failed check."""

from __future__ import annotations

import pytest

from tests.sql.bench import Bench


def days(bench: Bench, meter: str = "M1") -> list[tuple[str, bool, bool]]:
    """Day of use, calibrated that day, in doubt."""
    return bench.rows(
        "meter_days", "strftime(used_on, '%m-%d'), is_calibrated, is_in_doubt", f"meter_id = '{meter}'"
    )


def test_a_meter_without_any_check_is_neither_calibrated_nor_in_doubt(bench: Bench) -> None:
    bench.lots()
    bench.readings("meter_id\nM1\nM1")
    assert days(bench) == [("03-30", False, False)]


def test_a_meter_is_calibrated_on_the_day_of_an_accepted_check_only(bench: Bench) -> None:
    bench.lots()
    bench.calibrations("calibrated_on\n2026-03-30")
    bench.readings("meter_id | sampled_on\nM1 | 2026-03-29\nM1 | 2026-03-30\nM1 | 2026-03-31")
    assert days(bench) == [("03-29", False, False), ("03-30", True, False), ("03-31", False, False)]


def test_a_meter_is_in_doubt_from_a_failed_check_until_the_next_good_one(bench: Bench) -> None:
    bench.lots()
    bench.calibrations("calibrated_on | slope_pct\n2026-03-10 | 84\n2026-03-20 | 98")
    bench.readings(
        "meter_id | sampled_on\nM1 | 2026-03-09\nM1 | 2026-03-10\nM1 | 2026-03-19\nM1 | 2026-03-20"
    )
    assert days(bench) == [
        # no good check stands before the failed one, so nothing vouches for this reading
        ("03-09", False, True),
        ("03-10", False, True),
        ("03-19", False, True),
        ("03-20", True, False),
    ]


@pytest.mark.parametrize(
    ("bad_at", "good_at", "in_doubt"), [("07:00", "07:20", False), ("07:20", "07:00", True)]
)
def test_of_two_checks_on_a_day_the_later_rules(
    bench: Bench, bad_at: str, good_at: str, in_doubt: bool
) -> None:
    bench.lots()
    bench.calibrations(f"calibrated_time | slope_pct\n{bad_at} | 84\n{good_at} | 98")
    bench.readings("meter_id\nM1")
    assert days(bench) == [("03-30", True, in_doubt)]


def test_meters_compare_without_case(bench: Bench) -> None:
    bench.lots()
    bench.calibrations("meter_id | slope_pct\nm1 | 84")
    bench.readings("meter_id\nM1")
    assert days(bench) == [("03-30", False, True)]


def test_the_meter_of_another_site_is_another_meter(bench: Bench) -> None:
    bench.lots()
    bench.calibrations("slope_pct\n84", site_id="south")
    bench.readings("meter_id\nM1")
    assert days(bench) == [("03-30", False, False)]


def test_held_readings_use_no_meter(bench: Bench) -> None:
    bench.readings("lot_code | meter_id\nX | M1")
    assert days(bench) == []


def test_a_failed_check_reaches_back_to_the_last_good_one(bench: Bench) -> None:
    bench.lots()
    bench.calibrations("calibrated_on | slope_pct\n2026-03-01 | 98\n2026-03-16 | 80\n2026-03-20 | 98")
    bench.readings(
        "meter_id | sampled_on\nM1 | 2026-03-01\nM1 | 2026-03-15\nM1 | 2026-03-18\nM1 | 2026-03-25"
    )
    assert days(bench) == [
        ("03-01", True, False),
        ("03-15", False, True),
        ("03-18", False, True),
        ("03-25", False, False),
    ]


def test_buffers_must_bracket_the_readings_where_they_are_written_down(bench: Bench) -> None:
    bench.lots()
    bench.calibrations(
        """
        meter_id | calibrated_on | buffers
        M1       | 2026-03-30    | 7.00/10.00
        M2       | 2026-03-30    | 4,01 and 7,00
        M3       | 2026-03-30    | -
        """
    )
    bench.readings("meter_id | ph\nM1 | 6.6\nM2 | 6.6\nM3 | 6.6")
    assert [days(bench, meter)[0][1:] for meter in ("M1", "M2", "M3")] == [
        (False, False),
        (True, False),
        (True, False),
    ]


def doubts(bench: Bench) -> list[tuple[object, ...]]:
    """Day of use, the check that puts it in doubt."""
    return bench.rows("meter_days", "strftime(used_on, '%m-%d'), strftime(doubt_on, '%m-%d'), doubt_stage")


def test_the_check_that_puts_a_day_in_doubt_is_named(bench: Bench) -> None:
    bench.lots()
    bench.calibrations(
        "calibrated_on | left_7_ph | found_7_ph\n"
        "2026-03-02 | 7.00 | -\n2026-03-16 | 7.00 | 7.30\n2026-03-23 | 7.20 | 7.00\n2026-03-30 | 7.00 | 7.20",
        same={"slope_pct": None, "offset_mv": None},
    )
    bench.readings(
        "sampled_on\n2026-03-02\n2026-03-09\n2026-03-16\n2026-03-20\n2026-03-23\n2026-03-27\n2026-03-30",
        same={"meter_id": "M1"},
    )
    assert doubts(bench) == [
        ("03-02", None, None),
        ("03-09", "03-16", "as_found"),
        ("03-16", None, None),
        ("03-20", None, None),
        ("03-23", "03-23", "as_left"),
        # between two failed ones: the one before
        ("03-27", "03-23", "as_left"),
        ("03-30", None, None),
    ]


def test_a_day_in_no_doubt_names_no_check(bench: Bench) -> None:
    # A good check that day vouches for it, though the next one fails.
    bench.lots()
    bench.calibrations("calibrated_on | slope_pct\n2026-03-20 | 98\n2026-03-30 | 84")
    bench.readings("sampled_on\n2026-03-20", same={"meter_id": "M1"})
    assert doubts(bench) == [("03-20", None, None)]


def test_a_day_whose_buffers_do_not_bracket_keeps_its_check_and_figures(bench: Bench) -> None:
    bench.lots()
    bench.calibrations("buffers | calibrated_time\n7.00/10.01 | 07:00\n7.00 | 06:00\n4.01 | -")
    bench.readings("ph\n5.75\n5.90", same={"meter_id": "M1"})
    columns = (
        "is_checked, is_calibrated, check_record_no, lowest_buffer::double, highest_buffer::double, "
        "lowest_ph::double, highest_ph::double"
    )
    assert bench.rows("meter_days", columns) == [(True, False, 1, 7.0, 10.01, 5.75, 5.9)]
