"""A treatment is closed by its retest: one that is missed, or still out on the same side, is a reason and ranks up."""

from __future__ import annotations

from datetime import date

import pytest

from tests.sql.bench import Bench
from tests.sql.conftest import Begin

LOW = "5.4 5.4 5.4 5.4 5.4"
HIGH = "6.6 6.6 6.6 6.6 6.6"
FINE = "6.0 6.0 6.0 6.0 6.0"
CODES = "code in ('treated', 'retest_missed', 'unmoved_after_treatment')"


def treat(bench: Bench, treated_on: str, *samplings: tuple[str, str], treatment: str = "acid_feed") -> None:
    """A lot read on these days and treated on one; acid feed is read again after 7 days."""
    bench.lots()
    bench.load_file("treatments", f"treated_on | treatment\n{treated_on} | {treatment}")
    for day, values in samplings:
        bench.pots(values, sampled_on=day)


def said(bench: Bench, columns: str = "code, level, quantity, side") -> list[tuple[object, ...]]:
    return bench.rows("reasons", columns, CODES)


def score(bench: Bench) -> float:
    ((found,),) = bench.rows("attention", "score")
    return float(found)


# 0.4 pH below 5.8 are two steps.
@pytest.mark.parametrize(
    ("as_of", "code", "level", "in_a_row"),
    [
        (date(2026, 4, 6), "treated", "note", 1),
        (date(2026, 4, 7), "treated", "note", 1),
        (date(2026, 4, 8), "retest_missed", "watch", 2),
    ],
)
def test_a_retest_is_missed_the_day_after_it_was_due(
    begin: Begin, as_of: date, code: str, level: str, in_a_row: int
) -> None:
    bench = begin(as_of)
    treat(bench, "2026-03-31", ("2026-03-30", LOW))
    assert said(bench, "code, level, until_on") == [(code, level, date(2026, 4, 7))]
    assert score(bench) == pytest.approx(2 * (1 + in_a_row))


def test_a_missed_retest_says_since_when(begin: Begin) -> None:
    bench = begin(date(2026, 4, 20))
    treat(bench, "2026-03-31", ("2026-03-30", LOW), treatment="lime_drench")
    assert said(bench, "code, sampled_on, until_on, days, what") == [
        ("retest_missed", date(2026, 3, 31), date(2026, 4, 10), 10, "lime_drench")
    ]


def test_a_missed_retest_of_a_lot_in_range_is_watched(begin: Begin) -> None:
    bench = begin(date(2026, 4, 8))
    treat(bench, "2026-03-31", ("2026-03-30", FINE))
    assert bench.rows("attention", "level, score") == [("watch", 0.0)]


def test_an_excused_retest_is_not_missed(begin: Begin) -> None:
    bench = begin(date(2026, 4, 8))
    treat(bench, "2026-03-31", ("2026-03-30", LOW))
    bench.load_file("exemptions", "from_on | until_on | entered_on\n2026-04-01 | 2026-04-30 | 2026-04-01")
    assert said(bench, "code, level, flag") == [("treated", "note", True)]
    assert score(bench) == pytest.approx(2 * 2)


def test_a_sampling_once_the_wait_is_over_closes_it(bench: Bench) -> None:
    treat(bench, "2026-03-23", ("2026-03-23", LOW), ("2026-03-30", FINE))
    assert said(bench) == []


def test_a_sampling_before_the_wait_is_over_does_not(begin: Begin) -> None:
    bench = begin(date(2026, 4, 8))
    treat(bench, "2026-03-31", ("2026-03-30", LOW), ("2026-04-06", LOW))
    assert said(bench) == [("retest_missed", "watch", None, None)]


def test_still_out_on_the_same_side_at_the_retest(bench: Bench) -> None:
    treat(bench, "2026-03-23", ("2026-03-20", LOW), ("2026-03-30", LOW))
    assert said(bench) == [("unmoved_after_treatment", "watch", "ph", "low")]
    assert said(bench, "sampled_on, since_on, until_on, what") == [
        (date(2026, 3, 30), date(2026, 3, 20), date(2026, 3, 23), "acid_feed")
    ]
    # 2nd in a row, and one more
    assert score(bench) == pytest.approx(2 * (1 + 2 + 1))


@pytest.mark.parametrize(
    "samplings",
    [
        # out on the other side now
        [("2026-03-20", LOW), ("2026-03-30", HIGH)],
        # out only since the treatment
        [("2026-03-20", FINE), ("2026-03-30", LOW)],
        # mended at the retest, out again later
        [("2026-03-20", LOW), ("2026-03-30", FINE), ("2026-04-05", LOW)],
        # in range before, and nothing read before it
        [("2026-03-30", LOW)],
    ],
)
def test_other_ways_of_being_out_after_a_treatment(bench: Bench, samplings: list[tuple[str, str]]) -> None:
    treat(bench, "2026-03-23", *samplings)
    assert said(bench) == []


def test_still_out_until_a_sampling_is_in_range(bench: Bench) -> None:
    treat(bench, "2026-03-20", ("2026-03-19", LOW), ("2026-03-27", LOW), ("2026-04-03", LOW))
    assert said(bench, "code, sampled_on") == [("unmoved_after_treatment", date(2026, 4, 3))]
    assert score(bench) == pytest.approx(2 * (1 + 3 + 1))


def test_low_ec_of_a_finishing_lot_asks_for_nothing(bench: Bench) -> None:
    bench.lots("ends_on\n2026-04-15")
    bench.load_file("treatments", "treated_on | treatment\n2026-03-23 | feed_change")
    for day in ("2026-03-20", "2026-03-30"):
        bench.pots("1 1 1 1 1", quantity="ec_ms_cm", sampled_on=day)
    assert "unmoved_after_treatment" not in {code for (code,) in said(bench, "code")}


def test_a_lot_whose_retest_was_missed_comes_before_one_as_far_out(begin: Begin) -> None:
    bench = begin(date(2026, 4, 8))
    bench.lots("lot_code | plants\nmany | 9000\nmissed | 10")
    bench.load_file("treatments", "lot_code | treated_on\nmissed | 2026-03-31")
    for lot in ("many", "missed"):
        bench.pots(LOW, lot_code=lot)
    assert [lot for _, lot in bench.rows("attention", "rank, lot_key")] == ["missed", "many"]
