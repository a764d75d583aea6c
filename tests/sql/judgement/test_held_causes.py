"""Held records gathered by what they wait for."""

from __future__ import annotations

from tests.sql.bench import Bench


def test_lines_that_wait_for_one_thing_are_one_cause(bench: Bench) -> None:
    bench.lots()
    bench.readings("lot_code\nX\nX\nY\nA")
    assert bench.rows("held_causes", "cause, what, records, export_kind") == [
        ("lot_unknown", "X", 2, "readings"),
        ("lot_unknown", "Y", 1, "readings"),
    ]


def test_three_examples_in_the_order_in_which_they_came(bench: Bench) -> None:
    bench.readings("text | lot_code\na | X\nb | X", name="drop/1.csv")
    bench.readings("text | lot_code\nc | X\nd | X", name="drop/2.csv")
    ((records, examples),) = bench.rows("held_causes", "records, examples")
    assert records == 4
    assert examples == [
        {"file": "drop/1.csv", "line": 1, "text": "a"},
        {"file": "drop/1.csv", "line": 2, "text": "b"},
        {"file": "drop/2.csv", "line": 1, "text": "c"},
    ]


def test_a_file_held_whole_is_one_cause_with_its_mend(bench: Bench) -> None:
    bench.readings("ph\n6\n6.1", problem="columns_changed", name="drop/week.csv")
    assert bench.rows("held_causes", "cause, what, detail, file_mend, records") == [
        ("columns_changed", "drop/week.csv", "columns_changed found", "send it again", 2)
    ]


def test_a_code_that_reads_like_that_of_one_lot_names_it(bench: Bench) -> None:
    bench.lots("lot_code\nL-01\nL-02\nB 7\nB-07")
    bench.readings("lot_code\nL-O2\nl 1\nB07\nL-99\nL-20")
    assert bench.rows("held_causes", "what, near_lot") == [
        ("B07", None),
        ("L-20", None),
        ("L-99", None),
        ("L-O2", "L-02"),
        ("l 1", "L-01"),
    ]


def test_sites_wait_each_for_itself(bench: Bench) -> None:
    bench.readings("lot_code\nX")
    bench.readings("lot_code\nX", site_id="south")
    assert bench.rows("held_causes", "site_id, records") == [("north", 1), ("south", 1)]


def test_nothing_held_is_no_cause(bench: Bench) -> None:
    bench.lots()
    bench.readings("ph\n6")
    assert bench.rows("held_causes", "cause") == []
