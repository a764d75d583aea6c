"""Drawn places: the same for the same key, on the map, balanced, and each place with exactly the same chance."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from datetime import date
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pipeline.programme.draw import (
    Below,
    BenchMap,
    Place,
    RandomStream,
    draw_by,
    draw_key,
    draw_places,
)
from tests.examples import examples

Spot = tuple[str, int, int]
Draw = Callable[[Sequence[BenchMap], int, str], Sequence[Place]]
UNLIKELY = 0.001
"""Keys are fixed, so these tests always end the same way; a fair drawing would fail one in a thousand sets of keys."""


def grid(walk_no: int, rows: int, columns: int) -> BenchMap:
    return BenchMap(walk_no, "House 1", str(walk_no), rows, columns, rows * columns)


def counted(walk_no: int, places: int) -> BenchMap:
    return BenchMap(walk_no, "House 1", str(walk_no), None, None, places)


def spot(place: Place) -> Spot:
    return (place.bench, place.row or 0, place.column or place.place or 0)


def spots(benches: Sequence[BenchMap]) -> list[Spot]:
    return [
        (one.bench, row, column)
        for one in benches
        for row, column in (
            [(0, number) for number in range(1, one.places + 1)]
            if one.rows is None
            else [(r, c) for r in range(1, one.rows + 1) for c in range(1, (one.columns or 0) + 1)]
        )
    ]


def drawn(benches: Sequence[BenchMap], pots: int, key: str) -> Sequence[Place]:
    return draw_places(benches, pots, key=key)


# ------------------------------------------------------------------------------------------ the same for the same key


def test_key_names_site_lot_day_and_purpose() -> None:
    key = draw_key("north-range", "nr-101", date(2026, 4, 6), "routine")
    assert key == "north-range|nr-101|2026-04-06|routine"


def test_random_numbers_are_sha256_in_counter_mode() -> None:
    """The construction in so many words: digests of key, zero byte and counter; whole bytes, too large ones dropped."""
    key = "north-range|nr-101|2026-04-06|routine"
    raw = b"".join(hashlib.sha256(key.encode() + b"\0" + n.to_bytes(8, "big")).digest() for n in range(8))
    stream = RandomStream(key)
    assert [stream.below(256) for _ in range(40)] == list(raw[:40]), (
        "one byte each, over the first digest's end"
    )
    pairs = [int.from_bytes(raw[at : at + 2], "big") & 0x3FF for at in range(40, 200, 2)]
    fitting = [number for number in pairs if number < 1000]
    assert [stream.below(1000) for _ in fitting] == fitting, "ten bits of two bytes each"


def test_places_follow_from_the_bytes() -> None:
    """A bench of 80 places and 5 pots by hand: two starts, then a number below 80 for each stretch of 16."""
    key = "north-range|nr-101|2026-04-06|routine"
    raw = hashlib.sha256(key.encode() + b"\0" + bytes(8)).digest()
    numbers = [byte & 0x7F for byte in raw if byte & 0x7F < 80]
    # a number stands for a fifth of a place: 80 of them are the stretch's 16 places
    by_hand = [16 * stretch + number // 5 + 1 for stretch, number in enumerate(numbers[2:7])]
    assert [place.place for place in draw_places([counted(1, 80)], 5, key=key)] == by_hand


def test_places_stay_what_they_were() -> None:
    """A sheet that is printed again after an upgrade has the same places: figures of the first release."""
    key = "north-range|nr-101|2026-04-06|routine"
    labels = [
        (place.bench, place.label) for place in draw_places([grid(1, 4, 20), grid(2, 4, 20)], 5, key=key)
    ]
    assert labels == [
        ("1", "1-4"),
        ("1", "3-8"),
        ("1", "1-16"),
        ("2", "2-5"),
        ("2", "1-16"),
    ]


def test_order_of_the_benches_given_does_not_matter() -> None:
    benches = [grid(1, 3, 5), counted(2, 12), grid(3, 2, 9)]
    assert draw_places(benches, 7, key="k") == draw_places(benches[::-1], 7, key="k")


def test_other_lots_days_and_purposes_have_other_places() -> None:
    benches = [grid(1, 4, 20)]
    keys = [
        draw_key("north-range", lot, date(2026, 4, day), purpose)
        for lot in ("nr-101", "nr-102")
        for day in (6, 7)
        for purpose in ("routine", "healthy")
    ]
    assert len({draw_places(benches, 5, key=key) for key in keys}) == len(keys)


def test_without_benches_or_pots_nothing_is_drawn() -> None:
    assert draw_places([], 5, key="k") == ()
    assert draw_places([grid(1, 4, 20)], 0, key="k") == ()


def test_labels() -> None:
    first, second = draw_places([grid(1, 1, 1), counted(2, 1)], 2, key="k")
    assert (first.label, first.zone) == ("1-1", "edge")
    assert (second.label, second.zone) == ("1", None)


# --------------------------------------------------------------------------------------------------- what always holds

BENCHES = st.lists(
    st.one_of(
        st.tuples(st.integers(1, 6), st.integers(1, 12)),
        st.tuples(st.none(), st.integers(1, 40)),
    ),
    min_size=1,
    max_size=6,
).map(
    lambda shapes: [
        counted(at, second) if first is None else grid(at, first, second)
        for at, (first, second) in enumerate(shapes, start=1)
    ]
)


@given(benches=BENCHES, pots=st.integers(1, 60), key=st.text(max_size=8))
@settings(deadline=None, max_examples=examples(200))
def test_places_are_on_the_map_distinct_and_balanced(benches: list[BenchMap], pots: int, key: str) -> None:
    places = draw_places(benches, pots, key=key)
    on_map = spots(benches)
    times = Counter(spot(place) for place in places)
    assert len(places) == pots
    assert set(times) <= set(on_map)
    # distinct while there are places enough; then every place once more, and the rest again distinct
    assert set(times.values()) | {times[one] for one in on_map} <= {
        pots // len(on_map),
        -(-pots // len(on_map)),
    }
    on_bench = Counter(place.bench for place in places)
    for one in benches:
        assert is_rounded(on_bench[one.bench], Fraction(pots * one.places, len(on_map)))
        if one.rows is None:
            continue
        edge = sum(place.zone == "edge" for place in places if place.bench == one.bench)
        of_edge = sum(r in (1, one.rows) or c in (1, one.columns) for _, r, c in spots([one]))
        assert is_rounded(edge, Fraction(on_bench[one.bench] * of_edge, one.places))


@given(benches=BENCHES, pots=st.integers(1, 60), key=st.text(max_size=8))
@settings(deadline=None, max_examples=examples(100))
def test_places_come_in_walking_order(benches: list[BenchMap], pots: int, key: str) -> None:
    def walked(place: Place) -> tuple[int, int, int]:
        return (int(place.bench), place.column or place.place or 0, place.row or 0)

    assert all(walked(one) <= walked(after) for one, after in pairwise(draw_places(benches, pots, key=key)))


@given(places=st.integers(1, 60), pots=st.integers(1, 60), key=st.text(max_size=8))
@settings(deadline=None, max_examples=examples(100))
def test_pots_of_a_bench_without_rows_are_spread(places: int, pots: int, key: str) -> None:
    """Up to any place of the bench there are as many pots as its share, rounded up or down."""
    numbers = [place.place or 0 for place in draw_places([counted(1, places)], pots, key=key)]
    for upto in range(1, places + 1):
        assert is_rounded(sum(number <= upto for number in numbers), Fraction(pots * upto, places))


def is_rounded(count: int, share: Fraction) -> bool:
    return floor(share) <= count <= ceil(share)


# ------------------------------------------------------------------------------------- exactly the same chance, by tree


def every_course(run: Callable[[Below], Sequence[Place]]) -> Iterator[tuple[Fraction, Sequence[Place]]]:
    """Each course that the drawing can take, with its chance: all its random integers in all their values."""
    courses: list[list[int]] = [[]]
    while courses:
        given_so_far = courses.pop()
        limits: list[int] = []

        def below(limit: int, course: list[int] = given_so_far, limits: list[int] = limits) -> int:
            limits.append(limit)
            if len(limits) > len(course):
                courses.extend([*course, other] for other in range(1, limit))
                course.append(0)
            return course[len(limits) - 1]

        places = run(below)
        chance = Fraction(1)
        for limit in limits:
            chance /= limit
        yield chance, places


@pytest.mark.parametrize(
    ("benches", "pots"),
    [
        pytest.param([counted(1, 5)], 3, id="stretches with places in common"),
        pytest.param([counted(1, 5)], 4, id="more pots than half of the places"),
        pytest.param([grid(1, 3, 4)], 2, id="one bench with an inside"),
        pytest.param([grid(1, 3, 3), counted(2, 4)], 2, id="a bench without rows beside one with"),
        pytest.param([grid(1, 2, 2), grid(2, 3, 3), grid(3, 1, 3)], 2, id="three unequal benches"),
        pytest.param([grid(1, 3, 3)], 11, id="more pots than places"),
    ],
)
def test_every_place_has_exactly_the_same_chance(benches: list[BenchMap], pots: int) -> None:
    expected: Counter[Spot] = Counter()
    whole = Fraction(0)
    for chance, places in every_course(lambda below: draw_by(below, benches, pots)):
        whole += chance
        for place in places:
            expected[spot(place)] += chance  # type: ignore[assignment]
    assert whole == 1
    on_map = spots(benches)
    assert expected == dict.fromkeys(on_map, Fraction(pots, len(on_map)))


# ----------------------------------------------------------------------------------------- uniform over many real keys

SHAPES = [
    pytest.param([grid(1, 4, 20)], 5, id="one bench, 4 rows of 20"),
    pytest.param([grid(1, 4, 12), grid(2, 4, 12), grid(3, 6, 8)], 5, id="three benches"),
    pytest.param([grid(1, 1, 30), grid(2, 2, 10)], 7, id="benches without an inside"),
    pytest.param([counted(1, 60)], 5, id="only a count"),
    pytest.param([counted(1, 17), grid(2, 5, 9), counted(3, 31)], 4, id="mixed"),
]


def one_of_each(benches: Sequence[BenchMap], pots: int, keys: int, draw: Draw) -> float:
    """Chi-square p of uniform places, from one pot of each draw.

    The pots of one draw exclude each other's places, so their counts together are no multinomial sample, and the plain
    statistic would be too small. One of them, picked evenly by another key, is at each place with chance 1 / N, and
    draws of different keys are independent: for these the plain statistic is right.
    """
    counts: Counter[Spot] = Counter()
    for number in range(keys):
        places = draw(benches, pots, f"draw {number}")
        counts[spot(places[RandomStream(f"pick {number}").below(pots)])] += 1
    observed = [counts[one] for one in spots(benches)]
    assert sum(observed) == keys
    return float(stats.chisquare(observed).pvalue)


def all_of_each(benches: Sequence[BenchMap], pots: int, keys: int, draw: Draw) -> float:
    """Chi-square p of uniform places, from all pots of each draw.

    Pots of a draw depend on each other, so each deviation is scaled by what the drawing makes of it: Wald's statistic
    d' S^+ d, d the counts less what is expected, S the sum of the draws' covariance matrices (estimated between
    draws) and S^+ its generalised inverse. Its degrees of freedom are the rank of S: strata with a fixed number of pots
    take one each. For simple random sampling it is the plain statistic times (N - 1) / (N - n).
    """
    at = {one: number for number, one in enumerate(spots(benches))}
    taken = np.zeros((keys, len(at)))
    for number in range(keys):
        for place in draw(benches, pots, f"draw {number}"):
            taken[number, at[spot(place)]] += 1
    off = taken.mean(axis=0) - pots / len(at)
    covariance = np.cov(taken, rowvar=False) / keys
    rank = np.linalg.matrix_rank(covariance, hermitian=True)
    return float(stats.chi2.sf(off @ np.linalg.pinv(covariance, hermitian=True) @ off, rank))


@pytest.mark.parametrize(("benches", "pots"), SHAPES)
def test_places_are_uniform_one_pot_of_each_draw(benches: list[BenchMap], pots: int) -> None:
    assert one_of_each(benches, pots, 4000, drawn) > UNLIKELY


@pytest.mark.parametrize(("benches", "pots"), SHAPES)
def test_places_are_uniform_all_pots_of_each_draw(benches: list[BenchMap], pots: int) -> None:
    assert all_of_each(benches, pots, 4000, drawn) > UNLIKELY


def test_scaling_is_that_of_simple_random_sampling() -> None:
    """Where the drawing is a simple random sample, Wald's statistic and (N - 1) / (N - n) times the plain one agree."""
    benches, pots, keys = [counted(1, 12)], 4, 4000
    counts: Counter[Spot] = Counter()
    for number in range(keys):
        counts.update(spot(place) for place in simple_sample(benches, pots, f"draw {number}"))
    plain = stats.chisquare([counts[one] for one in spots(benches)]).statistic
    scaled = stats.chi2.sf(plain * (12 - 1) / (12 - pots), 12 - 1)
    assert all_of_each(benches, pots, keys, simple_sample) == pytest.approx(scaled, abs=0.02)


def simple_sample(benches: Sequence[BenchMap], pots: int, key: str) -> Sequence[Place]:
    """Without strata: the first of a shuffle (Fisher and Yates)."""
    stream = RandomStream(key)
    cards = [Place("House 1", bench, row, column, None, None) for bench, row, column in spots(benches)]
    for at in range(pots):
        other = at + stream.below(len(cards) - at)
        cards[at], cards[other] = cards[other], cards[at]
    return cards[:pots]


def from_the_front(benches: Sequence[BenchMap], pots: int, key: str) -> Sequence[Place]:
    """A biased drawing: the front row is twice as likely as each of the others."""
    stream = RandomStream(key)
    twice = [one for one in spots(benches) for _ in range(2 if one[1] == 1 else 1)]
    chosen: dict[Spot, None] = {}
    while len(chosen) < pots:
        chosen[twice[stream.below(len(twice))]] = None
    return [Place("House 1", bench, row, column, None, None) for bench, row, column in chosen]


def test_a_drawing_that_likes_the_front_is_found_out() -> None:
    benches = [grid(1, 4, 20)]
    assert one_of_each(benches, 5, 4000, from_the_front) < 1e-6
    assert all_of_each(benches, 5, 4000, from_the_front) < 1e-6


def test_a_drawing_that_takes_remainders_modulo_is_found_out() -> None:
    """The mistake that rejection avoids: bytes modulo 60 make the first 16 places likelier by a quarter."""

    def modulo(benches: Sequence[BenchMap], pots: int, key: str) -> Sequence[Place]:
        raw = iter(hashlib.sha256(key.encode()).digest())
        return draw_by(lambda limit: next(raw) % limit, benches, pots)

    assert one_of_each([counted(1, 60)], 1, 8000, modulo) < 1e-6
    assert one_of_each([counted(1, 60)], 1, 8000, drawn) > UNLIKELY
