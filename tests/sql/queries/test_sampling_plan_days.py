"""The plan by day: lots, pots and minutes, and the lots of each day."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from pipeline.settings.policy import PolicyPeriod
from tests.sql.bench import Bench


def days(bench: Bench) -> list[tuple[object, ...]]:
    bench.build("sampling_plan", "standing_lots")
    return bench.run("queries/sampling_plan_days")


def two_lots(bench: Bench) -> None:
    """Read on 30 March: A in range, a plug lot due every three days, a nursery lot never read and due last week."""
    bench.lots(
        "lot_code | container_class | started_on | ends_on\n"
        "A | pot_4in | 2026-02-02 | -\nP | plug | 2026-02-02 | 2026-04-09\nN | nursery | 2026-03-23 | -"
    )
    bench.readings(
        "lot_code | n_pots | ph | ec_ms_cm | sampled_on\nA | 5 | 6.0 | 3.0 | 2026-03-30\n"
        "P | 5 | 6.0 | 3.0 | 2026-04-05"
    )


def test_days_with_lots_pots_and_minutes(bench: Bench) -> None:
    two_lots(bench)
    assert days(bench) == [
        # what is overdue stands on the as-of day
        ("north", 1, date(2026, 4, 6), 1, 3, Decimal("12.00")),
        ("north", 1, date(2026, 4, 8), 1, 5, Decimal("20.00")),
        ("north", 2, date(2026, 4, 13), 1, 5, Decimal("20.00")),
        ("north", 3, date(2026, 4, 20), 1, 3, Decimal("12.00")),
        ("north", 4, date(2026, 4, 27), 1, 5, Decimal("20.00")),
    ]


def test_lots_of_one_day_are_counted_once_and_minutes_are_the_policy_s(bench: Bench) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), minutes_per_pot=Decimal("2.5"))])
    bench.lots("lot_code\nA\nB")
    for lot in "AB":
        bench.pots("6 6 6 6 6", lot_code=lot, sampled_on="2026-04-01")
    assert days(bench) == [
        ("north", 2, date(2026, 4, 15), 2, 10, Decimal("25.00")),
        ("north", 4, date(2026, 4, 29), 2, 10, Decimal("25.00")),
    ]


def test_a_site_without_lots_plans_nothing(bench: Bench) -> None:
    assert days(bench) == []


def test_the_lots_of_each_day_with_what_is_late(bench: Bench) -> None:
    two_lots(bench)
    bench.build("sampling_plan", "standing_lots")
    found = [(row[2], row[4], row[5], row[6], row[10]) for row in bench.run("queries/planned_samplings")]
    assert found[:3] == [
        ("N", date(2026, 4, 6), date(2026, 3, 30), "first", 7),
        ("P", date(2026, 4, 8), date(2026, 4, 8), "routine", None),
        ("A", date(2026, 4, 13), date(2026, 4, 13), "routine", None),
    ]
