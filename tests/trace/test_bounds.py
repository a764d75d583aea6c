"""A side that EC got from biased pots is traced to these pots and their sum."""

from __future__ import annotations

from pipeline.trace import trace_lot
from pipeline.trace.figures import TracedFigure
from tests.sql.bench import Bench, settings_of, site


def ec_of(bench: Bench, *pots: tuple[str, str]) -> TracedFigure:
    """The EC of the one sampling of an active lot (2.5-4.5 mS/cm, 30 mL), from EC and leachate of each pot."""
    bench.lots()
    bench.readings("ec_ms_cm | leachate_ml\n" + "\n".join(f"{ec} | {volume}" for ec, volume in pots))
    bench.build_traced()
    trace = trace_lot(bench.connection, settings_of(site()), "north", "A")
    (figure,) = [figure for figure in trace.samplings[0].figures if figure.quantity == "ec"]
    return figure


def test_over_collected_and_still_high(bench: Bench) -> None:
    # The pot with 10 mL may read too high and is left out: 4.8 + 4.9 + 5.0 + 5.1 + 5.2 = 25.
    pots = [("4.8", "50"), ("4.9", "50"), ("5.0", "50"), ("5.1", "50"), ("5.2", "30"), ("9.0", "10")]
    figure = ec_of(bench, *pots)
    assert figure.verdict.startswith("out, high")
    which, total = figure.arithmetic[-3:-1]
    assert which.startswith(
        "judged from the pots that are not under-collected; they may read too low, not too high: 4.8 ("
    )
    assert [f"line {number})" in which for number in range(1, 7)] == [True] * 5 + [False]
    assert total == (
        "sum 25 / 5 pots = 5.0000, the true mean is no lower; "
        "against the edge on exact sums: 25 beside 4.5 × 5 = 22.5"
    )


def test_under_collected_and_still_low(bench: Bench) -> None:
    figure = ec_of(bench, *[("2.0", "10")] * 5, ("0.1", "60"))
    assert figure.verdict.startswith("out, low")
    assert "not over-collected; they may read too high, not too low: 2 (" in figure.arithmetic[-2]
    assert "line 6)" not in figure.arithmetic[-2]
    assert figure.arithmetic[-1] == (
        "sum 10 / 5 pots = 2.0000, the true mean is no higher; "
        "against the edge on exact sums: 10 beside 2.5 × 5 = 12.5"
    )


def test_a_judged_ec_has_no_such_line(bench: Bench) -> None:
    # 5.9 less 0.35, the interval of pots all alike, is beyond 4.5; so is 5.175, 15 % above it.
    figure = ec_of(bench, *[("5.9", "30")] * 5)
    assert figure.verdict.startswith("clearly out, high")
    assert not any("judged from the pots" in step for step in figure.arithmetic)
