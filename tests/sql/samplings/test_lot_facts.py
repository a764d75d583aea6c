"""Lots as dated facts: moves, splits and shipments in part, and which of them speaks on a day."""

from __future__ import annotations

from datetime import date

from tests.sql.bench import Bench

NEVER = date(9999, 12, 31)
MOVED = """
    lot_code | valid_from | house | bench | plants | event
    A        | -          | 1     | 1     | 1000   | started
    A        | 2026-03-10 | 2     | 4     | 1000   | moved
    A        | 2026-03-28 | 2     | 4     | 600    | shipped
"""
SPLIT = """
    lot_code | valid_from | parent_code | house | plants
    A        | -          | -           | 1     | 1000
    A        | 2026-03-10 | -           | 1     | 600
    B        | 2026-03-10 | A           | 2     | 400
"""


def test_a_lot_without_dates_is_one_fact_from_its_start(bench: Bench) -> None:
    bench.lots("lot_code\nA")
    assert bench.rows("lot_facts", "lot_key, valid_from, valid_to, nth, parent_key") == [
        ("a", date(2026, 2, 2), NEVER, 1, None)
    ]


def test_lines_of_different_days_stand_side_by_side(bench: Bench) -> None:
    bench.lots(MOVED)
    assert bench.rows("lot_facts", "valid_from, valid_to, house, plants, event") == [
        (date(2026, 2, 2), date(2026, 3, 10), "1", 1000, "started"),
        (date(2026, 3, 10), date(2026, 3, 28), "2", 1000, "moved"),
        (date(2026, 3, 28), NEVER, "2", 600, "shipped"),
    ]
    assert bench.rows("record_fates", "fate, cause") == [("accepted", None)] * 3


def test_tonight_s_facts_are_the_lot(bench: Bench) -> None:
    bench.lots(MOVED)
    assert bench.rows("current_lots", "lot_id, house, plants, stands_from") == [
        ("A", "2", 600, date(2026, 2, 2))
    ]


def test_what_is_planned_does_not_hold_yet(bench: Bench) -> None:
    bench.lots("lot_code | valid_from | house\nA | - | 1\nA | 2026-04-20 | 2")
    assert bench.rows("current_lots", "house") == [("1",)]


def test_a_first_line_of_a_later_day_holds_from_the_start(bench: Bench) -> None:
    bench.lots("lot_code | valid_from\nA | 2026-03-10")
    assert bench.rows("lot_facts", "valid_from") == [(date(2026, 2, 2),)]


def test_a_corrected_line_supersedes_the_one_of_its_day_only(bench: Bench) -> None:
    bench.lots(MOVED)
    bench.lots(MOVED.replace("| 2     | 4     | 1000", "| 3     | 4     | 1000"))
    assert bench.rows("lot_facts", "house, plants") == [("1", 1000), ("2", 600), ("3", 1000)]
    assert bench.rows("record_fates", "fate", "file_id = 1 and record_no = 2") == [("superseded",)]


def test_a_reading_finds_the_lot_where_it_stood_that_day(bench: Bench) -> None:
    bench.lots(MOVED)
    bench.readings(
        "lot_code | house | sampled_on | ph\n"
        "- | 1 | 2026-03-09 | 6.0\n- | 1 | 2026-03-10 | 6.0\n- | 2 | 2026-03-09 | 6.0\n- | 2 | 2026-03-10 | 6.0"
    )
    assert bench.rows("reading_lots", "record_no, lot_key, fitting_lots") == [
        (1, "a", 1),
        (2, None, 0),
        (3, None, 0),
        (4, "a", 1),
    ]


def test_readings_before_a_split_are_the_parent_s(bench: Bench) -> None:
    bench.lots(SPLIT)
    bench.readings("lot_code | house | sampled_on | ph\n- | 1 | 2026-03-09 | 6.0\n- | 2 | 2026-03-11 | 6.0")
    assert bench.rows("reading_lots", "record_no, lot_key") == [(1, "a"), (2, "b")]
    assert bench.rows("current_lots", "lot_id, parent_id, split_on, stands_from, started_on") == [
        ("A", None, None, date(2026, 2, 2), date(2026, 2, 2)),
        ("B", "A", date(2026, 3, 10), date(2026, 3, 10), date(2026, 2, 2)),
    ]


def test_a_reading_of_the_child_before_the_split_is_held(bench: Bench) -> None:
    bench.lots(SPLIT)
    bench.readings("lot_code | sampled_on | ph\nB | 2026-03-09 | 6.0\nB | 2026-03-10 | 6.0")
    found = bench.rows("record_fates", "record_no, fate, cause, started_on", "export_kind = 'readings'")
    assert found == [(1, "held", "before_start", date(2026, 3, 10)), (2, "accepted", None, None)]


def test_a_child_stands_and_is_due_from_the_split(bench: Bench) -> None:
    bench.lots(SPLIT.replace("B        | 2026-03-10", "B        | 2026-04-04"))
    assert bench.rows("standing_lots", "lot_id") == [("A",), ("B",)]
    assert bench.rows("dues", "lot_key, why, due_on", "lot_key = 'b'") == [("b", "first", date(2026, 4, 11))]


def test_a_child_does_not_stand_before_the_split(bench: Bench) -> None:
    bench.lots(SPLIT.replace("B        | 2026-03-10", "B        | 2026-04-07"))
    assert bench.rows("standing_lots", "lot_id") == [("A",)]


def test_a_lot_that_names_itself_as_parent_is_no_split(bench: Bench) -> None:
    bench.lots("lot_code | parent_code | valid_from\nA | a | 2026-03-10")
    assert bench.rows("current_lots", "parent_key, stands_from") == [(None, date(2026, 2, 2))]


def test_the_container_of_the_day_gives_the_recipe(bench: Bench) -> None:
    bench.lots("lot_code | valid_from | container_class\nA | - | pot_4in\nA | 2026-03-10 | pot_6_5in_plus")
    bench.readings("sampled_on | ph\n2026-03-09 | 6.0\n2026-03-10 | 6.0")
    assert bench.rows("usable_readings", "record_no, leachate_high_ml") == [(1, 30), (2, 60)]


def test_a_line_that_cannot_be_used_tonight_holds_the_lot(bench: Bench) -> None:
    bench.lots("lot_code | valid_from | problem\nA | - | -\nA | 2026-03-10 | value_unknown")
    assert bench.rows("current_lots", "is_usable, unusable_sentence") == [(False, "value_unknown found")]


def test_a_line_that_held_once_and_cannot_be_used_does_not(bench: Bench) -> None:
    bench.lots("lot_code | valid_from | problem\nA | 2026-02-02 | value_unknown\nA | 2026-03-10 | -")
    assert bench.rows("current_lots", "is_usable, unusable_sentence") == [(True, None)]


def test_a_line_whose_day_cannot_be_read_holds_the_lot(bench: Bench) -> None:
    bench.lots("lot_code | valid_from | problem\nA | - | date_unreadable\nA | 2026-03-10 | -")
    bench.connection.execute("update record_problems set field = 'valid_from'")
    assert bench.rows("current_lots", "is_usable, unusable_sentence") == [(False, "date_unreadable found")]
