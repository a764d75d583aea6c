"""A site's lists against each other: each rule with lists that meet it and lists that do not."""

from __future__ import annotations

import pytest

from pipeline.settings.policy import PolicyPeriod
from tests.sql.bench import AS_OF, Bench


def findings(bench: Bench, columns: str = "rule, level, names") -> list[tuple[object, ...]]:
    return bench.rows("list_findings", columns)


def test_planted_lots_that_the_lot_list_lacks(bench: Bench) -> None:
    bench.lots()
    bench.load_file("plantings", "lot_code\na\nP-2\nP-1")
    assert findings(bench) == [("lot_not_listed", "warn", ["P-1", "P-2"])]


def test_a_planting_list_without_gaps(bench: Bench) -> None:
    bench.lots()
    bench.load_file("plantings", "lot_code\nA")
    assert findings(bench) == []


def test_what_is_not_planted_yet_or_has_shipped_is_not_missed(bench: Bench) -> None:
    bench.lots()
    bench.load_file(
        "plantings",
        """lot_code | planted_on | ships_on
        P-1 | 2026-04-07 | -
        P-2 | 2026-02-02 | 2026-04-05
        P-3 | 2026-04-06 | 2026-04-06""",
    )
    assert findings(bench) == [("lot_not_listed", "warn", ["P-3"])]


def test_samplers_without_training(bench: Bench) -> None:
    bench.lots()
    bench.load_file("people", "name | trained_on\nAnn | 2026-01-12\nBo | 2026-03-31\nEve | -")
    bench.readings("sampler\nann\nBo\nCy\nCy\nEve\n-")
    assert findings(bench, "rule, level, names, readings") == [
        ("sampler_not_trained", "note", ["Bo", "Cy"], 3)
    ]


def test_readings_of_four_weeks_ago_are_not_asked_about(bench: Bench) -> None:
    bench.lots()
    bench.load_file("people", "name\nAnn")
    bench.readings("sampler | sampled_on\nCy | 2026-03-09\nAnn | 2026-03-30")
    assert findings(bench) == []


def test_where_no_people_are_sent_nobody_is_asked_about(bench: Bench) -> None:
    bench.lots()
    bench.readings("sampler\nCy")
    assert findings(bench) == []


def test_a_lot_that_ends_before_it_starts(bench: Bench) -> None:
    bench.lots(
        """lot_code | started_on | ends_on
        B | 2026-03-02 | 2025-05-20
        A | 2026-03-02 | 2026-03-01
        C | 2026-03-02 | 2026-05-20"""
    )
    assert findings(bench) == [("lot_ends_first", "warn", ["A", "B"])]


def test_a_lot_of_one_day_or_without_an_end_is_no_remark(bench: Bench) -> None:
    bench.lots("lot_code | started_on | ends_on\nA | 2026-03-02 | 2026-03-02\nB | 2026-03-02 | -")
    assert findings(bench) == []


def test_codes_that_differ_only_in_case(bench: Bench) -> None:
    bench.lots("lot_code | house\nA-1 | 1\na-1 | 2\nB-1 | 3\nB-2 | 3")
    assert findings(bench) == [("lot_code_twice", "note", ["A-1 / a-1"])]


def test_a_code_that_was_put_right_is_not_two(bench: Bench) -> None:
    bench.lots("lot_code | house\nA-1 | 1\na-1 | 2")
    bench.next_night(AS_OF)
    bench.lots("lot_code | house\nA-1 | 1\nA-2 | 2")
    assert findings(bench) == []


def test_levels_are_the_policys(bench: Bench) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=AS_OF, finding_levels={"lot_not_listed": "off"})])
    bench.lots()
    bench.load_file("plantings", "lot_code\nP-1")
    assert findings(bench) == []


def test_a_lot_that_left_the_whole_list_while_readings_of_it_came(bench: Bench) -> None:
    bench.lots("lot_code\nA\nL-2\nL-3")
    bench.readings("lot_code | pot\nL-2 | 1\nl-2 | 2\nA | 1")
    bench.next_night(AS_OF)
    bench.lots("lot_code\nA")
    assert findings(bench, "rule, level, names, readings") == [("lot_gone", "warn", ["L-2"], 2)]


def test_a_lot_that_is_listed_again_or_never_was_is_not_gone(bench: Bench) -> None:
    bench.lots("lot_code | plants\nA | 10\nL-2 | 10")
    bench.readings("lot_code\nL-2\nX-9")
    bench.next_night(AS_OF)
    bench.lots("lot_code | plants\nA | 10\nL-2 | 20")
    assert findings(bench) == []


def test_numbers_that_do_not_tell_pots_apart_are_said_once(bench: Bench) -> None:
    bench.lots()
    bench.readings("pot | ph\n1 | 6.0\n1 | 6.1", numbers_pots=None, name="drop/r.csv")
    assert findings(bench, "rule, level, names, readings") == [
        ("pots_not_told_apart", "note", ["drop/r.csv"], 2)
    ]
    bench.next_night(AS_OF)
    bench.readings("pot | ph\n1 | 6.0\n1 | 6.1", numbers_pots=None, name="drop/r2.csv")
    assert findings(bench) == []


@pytest.mark.parametrize("numbers_pots", [True, False])
def test_where_the_settings_say_it_nothing_is_remarked(bench: Bench, numbers_pots: bool) -> None:
    bench.lots()
    bench.readings("pot | ph\n1 | 6.0\n1 | 6.1", numbers_pots=numbers_pots)
    assert findings(bench) == []


def test_distinct_numbers_are_no_remark(bench: Bench) -> None:
    bench.lots()
    bench.readings("pot | ph\n1 | 6.0\n2 | 6.1", numbers_pots=None)
    assert findings(bench) == []
