"""Sentences about meters: what failed, by how much, and which readings it puts in doubt."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from pipeline.reports.wording import Wording
from pipeline.reports.wording_meters import FAILING, advise_buffers

WORDS = Wording("%d %b")
DAY, GOOD = date(2026, 3, 20), date(2026, 3, 6)

FOUND: dict[str, Any] = {
    "meter_id": "M1",
    "calibrated_on": DAY,
    "file_id": 1,
    "record_no": 1,
    "stage": "as_found",
    "is_of_two": True,
    "is_last": False,
    "temperature_c": 25.0,
    "is_ec_left_not_written": False,
    "is_left_good": True,
    "good_on": GOOD,
    "readings_before": 10,
    "readings_after": 0,
    "what": None,
}
ALONE = {**FOUND, "stage": "as_left", "is_of_two": False, "is_left_good": None}
BUFFER = {"rule": "buffer_off", "a": 0.29, "b": 4.3, "c": 4.01, "low": 4.01, "high": 0.1}
STANDARD = {"rule": "ec_standard_off", "a": 1.6, "b": 1.413, "c": 0.05}
SLOPE = {"rule": "slope_failed", "a": 84.0, "low": 85.0, "high": 105.0}


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (
            {**FOUND, **BUFFER},
            (
                "M1 on 20 Mar as found: 4.30 in buffer 4.01, 0.29 off (limit 0.1): 10 readings since the good check of "
                "06 Mar in doubt; left good."
            ),
        ),
        (
            {**FOUND, **BUFFER, "temperature_c": 10.0, "b": 6.9, "c": 7.0, "low": 7.06, "a": 0.16},
            (
                "M1 on 20 Mar as found: 6.90 in buffer 7.00 (7.06 at 10 °C), 0.16 off (limit 0.1): 10 readings since "
                "the good check of 06 Mar in doubt; left good."
            ),
        ),
        # a figure that rounds to its limit is shown whole
        (
            {**FOUND, **BUFFER, "a": 0.101, "b": 4.111, "is_left_good": False, "readings_after": 5},
            (
                "M1 on 20 Mar as found: 4.11 in buffer 4.01, 0.101 off (limit 0.1): 10 readings since the good check "
                "of 06 Mar in doubt; not left good."
            ),
        ),
        (
            {
                **FOUND,
                **BUFFER,
                "is_of_two": False,
                "is_left_good": None,
                "good_on": None,
                "readings_after": 1,
            },
            (
                "M1 on 20 Mar as found: 4.30 in buffer 4.01, 0.29 off (limit 0.1): 10 readings before it, no good "
                "check is known, and 1 after it in doubt; how it was left is not written."
            ),
        ),
        (
            {**FOUND, **STANDARD, "stage": "as_left", "is_ec_left_not_written": True, "readings_after": 5},
            (
                "M1 on 20 Mar as left: EC standard 1.413 read as 1.60 mS/cm, 13.2 % off (limit 5 %); EC as left is "
                "not written, so it is as found: 10 readings since the good check of 06 Mar and 5 after it in doubt."
            ),
        ),
        # 1.4837 is 5.004 % off: one decimal would show the limit itself
        (
            {**ALONE, **STANDARD, "a": 1.4837, "readings_before": 0},
            "M1 on 20 Mar: EC standard 1.413 read as 1.4837 mS/cm, 5.004 % off (limit 5 %): no reading in doubt.",
        ),
        (
            {**ALONE, **SLOPE, "readings_before": 0, "readings_after": 1},
            "M1 on 20 Mar: slope 84 %, accepted are 85-105 %: 1 reading after it in doubt.",
        ),
        (
            {**ALONE, "rule": "offset_failed", "a": -41.5, "low": -30.0, "high": 30.0},
            (
                "M1 on 20 Mar: offset -41.5 mV, accepted are 30 mV either way: 10 readings since the good check of "
                "06 Mar in doubt."
            ),
        ),
        (
            {**ALONE, "rule": "check_marked_failed"},
            "M1 on 20 Mar: the site's own record says so: 10 readings since the good check of 06 Mar in doubt.",
        ),
        (
            {**ALONE, "rule": "slope_marginal", "a": 94.0, "low": 95.0, "high": 102.0},
            "M1 slope 94.0 % on 20 Mar: accepted, but outside 95-102 %; the electrode may be ageing or dirty.",
        ),
        (
            {**ALONE, "rule": "solution_expired", "what": "B-7", "on_day": GOOD},
            "The solution B-7 of M1 on 20 Mar was past its date (06 Mar): take a fresh one.",
        ),
        (
            {**ALONE, "rule": "buffers_not_bracketing", "low": 7.0, "high": 10.01, "a": 5.75, "b": 5.9},
            "M1's buffers 7.00 and 10.01 on 20 Mar do not bracket its readings 5.75 to 5.90: calibrate with 4 and 7.",
        ),
        (
            {**ALONE, "rule": "buffers_not_bracketing", "low": 7.0, "high": 7.0, "a": 5.9, "b": 5.9},
            "M1's buffer 7.00 on 20 Mar does not bracket its reading 5.90: calibrate with 4 and 7.",
        ),
        (
            {**ALONE, "rule": "buffers_unread", "what": "6,9"},
            (
                "The buffers of M1 on 20 Mar, “6,9”, can be read in more than one way or are none: write them like "
                "4.01/7.00. Nobody can tell whether they bracket its readings."
            ),
        ),
    ],
)
def test_a_remark_on_a_check(row: dict[str, Any], sentence: str) -> None:
    assert WORDS.meter_finding(row) == sentence


@pytest.mark.parametrize(
    ("low", "high", "advice"),
    [
        (5.75, 5.9, "calibrate with 4 and 7"),
        (5.9, 7.2, "calibrate with 4 and 10"),
        (7.1, 7.9, "calibrate with 7 and 10"),
        (4.0, 4.0, "calibrate with 4 and 7"),
        (7.0, 7.0, "calibrate with 7 and 10"),
        (10.0, 10.0, "calibrate with 7 and 10"),
        (3.9, 5.0, "calibrate with a buffer on either side of them"),
    ],
)
def test_the_buffers_that_would_bracket(low: float, high: float, advice: str) -> None:
    assert advise_buffers(low, high) == advice


# The meter as a whole ------------------------------------------------------------------------------

STATE: dict[str, Any] = {
    "meter_id": "M1",
    "is_in_doubt": False,
    "last_calibrated_on": DAY,
    "readings_in_doubt": 0,
    "days_used_unchecked": [],
}
FAILED = {**STATE, "is_in_doubt": True, "readings_in_doubt": 15}
LAST = {**ALONE, "is_last": True}


@pytest.mark.parametrize(
    ("state", "findings", "sentence"),
    [
        (STATE, [], None),
        (
            FAILED,
            [{**LAST, **SLOPE}, {**LAST, **STANDARD}],
            (
                "M1 failed its check on 20 Mar: slope 84 %, accepted are 85-105 %; EC standard 1.413 read as 1.60 "
                "mS/cm, 13.2 % off (limit 5 %). Clean it and calibrate; 15 readings since the last good check in doubt."
            ),
        ),
        # what the policy switched off has no finding and is not told
        (FAILED, [], None),
        (
            STATE,
            [{**FOUND, **BUFFER}],
            (
                "M1 on 20 Mar as found: 4.30 in buffer 4.01, 0.29 off (limit 0.1): 10 readings since the good check of "
                "06 Mar in doubt; left good."
            ),
        ),
        # as found and as left alike: told once
        (
            FAILED,
            [
                {**FOUND, **STANDARD, "stage": "as_left", "is_last": True, "is_ec_left_not_written": True},
                {**FOUND, **STANDARD, "is_left_good": False},
            ],
            (
                "M1 failed its check on 20 Mar: EC standard 1.413 read as 1.60 mS/cm, 13.2 % off (limit 5 %); EC as "
                "left is not written, so it is as found. Clean it and calibrate; 15 readings since the last good check "
                "in doubt."
            ),
        ),
        # of the last check only: older ones are in the table
        (
            STATE,
            [
                {**ALONE, "rule": "slope_marginal", "a": 94.0, "low": 95.0, "high": 102.0},
                {**ALONE, "rule": "solution_expired", "on_day": GOOD},
            ],
            None,
        ),
        (
            STATE,
            [
                {**LAST, "rule": "slope_marginal", "a": 94.0, "low": 95.0, "high": 102.0},
                {**LAST, "rule": "solution_expired", "on_day": GOOD},
            ],
            (
                "M1 slope 94.0 % on 20 Mar: accepted, but outside 95-102 %; the electrode may be ageing or dirty. "
                "The solution for the check of M1 on 20 Mar was past its date (06 Mar): take a fresh one."
            ),
        ),
        (
            {**FAILED, "days_used_unchecked": [date(2026, 3, 17), DAY]},
            [{**LAST, **SLOPE}],
            (
                "M1 failed its check on 20 Mar: slope 84 %, accepted are 85-105 %. Clean it and calibrate; 15 readings "
                "since the last good check in doubt. M1 was used without an accepted calibration on 17 Mar."
            ),
        ),
        (
            {**STATE, "days_used_unchecked": [date(2026, 3, day) for day in (2, 9, 16, 23)]},
            [],
            "M1 was used without an accepted calibration on 09 Mar, 16 Mar, 23 Mar and on 1 day before.",
        ),
        ({**STATE, "last_calibrated_on": None}, [], "No calibration of M1 is known."),
    ],
)
def test_a_meter_s_sentence(
    state: dict[str, Any], findings: list[dict[str, Any]], sentence: str | None
) -> None:
    assert WORDS.meter(state, findings) == sentence


def test_of_many_failed_checks_the_newest_are_told_and_the_others_counted() -> None:
    many = [{**ALONE, **SLOPE, "record_no": number, "calibrated_on": DAY} for number in range(5)]
    told = WORDS.meter(STATE, many)
    assert told is not None
    assert told.count("slope 84 %") == 3
    assert told.endswith("2 more such remarks before.")


def test_every_rule_that_fails_a_check_has_its_figures() -> None:
    assert set(FAILING) == {
        "slope_failed",
        "offset_failed",
        "buffer_off",
        "ec_standard_off",
        "check_marked_failed",
    }
