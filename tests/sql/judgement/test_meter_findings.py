"""Remarks on checks of meters, each with a case that passes and one that does not."""

from __future__ import annotations

from datetime import date
from typing import Literal

import pytest

from pipeline.settings.policy import PolicyPeriod
from tests.sql.bench import Bench

BLANK: dict[str, str | None] = {"slope_pct": None, "offset_mv": None}


def remarks(bench: Bench, table: str, columns: str = "rule, level") -> list[tuple[object, ...]]:
    bench.calibrations(table, same=BLANK)
    return bench.rows("meter_findings", columns)


@pytest.mark.parametrize(
    ("columns", "good", "bad", "rule"),
    [
        ("solution_expires_on", "2026-03-30", "2026-03-29", "solution_expired"),
        ("slope_pct", "95", "94.99", "slope_marginal"),
        ("slope_pct", "102", "102.01", "slope_marginal"),
        ("slope_pct", "98", "84.99", "slope_failed"),
        ("offset_mv", "-30", "-30.1", "offset_failed"),
        ("left_7_ph", "7.10", "7.101", "buffer_off"),
        ("found_4_ph", "3.91", "3.90", "buffer_off"),
        ("ec_standard_ms_cm | ec_found_ms_cm", "2.0 | 2.1", "2.0 | 2.1001", "ec_standard_off"),
        ("passed", "true", "false", "check_marked_failed"),
        ("buffers", "4,7", "6,9", "buffers_unread"),
    ],
)
def test_each_remark(bench: Bench, columns: str, good: str, bad: str, rule: str) -> None:
    assert remarks(bench, f"{columns}\n{good}\n{bad}", "record_no, rule, level") == [(2, rule, "warn")]


def test_an_ec_standard_read_on_a_day_to_come_says_nothing_tonight(bench: Bench) -> None:
    """The as-of date is 6 April: a check dated after it is held, however far off its standard was."""
    table = (
        "calibrated_on | ec_standard_ms_cm | ec_found_ms_cm\n2026-04-06 | 2.0 | 2.0\n2026-04-07 | 2.0 | 3.0"
    )
    assert remarks(bench, table) == []
    assert bench.rows("calibrations", "calibrated_on, is_accepted") == [(date(2026, 4, 6), True)]
    assert bench.rows("record_fates", "record_no, fate, cause") == [
        (1, "accepted", None),
        (2, "held", "in_future"),
    ]


def test_the_figures_stand_beside_a_remark(bench: Bench) -> None:
    table = "slope_pct | solution | solution_expires_on\n80 | lot 7 | 2026-01-31"
    assert remarks(bench, table, "rule, a, low, high, on_day, what") == [
        ("slope_failed", 80.0, 85.0, 105.0, None, None),
        ("solution_expired", None, None, None, date(2026, 1, 31), "lot 7"),
    ]


def test_the_policy_sets_the_level(bench: Bench) -> None:
    levels = {"slope_marginal": "note", "solution_expired": "off"}
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), finding_levels=levels)])
    assert remarks(bench, "slope_pct | solution_expires_on\n94 | 2026-01-31") == [("slope_marginal", "note")]


RULES = {
    "slope_failed": ("slope_pct", "84"),
    "offset_failed": ("offset_mv", "31"),
    "buffer_off": ("left_7_ph", "7.30"),
    "ec_standard_off": ("ec_standard_ms_cm | ec_found_ms_cm", "2.0 | 2.2"),
    "check_marked_failed": ("passed", "false"),
}


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("level", ["off", "note", "warn"])
def test_a_level_changes_what_is_said_and_not_what_is_good(
    bench: Bench, rule: str, level: Literal["off", "note", "warn"]
) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), finding_levels={rule: level})])
    columns, line = RULES[rule]
    assert remarks(bench, f"{columns}\n{line}") == ([] if level == "off" else [(rule, level)])
    assert bench.rows("meter_states", "last_accepted, is_in_doubt") == [(False, True)]


def used(bench: Bench, table: str, days: str, same: dict[str, str | None] | None = None) -> None:
    """Checks of M1, and a reading of pH 6.0 with it on each of the days."""
    bench.lots()
    bench.calibrations(table, same=same or {})
    bench.readings("sampled_on\n" + "\n".join(days.split()), same={"meter_id": "M1"})


@pytest.mark.parametrize(("buffers", "found"), [("4,7", []), ("7.00/10.01", [(6.0, 6.0, 7.0, 10.01)])])
def test_buffers_that_do_not_bracket(
    bench: Bench, buffers: str, found: list[tuple[float, float, float, float]]
) -> None:
    used(bench, f"buffers\n{buffers}", "2026-03-30")
    assert bench.rows("meter_findings", "a, b, low, high", "rule = 'buffers_not_bracketing'") == found


def test_a_failed_check_counts_the_readings_that_it_puts_in_doubt(bench: Bench) -> None:
    table = (
        "calibrated_on | found_7_ph | left_7_ph\n2026-03-06 | - | 7.00\n2026-03-20 | 7.30 | 7.00\n"
        "2026-03-27 | 7.20 | 7.15\n2026-03-31 | - | 7.00"
    )
    days = "2026-03-06 2026-03-09 2026-03-16 2026-03-20 2026-03-24 2026-03-28 2026-03-31"
    used(bench, table, days, BLANK)
    columns = (
        "strftime(calibrated_on, '%m-%d'), stage, strftime(good_on, '%m-%d'), readings_before, readings_after, "
        "is_left_good"
    )
    assert bench.rows("meter_findings", columns) == [
        ("03-20", "as_found", "03-06", 2, 0, True),
        ("03-27", "as_found", "03-20", 1, 1, False),
        ("03-27", "as_left", "03-20", 1, 1, False),
    ]


@pytest.mark.parametrize(
    ("good", "failed", "count"),
    [
        # 9 March is the last day before the 28 that end with 6 April
        ("2026-03-08", "2026-03-09", 1),
        ("2026-03-09", "2026-03-02", 0),
        # good and failed again on that day: nothing vouches for what followed
        ("2026-03-09", "2026-03-09", 1),
    ],
)
def test_checks_since_the_last_good_one_before_the_quality_days_are_told(
    bench: Bench, good: str, failed: str, count: int
) -> None:
    table = f"calibrated_on | slope_pct\n{good} | 98\n{failed} | 84\n2026-03-12 | 98"
    assert len(remarks(bench, table)) == count


def test_what_a_line_says_once_is_told_with_how_the_meter_was_left(bench: Bench) -> None:
    table = "found_7_ph | left_7_ph | slope_pct | solution_expires_on | buffers\n7.00 | 7.00 | 84 | 2026-01-31 | 6,9"
    assert remarks(bench, table, "rule, stage") == [
        ("buffers_unread", "as_left"),
        ("slope_failed", "as_left"),
        ("solution_expired", "as_left"),
    ]


def test_a_figure_that_fails_is_told_instead_of_the_site_s_own_mark(bench: Bench) -> None:
    assert remarks(bench, "slope_pct | passed\n84 | false\n98 | false", "record_no, rule") == [
        (1, "slope_failed"),
        (2, "check_marked_failed"),
    ]
