"""Treatments, feed checks, excuses, planting lists and people: which lines count, and for which lots."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from tests.sql.bench import Bench

TWO_LOTS = "lot_code | house | bench | crop\nA | 1 | 1 | pansy\nB | 1 | 2 | petunia"


def fates(bench: Bench, kind: str) -> list[tuple[object, ...]]:
    """Fate and cause of the lines of a kind, by line."""
    found = bench.rows("record_fates", "record_no, fate, cause", f"export_kind = '{kind}'")
    return [row[1:] for row in found]


# Treatments ----------------------------------------------------------------------------------------


def test_a_treatment_of_a_lot(bench: Bench) -> None:
    bench.lots()
    bench.load_file("treatments", "lot_code | product\na | 21-7-7")
    assert bench.rows("treatments", "lot_key, treated_on, treatment, product, is_by_place") == [
        ("a", date(2026, 3, 30), "acid_feed", "21-7-7", False)
    ]


def test_a_treatment_of_a_house_is_one_of_every_lot_there(bench: Bench) -> None:
    bench.lots(TWO_LOTS + "\nC | 2 | 1 | pansy")
    bench.load_file(
        "treatments", "lot_code | house | bench | crop\n- | 1 | - | -\n- | 1 | 2 | -\n- | 1 | - | Pansy"
    )
    assert bench.rows("treatments", "record_no, lot_key, is_by_place") == [
        (1, "a", True),
        (1, "b", True),
        (2, "b", True),
        (3, "a", True),
    ]


@pytest.mark.parametrize(
    ("line", "cause"),
    [
        ("A | - | 2026-04-07", "in_future"),
        ("P-1 | - | 2026-03-30", "lot_unknown"),
        ("A | - | 2026-02-01", "before_start"),
        ("- | 9 | 2026-03-30", "place_unclear"),
    ],
)
def test_a_treatment_that_is_held(bench: Bench, line: str, cause: str) -> None:
    bench.lots()
    bench.load_file("treatments", f"lot_code | house | treated_on\n{line}")
    assert fates(bench, "treatments") == [("held", cause)]
    assert bench.rows("treatments", "*") == []


def test_a_treatment_after_the_end_and_of_a_held_lot(bench: Bench) -> None:
    bench.lots("lot_code | ends_on | problem\nA | 2026-03-01 | -\nB | - | missing")
    bench.load_file("treatments", "lot_code\nA\nB")
    assert fates(bench, "treatments") == [("held", "after_end"), ("held", "lot_held")]


def test_the_lot_list_releases_a_treatment(bench: Bench) -> None:
    bench.load_file("treatments", "lot_code\nA")
    assert fates(bench, "treatments") == [("held", "lot_unknown")]
    bench.lots()
    assert fates(bench, "treatments") == [("accepted", None)]


def test_two_equal_treatments_of_one_file_are_two_and_a_cumulative_list_withdraws(bench: Bench) -> None:
    bench.lots()
    bench.load_file("treatments", "lot_code\nA\nA", mode="cumulative")
    assert fates(bench, "treatments") == [("accepted", None)] * 2
    bench.load_file("treatments", "lot_code\nA", mode="cumulative")
    assert fates(bench, "treatments") == [("accepted", None), ("repeated", None), ("withdrawn", None)]


# Feed checks ---------------------------------------------------------------------------------------


def test_a_feed_check_is_brought_to_25_degrees(bench: Bench) -> None:
    bench.load_file(
        "feed_checks",
        "ec_ms_cm | ec_compensated | temperature_c\n1.8 | true | 15\n1.8 | false | 15\n1.8 | false | -",
    )
    # 1.8 / (1 + 0.0191 * (15 - 25))
    assert bench.rows("feed_checks", "record_no, ec_25_ms_cm") == [
        (1, Decimal("1.8000")),
        (2, Decimal("2.2250")),
        (3, None),
    ]


def test_a_feed_check_of_tomorrow_waits(bench: Bench) -> None:
    bench.load_file("feed_checks", "checked_on\n2026-04-06\n2026-04-07")
    assert fates(bench, "feed_checks") == [("accepted", None), ("held", "in_future")]


def test_a_feed_check_off_the_scale_waits(bench: Bench) -> None:
    bench.load_file("feed_checks", "problem\nph_out_of_scale")
    assert fates(bench, "feed_checks") == [("held", "ph_out_of_scale")]


# Excuses -------------------------------------------------------------------------------------------


def test_an_excuse_holds_for_its_days(bench: Bench) -> None:
    bench.lots()
    bench.load_file("exemptions", "purpose | entered_on\nroutine | 2026-03-22\n- | -")
    columns = "lot_key, purpose, from_on, until_on, entered_on, is_entered_on_stated"
    span = (date(2026, 3, 23), date(2026, 4, 12))
    assert bench.rows("exemptions", columns) == [
        ("a", "routine", *span, date(2026, 3, 22), True),
        ("a", None, *span, date(2026, 4, 6), False),
    ]


def test_an_excuse_of_a_house_is_one_of_every_lot_that_stood_there_then(bench: Bench) -> None:
    bench.lots(
        "lot_code | house | valid_from | ends_on\n"
        "A | 1 | - | -\nA | 2 | 2026-03-20 | -\nB | 1 | - | -\nC | 1 | - | 2026-03-20"
    )
    bench.load_file("exemptions", "lot_code | house\n- | 1\n- | 9")
    assert bench.rows("exemptions", "lot_key") == [("b",)]
    assert fates(bench, "exemptions") == [("accepted", None), ("held", "place_unclear")]


def test_an_excuse_may_lie_ahead_but_its_lot_must_be_known(bench: Bench) -> None:
    bench.lots()
    bench.load_file(
        "exemptions",
        "lot_code | from_on | until_on\nA | 2026-05-01 | 2026-05-09\nP-1 | 2026-04-01 | 2026-04-02",
    )
    assert fates(bench, "exemptions") == [("accepted", None), ("held", "lot_unknown")]


# Plantings and people ------------------------------------------------------------------------------


def test_a_planted_lot_that_the_lot_list_lacks(bench: Bench) -> None:
    bench.lots()
    bench.load_file("plantings", "lot_code\na\nP-9")
    assert bench.rows("plantings", "lot_id, is_listed") == [("P-9", False), ("a", True)]


def test_of_a_planted_lot_the_version_seen_last_rules(bench: Bench) -> None:
    bench.load_file("plantings", "lot_code | plants\nA | 1000")
    bench.load_file("plantings", "lot_code | plants\na | 900")
    assert bench.rows("plantings", "lot_id, plants") == [("a", 900)]
    assert fates(bench, "plantings") == [("accepted", None), ("superseded", None)]


def test_of_a_person_the_version_seen_last_rules(bench: Bench) -> None:
    bench.load_file("people", "name | trained_on\nAnn | 2025-01-12\nBo | -")
    bench.load_file("people", "name | trained_on\nANN | 2026-01-12")
    assert bench.rows("people", "person_key, name, trained_on") == [
        ("ann", "ANN", date(2026, 1, 12)),
        ("bo", "Bo", None),
    ]


def test_training_to_come_waits(bench: Bench) -> None:
    bench.load_file("people", "name | trained_on\nAnn | 2026-04-07")
    assert fates(bench, "people") == [("held", "in_future")]


# The cause itself ----------------------------------------------------------------------------------


def test_a_cause_names_its_lot_place_and_day(bench: Bench) -> None:
    bench.lots()
    bench.load_file("treatments", "lot_code | house | bench | crop\nA | - | - | -\n- | 7 | 2 | pansy")
    assert bench.rows("kind_causes", "record_no, cause, place, fitting_lots, on_day") == [
        (1, None, "", 1, date(2026, 3, 30)),
        (2, "place_unclear", "house 7, bench 2, pansy", 0, date(2026, 3, 30)),
    ]
