"""Pairs around a feeding: when the day before and the day of feeding are one sampling."""

from __future__ import annotations

from datetime import date

import pytest

from tests.sql.bench import Bench, site

FIVE, FOUR = "6 6 6 6 6", "6 6 6 6"


def pair(bench: Bench, before: str, after: str, *pots: str) -> list[tuple[str, str]]:
    first, second = pots or (FIVE, FIVE)
    bench.lots()
    bench.pots(first, sampled_on=before, purpose="before_feed")
    bench.pots(second, sampled_on=after, purpose="after_feed")
    return bench.rows("feed_pairs", "before_on::varchar, after_on::varchar")


@pytest.mark.parametrize(
    ("after", "is_one"),
    [("2026-03-29", False), ("2026-03-30", True), ("2026-03-31", True), ("2026-04-01", False)],
)
def test_the_second_day_follows_the_first(bench: Bench, after: str, is_one: bool) -> None:
    assert bool(pair(bench, "2026-03-30", after)) == is_one


@pytest.mark.parametrize("pots", [(FOUR, FIVE), (FIVE, FOUR)])
def test_both_samplings_count(bench: Bench, pots: tuple[str, str]) -> None:
    assert pair(bench, "2026-03-30", "2026-03-31", *pots) == []


@pytest.mark.parametrize(
    ("closed", "after", "is_one"),
    [
        (("2026-03-31",), "2026-04-01", True),
        (("2026-03-31",), "2026-04-02", False),
        (("2026-03-31", "2026-04-01"), "2026-04-02", True),
        # longer apart, nobody holds them against each other
        (("2026-03-31", "2026-04-01", "2026-04-02"), "2026-04-03", False),
    ],
)
def test_days_without_sampling_are_passed_over(
    bench: Bench, closed: tuple[str, ...], after: str, is_one: bool
) -> None:
    bench.use(site().model_copy(update={"holidays": tuple(map(date.fromisoformat, closed))}))
    assert bool(pair(bench, "2026-03-30", after)) == is_one


def test_of_two_first_days_the_later_one(bench: Bench) -> None:
    bench.lots()
    bench.pots(FIVE, sampled_on="2026-03-29", purpose="before_feed")
    bench.pots(FIVE, sampled_on="2026-03-30", purpose="before_feed")
    bench.pots(FIVE, sampled_on="2026-03-30", purpose="after_feed")
    assert bench.rows("feed_pairs", "before_on::varchar") == [("2026-03-30",)]
