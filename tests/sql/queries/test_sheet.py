"""What sampling sheets read from the warehouse: dues up to a day with their recipe, and the meters seen lately."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from pipeline.settings.containers import ContainerChange
from pipeline.settings.policy import PolicyPeriod
from pipeline.warehouse.query import SHEET_DAYS, fetch_sheet
from tests.sql.bench import AS_OF, Bench
from tests.sql.conftest import Begin


def asked(bench: Bench, until: date | None = None) -> list[dict[str, Any]]:
    bench.measure()
    bench.build("dues", "calibrations", "meter_days")
    return fetch_sheet(bench.connection, until).lots.to_dicts()


def left_out(bench: Bench) -> list[tuple[Any, ...]]:
    bench.measure()
    bench.build("dues", "calibrations", "meter_days")
    names = ("lot_id", "why", "due_on", "because", "because_until", "reason", "person")
    return fetch_sheet(bench.connection).left_out.select(names).rows()


def seen(bench: Bench) -> list[str]:
    bench.build("calibrations", "meter_days", "dues")
    meters: list[str] = fetch_sheet(bench.connection).meters["meter_id"].to_list()
    return meters


def named(rows: list[dict[str, Any]]) -> list[tuple[str, str]]:
    return [(row["lot_id"], row["why"]) for row in rows]


def test_a_due_comes_with_its_lot_and_the_recipe_of_its_container(bench: Bench) -> None:
    bench.lots(
        "lot_code | bench | cultivar | container_class | started_on\nA | B1 | Star | nursery | 2026-04-01"
    )
    (row,) = asked(bench)
    assert {name: row[name] for name in ("lot_id", "house", "bench", "crop", "cultivar", "plants")} == {
        "lot_id": "A",
        "house": "1",
        "bench": "B1",
        "crop": "poinsettia",
        "cultivar": "Star",
        "plants": 1000,
    }
    assert (row["why"], row["due_on"], row["purposes"], row["pots"], row["nth"]) == (
        "first",
        date(2026, 4, 8),
        "routine",
        3,
        1,
    )
    assert [row[name] for name in ("pour_ml", "leachate_low_ml", "leachate_high_ml")] == [120, 50, 50]
    assert [row[name] for name in ("drain_low_min", "drain_high_min", "minutes_per_pot")] == [30, 120, 4]


@pytest.mark.parametrize(("started_on", "is_asked"), [("2026-04-05", True), ("2026-04-06", False)])
def test_by_default_the_dues_of_six_days_on_belong_on_it(
    bench: Bench, started_on: str, is_asked: bool
) -> None:
    assert SHEET_DAYS == 6
    bench.lots(f"started_on\n{started_on}")
    assert bool(asked(bench)) == is_asked
    assert fetch_sheet(bench.connection).until == date(2026, 4, 12)


@pytest.mark.parametrize(
    ("until", "lots"), [(date(2026, 4, 1), []), (date(2026, 4, 8), ["A"]), (date(2026, 4, 30), ["A", "B"])]
)
def test_another_day_asks_for_what_is_due_up_to_it(bench: Bench, until: date, lots: list[str]) -> None:
    bench.lots("lot_code | started_on\nA | 2026-04-01\nB | 2026-04-04")
    assert [row["lot_id"] for row in asked(bench, until)] == lots


def test_what_is_overdue_is_always_asked_for(bench: Bench) -> None:
    bench.lots("started_on\n2026-02-02")
    assert named(asked(bench, AS_OF)) == [("A", "first")]


def test_what_is_excused_is_not_asked_for(bench: Bench) -> None:
    bench.lots("lot_code | started_on\nA | 2026-04-01\nB | 2026-04-01")
    bench.load_file(
        "exemptions", "lot_code | from_on | until_on | entered_on\nA | 2026-04-01 | 2026-04-20 | 2026-04-01"
    )
    assert [row["lot_id"] for row in asked(bench)] == ["B"]
    assert left_out(bench) == [
        ("A", "first", date(2026, 4, 8), "excused", date(2026, 4, 20), "sold out", "Ann"),
    ]


def test_an_excuse_that_has_ended_keeps_nothing_off(bench: Bench) -> None:
    bench.lots("lot_code | started_on\nA | 2026-03-20")
    bench.load_file(
        "exemptions", "lot_code | from_on | until_on | entered_on\nA | 2026-03-20 | 2026-04-05 | 2026-03-20"
    )
    assert (left_out(bench), len(asked(bench))) == ([], 1)


def test_a_lot_that_ships_before_its_due_day_is_not_asked_for(bench: Bench) -> None:
    bench.lots("lot_code | started_on | ends_on\nA | 2026-04-01 | 2026-04-07\nB | 2026-04-01 | 2026-04-08")
    assert [row["lot_id"] for row in asked(bench)] == ["B"]
    assert left_out(bench) == [("A", "first", date(2026, 4, 8), "ships_first", date(2026, 4, 7), None, None)]


def test_the_recipe_is_that_of_the_policy_in_force_tonight(bench: Bench) -> None:
    later = {"pot_4in": ContainerChange(pour_ml=Decimal(45), leachate_high_ml=Decimal(40))}
    bench.use(
        policy=[
            PolicyPeriod(valid_from=date(2026, 4, 6), containers=later, minutes_per_pot=Decimal(6)),
            PolicyPeriod(
                valid_from=date(2026, 4, 7), containers={"pot_4in": ContainerChange(pour_ml=Decimal(99))}
            ),
        ]
    )
    bench.lots("started_on\n2026-04-01")
    (row,) = asked(bench)
    assert (row["pour_ml"], row["leachate_high_ml"], row["minutes_per_pot"]) == (45, 40, 6)


def test_every_due_of_a_lot_is_listed_in_the_order_of_its_rank(bench: Bench) -> None:
    bench.lots()
    bench.pots("5.7 " * 5, leachate_ml="30")
    rows = asked(bench, date(2026, 4, 30))
    assert [(row["why"], row["nth"]) for row in rows] == [("after_out", 1), ("routine", 2)]


def test_meters_of_the_last_sixty_days_are_named_once(begin: Begin) -> None:
    bench = begin(AS_OF)
    bench.lots("started_on\n2026-01-01")
    bench.calibrations("meter_id | calibrated_on\nM1 | 2026-03-30\nM2 | 2026-02-06\nM3 | 2026-02-05")
    bench.readings("sampled_on | meter_id\n2026-03-25 | m1\n2026-02-06 | M4\n2026-02-05 | M5")
    assert seen(bench) == ["M1", "M2", "M4"]


def test_without_meters_none_is_named(bench: Bench) -> None:
    bench.lots()
    assert seen(bench) == []
