"""Who needs somebody, and in which order."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from pipeline.settings.policy import PolicyPeriod
from tests.sql.bench import Bench


def order(bench: Bench) -> list[str]:
    """Lots in order of attention."""
    return [str(lot) for _, lot in bench.rows("attention", "rank, lot_key")]


def read(bench: Bench, **ph_of: str) -> None:
    """One sampling of five equal pots for each lot."""
    lines = "\n".join(f"{lot} | {ph}" for lot, ph in ph_of.items() for _ in range(5))
    bench.readings(f"lot_code | ph\n{lines}")


def test_levels_come_first(bench: Bench) -> None:
    bench.lots("lot_code\nok\nunread\nact\nwatch")
    read(bench, ok="6.0", act="5.0", watch="5.7")
    assert bench.rows("attention", "rank, lot_key, level") == [
        (1, "act", "act"),
        (2, "unread", "no_reading"),
        (3, "watch", "watch"),
        (4, "ok", "ok"),
    ]


def test_a_note_alone_leaves_a_lot_ok(bench: Bench) -> None:
    bench.lots("started_on\n2026-03-20")
    bench.pots("1 1 1 1 1", quantity="ec_ms_cm")
    assert bench.rows("attention", "level, score") == [("ok", 0.0)]


def test_the_score_is_steps_beyond_the_edge_times_one_and_the_number_in_a_row(bench: Bench) -> None:
    bench.lots()
    for day in ("2026-03-16", "2026-03-23", "2026-03-30"):
        bench.pots("5.4 5.4 5.4 5.4 5.4", sampled_on=day)
    # 0.4 pH below 5.8 are two steps, third in a row.
    assert bench.rows("attention", "score") == [(pytest.approx(2 * (1 + 3)),)]


@pytest.mark.parametrize(
    ("ends", "ec", "score"),
    [
        # 1.5 mS/cm above 4.5 are three steps, the first in a row; read in the last 21 days they weigh half as much more
        ("2026-04-19", "6.0", 1.5 * 3 * 2),
        ("2026-04-20", "6.0", 3 * 2),
        # low EC is a note then, and has no score
        ("2026-04-19", "1.0", 0.0),
    ],
)
def test_a_high_ec_weighs_more_while_finishing(bench: Bench, ends: str, ec: str, score: float) -> None:
    bench.lots(f"ends_on\n{ends}")
    bench.pots(" ".join([ec] * 5), quantity="ec_ms_cm")
    assert bench.rows("attention", "score") == [(pytest.approx(score),)]


def test_a_ph_weighs_the_same_while_finishing(bench: Bench) -> None:
    bench.lots("ends_on\n2026-04-19")
    bench.pots("5.4 5.4 5.4 5.4 5.4")
    assert bench.rows("attention", "score") == [(pytest.approx(2 * 2),)]


def test_the_weight_is_the_policys(bench: Bench) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), finishing_high_ec_weight=Decimal(1))])
    bench.lots("ends_on\n2026-04-19")
    bench.pots("6 6 6 6 6", quantity="ec_ms_cm")
    assert bench.rows("attention", "score") == [(pytest.approx(3 * 2),)]


def test_the_larger_quantity_makes_the_score(bench: Bench) -> None:
    bench.lots()
    # 0.2 pH below 5.8 is one step; 1.5 mS/cm above 4.5 are three; each the first in a row.
    bench.readings("n_pots | ph | ec_ms_cm\n5 | 5.6 | 6.0")
    assert bench.rows("attention", "score") == [(pytest.approx(3 * 2),)]


def test_at_least_scores_by_the_pots_that_decide(bench: Bench) -> None:
    bench.lots()
    bench.pots("5.5 5.5 5.5 5.5 5.5", quantity="ec_ms_cm", leachate_ml="50")
    assert bench.rows("attention", "score") == [(pytest.approx(2 * 2),)]


def test_further_out_comes_first(bench: Bench) -> None:
    bench.lots("lot_code\nnear\nfar")
    read(bench, near="5.3", far="5.0")
    assert order(bench) == ["far", "near"]


def test_then_more_plants(bench: Bench) -> None:
    bench.lots("lot_code | plants\nunknown | -\nfew | 10\nmany | 5000")
    read(bench, unknown="5.0", few="5.0", many="5.0")
    assert order(bench) == ["many", "few", "unknown"]


def test_then_the_nearer_end(bench: Bench) -> None:
    bench.lots("lot_code | ends_on\nopen | -\nlate | 2026-06-30\nsoon | 2026-04-08")
    read(bench, open="5.0", late="5.0", soon="5.0")
    assert bench.rows("attention", "rank, lot_key, days_to_end") == [
        (1, "soon", 2),
        (2, "late", 85),
        (3, "open", None),
    ]


def test_then_site_and_lot(bench: Bench) -> None:
    bench.lots("lot_code\nb\na")
    read(bench, b="5.0", a="5.0")
    assert order(bench) == ["a", "b"]
