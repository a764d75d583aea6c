"""Samplings that ought to happen, and how the one that rules stands: dues and due_states.

What closed days and excuses make of them stands in test_due_days.py.
"""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.settings.benches import Feeding
from pipeline.settings.policy import PolicyPeriod
from tests.sql.bench import Bench, site
from tests.sql.conftest import Begin

DUE = "why, due_on::varchar, nth"
STATE = "why, due_on::varchar, state, days_overdue"


def sampled(bench: Bench, ph: str = "6.0", **lot: str) -> None:
    """A lot with one counting sampling, on 30 March."""
    bench.lots(" | ".join(("lot_code", *lot)) + "\n" + " | ".join(("A", *lot.values())))
    bench.pots(f"{ph} " * 5, leachate_ml="50" if lot.get("container_class") == "nursery" else "30")


def test_the_first_sampling_within_7_days_of_the_start(bench: Bench) -> None:
    bench.lots("started_on\n2026-04-03")
    assert bench.rows("dues", f"{DUE}, interval_days") == [("first", "2026-04-10", 1, 7)]


def test_a_sampling_that_does_not_count_leaves_the_first_one_due(bench: Bench) -> None:
    bench.lots()
    bench.pots("6 6 6 6")
    assert bench.rows("dues", DUE) == [("first", "2026-02-09", 1)]


@pytest.mark.parametrize(
    ("container", "due_on"), [("plug", "2026-04-02"), ("cell_pack", "2026-04-13"), ("nursery", "2026-04-13")]
)
def test_routine_samplings_every_14_days_and_of_plugs_every_3(
    bench: Bench, container: str, due_on: str
) -> None:
    sampled(bench, container_class=container)
    assert bench.rows("dues", DUE) == [("routine", due_on, 1)]


def test_problem_crops_every_7_days(bench: Bench) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), problem_crops=("poinsettia",))])
    sampled(bench)
    assert bench.rows("dues", DUE) == [("problem_crop", "2026-04-06", 1)]


def test_after_out_of_range_in_7_days_with_the_routine_beside(bench: Bench) -> None:
    sampled(bench, ph="5.7")
    assert bench.rows("dues", DUE) == [("after_out", "2026-04-06", 1), ("routine", "2026-04-13", 2)]


def test_close_to_the_limit_asks_for_nothing_more(bench: Bench) -> None:
    bench.lots()
    bench.pots("5.7 5.9 5.8 5.9 5.8")
    assert bench.rows("dues", DUE) == [("routine", "2026-04-13", 1)]


@pytest.mark.parametrize(("started", "dues"), [("2026-03-20", 1), ("2026-02-02", 2)])
def test_low_ec_outside_active_asks_for_nothing_more(bench: Bench, started: str, dues: int) -> None:
    bench.lots(f"started_on\n{started}")
    bench.pots("1 1 1 1 1", quantity="ec_ms_cm")
    assert len(bench.rows("dues", DUE)) == dues


def test_of_two_dues_on_one_day_the_one_after_out_rules(bench: Bench) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), problem_crops=("poinsettia",))])
    sampled(bench, ph="5.7")
    assert bench.rows("dues", "nth, why") == [(1, "after_out"), (2, "problem_crop")]


def test_a_plug_lot_out_of_range_is_due_by_its_routine_first(bench: Bench) -> None:
    sampled(bench, ph="5.0", container_class="plug")
    assert bench.rows("dues", "nth, why") == [(1, "routine"), (2, "after_out")]


def test_a_treatment_on_the_day_of_the_sampling_or_since_takes_the_place_of_after_out(bench: Bench) -> None:
    sampled(bench, ph="5.0")
    bench.load_file("treatments", "treated_on | treatment\n2026-03-30 | leaching")
    assert bench.rows("dues", f"{DUE}, not_before::varchar, caused_on::varchar, interval_days, purposes") == [
        ("after_treatment", "2026-04-01", 1, "2026-04-01", "2026-03-30", 2, "retest"),
        ("routine", "2026-04-13", 2, None, "2026-03-30", 14, "routine"),
    ]


def test_a_treatment_before_the_sampling_that_was_out_takes_nobodys_place(bench: Bench) -> None:
    sampled(bench, ph="5.0")
    bench.load_file("treatments", "treated_on | treatment\n2026-03-29 | leaching")
    # read a day before the wait was over: both are asked for
    assert [row[0] for row in bench.rows("dues", "why")] == ["after_out", "after_treatment", "routine"]


@pytest.mark.parametrize(
    ("again", "purpose", "pots", "is_asked"),
    [
        ("2026-04-03", "retest", "6 6 6 6 6", True),
        ("2026-04-04", "retest", "6 6 6 6", True),
        ("2026-04-04", "affected", "6 6 6 6 6", True),
        ("2026-04-04", "retest", "6 6 6 6 6", False),
        ("2026-04-05", "routine", "6 6 6 6 6", False),
    ],
)
def test_after_a_treatment_until_it_was_read_again_once_its_wait_was_over(
    bench: Bench, again: str, purpose: str, pots: str, is_asked: bool
) -> None:
    sampled(bench)
    bench.load_file("treatments", "treated_on | treatment\n2026-04-01 | bicarbonate")
    bench.pots(pots, sampled_on=again, purpose=purpose)
    found = bench.rows("dues", "rule_on::varchar, pots", "why = 'after_treatment'")
    assert found == ([("2026-04-04", 5)] if is_asked else [])


def test_the_last_treatment_gives_the_day_of_the_retest(bench: Bench) -> None:
    sampled(bench)
    bench.load_file("treatments", "treated_on | treatment\n2026-03-31 | lime_drench\n2026-04-05 | leaching")
    assert bench.rows("dues", "due_on::varchar", "why = 'after_treatment'") == [("2026-04-07",)]


# Symptoms ------------------------------------------------------------------------------------------


def test_affected_plants_ask_for_affected_and_healthy_ones_within_3_days(bench: Bench) -> None:
    bench.lots()
    bench.pots("6 6 6 6 6")
    bench.readings("ph | condition\n5.0 | affected")
    found = bench.rows("dues", f"{DUE}, caused_on::varchar, interval_days, purposes, pots", "nth = 1")
    assert found == [("symptoms", "2026-04-02", 1, "2026-03-30", 3, "affected,healthy", 10)]


def test_symptoms_of_nursery_stock_ask_for_as_many_pots(bench: Bench) -> None:
    bench.lots("container_class\nnursery")
    bench.pots("5", purpose="affected")
    assert bench.rows("dues", "pots", "why = 'symptoms'") == [(10,)]


# Pairs around a feeding ----------------------------------------------------------------------------

FED = "why, rule_on::varchar, due_on::varchar, purposes, pots"


def feeding(bench: Bench, *feedings: Feeding, **facts: object) -> None:
    """The site feeds so; pansy is on the problem list, poinsettia only read in pairs."""
    policy = PolicyPeriod(
        valid_from=date(2026, 1, 1), problem_crops=("pansy",), feed_pair_crops=("poinsettia",)
    )
    bench.use(site().model_copy(update={"feedings": feedings, **facts}), policy=[policy])


def test_a_pair_around_the_last_feed_day_before_the_routine_sampling(bench: Bench) -> None:
    feeding(bench, Feeding(weekdays=("thursday",)))
    sampled(bench, feed_mode="periodic")
    # Routine on Monday 13 April; the last Thursday before is the 9th.
    assert bench.rows("dues", FED) == [
        ("feed_pair", "2026-04-08", "2026-04-08", "before_feed,after_feed", 10),
        ("routine", "2026-04-13", "2026-04-13", "routine", 5),
    ]
    assert bench.select("dues", "why", "nth = 1") == [("feed_pair",)]


@pytest.mark.parametrize(
    ("lot", "is_asked"),
    [
        ({"feed_mode": "periodic"}, True),
        ({"feed_mode": "periodic", "crop": "pansy"}, True),
        ({"feed_mode": "constant"}, False),
        ({"feed_mode": "periodic", "crop": "salvia"}, False),
        ({"feed_mode": "periodic", "house": "2"}, False),
        ({"feed_mode": "periodic", "lot_code": "B"}, False),
        ({"feed_mode": "periodic", "house": "10"}, False),
    ],
)
def test_which_lots_are_read_in_pairs(bench: Bench, lot: dict[str, str], is_asked: bool) -> None:
    feeding(bench, Feeding(house="1", lots=("a",), weekdays=("thursday",)))
    bench.lots(" | ".join(lot) + "\n" + " | ".join(lot.values()))
    assert bool(bench.rows("dues", "why", "why = 'feed_pair'")) == is_asked


@pytest.mark.parametrize(
    ("day", "first"),
    [
        # the day before feeding comes after the last sampling
        ("2026-03-31", None),
        ("2026-04-01", "2026-03-31"),
        # and feeding at the latest on the day of the routine sampling
        ("2026-04-13", "2026-04-12"),
        ("2026-04-14", None),
    ],
)
def test_feed_days_between_the_last_sampling_and_the_next(bench: Bench, day: str, first: str | None) -> None:
    feeding(bench, Feeding(days=(date.fromisoformat(day),)))
    sampled(bench, feed_mode="periodic")
    found = bench.rows("dues", "rule_on::varchar", "why = 'feed_pair'")
    assert found == ([] if first is None else [(first,)])


def test_no_pair_around_a_feed_day_on_which_the_site_does_not_sample(bench: Bench) -> None:
    feeding(bench, Feeding(weekdays=("thursday",)), holidays=(date(2026, 4, 9),))
    sampled(bench, feed_mode="periodic")
    assert bench.rows("dues", FED, "why = 'feed_pair'")[0][1] == "2026-04-01"


def test_a_pair_is_one_sampling_for_the_next_routine_one(bench: Bench) -> None:
    feeding(bench, Feeding(weekdays=("thursday",)))
    sampled(bench, feed_mode="periodic")
    bench.pots("6 6 6 6 6", sampled_on="2026-04-01", purpose="before_feed")
    assert len(bench.rows("dues", "why", "caused_on = '2026-03-30'")) == 2
    bench.pots("6 6 6 6 6", sampled_on="2026-04-02", purpose="after_feed")
    assert bench.rows("dues", "why, rule_on::varchar") == [
        ("feed_pair", "2026-04-15"),
        ("routine", "2026-04-16"),
    ]
    # Rows and trends go by its routine samplings all the same.
    assert bench.select("standing_lots", "last_counting_on::varchar, last_due_base_on::varchar") == [
        ("2026-03-30", "2026-04-02")
    ]


@pytest.mark.parametrize(
    ("as_of", "closed", "before", "asked"),
    [
        # Fed on Thursday the 9th: the first half is taken, the second is asked for on its day, until that has passed.
        ("2026-04-08", (), "2026-04-08", ("2026-04-09", "after_feed", 5)),
        ("2026-04-09", (), "2026-04-08", ("2026-04-09", "after_feed", 5)),
        ("2026-04-10", (), "2026-04-08", ("2026-04-08", "before_feed,after_feed", 10)),
        # One that was taken a day too early, with a day open between, begins no pair.
        ("2026-04-08", (), "2026-04-07", ("2026-04-08", "before_feed,after_feed", 10)),
        ("2026-04-08", ("2026-04-08",), "2026-04-07", ("2026-04-09", "after_feed", 5)),
        # One on the day of feeding itself may still be followed by the other half.
        ("2026-04-09", (), "2026-04-09", ("2026-04-09", "after_feed", 5)),
    ],
)
def test_half_a_pair_asks_for_the_other_half(
    begin: Begin, as_of: str, closed: tuple[str, ...], before: str, asked: tuple[object, ...]
) -> None:
    bench = begin(date.fromisoformat(as_of))
    feeding(bench, Feeding(weekdays=("thursday",)), holidays=tuple(map(date.fromisoformat, closed)))
    sampled(bench, feed_mode="periodic")
    bench.pots("6 6 6 6 6", sampled_on=before, purpose="before_feed")
    assert bench.rows("dues", "rule_on::varchar, purposes, pots", "why = 'feed_pair'") == [asked]


def test_half_a_pair_with_too_few_pots_is_none(bench: Bench) -> None:
    feeding(bench, Feeding(weekdays=("monday",)))
    sampled(bench, feed_mode="periodic", container_class="pot_5_6in")
    bench.pots("6 6 6 6", sampled_on="2026-04-05", purpose="before_feed")
    assert bench.rows("dues", "purposes", "why = 'feed_pair'") == [("before_feed,after_feed",)]


def test_a_lot_first_read_in_a_pair_has_no_first_sampling_to_come(bench: Bench) -> None:
    bench.lots()
    bench.pots("6 6 6 6 6", sampled_on="2026-04-01", purpose="before_feed")
    bench.pots("6 6 6 6 6", sampled_on="2026-04-02", purpose="after_feed")
    assert bench.rows("dues", DUE) == [("routine", "2026-04-16", 1)]


# Lots with few plants -------------------------------------------------------------------------------


@pytest.mark.parametrize(("plants", "pots"), [("-", 5), ("0", 1), ("3", 3), ("5", 5), ("900", 5)])
def test_no_more_pots_are_asked_for_than_there_are_plants(bench: Bench, plants: str, pots: int) -> None:
    bench.lots(f"plants\n{plants}")
    bench.pots("6 6", purpose="affected")
    assert bench.rows("dues", "why, pots") == [("first", pots), ("symptoms", 2 * pots)]
    assert set(bench.rows("sampling_plan", "pots", "purposes = 'routine'")) == {(pots,)}


# States --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("as_of", "state", "days"),
    [
        (date(2026, 4, 6), "not_yet", None),
        (date(2026, 4, 7), "due_this_week", None),
        (date(2026, 4, 13), "due_this_week", None),
        (date(2026, 4, 14), "overdue", 1),
        (date(2026, 5, 1), "overdue", 18),
    ],
)
def test_due_this_week_is_today_and_the_six_days_after(
    begin: Begin, as_of: date, state: str, days: int | None
) -> None:
    bench = begin(as_of)
    sampled(bench)
    assert bench.rows("due_states", STATE) == [("routine", "2026-04-13", state, days)]


def test_never_sampled_where_the_first_date_has_passed(bench: Bench) -> None:
    bench.lots()
    assert bench.rows("due_states", STATE) == [("first", "2026-02-09", "never_sampled", 56)]


@pytest.mark.parametrize("purpose", ["routine", "affected"])
def test_overdue_and_not_never_sampled_after_any_sampling(bench: Bench, purpose: str) -> None:
    bench.lots()
    bench.pots("6 6", purpose=purpose)
    assert bench.rows("due_states", "state") == [("overdue",)]


def test_a_new_lot_is_not_yet_never_sampled(bench: Bench) -> None:
    bench.lots("started_on\n2026-03-30")
    assert bench.rows("due_states", STATE) == [("first", "2026-04-06", "due_this_week", None)]


@pytest.mark.parametrize(("ends", "state"), [("2026-04-12", "ships_first"), ("2026-04-13", "not_yet")])
def test_a_lot_that_ships_before_its_due_ships_first(bench: Bench, ends: str, state: str) -> None:
    sampled(bench, ends_on=ends)
    assert bench.rows("due_states", "state, days_overdue") == [(state, None)]


def test_pots_to_take_by_container(bench: Bench) -> None:
    bench.lots("lot_code | container_class\nA | pot_4in\nB | nursery")
    assert bench.rows("due_states", "lot_key, pots") == [("a", 5), ("b", 3)]


WEEKLY = {"valid_from": date(2026, 1, 1), "containers": {"cell_pack": {"routine_interval_days": 7}}}


@pytest.mark.parametrize(
    ("as_of", "state"),
    [
        # Every 7 days: 6 April is excused, the 13th is the next. It is told once it is near, though the excuse holds.
        ("2026-04-06", "excused"),
        ("2026-04-07", "due_this_week"),
        ("2026-04-08", "due_this_week"),
    ],
)
def test_an_excuse_hides_no_sampling_of_this_week(begin: Begin, as_of: str, state: str) -> None:
    bench = begin(date.fromisoformat(as_of))
    sampled(bench, container_class="cell_pack")
    bench.use(policy=[PolicyPeriod.model_validate(WEEKLY)])
    bench.load_file("exemptions", "from_on | until_on\n2026-04-01 | 2026-04-08")
    assert bench.rows("due_states", "state, due_on::varchar") == [(state, "2026-04-13")]
