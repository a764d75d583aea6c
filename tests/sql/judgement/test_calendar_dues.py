"""Samplings that calendars show: each on the day on which it can be taken, and which of a lot's dues need their own."""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.programme.calendar_events import AskedSampling, choose_samplings
from pipeline.settings.benches import Feeding
from pipeline.settings.policy import PolicyPeriod
from pipeline.warehouse.calendar_tables import fetch_calendar_dues
from tests.sql.bench import AS_OF, Bench, site
from tests.sql.conftest import Begin

SHOWN = "why, due_on::varchar, starts_on::varchar, days_overdue"


def sampled(on_bench: Bench, on: str = "2026-03-30", ph: str = "6 6 6 6 6", **lot: str) -> None:
    """A lot with one counting sampling, by default on Monday 30 March: the next is due on Monday 13 April."""
    on_bench.lots(" | ".join(("lot_code", *lot)) + "\n" + " | ".join(("A", *lot.values())))
    on_bench.pots(ph, sampled_on=on)


def chosen(bench: Bench) -> list[tuple[str, str]]:
    """The dues that get an event: why and day."""
    bench.build("calendar_dues")
    rows = fetch_calendar_dues(bench.connection).to_dicts()
    return sorted(
        (one.why, one.starts_on.isoformat()) for one in choose_samplings(AskedSampling(**row) for row in rows)
    )


def closed(bench: Bench, *days: str, weekdays: tuple[str, ...] = ()) -> None:
    facts = {"holidays": tuple(map(date.fromisoformat, days)), "no_sampling": weekdays}
    bench.use(site().model_copy(update=facts))


def test_what_is_due_stands_on_its_day_with_all_that_a_calendar_tells(bench: Bench) -> None:
    sampled(bench, bench="B1", cultivar="Red", house="2", container_class="pot_5_6in")
    assert bench.rows("calendar_dues", "*") == [
        (
            "north", "a", "A", "2", "B1", "poinsettia", "Red", "routine", "routine", date(2026, 4, 13),
            None, date(2026, 3, 30), date(2026, 4, 13), 0, 5, 1, 20,
        )
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("last", "shown"),
    [
        ("2026-03-22", [("routine", "2026-04-05", "2026-04-06", 1)]),
        ("2026-03-23", [("routine", "2026-04-06", "2026-04-06", 0)]),
        ("2026-03-01", [("routine", "2026-03-15", "2026-04-06", 22)]),
    ],
)
def test_what_is_overdue_stands_on_the_night_s_day(bench: Bench, last: str, shown: list[object]) -> None:
    sampled(bench, last)
    assert bench.rows("calendar_dues", SHOWN) == shown


def test_what_is_overdue_on_a_closed_day_stands_on_the_next_open_one(bench: Bench) -> None:
    closed(bench, "2026-04-07", weekdays=("monday",))
    sampled(bench, "2026-03-20")
    assert bench.rows("calendar_dues", SHOWN) == [("routine", "2026-04-03", "2026-04-08", 3)]


def test_without_an_open_day_in_four_weeks_it_stands_on_the_night_s_day(bench: Bench) -> None:
    days = [date.fromordinal(AS_OF.toordinal() + n).isoformat() for n in range(28)]
    closed(bench, *days)
    sampled(bench, "2026-03-20")
    assert bench.rows("calendar_dues", "starts_on::varchar") == [("2026-04-06",)]


@pytest.mark.parametrize(("days", "is_shown"), [(27, True), (28, False)])
def test_four_weeks_are_shown(bench: Bench, days: int, is_shown: bool) -> None:
    bench.use(site(), policy=[PolicyPeriod.model_validate(_interval(days))])
    sampled(bench, "2026-04-06")
    assert bool(bench.rows("calendar_dues", SHOWN)) is is_shown


def _interval(days: int) -> dict[str, object]:
    return {"valid_from": date(2026, 1, 1), "containers": {"pot_4in": {"routine_interval_days": days}}}


@pytest.mark.parametrize(
    ("ends_on", "last", "is_shown"),
    [
        ("2026-04-12", "2026-03-30", False),
        ("2026-04-13", "2026-03-30", True),
        ("2026-04-06", "2026-03-20", True),
    ],
)
def test_a_lot_that_ships_first_is_not_shown(bench: Bench, ends_on: str, last: str, is_shown: bool) -> None:
    sampled(bench, last, ends_on=ends_on)
    assert bool(bench.rows("calendar_dues", SHOWN)) is is_shown


def test_what_is_excused_is_not_shown_and_what_follows_it_is(bench: Bench) -> None:
    sampled(bench)
    bench.load_file("exemptions", "from_on | until_on\n2026-04-10 | 2026-04-20")
    assert bench.rows("calendar_dues", SHOWN) == [("routine", "2026-04-27", "2026-04-27", 0)]


def test_the_earlier_of_two_that_one_sampling_answers_is_shown(bench: Bench) -> None:
    sampled(bench, ph="5 5 5 5 5")
    assert bench.rows("dues", "why, due_on::varchar") == [
        ("after_out", "2026-04-06"),
        ("routine", "2026-04-13"),
    ]
    assert chosen(bench) == [("after_out", "2026-04-06")]


@pytest.mark.parametrize(
    ("treated_on", "shown"),
    [
        # The wait is over on the 16th, after the routine sampling: that one cannot answer it.
        ("2026-04-06", [("after_treatment", "2026-04-16"), ("routine", "2026-04-13")]),
        # On the 13th itself, and before: one sampling answers both.
        ("2026-04-03", [("after_treatment", "2026-04-13")]),
        ("2026-03-31", [("after_treatment", "2026-04-10")]),
    ],
)
def test_a_retest_is_not_answered_while_its_wait_lasts(
    bench: Bench, treated_on: str, shown: list[tuple[str, str]]
) -> None:
    sampled(bench)
    bench.load_file("treatments", f"treated_on | treatment\n{treated_on} | lime_drench")
    assert chosen(bench) == shown


def test_both_overdue_are_taken_on_one_day(bench: Bench) -> None:
    """Also where the rules asked for them one after the other, and the wait of the later one is over by now."""
    sampled(bench, "2026-03-09")
    bench.load_file("treatments", "treated_on | treatment\n2026-03-20 | lime_drench")
    assert bench.rows("dues", "why, due_on::varchar") == [
        ("after_treatment", "2026-03-30"),
        ("routine", "2026-03-23"),
    ]
    assert chosen(bench) == [("routine", "2026-04-06")]


def test_affected_plants_are_shown_beside_the_routine(bench: Bench) -> None:
    sampled(bench, "2026-03-24")
    bench.pots("6", purpose="affected", sampled_on="2026-04-05")
    assert bench.rows("calendar_dues", "why, starts_on::varchar, pots, minutes::varchar") == [
        ("routine", "2026-04-07", 5, "20.00"),
        ("symptoms", "2026-04-08", 10, "40.00"),
    ]
    assert chosen(bench) == [("routine", "2026-04-07"), ("symptoms", "2026-04-08")]


def test_a_pair_around_a_feeding_stands_for_the_routine(bench: Bench) -> None:
    facts = {"feedings": (Feeding(weekdays=("thursday",)),)}
    policy = [PolicyPeriod(valid_from=date(2026, 1, 1), feed_pair_crops=("poinsettia",))]
    bench.use(site().model_copy(update=facts), policy=policy)
    sampled(bench, feed_mode="periodic")
    assert bench.rows("dues", "why, due_on::varchar") == [
        ("feed_pair", "2026-04-08"),
        ("routine", "2026-04-13"),
    ]
    assert chosen(bench) == [("feed_pair", "2026-04-08"), ("feed_pair", "2026-04-09")]
    assert bench.rows("calendar_dues", "purposes, starts_on::varchar, pots", "why = 'feed_pair'") == [
        ("after_feed", "2026-04-09", 5),
        ("before_feed", "2026-04-08", 5),
    ]


def test_lots_and_sites_do_not_answer_for_each_other(begin: Begin) -> None:
    bench = begin(AS_OF)
    bench.use(site(), site("south"))
    for site_id in ("north", "south"):
        bench.load_file("lots", "lot_code\nA\nB", mode="cumulative", site_id=site_id)
    bench.load_file("readings", "lot_code\n" + "A\n" * 5 + "B\n" * 5, site_id="north", same={"ph": "5"})
    assert [why for why, _ in chosen(bench)] == ["after_out", "after_out", "first", "first"]


def test_the_minutes_are_the_policy_s(bench: Bench) -> None:
    bench.use(site(), policy=[PolicyPeriod(valid_from=date(2026, 1, 1), minutes_per_pot=2.5)])
    sampled(bench)
    assert bench.rows("calendar_dues", "minutes::varchar") == [("12.50",)]
