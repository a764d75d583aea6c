"""Feedings around which a lot can be read, against days that the site keeps free."""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.settings.benches import Feeding
from pipeline.settings.policy import PolicyPeriod
from tests.sql.bench import Bench, site

POLICY = [PolicyPeriod(valid_from=date(2026, 1, 1), feed_pair_crops=("poinsettia",))]


@pytest.mark.parametrize(
    ("weekday", "closed", "fed_on", "before_on"),
    [
        ("thursday", (), "2026-04-09", "2026-04-08"),
        # The weekend is passed over: Friday is held against Monday.
        ("monday", ("saturday", "sunday"), "2026-04-13", "2026-04-10"),
        # Thursday and Monday lie too far apart to be held against each other.
        ("monday", ("friday", "saturday", "sunday"), None, None),
        # Nobody samples on the day of feeding itself.
        ("thursday", ("thursday",), None, None),
    ],
)
def test_the_day_before_is_an_open_one_and_near(
    bench: Bench, weekday: str, closed: tuple[str, ...], fed_on: str | None, before_on: str | None
) -> None:
    bench.use(
        site().model_copy(update={"feedings": (Feeding(weekdays=(weekday,)),), "no_sampling": closed}),
        policy=POLICY,
    )
    bench.lots("lot_code | feed_mode | started_on\nA | periodic | 2026-04-05")
    found = bench.rows("feedings", "fed_on::varchar, before_on::varchar", "fed_on > date '2026-04-06'")
    assert found[:1] == ([] if fed_on is None else [(fed_on, before_on)])


def test_without_such_a_feeding_no_pair_is_asked_for(bench: Bench) -> None:
    """What list and sheet ask for can be a whole pair: never two days that nothing holds against each other."""
    bench.use(
        site().model_copy(
            update={
                "feedings": (Feeding(weekdays=("monday",)),),
                "no_sampling": ("friday", "saturday", "sunday"),
            }
        ),
        policy=POLICY,
    )
    bench.lots("lot_code | feed_mode | started_on\nA | periodic | 2026-03-02")
    bench.pots("6.0 " * 5)
    assert bench.rows("dues", "why") == [("routine",)]


def test_only_lots_that_are_fed_now_and_then_and_asked_for_have_feedings(bench: Bench) -> None:
    bench.use(site().model_copy(update={"feedings": (Feeding(weekdays=("thursday",)),)}), policy=POLICY)
    bench.lots(
        "lot_code | feed_mode | crop\nA | periodic | petunia\nB | constant | poinsettia\nC | periodic | poinsettia"
    )
    assert bench.rows("feedings", "distinct lot_key") == [("c",)]


def test_an_overdue_pair_names_the_next_feeding(bench: Bench) -> None:
    """Monday 6 April: the pair around Thursday 2 April was not taken, the one around the 9th still can be."""
    bench.use(site().model_copy(update={"feedings": (Feeding(weekdays=("thursday",)),)}), policy=POLICY)
    bench.lots("lot_code | feed_mode | started_on\nA | periodic | 2026-02-20")
    bench.pots("6.0 " * 5, sampled_on="2026-03-20")
    columns = "why, due_on::varchar, next_before_on::varchar, next_fed_on::varchar"
    assert bench.rows("dues", columns) == [
        ("feed_pair", "2026-04-01", "2026-04-08", "2026-04-09"),
        ("routine", "2026-04-03", None, None),
    ]
