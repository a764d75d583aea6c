"""What is asked about a site's readings, and what its lists say against each other, back to the lines."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from scipy import stats

from pipeline.trace import trace_site, write_site_trace
from pipeline.trace.site import SiteTrace
from tests.sql.bench import AS_OF, Bench, settings_of, site


def trace(bench: Bench) -> SiteTrace:
    bench.build_traced()
    return trace_site(bench.connection, settings_of(site()), "north")


def load(bench: Bench, ph: list[str], ec: list[str], days: list[int]) -> None:
    rows = [
        f"{one} | {other} | {AS_OF - timedelta(days=day)}"
        for one, other, day in zip(ph, ec, days, strict=True)
    ]
    bench.lots("lot_code | started_on\nA | 2025-12-01")
    bench.readings("ph | ec_ms_cm | sampled_on\n" + "\n".join(rows), name="drop/r.csv")


def test_last_digits_are_counted_and_their_chi_square_is_scipy_s(bench: Bench) -> None:
    digits = [0, 5, 0, 5, 0, 5, 0, 5, 3, 7] * 12
    load(
        bench,
        [f"5.8{one}" for one in digits],
        [f"2.1{at % 10}" for at in range(120)],
        [1 + at % 9 for at in range(120)],
    )
    (found,) = trace(bench).questions
    assert found.rule == "last_digits"
    counts = [int(one) for one in re.findall(r"\d: (\d+)", found.steps[0])]
    assert counts == [digits.count(digit) for digit in range(10)]
    (told,) = re.findall(r"= ([\d.]+) beside 27.877", found.steps[1])
    assert float(told) == pytest.approx(stats.chisquare(counts).statistic, abs=0.001)
    assert found.steps[1].endswith("above: asked about")
    assert found.steps[2].startswith("the commonest: drop/r.csv line 1 “5.80”, drop/r.csv line 2 “5.85”, ")
    assert found.steps[2].endswith(" and 86 more")


def test_whole_numbers_are_named(bench: Bench) -> None:
    ec = ["2", *(f"2.{at % 9 + 1}" for at in range(2))] * 20
    load(bench, ["5.8"] * 60, ec, [1] * 60)
    (found,) = trace(bench).questions
    assert found.rule == "whole_ec"
    assert found.steps[0] == "20 of 60 EC readings are whole numbers in mS/cm"
    assert found.steps[1].startswith("drop/r.csv line 1 “2”, drop/r.csv line 4 “2”, ")


def test_a_jump_of_the_scale_shows_both_medians(bench: Bench) -> None:
    load(bench, ["5.8"] * 40, ["3.1"] * 20 + ["1.55"] * 20, [1] * 20 + [30] * 20)
    (found,) = trace(bench).questions
    assert found.rule == "scale_jump"
    assert found.steps[0] == (
        "median of 20 readings of the last 14 days 3.1000, of 20 before 1.5500: 3.1000 / 1.5500 = 2.0000, within 10 % "
        "of 2"
    )
    assert found.steps[1] == (
        "lots read in both spans: 1; their own ratios, the middle one: 2.0000, within 10 % of it too"
    )


def test_what_asks_nothing_is_not_told(bench: Bench) -> None:
    load(bench, ["5.8"] * 5, ["2.6"] * 5, [1] * 5)
    found = trace(bench)
    assert (found.questions, found.lists) == ([], [])


def test_a_code_that_stands_twice_shows_both_lines(bench: Bench) -> None:
    bench.load_file(
        "lots", "lot_code | house\nA-1 | 1\nB | 1\na-1 | 2", mode="cumulative", name="drop/lots.csv"
    )
    (found,) = trace(bench).lists
    assert found.rule == "lot_code_twice"
    assert [step.split(": container")[0] for step in found.steps] == [
        "A-1, in the newest lot list: drop/lots.csv line 1",
        "a-1, in the newest lot list: drop/lots.csv line 3",
    ]


def test_a_lot_that_is_gone_shows_its_line_and_those_that_wait(bench: Bench) -> None:
    bench.load_file("lots", "lot_code\nA\nL-2\nL-3", mode="cumulative", name="drop/lots.csv")
    bench.load_file("readings", "lot_code | pot\nL-2 | 1\nl-2 | 2\nA | 1", name="drop/r.csv")
    bench.next_night(AS_OF)
    bench.load_file("lots", "lot_code\nA", mode="cumulative", name="drop/lots2.csv")
    found = trace(bench)
    (gone,) = [one for one in found.lists if one.rule == "lot_gone"]
    assert sorted(step.split(": ")[1] for step in gone.steps) == [
        "drop/lots.csv line 2",
        "drop/r.csv line 1",
        "drop/r.csv line 2",
    ]
    assert sum("was in the lot list" in step for step in gone.steps) == 1
    assert any(line.startswith("lot_gone: ") for line in write_site_trace(found))


def test_pots_that_cannot_be_told_apart_show_the_lines_of_the_number(bench: Bench) -> None:
    bench.lots()
    bench.load_file("readings", "pot | ph\n1 | 6.0\n1 | 6.1\n2 | 6.2", numbers_pots=None, name="drop/r.csv")
    (found,) = trace(bench).lists
    assert found.rule == "pots_not_told_apart"
    assert [step.split(": ")[:2] for step in found.steps] == [
        ["drop/r.csv, pot 1 of A, 2026-03-30", "drop/r.csv line 1"],
        ["drop/r.csv, pot 1 of A, 2026-03-30", "drop/r.csv line 2"],
    ]
