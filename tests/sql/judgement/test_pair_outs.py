"""What is out in every pair around a feeding, and the retest that the newest one asks for.

The lot is an active poinsettia: pH 5.8-6.2, EC 2.5-4.5 mS/cm; tonight is 6 April.
"""

from __future__ import annotations

import pytest

from tests.sql.bench import Bench

OUTS = "before_on::varchar, after_on::varchar, quantity, side, purpose"
AGAIN = "why, rule_on::varchar, caused_on::varchar, purposes, pots, interval_days"
PAIRED = "why = 'after_pair_out'"


def read(bench: Bench, purpose: str, day: str, ec: str = "3.0", ph: str = "6.00") -> None:
    """Five pots that hardly differ around these means."""
    pots = "\n".join(
        f"{float(ph) + step:.3f} | {float(ec) + step:.3f}" for step in (-0.02, -0.01, 0, 0.01, 0.02)
    )
    bench.readings(f"ph | ec_ms_cm\n{pots}", same={"sampled_on": day, "purpose": purpose})


def pair(bench: Bench, before_on: str, after_on: str, before: str = "3.0", after: str = "3.5") -> None:
    read(bench, "before_feed", before_on, before)
    read(bench, "after_feed", after_on, after)


def test_each_pair_that_is_out_is_told_on_the_half_that_says_so(bench: Bench) -> None:
    bench.lots()
    pair(bench, "2026-03-25", "2026-03-26", before="1.8", after="5.6")
    pair(bench, "2026-04-01", "2026-04-02")
    bench.measure()
    # Low after the feed and high before it say nothing.
    assert bench.rows("pair_outs", OUTS) == [
        ("2026-03-25", "2026-03-26", "ec", "high", "after_feed"),
        ("2026-03-25", "2026-03-26", "ec", "low", "before_feed"),
    ]


@pytest.mark.parametrize(
    ("before", "after", "is_asked"),
    [("3.0", "3.5", False), ("1.8", "3.5", True), ("3.0", "5.6", True), ("5.6", "2.0", False)],
)
def test_a_pair_out_is_to_be_read_again_in_7_days(
    bench: Bench, before: str, after: str, *, is_asked: bool
) -> None:
    bench.lots()
    pair(bench, "2026-04-01", "2026-04-02", before, after)
    bench.measure()
    asked = [("after_pair_out", "2026-04-09", "2026-04-02", "retest", 5, 7)]
    assert bench.rows("dues", AGAIN, PAIRED) == (asked if is_asked else [])


def test_ph_out_on_the_day_of_feeding_asks_too(bench: Bench) -> None:
    bench.lots()
    read(bench, "before_feed", "2026-04-01")
    read(bench, "after_feed", "2026-04-02", ph="5.00")
    bench.measure()
    assert len(bench.rows("dues", AGAIN, PAIRED)) == 1


@pytest.mark.parametrize(
    ("purpose", "day", "is_asked"),
    [
        ("retest", "2026-04-03", False),
        ("routine", "2026-04-03", False),
        # One of the pair's last day takes its place, one before it does not.
        ("routine", "2026-04-02", False),
        ("routine", "2026-04-01", True),
        ("affected", "2026-04-03", True),
    ],
)
def test_a_routine_sampling_or_a_retest_since_answers(
    bench: Bench, purpose: str, day: str, *, is_asked: bool
) -> None:
    bench.lots()
    pair(bench, "2026-04-01", "2026-04-02", after="5.6")
    read(bench, purpose, day)
    bench.measure()
    assert bool(bench.rows("dues", AGAIN, PAIRED)) == is_asked


def test_another_pair_answers_and_asks_anew(bench: Bench) -> None:
    bench.lots()
    pair(bench, "2026-03-25", "2026-03-26", after="5.6")
    pair(bench, "2026-04-01", "2026-04-02")
    bench.measure()
    assert bench.rows("dues", AGAIN, PAIRED) == []
    pair(bench, "2026-04-04", "2026-04-05", before="1.8")
    bench.measure()
    assert bench.rows("dues", "rule_on::varchar", PAIRED) == [("2026-04-12",)]


@pytest.mark.parametrize(
    ("day", "why"), [("2026-04-01", "after_treatment"), ("2026-03-31", "after_pair_out")]
)
def test_a_treatment_since_the_first_day_takes_its_place(bench: Bench, day: str, why: str) -> None:
    bench.lots()
    pair(bench, "2026-04-01", "2026-04-02", after="5.6")
    bench.load_file("treatments", f"treated_on | treatment\n{day} | lime_drench")
    bench.measure()
    assert why in [row[0] for row in bench.rows("dues", "why", "purposes = 'retest'")]
    assert bool(bench.rows("dues", "why", PAIRED)) == (why == "after_pair_out")


def test_low_ec_outside_the_active_stage_asks_for_nothing(bench: Bench) -> None:
    bench.lots("started_on\n2026-03-20")
    pair(bench, "2026-04-01", "2026-04-02", before="1.0")
    bench.measure()
    assert bench.rows("pair_outs", "side, is_low_ec_outside_active") == [("low", True)]
    assert bench.rows("dues", AGAIN, PAIRED) == []
