"""Samplings that ought to happen, and how the one that rules stands: dues and due_states."""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.settings.policy import PolicyPeriod
from tests.sql.bench import Bench
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
