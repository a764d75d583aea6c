"""The plan of the next four weeks."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from pipeline.settings.benches import Feeding
from pipeline.settings.policy import PolicyPeriod
from pipeline.settings.words import WeekDay
from tests.sql.bench import Bench, site
from tests.sql.conftest import Begin

PLAN = "plan_on::varchar, why"


def sampled(bench: Bench, ph: str = "6.0", **lot: str) -> None:
    """A lot with one counting sampling, on Monday 30 March: the next is due on Monday 13 April."""
    bench.lots(" | ".join(("lot_code", *lot)) + "\n" + " | ".join(("A", *lot.values())))
    bench.pots(f"{ph} " * 5)


def test_routine_samplings_of_28_days(bench: Bench) -> None:
    sampled(bench)
    columns = "lot_key, house, plan_on::varchar, due_on::varchar, why, purposes, pots, minutes"
    same = ("routine", "routine", 5, Decimal("20.00"))
    assert bench.rows("sampling_plan", columns) == [
        ("a", "1", "2026-04-13", "2026-04-13", *same),
        ("a", "1", "2026-04-27", "2026-04-27", *same),
    ]


@pytest.mark.parametrize(("as_of", "days"), [("2026-04-16", 2), ("2026-04-17", 1), ("2026-03-31", 2)])
def test_the_28th_day_is_the_last(begin: Begin, as_of: str, days: int) -> None:
    bench = begin(date.fromisoformat(as_of))
    bench.lots("started_on | ends_on\n2026-04-06 | -")
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), first_within_days=9)])
    # First on the 15th; the 28th day from 16 April on is 13 May, 27 days later.
    expected = {"2026-04-16": ["2026-04-16", "2026-04-30"], "2026-04-17": ["2026-04-17", "2026-05-01"]}
    found = [day for (day,) in bench.rows("sampling_plan", "plan_on::varchar")]
    assert found == expected.get(as_of, [])


@pytest.mark.parametrize(("ends", "days"), [("2026-04-26", 1), ("2026-04-27", 2), ("2026-04-12", 0)])
def test_nothing_is_planned_after_the_lots_end(bench: Bench, ends: str, days: int) -> None:
    sampled(bench, ends_on=ends)
    assert len(bench.rows("sampling_plan", PLAN)) == days


@pytest.mark.parametrize(
    ("weekdays", "first"),
    [((), "2026-04-06"), (("monday",), "2026-04-07"), (("monday", "tuesday"), "2026-04-08")],
)
def test_what_is_overdue_comes_on_the_next_open_day(
    bench: Bench, weekdays: tuple[WeekDay, ...], first: str
) -> None:
    bench.use(site().model_copy(update={"no_sampling": weekdays}))
    bench.lots()
    found = bench.rows("sampling_plan", "plan_on::varchar, why, due_on < date '2026-02-10'")
    assert found[0] == (first, "first", True)


def test_overdue_with_no_open_day_in_sight_comes_today(bench: Bench) -> None:
    days = tuple(date.fromordinal(date(2026, 4, 6).toordinal() + n) for n in range(200))
    bench.use(site().model_copy(update={"holidays": days}))
    bench.lots()
    assert bench.rows("sampling_plan", PLAN)[0] == ("2026-04-06", "first")


def test_closed_days_bring_planned_samplings_forward(bench: Bench) -> None:
    bench.use(site().model_copy(update={"holidays": (date(2026, 4, 13), date(2026, 4, 26))}))
    sampled(bench)
    # Sunday the 12th for the 13th; 14 days on is the 26th, which is closed too.
    assert bench.rows("sampling_plan", PLAN) == [("2026-04-12", "routine"), ("2026-04-25", "routine")]


def test_where_every_day_up_to_the_next_is_closed_it_stays(bench: Bench) -> None:
    closed = tuple(date(2026, 4, day) for day in (6, 7, 8))
    bench.use(site().model_copy(update={"holidays": closed}))
    bench.lots("container_class | started_on\nplug | 2026-03-29")
    # First on Sunday 5 April is overdue, the 9th is the next open day, then every three days.
    found = bench.rows("sampling_plan", "plan_on::varchar")
    assert found[:3] == [("2026-04-09",), ("2026-04-12",), ("2026-04-15",)]


def test_a_closed_span_longer_than_the_interval_moves_no_sampling_later(bench: Bench) -> None:
    closed = tuple(date(2026, 4, day) for day in (9, 10, 11, 12))
    bench.use(site().model_copy(update={"holidays": closed}))
    bench.lots("container_class | started_on\nplug | 2026-03-31")
    found = [day for (day,) in bench.rows("sampling_plan", "plan_on::varchar")]
    assert found[:4] == ["2026-04-07", "2026-04-08", "2026-04-11", "2026-04-14"]


def test_every_listed_due_is_planned(bench: Bench) -> None:
    sampled(bench, ph="5.0")
    bench.pots("5", purpose="affected")
    assert bench.rows("sampling_plan", "plan_on::varchar, why, purposes, pots, minutes") == [
        ("2026-04-06", "after_out", "retest", 5, Decimal("20.00")),
        # due on 2 April, overdue
        ("2026-04-06", "symptoms", "affected,healthy", 10, Decimal("40.00")),
        # the retest answers the routine sampling of 13 April, and the interval begins anew with it
        ("2026-04-20", "routine", "routine", 5, Decimal("20.00")),
    ]


def test_a_retest_whose_wait_is_not_over_is_a_sampling_of_its_own(bench: Bench) -> None:
    sampled(bench)
    bench.load_file("treatments", "treated_on | treatment\n2026-04-06 | lime_drench")
    # Routine on 13 April, the lime is waited for until the 16th; from there the interval begins anew.
    assert bench.rows("sampling_plan", PLAN) == [
        ("2026-04-13", "routine"),
        ("2026-04-16", "after_treatment"),
        ("2026-04-30", "routine"),
    ]


def test_a_routine_sampling_answers_a_retest_whose_wait_is_over(bench: Bench) -> None:
    sampled(bench)
    bench.load_file("treatments", "treated_on | treatment\n2026-04-06 | acid_feed")
    assert bench.rows("sampling_plan", PLAN) == [("2026-04-13", "after_treatment"), ("2026-04-27", "routine")]


def test_a_retest_serves_as_the_routine_sampling_of_its_day(bench: Bench) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), problem_crops=("poinsettia",))])
    sampled(bench, ph="5.0")
    assert bench.rows("sampling_plan", PLAN)[:2] == [
        ("2026-04-06", "after_out"),
        ("2026-04-13", "problem_crop"),
    ]


def test_of_two_retests_on_one_day_the_ruling_one_is_planned(bench: Bench) -> None:
    sampled(bench, ph="5.0")
    bench.load_file("treatments", "treated_on | treatment\n2026-03-29 | leaching")
    # after the treatment: 31 March; after out: 6 April
    assert bench.rows("sampling_plan", "plan_on::varchar, why, due_on::varchar", "purposes = 'retest'") == [
        ("2026-04-06", "after_treatment", "2026-03-31")
    ]


def test_a_pair_around_a_feeding(bench: Bench) -> None:
    bench.use(
        site().model_copy(update={"feedings": (Feeding(weekdays=("thursday",)),)}),
        policy=[PolicyPeriod(valid_from=date(2026, 1, 1), feed_pair_crops=("poinsettia",))],
    )
    sampled(bench, feed_mode="periodic")
    # The pair stands for the routine sampling of 13 April; the next is around the last feeding of the 14 days after it.
    assert bench.rows("sampling_plan", "plan_on::varchar, due_on::varchar, purposes, pots") == [
        ("2026-04-08", "2026-04-08", "before_feed", 5),
        ("2026-04-09", "2026-04-09", "after_feed", 5),
        ("2026-04-22", "2026-04-22", "before_feed", 5),
        ("2026-04-23", "2026-04-23", "after_feed", 5),
    ]


@pytest.mark.parametrize(
    ("feeding", "planned"),
    [
        # The routine sampling of 13 April comes first; taken, it lets the pair go.
        (
            Feeding(weekdays=("thursday",)),
            [
                ("2026-04-13", "2026-04-13", "routine"),
                ("2026-04-15", "2026-04-08", "before_feed"),
                ("2026-04-16", "2026-04-09", "after_feed"),
            ],
        ),
        # No feeding is known to come: the next two days on which the site samples.
        (
            Feeding(days=(date(2026, 4, 9),)),
            [("2026-04-10", "2026-04-08", "before_feed"), ("2026-04-13", "2026-04-09", "after_feed")],
        ),
    ],
)
def test_a_pair_that_is_overdue_waits_for_the_next_feeding(
    begin: Begin, feeding: Feeding, planned: list[tuple[str, str, str]]
) -> None:
    bench = begin(date(2026, 4, 10))
    bench.use(
        site().model_copy(update={"feedings": (feeding,), "no_sampling": ("saturday", "sunday")}),
        policy=[PolicyPeriod(valid_from=date(2026, 1, 1), feed_pair_crops=("poinsettia",))],
    )
    sampled(bench, feed_mode="periodic")
    found = bench.rows("sampling_plan", "plan_on::varchar, due_on::varchar, purposes")
    assert found[: len(planned)] == planned


@pytest.mark.parametrize(
    ("fed", "planned"),
    [
        # Out in a pair of 1 and 2 April: by 9 April a retest, or another pair that is whole by then.
        ("2026-04-09", [("2026-04-08", "before_feed"), ("2026-04-09", "after_feed")]),
        # One that ends a day later comes too late to be the repetition, and stands for the routine sampling alone.
        (
            "2026-04-10",
            [("2026-04-09", "before_feed"), ("2026-04-09", "retest"), ("2026-04-10", "after_feed")],
        ),
    ],
)
def test_the_retest_after_a_pair_is_answered_by_another_that_is_whole_in_time(
    bench: Bench, fed: str, planned: list[tuple[str, str]]
) -> None:
    bench.use(
        site().model_copy(update={"feedings": (Feeding(days=(date.fromisoformat(fed),)),)}),
        policy=[PolicyPeriod(valid_from=date(2026, 1, 1), feed_pair_crops=("poinsettia",))],
    )
    bench.lots("feed_mode\nperiodic")
    for day, purpose in (("2026-04-01", "before_feed"), ("2026-04-02", "after_feed")):
        bench.pots("5.0 " * 5, sampled_on=day, purpose=purpose)
    assert bench.rows("sampling_plan", "plan_on::varchar, purposes", "plan_on < '2026-04-15'") == planned


def test_excused_samplings_are_not_planned(bench: Bench) -> None:
    sampled(bench, container_class="plug")
    bench.load_file(
        "exemptions",
        "from_on | until_on | purpose\n2026-04-01 | 2026-04-05 | -\n2026-04-10 | 2026-04-15 | routine",
    )
    found = [day for (day,) in bench.rows("sampling_plan", "plan_on::varchar")]
    # 2 and 5 April are excused, and so are the 11th and the 14th.
    assert found[:3] == ["2026-04-08", "2026-04-17", "2026-04-20"]


def test_minutes_by_the_policy(bench: Bench) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), minutes_per_pot=Decimal("2.5"))])
    bench.lots("container_class\nnursery")
    assert bench.rows("sampling_plan", "pots, minutes")[0] == (3, Decimal("7.50"))
