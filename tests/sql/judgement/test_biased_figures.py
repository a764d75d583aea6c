"""EC of pots that can lean one way only."""

from __future__ import annotations

from tests.sql.bench import Bench


def test_pots_that_lean_the_other_way_are_left_out(bench: Bench) -> None:
    bench.lots()
    # Within the tolerance; over and far over; under and far under.
    bench.readings("leachate_ml | ec_ms_cm\n30 | 1\n37 | 2\n50 | 3\n20 | 4\n10 | 5\n- | 6")
    assert bench.rows("biased_figures", "leaning, n, sum_x::double") == [
        ("reads_high", 4, 1 + 4 + 5 + 6),
        ("reads_low", 4, 1 + 2 + 3 + 6),
    ]


def test_pots_without_ec_at_25_degrees_are_left_out(bench: Bench) -> None:
    bench.lots()
    bench.readings("ec_ms_cm | ec_compensated\n3 | true\n- | true\n3 | false")
    assert bench.rows("biased_figures", "leaning, n") == [("reads_high", 1), ("reads_low", 1)]


def test_a_summary_line_weighs_its_pots(bench: Bench) -> None:
    bench.lots()
    bench.readings("n_pots | ec_ms_cm | leachate_ml\n5 | 3 | 50")
    assert bench.rows("biased_figures", "leaning, n, sum_x::double") == [("reads_low", 5, 15.0)]
