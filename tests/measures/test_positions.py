"""Pots from the front of the bench: exact chances, alone and over benches with different numbers of rows."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from itertools import product

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pipeline.assets import sql_folder
from pipeline.measures.positions import LEAST_POTS, LEVEL, front_of_bench, tail_chance
from tests.examples import examples

KINDS = st.lists(st.tuples(st.integers(0, 30), st.integers(2, 8)), min_size=1, max_size=4)


def chance(in_front: int, *kinds: tuple[int, int]) -> float:
    """Kinds of benches as (pots, rows)."""
    pots, rows = zip(*kinds, strict=True)
    return tail_chance(in_front, np.array(pots), 1.0 / np.array(rows))


def rows(*kinds: tuple[str, int, int, int]) -> pl.DataFrame:
    """Kinds of benches as (site, parts, pots, in front)."""
    return pl.DataFrame(
        [(*kind, date(2026, 3, at)) for at, kind in enumerate(kinds, start=8)],
        schema={
            "site_id": pl.String,
            "parts": pl.Int32,
            "pots": pl.Int32,
            "in_front": pl.Int32,
            "first_on": pl.Date,
        },
        orient="row",
    )


def test_one_kind_of_bench_is_the_binomial_test() -> None:
    for pots, parts, in_front in ((48, 4, 40), (48, 4, 12), (20, 3, 0), (20, 2, 20), (200, 6, 45)):
        expected = stats.binomtest(in_front, pots, 1 / parts, alternative="greater").pvalue
        assert chance(in_front, (pots, parts)) == pytest.approx(expected, rel=1e-9)


def test_kinds_of_benches_by_hand() -> None:
    """One pot on two rows and two on three: chances 1/2, 1/3, 1/3, all eight ways added up."""
    shares = (Fraction(1, 2), Fraction(1, 3), Fraction(1, 3))
    at_least = [Fraction(0)] * 5
    for way in product((0, 1), repeat=3):
        weight = Fraction(1)
        for is_front, share in zip(way, shares, strict=True):
            weight *= share if is_front else 1 - share
        for least in range(sum(way) + 1):
            at_least[least] += weight
    assert at_least[:4] == [1, Fraction(7, 9), Fraction(1, 3), Fraction(1, 18)]
    for least in range(4):
        assert chance(least, (1, 2), (2, 3)) == pytest.approx(float(at_least[least]), rel=1e-12)


@given(kinds=KINDS, data=st.data())
@settings(deadline=None, max_examples=examples(100))
def test_kinds_of_benches_are_a_poisson_binomial(kinds: list[tuple[int, int]], data: st.DataObject) -> None:
    shares = [1 / parts for pots, parts in kinds for _ in range(pots)]
    in_front = data.draw(st.integers(0, len(shares)))
    expected = stats.poisson_binom.sf(in_front - 1, shares) if shares else 1.0
    assert chance(in_front, *kinds) == pytest.approx(expected, abs=1e-9)


@given(kinds=KINDS)
@settings(deadline=None, max_examples=examples(100))
def test_more_in_front_is_never_likelier(kinds: list[tuple[int, int]]) -> None:
    found = [chance(in_front, *kinds) for in_front in range(sum(pots for pots, _ in kinds) + 1)]
    assert found[0] == pytest.approx(1.0)
    assert found == sorted(found, reverse=True)


def test_a_site_over_its_benches() -> None:
    found = front_of_bench(rows(("a", 3, 18, 16), ("a", 4, 24, 20), ("b", 2, 20, 10)))
    assert found.select("site_id", "first_on", "pots", "in_front", "expected", "reason").rows() == [
        ("a", date(2026, 3, 8), 42, 36, 12.0, None),
        ("b", date(2026, 3, 10), 20, 10, 10.0, None),
    ]
    assert found["p"].to_list() == pytest.approx([chance(36, (18, 3), (24, 4)), chance(10, (20, 2))])


def test_fewer_than_twenty_pots_have_no_chance_and_a_reason() -> None:
    found = front_of_bench(rows(("a", 4, LEAST_POTS - 1, LEAST_POTS - 1), ("b", 4, LEAST_POTS, LEAST_POTS)))
    assert found.select("pots", "p", "reason").rows() == [
        (19, None, "too_few"),
        (20, pytest.approx(0.25**20), None),
    ]


def test_without_sites_there_is_nothing() -> None:
    found = front_of_bench(rows())
    assert (found.height, found.columns) == (
        0,
        ["site_id", "first_on", "pots", "in_front", "expected", "p", "reason"],
    )


def test_the_level_is_that_of_the_judgement() -> None:
    text = sql_folder("judgement", "site_questions.sql").read_text(encoding="utf-8")
    assert f"where p < {LEVEL}" in text
