"""The last treatment of a lot, its waiting time, what was read before and after, and what is said of it."""

from __future__ import annotations

import pytest

from tests.sql.bench import Bench

BEFORE = "5.0 5.1 5.2 5.1 5.0"
AFTER = "5.9 6.0 6.1 6.0 5.9"
SHOWN = "treatments, retest_due_on::varchar, before_on::varchar, after_on::varchar"


def treat(bench: Bench, table: str) -> None:
    bench.lots()
    bench.load_file("treatments", table)


@pytest.mark.parametrize(
    ("treatment", "due"),
    [
        ("leaching", "2026-03-18"),
        ("bicarbonate", "2026-03-19"),
        ("feed_change", "2026-03-23"),
        ("acid_feed", "2026-03-23"),
        ("lime_drench", "2026-03-26"),
        ("iron_drench", "2026-03-23"),
    ],
)
def test_each_treatment_waits_its_time(bench: Bench, treatment: str, due: str) -> None:
    treat(bench, f"treated_on | treatment\n2026-03-16 | {treatment}")
    assert bench.rows("last_treatments", SHOWN) == [(treatment, due, None, None)]


def test_two_treatments_of_one_day_wait_for_the_slower(bench: Bench) -> None:
    treat(
        bench,
        "treated_on | treatment\n2026-03-16 | leaching\n2026-03-16 | lime_drench\n2026-03-02 | iron_drench",
    )
    assert bench.rows("last_treatments", SHOWN) == [("leaching,lime_drench", "2026-03-26", None, None)]


def test_an_untreated_lot_has_none(bench: Bench) -> None:
    bench.lots()
    assert bench.rows("last_treatments", SHOWN) == []


def test_before_is_at_most_three_weeks_back_and_after_is_the_first_once_the_time_is_over(
    bench: Bench,
) -> None:
    treat(bench, "treated_on\n2026-03-16")
    for day in ("2026-03-09", "2026-03-16", "2026-03-22", "2026-03-23", "2026-03-30"):
        bench.pots(BEFORE, sampled_on=day)
    assert bench.rows("last_treatments", SHOWN) == [("acid_feed", "2026-03-23", "2026-03-16", "2026-03-23")]


def test_a_sampling_of_more_than_three_weeks_before_is_none_before(bench: Bench) -> None:
    treat(bench, "treated_on\n2026-03-16")
    bench.pots(BEFORE, sampled_on="2026-02-22")
    assert bench.rows("last_treatments", SHOWN) == [("acid_feed", "2026-03-23", None, None)]
    bench.pots(BEFORE, sampled_on="2026-02-23")
    assert bench.rows("last_treatments", SHOWN) == [("acid_feed", "2026-03-23", "2026-02-23", None)]


def test_a_sampling_that_does_not_count_is_no_retest(bench: Bench) -> None:
    treat(bench, "treated_on\n2026-03-16")
    bench.pots("6 6 6", sampled_on="2026-03-30")
    bench.pots(BEFORE, sampled_on="2026-03-30", purpose="affected")
    assert bench.rows("last_treatments", "after_on") == [(None,)]


# What is said ------------------------------------------------------------------------------------


def said(bench: Bench, columns: str) -> list[tuple[object, ...]]:
    bench.measure()
    return bench.rows(
        "reasons", columns, "code in ('treated', 'retest_missed', 'treatment_result', 'alkaline_water')"
    )


def test_until_the_retest_the_lot_is_treated(bench: Bench) -> None:
    treat(bench, "treated_on\n2026-04-02")
    bench.pots(BEFORE, sampled_on="2026-03-30")
    assert said(bench, "code, level, what, until_on::varchar, flag") == [
        ("treated", "note", "acid_feed", "2026-04-09", False)
    ]


def test_a_retest_that_did_not_come_was_missed(bench: Bench) -> None:
    treat(bench, "treated_on\n2026-03-20")
    assert said(bench, "code, until_on::varchar, flag") == [("retest_missed", "2026-03-27", True)]


def test_the_retest_tells_what_moved(bench: Bench) -> None:
    treat(bench, "treated_on\n2026-03-20")
    bench.pots(BEFORE, sampled_on="2026-03-16")
    bench.pots(AFTER, sampled_on="2026-03-30")
    found = said(bench, "quantity, level, side, first_mean, mean, ci_low > 0, flag")
    assert found == [
        ("ec", "note", None, 3.0, 3.0, None, False),
        ("ph", "note", "high", pytest.approx(5.08), pytest.approx(5.98), True, False),
    ]


def test_what_did_not_move_has_no_side(bench: Bench) -> None:
    treat(bench, "treated_on\n2026-03-20")
    bench.pots(BEFORE, sampled_on="2026-03-16")
    bench.pots(BEFORE, sampled_on="2026-03-30")
    assert said(bench, "code, side") == [("treatment_result", None), ("treatment_result", None)]


def test_without_a_sampling_before_nothing_is_held_against_the_retest(bench: Bench) -> None:
    treat(bench, "treated_on\n2026-03-20")
    bench.pots(AFTER, sampled_on="2026-03-30")
    assert said(bench, "code") == []


def rising(bench: Bench, alkalinity: str, step: str = "0.1") -> list[tuple[object, ...]]:
    bench.lots()
    bench.load_file("feed_checks", f"place | alkalinity_mg_l\nsource_water | {alkalinity}")
    for week, day in enumerate(
        ("2026-02-23", "2026-03-02", "2026-03-09", "2026-03-16", "2026-03-23", "2026-03-30")
    ):
        mean = 5.5 + week * float(step)
        bench.pots(" ".join(f"{mean + off:.2f}" for off in (-0.05, 0, 0.05, 0.02, -0.02)), sampled_on=day)
    return said(bench, "code, level, quantity, side, mean, high")


def test_rising_ph_and_alkaline_water_are_said_together(bench: Bench) -> None:
    assert rising(bench, "180") == [("alkaline_water", "note", "ph", "high", 180.0, 120.0)]


def test_rising_ph_and_soft_water_are_not(bench: Bench) -> None:
    assert rising(bench, "120") == []


def test_alkaline_water_and_a_falling_ph_are_not(bench: Bench) -> None:
    assert rising(bench, "180", "-0.1") == []


# Where trends start anew ---------------------------------------------------------------------------


def segments(bench: Bench) -> list[tuple[object, ...]]:
    for day in ("2026-03-09", "2026-03-16", "2026-03-23", "2026-03-30"):
        bench.pots(BEFORE, sampled_on=day)
    bench.measure()
    rows = bench.run("measures/series")
    return [(str(row[3]), row[5]) for row in rows if row[2] == "ph"]


def test_an_active_lot_is_one_segment(bench: Bench) -> None:
    bench.lots()
    assert {segment for _, segment in segments(bench)} == {1}


def test_a_treatment_begins_a_segment_after_its_day(bench: Bench) -> None:
    treat(bench, "treated_on\n2026-03-16\n2026-03-25")
    assert [segment for _, segment in segments(bench)] == [1, 1, 2, 3]


@pytest.mark.parametrize(
    ("column", "values", "found"),
    [
        ("feed_mode", "constant periodic", [1, 1, 2, 2]),
        ("substrate", "peat bark", [1, 1, 2, 2]),
        ("substrate", "peat Peat", [1, 1, 1, 1]),
        ("substrate", "- bark", [1, 1, 1, 1]),
        ("house", "1 2", [1, 1, 1, 1]),
    ],
)
def test_another_feed_or_substrate_begins_one_on_its_day(
    bench: Bench, column: str, values: str, found: list[int]
) -> None:
    first, second = values.split()
    bench.lots(f"lot_code | valid_from | {column}\nA | - | {first}\nA | 2026-03-23 | {second}")
    assert [segment for _, segment in segments(bench)] == found
