"""What is said of a due: which rule, when, why; moved off closed days; excused, and too late."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from pipeline.reports.wording import Wording
from pipeline.reports.wording_dues import choose_listed, list_closed

WORDS = Wording("%-d %B")
AS_OF = date(2026, 4, 6)


def due(why: str, due_on: date, **changes: Any) -> dict[str, Any]:
    """One row of the query `dues` with the as-of date beside it."""
    row: dict[str, Any] = {
        "why": why,
        "rule_on": due_on,
        "due_on": due_on,
        "not_before": None,
        "caused_on": date(2026, 4, 1),
        "interval_days": 7,
        "purposes": "routine",
        "pots": 5,
        "is_excused": False,
        "is_on_closed_day": False,
        "excused_until": None,
        "excuse_reason": None,
        "excused_by": None,
        "is_excused_late": False,
        "nth": 1,
        "treatments": None,
        "as_of": AS_OF,
    }
    return row | changes


WED, THU = date(2026, 4, 8), date(2026, 4, 9)
FIRST = due("first", WED)
ROUTINE = due("routine", date(2026, 4, 14), caused_on=date(2026, 3, 31), interval_days=14)
PROBLEM = due("problem_crop", WED)
OUT = due("after_out", WED, purposes="retest")
TREATED = due("after_treatment", WED, purposes="retest", treatments="acid_feed")
SYMPTOMS = due("symptoms", THU, caused_on=AS_OF, interval_days=3, purposes="affected,healthy", pots=10)
PAIR = due("feed_pair", WED, purposes="before_feed,after_feed", pots=10)

HALF = due("feed_pair", THU, purposes="after_feed")


@pytest.mark.parametrize(
    ("row", "sentence", "short"),
    [
        (
            FIRST,
            "First sampling due Wed 8 April (started on 1 April, within 7 days).",
            "first sampling Wed 8 April",
        ),
        (
            ROUTINE,
            "Routine sampling due Tue 14 April (last read on 31 March, every 14 days).",
            "routine Tue 14 April",
        ),
        (
            PROBLEM,
            "Routine sampling due Wed 8 April (crop on the problem list, last read on 1 April, every 7 days).",
            "routine Wed 8 April",
        ),
        (OUT, "Retest due Wed 8 April (out of range on 1 April, 7 days).", "retest Wed 8 April"),
        (
            TREATED,
            "Treated, retest due Wed 8 April (acid feed on 1 April, 7 days).",
            "treated, retest due Wed 8 April",
        ),
        (
            SYMPTOMS,
            (
                "Affected and healthy plants, 5 pots each, by Thu 9 April (affected plants noted on 6 April, within 3 "
                "days)."
            ),
            "affected and healthy plants by Thu 9 April",
        ),
        (
            PAIR,
            "The day before and the day of feeding, Wed 8 April and Thu 9 April (a pair is one sampling).",
            "the day before and the day of feeding, Wed 8 April and Thu 9 April",
        ),
        (
            HALF,
            "The day of feeding, Thu 9 April (the day before is read, a pair is one sampling).",
            "the day of feeding, Thu 9 April",
        ),
    ],
)
def test_each_rule_has_its_sentence_and_its_few_words(row: dict[str, Any], sentence: str, short: str) -> None:
    assert WORDS.due(row) == sentence
    assert WORDS.other_dues([{**row, "nth": 2}]) == [short]


@pytest.mark.parametrize(
    ("row", "begins"),
    [
        (OUT, "Retest was due Wed 8 April ("),
        (TREATED, "Treated, retest was due Wed 8 April ("),
        (SYMPTOMS, "Affected and healthy plants, 5 pots each, were due Thu 9 April ("),
        (PAIR, "The day before and the day of feeding were due Wed 8 April and Thu 9 April ("),
    ],
)
def test_what_is_past_was_due(row: dict[str, Any], begins: str) -> None:
    late = {**row, "as_of": date(2026, 4, 20)}
    assert WORDS.due(late).startswith(begins)
    assert WORDS.other_dues([{**late, "nth": 2}])[0].endswith(" (overdue)")


def test_what_was_moved_off_closed_days_says_so() -> None:
    friday = due("routine", date(2026, 4, 3), rule_on=date(2026, 4, 5), as_of=date(2026, 4, 1))
    assert WORDS.due(friday) == (
        "Routine sampling due Fri 3 April (the site does not sample on Sat 4 and Sun 5; last read on "
        "1 April, every 7 days)."
    )
    one = due("routine", date(2026, 4, 3), rule_on=date(2026, 4, 4), as_of=date(2026, 4, 1))
    assert "(the site does not sample on Sat 4; " in WORDS.due(one)
    stays = {**one, "rule_on": one["due_on"], "is_on_closed_day": True}
    assert "(the site does not sample on Fri 3, but no earlier day would do; " in WORDS.due(stays)


def test_a_pair_whose_first_day_was_moved_keeps_the_day_of_feeding() -> None:
    moved = {**PAIR, "due_on": date(2026, 4, 7)}
    assert WORDS.due(moved) == (
        "The day before and the day of feeding, Tue 7 April and Thu 9 April (the site does not sample on Wed 8; "
        "a pair is one sampling)."
    )


def test_closed_days_in_few_words() -> None:
    days = [date(2026, 12, 24) + timedelta(days=number) for number in range(4)]
    assert list_closed(days[:1]) == "Thu 24"
    assert list_closed(days[:3]) == "Thu 24, Fri 25 and Sat 26"
    assert list_closed(days) == "Thu 24 to Sun 27"


EXCUSED = due(
    "routine",
    date(2026, 4, 7),
    is_excused=True,
    excused_until=date(2026, 4, 20),
    excuse_reason="holiday shutdown",
    excused_by="I. Falkner",
    nth=None,
)


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({}, "routine Tue 7 April excused until 20 April (holiday shutdown, I. Falkner)"),
        (
            {"is_excused_late": True},
            "routine Tue 7 April excused until 20 April (holiday shutdown, I. Falkner), entered after it was due",
        ),
        ({"excuse_reason": None, "excused_by": None}, "routine Tue 7 April excused until 20 April"),
        (
            {"excuse_reason": "sold.\nGone" + " x" * 100},
            f"routine Tue 7 April excused until 20 April (sold. Gone{' x' * 34} …, I. Falkner)",
        ),
    ],
)
def test_an_excuse_names_end_reason_and_person_and_whether_it_came_too_late(
    changes: dict[str, Any], text: str
) -> None:
    assert WORDS.other_dues([ROUTINE, EXCUSED | changes]) == [text]


def test_an_excuse_that_stands_beside_the_list_is_not_told_twice() -> None:
    other = {**EXCUSED, "nth": 2, "excuse_reason": "trial"}
    assert WORDS.other_dues([{**EXCUSED, "nth": 2}, other], EXCUSED) == [
        "routine Tue 7 April, excused",
        "routine Tue 7 April excused until 20 April (trial, I. Falkner)",
    ]


def test_a_lot_s_excuse_is_a_sentence() -> None:
    assert WORDS.excuse({**EXCUSED, "is_excused_late": True}) == (
        "Excused until 20 April (holiday shutdown, I. Falkner), entered after it was due."
    )


def test_the_next_due_after_an_excuse_says_so() -> None:
    rolled = {**ROUTINE, "rule_on": date(2026, 4, 28), "due_on": date(2026, 4, 28)}
    assert (
        WORDS.due(rolled)
        == "Routine sampling due Tue 28 April (the next one after an excuse, every 14 days)."
    )


def test_others_stand_by_day_and_one_excuse_is_told_once() -> None:
    rows = [
        {**ROUTINE, "nth": 2},
        {**EXCUSED, "due_on": date(2026, 4, 10)},
        EXCUSED,
        {**OUT, "nth": 1},
        {**SYMPTOMS, "nth": 3},
    ]
    assert [(row["why"], row["due_on"].day) for row in choose_listed(rows)] == [
        ("routine", 7),
        ("symptoms", 9),
        ("routine", 14),
    ]
    assert choose_listed(rows[::-1]) == choose_listed(rows)


def test_the_policy_s_interval_beside_what_is_published() -> None:
    assert WORDS.slack_interval(
        "pot_4in",
        14,
        [("weekly", "A (2000)", "read"), ("weekly", "B", "memory"), ("monthly (EC)", "C", "read")],
    ) == (
        "Policy: 4 inch pots every 14 days. Published: weekly (A (2000), read; B, from memory); monthly, EC (C, read)."
    )
