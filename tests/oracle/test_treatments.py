"""Treatments on homes of a few lines: what is done to which lot, when it is read again, and what moved."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.oracle.small_home import LOT_HEADER, READING_HEADER, lot_named, pots, summary_of

AS_OF = date(2026, 4, 6)
LOTS = (
    "P,2,petunia,pot_4in,2025-12-01,2026-06-08,800\nQ,2,pansy,pot_4in,2025-12-01,2026-06-08,90\n"
    "R,1,pansy,pot_4in,2025-12-01,2026-06-08,90\n"
)
DONE = """
[[export]]
kind = "treatments"
files = "drop/done*.csv"
[export.columns]
lot = "lot"
house = "house"
date = "date"
what = "what"
product = "product"
person = "by"
"""
BEFORE: list[Any] = [(5.2, 2.5, 30), (5.3, 2.5, 30), (5.3, 2.5, 30), (5.4, 2.5, 30), (5.3, 2.5, 30)]
AFTER: list[Any] = [(5.9, 2.5, 30), (6.0, 2.5, 30), (6.0, 2.5, 30), (6.1, 2.5, 30), (6.0, 2.5, 30)]


def treated(home: Path, done: str, readings: str, policy: str = "") -> dict[str, Any]:
    files = {
        "lots.csv": LOT_HEADER + LOTS,
        "readings.csv": READING_HEADER + readings,
        "done.csv": "lot,house,date,what,product,by\n" + done,
    }
    return summary_of(home, [(AS_OF, files)], DONE, policy)


def said(lot: dict[str, Any]) -> list[tuple[str, str | None, str | None]]:
    return [
        (row["code"], row["quantity"], row["side"])
        for row in lot["reasons"]
        if row["code"].startswith("treat") or row["code"] == "retest_missed"
    ]


def test_a_treatment_by_place_is_one_of_every_lot_there(tmp_path: Path) -> None:
    summary = treated(tmp_path, ",2,2026-03-30,acid feed,21-7-7,Ann\nQ,,2026-03-20,leaching,,\n", "")
    assert lot_named(summary, "P")["treatments"] == [
        {"treated_on": "2026-03-30", "what": "acid_feed", "product": "21-7-7", "person": "Ann"}
    ]
    assert [row["what"] for row in lot_named(summary, "Q")["treatments"]] == ["leaching", "acid_feed"]
    assert lot_named(summary, "R")["treatments"] == []


def waits(what: str, days: int) -> tuple[str, int]:
    return f"P,,2026-03-20,{what},,\n", days


@pytest.mark.parametrize(
    ("done", "days"),
    [
        waits("leaching", 2),
        waits("bicarbonate", 3),
        waits("basic feed", 7),
        waits("lime drench", 10),
        waits("iron sulfate", 7),
        # two of one day are one, and the longer wait holds
        ("P,,2026-03-20,leaching,,\nP,,2026-03-20,lime drench,,\n", 10),
        # the last day counts
        ("P,,2026-03-10,lime drench,,\nP,,2026-03-20,leaching,,\n", 2),
    ],
)
@pytest.mark.parametrize("early", [0, 1])
def test_the_waiting_time(tmp_path: Path, done: str, days: int, early: int) -> None:
    # Read on the very day of the treatment: that is before it.
    again = (date(2026, 3, 20) + timedelta(days=days - early)).isoformat()
    summary = treated(tmp_path, done, pots("P", "2026-03-20", BEFORE) + pots("P", again, AFTER))
    # EC is alike everywhere: no clear move. pH rose by 0.7 in every pot: 1 of 252 ways, twice.
    result = [("treatment_result", "ph", "high"), ("treatment_result", "ec", None)]
    assert said(lot_named(summary, "P")) == ([("retest_missed", None, None)] if early else result)


def test_what_moved(tmp_path: Path) -> None:
    summary = treated(
        tmp_path,
        "P,,2026-03-20,bicarbonate,,\n",
        pots("P", "2026-03-18", BEFORE) + pots("P", "2026-03-25", AFTER) + pots("P", "2026-04-01", BEFORE),
    )
    lot = lot_named(summary, "P")
    (moved,) = [
        row for row in lot["contrasts"] if row["comparison"] == "treatment" and row["quantity"] == "ph"
    ]
    assert [moved[name] for name in ("first_on", "second_on", "second_purpose")] == [
        "2026-03-18",
        "2026-03-25",
        "routine",
    ]
    assert moved["difference"] == pytest.approx(-0.7)
    # all five pots of one side are above all five of the other: 2 of 252 ways to deal them out
    assert (moved["p"], moved["word"]) == (pytest.approx(2 / 252), "clear")


@pytest.mark.parametrize(
    ("before", "shows"), [("2026-02-27", True), ("2026-02-26", False), ("2026-03-20", True)]
)
def test_a_sampling_before_is_at_most_21_days_old(tmp_path: Path, before: str, shows: bool) -> None:
    readings = pots("P", before, BEFORE) + pots("P", "2026-03-25", AFTER)
    lot = lot_named(treated(tmp_path, "P,,2026-03-20,bicarbonate,,\n", readings), "P")
    # It was read again, so it waits for nothing, shown or not.
    assert [code for code, *_ in said(lot)] == ["treatment_result"] * (2 if shows else 0)


@pytest.mark.parametrize(("after", "shows"), [("2026-03-09", True), ("2026-03-08", False)])
def test_a_result_is_shown_for_four_weeks(tmp_path: Path, after: str, shows: bool) -> None:
    readings = pots("P", "2026-03-01", BEFORE) + pots("P", after, AFTER)
    lot = lot_named(treated(tmp_path, "P,,2026-03-03,bicarbonate,,\n", readings), "P")
    assert bool(said(lot)) == shows


@pytest.mark.parametrize(("done", "samplings"), [("P,,2026-03-17,leaching,,\n", 1), ("", 5)])
def test_trend_and_chart_begin_anew(tmp_path: Path, done: str, samplings: int) -> None:
    days = ("2026-02-24", "2026-03-03", "2026-03-10", "2026-03-17", "2026-03-24")
    readings = "".join(pots("P", day, BEFORE) for day in days)
    lot = lot_named(treated(tmp_path, done, readings), "P")
    # The sampling of the 17th belongs before the treatment of that day.
    assert lot["trends"]["ph"]["samplings"] == samplings
    assert lot["trends"]["ph"]["first_on"] == days[-samplings]


def test_the_wait_is_that_of_the_policy_of_the_day(tmp_path: Path) -> None:
    policy = (
        "[[policy]]\nvalid_from = 2026-01-01\nwait_leaching_days = 9\n"
        "[[policy]]\nvalid_from = 2026-03-21\nwait_leaching_days = 1\n"
    )
    readings = pots("P", "2026-03-19", BEFORE) + pots("P", "2026-03-28", AFTER)
    lot = lot_named(treated(tmp_path, "P,,2026-03-20,leaching,,\n", readings, policy), "P")
    # nine days were asked for, and they were over a week ago
    assert said(lot) == [("retest_missed", None, None)]


LOW: list[Any] = [(5.2, 2.5, 30)] * 4 + [(5.21, 2.5, 30)]


@pytest.mark.parametrize(
    ("readings", "codes", "more"),
    [
        # read once the wait is over, and still low: 2nd in a row
        (pots("P", "2026-03-20", LOW) + pots("P", "2026-03-30", LOW), ["unmoved"], 1),
        # low before, in range now
        (pots("P", "2026-03-20", LOW) + pots("P", "2026-03-30", AFTER), [], 0),
        # in range before, low now
        (pots("P", "2026-03-20", AFTER) + pots("P", "2026-03-30", LOW), [], 0),
        # not read since
        (pots("P", "2026-03-20", LOW), ["retest_missed"], 1),
    ],
)
def test_a_retest_missed_or_still_out_ranks_up(
    tmp_path: Path, readings: str, codes: list[str], more: int
) -> None:
    lot = lot_named(treated(tmp_path, "P,,2026-03-20,bicarbonate,,\n", readings), "P")
    wanted = ("retest_missed", "unmoved")
    assert [row["code"] for row in lot["reasons"] if row["code"] in wanted] == codes
    last = lot["samplings"][-1]["ph"]
    if last["in_a_row"]:
        edge = lot["target_ph"]["low"]
        assert lot["score"] == pytest.approx(
            (edge - last["mean"]) / 0.2 * (1 + last["in_a_row"] + more), abs=1e-6
        )
