"""Meter checks: accepted or failed, each limit at its edge and just beyond."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from pipeline.settings.policy import PolicyPeriod
from tests.sql.bench import Bench


def accepted(bench: Bench, table: str) -> list[bool]:
    """Whether each check is accepted, in the order of its lines."""
    bench.calibrations(table)
    bench.build("calibrations")
    return [row[1] for row in bench.select("calibrations", "record_no, is_accepted")]


def test_slope_is_accepted_from_85_to_105_percent(bench: Bench) -> None:
    assert accepted(bench, "slope_pct\n84.99\n84\n85\n105\n105.01\n106") == [
        False,
        False,
        True,
        True,
        False,
        False,
    ]


def test_offset_is_accepted_within_30_mv_either_way(bench: Bench) -> None:
    assert accepted(bench, "offset_mv\n-31\n-30.1\n-30\n30\n30.1\n31") == [
        False,
        False,
        True,
        True,
        False,
        False,
    ]


def test_ec_standard_is_accepted_within_5_percent_either_way(bench: Bench) -> None:
    table = """
    ec_standard_ms_cm | ec_found_ms_cm
    1.00              | 0.94
    1.00              | 0.95
    1.00              | 1.05
    1.00              | 1.0501
    1.00              | 1.06
    """
    assert accepted(bench, table) == [False, True, True, False, False]


@pytest.mark.parametrize(("passed", "outcome"), [("true", True), ("false", False), ("-", True)])
def test_a_check_that_its_own_site_calls_failed_is_failed(bench: Bench, passed: str, outcome: bool) -> None:
    assert accepted(bench, f"passed\n{passed}") == [outcome]


def test_a_site_cannot_call_a_bad_slope_passed(bench: Bench) -> None:
    assert accepted(bench, "slope_pct | passed\n84 | true") == [False]


def test_what_was_not_measured_does_not_fail(bench: Bench) -> None:
    assert accepted(bench, "slope_pct | offset_mv | ec_standard_ms_cm\n- | - | 1.413") == [True]


def test_each_failure_is_named(bench: Bench) -> None:
    bench.calibrations(
        """
        meter_id | slope_pct | offset_mv | ec_standard_ms_cm | ec_found_ms_cm
        offset   | 98        | 31        | -                 | -
        slope    | 84        | 0         | -                 | -
        standard | 98        | 0         | 1.413             | 1.2
        well     | 98        | 0         | 1.413             | 1.4
        """
    )
    assert bench.rows("calibrations", "meter_id, is_slope_failed, is_offset_failed, is_ec_failed") == [
        ("offset", False, True, False),
        ("slope", True, False, False),
        ("standard", False, False, True),
        ("well", False, False, False),
    ]


def test_outside_95_to_102_percent_is_marginal_but_accepted(bench: Bench) -> None:
    bench.calibrations("slope_pct\n94.99\n95\n102\n102.01")
    assert bench.rows("calibrations", "record_no, is_slope_marginal, is_accepted") == [
        (1, True, True),
        (2, False, True),
        (3, False, True),
        (4, True, True),
    ]


def test_a_check_is_judged_by_the_policy_of_its_day(bench: Bench) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 3, 15), slope_low_pct=Decimal(90))])
    assert accepted(bench, "calibrated_on | slope_pct\n2026-03-14 | 88\n2026-03-15 | 88") == [True, False]


def test_a_check_sent_twice_counts_once(bench: Bench) -> None:
    bench.calibrations("slope_pct\n98")
    bench.calibrations("slope_pct\n98\n97")
    assert bench.rows("calibrations", "file_id, slope_pct") == [(1, Decimal(98)), (2, Decimal(97))]
