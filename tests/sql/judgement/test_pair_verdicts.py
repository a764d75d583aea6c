"""What a pair around a feeding says: low EC on the day before, high EC and pH on the day of feeding.

The lot is an active poinsettia: pH 5.8-6.2, EC 2.5-4.5 mS/cm; tonight is 6 April.
"""

from __future__ import annotations

import pytest

from tests.sql.bench import Bench

TOLD = "code, level, quantity, side, sampled_on::varchar, what"
PAIR = "code in ('pair_out', 'pair_clearly_out')"
READ = "code in ('never_counted', 'not_read_lately')"


def read(bench: Bench, purpose: str, day: str, ec: str, ph: str = "6.00") -> None:
    """Five pots that hardly differ around these means."""
    pots = "\n".join(
        f"{float(ph) + step:.3f} | {float(ec) + step:.3f}" for step in (-0.02, -0.01, 0, 0.01, 0.02)
    )
    bench.readings(f"ph | ec_ms_cm\n{pots}", same={"sampled_on": day, "purpose": purpose})


def pair(bench: Bench, before: str, after: str, ph: str = "6.00") -> None:
    bench.lots()
    read(bench, "before_feed", "2026-04-01", before)
    read(bench, "after_feed", "2026-04-02", after, ph)
    bench.measure()


def test_a_lot_read_by_a_pair_alone_has_a_reading(bench: Bench) -> None:
    pair(bench, "3.0", "3.5")
    assert bench.rows("reasons", "code") == []
    assert bench.rows("attention", "level, score") == [("ok", 0.0)]


def test_half_a_pair_is_no_reading(bench: Bench) -> None:
    bench.lots()
    read(bench, "before_feed", "2026-04-01", "1.0")
    bench.measure()
    assert bench.rows("reasons", "code") == [("never_counted",)]


def test_an_old_pair_is_no_current_reading(bench: Bench) -> None:
    bench.lots()
    read(bench, "before_feed", "2026-03-19", "3.0")
    read(bench, "after_feed", "2026-03-20", "3.5")
    bench.measure()
    # 17 days; every 14 and 2 of grace
    assert bench.rows("reasons", "code, sampled_on::varchar, days", READ) == [
        ("not_read_lately", "2026-03-20", 17)
    ]


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        # Low before the feed is low, whatever the feed makes of it. 0.6 of the edge is 1.5.
        ("1.4", "3.0", [("pair_clearly_out", "act", "ec", "low", "2026-04-01", "before_feed")]),
        ("1.8", "3.0", [("pair_clearly_out", "watch", "ec", "low", "2026-04-01", "before_feed")]),
        ("2.3", "3.0", [("pair_out", "watch", "ec", "low", "2026-04-01", "before_feed")]),
        # Low after it and high before it are not judged.
        ("3.0", "2.0", []),
        ("5.6", "4.0", []),
        ("3.0", "4.8", [("pair_out", "watch", "ec", "high", "2026-04-02", "after_feed")]),
        ("3.0", "5.6", [("pair_clearly_out", "act", "ec", "high", "2026-04-02", "after_feed")]),
        (
            "1.4",
            "5.6",
            [
                ("pair_clearly_out", "act", "ec", "high", "2026-04-02", "after_feed"),
                ("pair_clearly_out", "act", "ec", "low", "2026-04-01", "before_feed"),
            ],
        ),
    ],
)
def test_low_ec_is_judged_before_and_high_ec_after_feeding(
    bench: Bench, before: str, after: str, told: list[tuple[str, ...]]
) -> None:
    pair(bench, before, after)
    assert bench.rows("reasons", TOLD, PAIR) == told


def test_ph_is_judged_on_the_day_of_feeding(bench: Bench) -> None:
    pair(bench, "3.0", "3.5", ph="6.60")
    assert bench.rows("reasons", TOLD, PAIR) == [
        ("pair_clearly_out", "act", "ph", "high", "2026-04-02", "after_feed")
    ]
    # 0.4 beyond the edge are two steps, once in a row
    assert bench.rows("attention", "level, score") == [("act", 4.0)]


def test_a_routine_sampling_since_takes_its_place(bench: Bench) -> None:
    bench.lots()
    read(bench, "before_feed", "2026-04-01", "1.4")
    read(bench, "after_feed", "2026-04-02", "5.6")
    read(bench, "routine", "2026-04-04", "3.0")
    bench.measure()
    assert bench.rows("reasons", "code") == []


def test_low_ec_of_a_young_lot_asks_for_nothing(bench: Bench) -> None:
    bench.lots("lot_code | started_on\nA | 2026-03-25")
    read(bench, "before_feed", "2026-04-01", "1.4")
    read(bench, "after_feed", "2026-04-02", "3.0")
    bench.measure()
    assert bench.rows("reasons", "code, level", PAIR) == [("pair_clearly_out", "note")]
    assert bench.rows("attention", "level, score") == [("ok", 0.0)]
