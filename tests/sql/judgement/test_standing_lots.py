"""Lots that stand on the as-of date, their stage, their interval, their last sampling."""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.settings.containers import ContainerChange
from pipeline.settings.policy import PolicyPeriod
from tests.sql.bench import Bench


def test_a_lot_stands_from_its_start_to_its_end(bench: Bench) -> None:
    bench.lots(
        """
        lot_code | started_on | ends_on
        new      | 2026-04-06 | -
        early    | 2026-04-07 | -
        last-day | 2026-02-02 | 2026-04-06
        over     | 2026-02-02 | 2026-04-05
        """
    )
    assert bench.rows("standing_lots", "lot_id") == [("last-day",), ("new",)]


def test_a_lot_whose_line_cannot_be_used_does_not_stand(bench: Bench) -> None:
    bench.lots("problem\nmissing")
    assert bench.rows("standing_lots", "lot_id") == []


def test_stage_on_the_as_of_date(bench: Bench) -> None:
    bench.lots(
        """
        lot_code | started_on | ends_on
        a        | 2026-03-24 | -
        b        | 2026-03-23 | -
        c        | 2026-02-02 | 2026-04-27
        d        | 2026-02-02 | 2026-04-26
        e        | 2026-03-24 | 2026-04-10
        """
    )
    assert bench.rows("standing_lots", "lot_id, stage") == [
        ("a", "establishing"),
        ("b", "active"),
        ("c", "active"),
        ("d", "finishing"),
        ("e", "establishing"),
    ]


def test_the_interval_of_the_container_class_with_grace_from_14_days(bench: Bench) -> None:
    bench.lots("lot_code | container_class\na | plug\nb | pot_4in\nc | nursery")
    assert bench.rows("standing_lots", "lot_id, interval_days, grace_days") == [
        ("a", 3, 0),
        ("b", 14, 2),
        ("c", 14, 2),
    ]


@pytest.mark.parametrize(("container", "days"), [("pot_4in", 7), ("plug", 3)])
def test_a_problem_crop_has_the_shorter_interval_and_no_grace(
    bench: Bench, container: str, days: int
) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), problem_crops=("Petunia",))])
    bench.lots(f"lot_code | crop | container_class\nA | petunia | {container}\nB | pansy | {container}")
    found = bench.rows("standing_lots", "lot_id, is_problem_crop, interval_days, grace_days", "lot_id = 'A'")
    assert found == [("A", True, days, 0)]
    assert bench.select("standing_lots", "is_problem_crop", "lot_id = 'B'") == [(False,)]


@pytest.mark.parametrize(("since", "days"), [("2026-04-06", 10), ("2026-04-07", 14)])
def test_the_policy_of_the_as_of_date_holds(bench: Bench, since: str, days: int) -> None:
    change = {"pot_4in": ContainerChange(routine_interval_days=10)}
    bench.use(policy=[PolicyPeriod(valid_from=date.fromisoformat(since), containers=change)])
    bench.lots()
    assert bench.rows("standing_lots", "interval_days") == [(days,)]


def test_the_last_counting_sampling_is_a_routine_or_a_retest_with_enough_pots(bench: Bench) -> None:
    bench.lots()
    bench.readings(
        """
        sampled_on | purpose  | n_pots
        2026-03-20 | routine  | 5
        2026-03-23 | retest   | 5
        2026-03-30 | routine  | 4
        2026-04-02 | affected | 5
        """
    )
    columns = "last_counting_on::varchar, last_counting_purpose, last_any_on::varchar"
    assert bench.rows("standing_lots", columns) == [("2026-03-23", "retest", "2026-04-02")]


def test_a_retest_on_the_day_of_a_routine_sampling_is_the_last_word(bench: Bench) -> None:
    bench.lots()
    bench.readings("purpose | n_pots\nroutine | 5\nretest | 5")
    assert bench.rows("standing_lots", "last_counting_purpose") == [("retest",)]


def test_a_lot_that_was_never_sampled_has_no_last_sampling(bench: Bench) -> None:
    bench.lots()
    assert bench.rows("standing_lots", "last_counting_on, last_counting_purpose, last_any_on") == [
        (None, None, None)
    ]
