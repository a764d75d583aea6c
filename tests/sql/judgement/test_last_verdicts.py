"""Verdicts of the last counting sampling of each standing lot."""

from __future__ import annotations

from tests.sql.bench import Bench


def test_two_rows_for_the_last_counting_sampling(bench: Bench) -> None:
    bench.lots()
    bench.readings(
        """
        sampled_on | n_pots | ph
        2026-03-16 | 5      | 5.0
        2026-03-23 | 5      | 5.1
        2026-03-30 | 4      | 6.0
        """
    )
    assert bench.rows(
        "last_verdicts", "quantity, sampled_on::varchar, side, in_a_row, since_on::varchar"
    ) == [
        ("ec", "2026-03-23", "in_range", 0, None),
        ("ph", "2026-03-23", "low", 2, "2026-03-16"),
    ]


def test_a_quantity_that_is_not_judged_has_no_row_of_samplings(bench: Bench) -> None:
    bench.lots()
    bench.readings("n_pots | ec_ms_cm\n5 | -")
    assert bench.rows("last_verdicts", "side, in_a_row, are_last_two_beyond_margin", "quantity = 'ec'") == [
        (None, 0, False)
    ]


def test_lots_that_never_counted_or_ended_have_none(bench: Bench) -> None:
    bench.lots("lot_code | ends_on\nA | -\nB | 2026-04-01")
    bench.readings("lot_code | n_pots\nA | 4\nB | 5")
    assert bench.rows("last_verdicts", "lot_key") == []
