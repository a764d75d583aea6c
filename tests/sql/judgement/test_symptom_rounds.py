"""Rounds of affected plants: from the first note until they were held against healthy ones."""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.settings.policy import PolicyPeriod
from tests.sql.bench import Bench

ROUND = "noted_on::varchar, closed_on::varchar, closed_by"
FIVE = "6 6 6 6 6"


def read(bench: Bench, *samplings: tuple[str, str, str]) -> None:
    """Samplings of one lot: day, purpose, pots."""
    bench.lots()
    for day, purpose, pots in samplings:
        bench.pots(pots, sampled_on=f"2026-{day}", purpose=purpose)


def rounds(bench: Bench) -> list[tuple[str | None, ...]]:
    return bench.rows("symptom_rounds", ROUND)


@pytest.mark.parametrize("purpose", ["routine", "affected"])
def test_a_round_opens_with_the_first_affected_plant(bench: Bench, purpose: str) -> None:
    bench.lots()
    for day in ("2026-03-30", "2026-04-01"):
        bench.readings(f"sampled_on | purpose | condition\n{day} | {purpose} | affected")
    assert rounds(bench) == [("2026-03-30", None, None)]


@pytest.mark.parametrize("purpose", ["healthy", "routine", "before_feed"])
def test_healthy_plants_open_none(bench: Bench, purpose: str) -> None:
    read(bench, ("03-30", purpose, FIVE))
    assert rounds(bench) == []


@pytest.mark.parametrize(
    ("affected", "healthy", "closed_on"),
    [
        (("03-31", FIVE), ("03-31", FIVE), "2026-03-31"),
        (("03-31", FIVE), ("04-03", FIVE), "2026-04-03"),
        (("04-02", FIVE), ("03-31", FIVE), "2026-04-02"),
        # too far apart to be held against each other, too few pots, healthy ones from before
        (("03-31", FIVE), ("04-04", FIVE), None),
        (("03-31", "6 6 6 6"), ("03-31", FIVE), None),
        (("03-31", FIVE), ("03-31", "6 6 6 6"), None),
        (("03-31", FIVE), ("03-29", FIVE), None),
    ],
)
def test_closed_by_affected_and_healthy_plants(
    bench: Bench, affected: tuple[str, str], healthy: tuple[str, str], closed_on: str | None
) -> None:
    read(
        bench,
        ("03-30", "affected", "6"),
        (affected[0], "affected", affected[1]),
        (healthy[0], "healthy", healthy[1]),
    )
    assert rounds(bench)[0] == ("2026-03-30", closed_on, closed_on and "compared")


@pytest.mark.parametrize(
    ("day", "purpose", "pots", "is_closed"),
    [
        ("03-30", "routine", FIVE, True),
        ("03-30", "retest", FIVE, True),
        ("03-30", "routine", "6 6 6 6", False),
        ("03-31", "routine", FIVE, False),
        ("03-30", "before_feed", FIVE, False),
    ],
)
def test_a_routine_sampling_of_the_same_day_serves_as_healthy(
    bench: Bench, day: str, purpose: str, pots: str, is_closed: bool
) -> None:
    read(bench, ("03-30", "affected", FIVE), (day, purpose, pots))
    assert rounds(bench) == [("2026-03-30", *(("2026-03-30", "compared") if is_closed else (None, None)))]


def test_the_next_note_opens_the_next_round(bench: Bench) -> None:
    read(
        bench,
        ("03-16", "affected", FIVE),
        ("03-16", "healthy", FIVE),
        ("03-18", "affected", "6"),
        ("03-20", "affected", FIVE),
        # healthy ones of before the note do not answer the new round
        ("03-17", "healthy", FIVE),
        ("03-22", "healthy", FIVE),
        ("04-01", "affected", "6"),
    )
    assert rounds(bench) == [
        ("2026-03-16", "2026-03-16", "compared"),
        ("2026-03-18", "2026-03-22", "compared"),
        ("2026-04-01", None, None),
    ]


@pytest.mark.parametrize(("day", "is_closed"), [("03-30", False), ("03-31", True)])
def test_looked_at_again_after_the_days_for_which_a_note_is_spoken_of(
    bench: Bench, day: str, is_closed: bool
) -> None:
    # The last note is of 16 March, and 14 days go by.
    read(bench, ("03-02", "affected", "6"), ("03-16", "affected", "6"), (day, "routine", FIVE))
    closed = (f"2026-{day}", "looked_again") if is_closed else (None, None)
    assert rounds(bench) == [("2026-03-02", *closed)]


@pytest.mark.parametrize(("purpose", "pots"), [("healthy", FIVE), ("routine", "6 6 6 6")])
def test_days_alone_close_no_round(bench: Bench, purpose: str, pots: str) -> None:
    read(bench, ("02-09", "affected", "6"), ("04-01", purpose, pots))
    assert rounds(bench) == [("2026-02-09", None, None)]


def test_pots_and_days_by_the_policy_of_the_first_note(bench: Bench) -> None:
    bench.use(
        policy=[
            PolicyPeriod(valid_from=date(2026, 3, 1), affected_pots=6, symptoms_within_days=2),
            PolicyPeriod(valid_from=date(2026, 3, 20), affected_pots=2, symptoms_within_days=5),
        ]
    )
    read(
        bench,
        ("03-16", "affected", FIVE),
        ("03-16", "healthy", FIVE),
        ("03-25", "affected", f"{FIVE} 6"),
        ("03-25", "healthy", f"{FIVE} 6"),
        ("04-01", "affected", "6"),
    )
    # Two pots would not count as a sampling, so five are asked for.
    assert bench.rows("symptom_rounds", "noted_on::varchar, pots_each, symptoms_within_days") == [
        ("2026-03-16", 6, 2),
        ("2026-04-01", 5, 5),
    ]
