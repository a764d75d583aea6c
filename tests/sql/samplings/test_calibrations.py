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


# Buffers as found and as left ------------------------------------------------------------------------

STAGED = "stage, is_accepted, worst_error_ph::double"
BLANK: dict[str, str | None] = {"slope_pct": None, "offset_mv": None}


def staged(bench: Bench, table: str, columns: str = STAGED) -> list[tuple[object, ...]]:
    """The stages of each check, in the order of its lines."""
    bench.calibrations(table, same=BLANK)
    bench.build("calibrations")
    return [row[2:] for row in bench.select("calibrations", f"record_no, stage_no, {columns}")]


def test_a_line_without_buffers_is_as_left(bench: Bench) -> None:
    bench.calibrations("slope_pct\n98")
    assert bench.rows("calibrations", "stage, slope_pct::double") == [("as_left", 98.0)]


def test_buffers_as_found_alone_are_a_check_as_found(bench: Bench) -> None:
    assert staged(bench, "found_4_ph | found_7_ph\n4.05 | 7.02\n4.05 | 7.11") == [
        ("as_found", True, 0.04),
        ("as_found", False, 0.11),
    ]


def test_an_error_of_just_the_limit_is_accepted(bench: Bench) -> None:
    assert staged(bench, "found_4_ph\n4.11\n4.111\n3.91\n3.909") == [
        ("as_found", True, 0.1),
        ("as_found", False, 0.101),
        ("as_found", True, 0.1),
        ("as_found", False, 0.101),
    ]


def test_a_buffer_is_judged_at_its_temperature(bench: Bench) -> None:
    # buffer 7.00 is 7.12 at 0 °C: 7.12 is right there and wrong at 25 °C
    assert staged(bench, "temperature_c | found_7_ph\n0 | 7.12\n25 | 7.12") == [
        ("as_found", True, 0.0),
        ("as_found", False, 0.12),
    ]


def test_a_line_with_both_is_two_checks(bench: Bench) -> None:
    table = (
        "found_7_ph | left_7_ph | slope_pct | ec_standard_ms_cm | ec_found_ms_cm | ec_left_ms_cm | passed\n"
        "7.25 | 7.00 | 97 | 1.413 | 1.6 | 1.41 | true"
    )
    columns = "stage, is_accepted, worst_error_ph::double, slope_pct::double, ec_found_ms_cm::double, passed"
    assert staged(bench, table, columns) == [
        ("as_found", False, 0.25, None, 1.6, None),
        ("as_left", True, 0.0, 97.0, 1.41, True),
    ]


def test_a_worn_electrode_was_worn_before_it_was_adjusted(bench: Bench) -> None:
    assert staged(bench, "found_7_ph | left_7_ph | slope_pct\n7.00 | 7.00 | 82") == [
        ("as_found", False, 0.0),
        ("as_left", False, 0.0),
    ]


@pytest.mark.parametrize(("stage", "error"), [("as_found", 0.25), ("as_left", 0.0)])
def test_a_line_may_say_which_it_is(bench: Bench, stage: str, error: float) -> None:
    table = f"stage | found_7_ph | left_7_ph\n{stage} | 7.25 | 7.00"
    assert staged(bench, table) == [(stage, error == 0, error)]


def test_a_slope_from_mv_is_judged_like_a_stated_one(bench: Bench) -> None:
    table = "buffer_4_mv | buffer_7_mv | slope_pct\n170 | -5 | -\n140 | -5 | -\n140 | -5 | 98"
    columns = "is_accepted, is_slope_failed, is_slope_computed"
    assert staged(bench, table, columns) == [(True, False, True), (False, True, True), (True, False, False)]


def test_buffers_without_a_text_bracket_by_their_labels(bench: Bench) -> None:
    columns = "lowest_buffer::double, highest_buffer::double"
    assert staged(bench, "left_4_ph | left_7_ph\n4.01 | 7.00\n- | 7.00", columns) == [
        (4.01, 7.0),
        (None, None),
    ]


def test_a_solution_lasts_through_its_last_day(bench: Bench) -> None:
    table = "solution_expires_on\n2026-03-30\n2026-03-29\n-"
    assert [row[0] for row in staged(bench, table, "is_solution_expired")] == [False, True, False]


def test_found_off_and_left_good_puts_only_what_lies_before_in_doubt(bench: Bench) -> None:
    bench.lots()
    bench.calibrations(
        "calibrated_on | left_7_ph | found_7_ph\n"
        "2026-03-02 | 7.00 | -\n2026-03-16 | 7.00 | 7.00\n2026-03-30 | 7.00 | 7.30",
        same=BLANK,
    )
    days = ("2026-03-02", "2026-03-09", "2026-03-16", "2026-03-20", "2026-03-30", "2026-03-31")
    bench.readings("sampled_on\n" + "\n".join(days), same={"meter_id": "M1"})
    found = dict(bench.rows("meter_days", "used_on::varchar, is_in_doubt"))
    assert [found[day] for day in days] == [False, False, False, True, False, False]


def test_a_figure_that_is_no_buffer_stops_nothing(bench: Bench) -> None:
    # A point lost in "4.801/7.00" leaves a figure that no pH column holds.
    columns = "lowest_buffer::double, highest_buffer::double"
    assert staged(bench, "buffers\n4801/7.00\n4.01/7.00", columns) == [(None, None), (4.01, 7.0)]


EC = "ec_standard_ms_cm | ec_found_ms_cm | ec_left_ms_cm"


@pytest.mark.parametrize(
    ("columns", "line", "outcome"),
    [
        # found off, and nothing says that it was adjusted
        (EC, "1.413 | 1.60 | -", [("as_left", False, 1.6)]),
        (f"{EC} | left_7_ph", "1.413 | 1.60 | - | 7.00", [("as_left", False, 1.6)]),
        (
            f"{EC} | found_7_ph | left_7_ph",
            "1.413 | 1.60 | - | 7.00 | 7.00",
            [("as_found", False, 1.6), ("as_left", False, 1.6)],
        ),
        (
            f"{EC} | found_7_ph | left_7_ph",
            "1.413 | 1.45 | - | 7.00 | 7.00",
            [("as_found", True, 1.45), ("as_left", True, 1.45)],
        ),
        # written as left: off, then good
        (
            f"{EC} | found_7_ph | left_7_ph",
            "1.413 | 1.60 | 1.50 | 7.00 | 7.00",
            [("as_found", False, 1.6), ("as_left", False, 1.5)],
        ),
        (
            f"{EC} | found_7_ph | left_7_ph",
            "1.413 | 1.60 | 1.413 | 7.00 | 7.00",
            [("as_found", False, 1.6), ("as_left", True, 1.413)],
        ),
        (EC, "1.413 | 1.60 | 1.413", [("as_found", False, 1.6), ("as_left", True, 1.413)]),
    ],
)
def test_ec_that_is_not_written_as_left_is_as_found(
    bench: Bench, columns: str, line: str, outcome: list[tuple[object, ...]]
) -> None:
    assert staged(bench, f"{columns}\n{line}", "stage, is_accepted, ec_found_ms_cm::double") == outcome


def test_only_a_second_check_is_said_to_lack_its_ec(bench: Bench) -> None:
    table = f"{EC} | found_7_ph | left_7_ph\n1.413 | 1.60 | - | 7.00 | 7.00\n1.413 | 1.60 | - | - | -"
    assert staged(bench, table, "is_ec_left_not_written") == [(False,), (True,), (False,)]


def test_the_buffer_that_lies_farthest_off_stands_beside_the_check(bench: Bench) -> None:
    columns = "worst_shown_ph::double, worst_label::double, worst_buffer_ph"
    table = (
        "temperature_c | found_4_ph | found_7_ph | left_4_ph | left_7_ph\n"
        "10 | 4.10 | 6.90 | 4.00 | 7.05\n25 | 4.02 | 7.01 | - | -"
    )
    assert staged(bench, table, columns) == [
        (6.9, 7.0, pytest.approx(7.06)),
        (7.05, 7.0, pytest.approx(7.06)),
        # equally far off: the first
        (4.02, 4.01, pytest.approx(4.01)),
    ]
