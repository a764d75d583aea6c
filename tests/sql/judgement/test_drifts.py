"""Means that moved the same way from sampling to sampling."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.sql.bench import Bench

FOUND = "quantity, direction, samplings, first_mean, last_mean"


def drift(bench: Bench, *means: str, quantity: str = "ph") -> list[tuple[object, ...]]:
    """Drifts of a lot whose weekly samplings have these means."""
    bench.lots()
    days = [date(2026, 2, 9) + timedelta(weeks=week) for week in range(len(means))]
    lines = "\n".join(f"{day} | 5 | {mean}" for day, mean in zip(days, means, strict=True))
    bench.readings(f"sampled_on | n_pots | {'ph' if quantity == 'ph' else 'ec_ms_cm'}\n{lines}")
    return bench.rows("drifts", FOUND)


def test_three_moves_the_same_way_are_a_drift(bench: Bench) -> None:
    assert drift(bench, "5.9", "6.0", "6.05", "6.1") == [("ph", "rising", 4, 5.9, 6.1)]


def test_two_moves_are_none(bench: Bench) -> None:
    assert drift(bench, "5.9", "6.0", "6.1") == []


@pytest.mark.parametrize(("last", "found"), [("6.099", 0), ("6.1", 1)])
def test_together_they_make_a_step_at_least(bench: Bench, last: str, found: int) -> None:
    assert len(drift(bench, "5.9", "5.95", "6.0", last)) == found


@pytest.mark.parametrize(("last", "found"), [("3.499", 0), ("3.5", 1)])
def test_a_step_of_ec_is_half_a_millisiemens(bench: Bench, last: str, found: int) -> None:
    assert len(drift(bench, "3.0", "3.1", "3.2", last, quantity="ec")) == found


def test_falling(bench: Bench) -> None:
    assert drift(bench, "6.2", "6.1", "6.0", "5.9") == [("ph", "falling", 4, 6.2, 5.9)]


def test_only_the_moves_up_to_the_last_sampling_count(bench: Bench) -> None:
    assert drift(bench, "6.2", "5.8", "5.9", "6.0", "6.1") == [("ph", "rising", 4, 5.8, 6.1)]


@pytest.mark.parametrize("means", [("5.8", "6.0", "6.2", "6.1"), ("5.8", "6.0", "6.2", "6.2")])
def test_a_last_move_back_or_none_is_no_drift(bench: Bench, means: tuple[str, ...]) -> None:
    assert drift(bench, *means) == []


def test_a_sampling_that_does_not_count_is_passed_over(bench: Bench) -> None:
    bench.lots()
    bench.readings(
        "sampled_on | n_pots | ph\n2026-03-02 | 5 | 5.8\n2026-03-09 | 5 | 5.9\n2026-03-12 | 4 | 5.0\n"
        "2026-03-16 | 5 | 6.0\n2026-03-23 | 5 | 6.1"
    )
    assert bench.rows("drifts", FOUND) == [("ph", "rising", 4, 5.8, 6.1)]
