"""Places for the pots of a sampling, drawn at random from a map of benches: stratified, repeatable, exactly fair.

Random numbers: SHA-256 in counter mode, that is the digests of `key`, a zero byte and a counter of eight bytes from 0
on, one behind the other. Equal keys give equal places on any machine and with any version of Python, which the helpers
of `random.Random` do not promise. An integer below n takes the fewest whole bytes that can hold n - 1, and of them
the lowest bits that can; it is thrown away while it is n or more, so that none is likelier than another.

Design, for n pots on N places (n above N: every place once for each whole N, then the rest is drawn):

1. Benches. Their shares n * size / N are rounded by systematic sampling with a random start: in walking order each
   bench gets its share rounded up or down, so do any benches that follow each other, and on average exactly its share.
2. Edge (first or last row or column) and inside of a bench. The bench's pots times the edge's share of its places are
   rounded the same way over all benches, with a start of its own.
3. Places. A zone's places along the bench are divided into as many equal stretches as it has pots, and one place is
   drawn in each. A place that two stretches share can be drawn in either, never in both.

What holds exactly: each place is drawn with the same chance n / N, because each step gives the share on average that
its places ask for; places are distinct up to N pots. Not every *set* of places has a chance: that is what stratifying
is for. A mean's interval reckoned as for a simple random sample is then as a rule too wide rather than too narrow. A
bench of which only the number of places is known has no zones: its stretches alone spread its pots.

Sources: systematic sampling with unequal sizes: Madow 1949; one place a stretch with its border in common: Chromy
1979, Deville 1998 (all from memory). The strata are common practice: pick from all over, the middle and the back too.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import accumulate, pairwise, product
from math import lcm
from typing import Literal

Zone = Literal["edge", "inside"]
Below = Callable[[int], int]
"""Given a limit, an integer from 0 to limit - 1."""


@dataclass(frozen=True, slots=True)
class BenchMap:
    """A bench of the map: its place in the walk, and rows (from the front) and columns (along it), or only places."""

    walk_no: int
    house: str
    bench: str
    rows: int | None
    columns: int | None
    places: int


@dataclass(frozen=True, slots=True)
class Place:
    """Where one pot is taken: row and column from 1, or the number of the place where a bench has no rows."""

    house: str
    bench: str
    row: int | None
    column: int | None
    place: int | None
    zone: Zone | None

    @property
    def label(self) -> str:
        """As a sheet prints it: `2-7` for row 2, column 7; `17` for the 17th place."""
        return str(self.place) if self.row is None else f"{self.row}-{self.column}"


def draw_key(site_id: str, lot_key: str, due_on: date, purpose: str) -> str:
    """The key of one lot's pots: a sheet for the same due printed again has the same places."""
    return f"{site_id}|{lot_key}|{due_on:%Y-%m-%d}|{purpose}"


def draw_places(benches: Sequence[BenchMap], pots: int, *, key: str) -> tuple[Place, ...]:
    """Draw a place for each of `pots` pots, in walking order; see the module's text for the design.

    None are drawn without benches. The order in which benches are given does not matter.
    """
    return draw_by(RandomStream(key).below, benches, pots)


def draw_by(below: Below, benches: Sequence[BenchMap], pots: int) -> tuple[Place, ...]:
    """As draw_places, from any source of integers that gives each below its limit with the same chance."""
    walk = sorted(benches, key=lambda one: (one.walk_no, one.house, one.bench))
    zones = [_zones(one) for one in walk]
    sizes = [(len(edge), len(rest)) for edge, rest in zones]
    total = sum(map(sum, sizes))
    if not total or pots < 1:
        return ()
    rounds, left = divmod(pots, total)
    drawn: list[Place] = []
    for bench, (edge, rest), counts in zip(walk, zones, _counts(sizes, left, below), strict=True):
        spots = [*edge, *rest] * rounds
        for zone, count in zip((edge, rest), counts, strict=True):
            spots += [zone[at] for at in _one_a_stretch(len(zone), count, below)]
        drawn += [_place(bench, spot) for spot in sorted(spots)]
    return tuple(drawn)


class RandomStream:
    """The bytes that a key stands for, handed out as unbiased integers."""

    def __init__(self, key: str) -> None:
        self._bytes = _stream(key.encode())

    def below(self, limit: int) -> int:
        """An integer from 0 to limit - 1, each with the same chance; for a limit of 1 nothing is taken."""
        bits = (limit - 1).bit_length()
        while True:
            taken = bytes(next(self._bytes) for _ in range((bits + 7) // 8))
            number = int.from_bytes(taken, "big") & ((1 << bits) - 1)
            if number < limit:
                return number


def _stream(key: bytes) -> Iterator[int]:
    counter = 0
    while True:
        yield from hashlib.sha256(key + b"\0" + counter.to_bytes(8, "big")).digest()
        counter += 1


_Spot = tuple[int, int]
"""Column and row, so that spots sort along the bench; number and 0 where a bench has no rows."""


def _zones(bench: BenchMap) -> tuple[Sequence[_Spot], Sequence[_Spot]]:
    """A bench's spots at the edge and inside, along it; a bench without rows has all of them in the first."""
    if bench.rows is None or bench.columns is None:
        return [(number, 0) for number in range(1, bench.places + 1)], ()
    spots = list(product(range(1, bench.columns + 1), range(1, bench.rows + 1)))
    edge = [spot for spot in spots if _zone(bench, spot) == "edge"]
    return edge, [spot for spot in spots if _zone(bench, spot) == "inside"]


def _zone(bench: BenchMap, spot: _Spot) -> Zone | None:
    if bench.rows is None:
        return None
    column, row = spot
    return "edge" if column in (1, bench.columns) or row in (1, bench.rows) else "inside"


def _place(bench: BenchMap, spot: _Spot) -> Place:
    column, row = spot
    if bench.rows is None:
        return Place(bench.house, bench.bench, None, None, column, None)
    return Place(bench.house, bench.bench, row, column, None, _zone(bench, spot))


def _counts(sizes: Sequence[tuple[int, int]], pots: int, below: Below) -> list[tuple[int, int]]:
    """How many pots the two zones of each bench get."""
    of_size = [edge + rest for edge, rest in sizes]
    of_bench = _round_shares([pots * size for size in of_size], sum(of_size), below)
    # Shares of one denominator, so that nothing is rounded before it is drawn.
    whole = lcm(*(size for size, count in zip(of_size, of_bench, strict=True) if count))
    shares = [
        count * edge * (whole // size) if count else 0
        for (edge, _), size, count in zip(sizes, of_size, of_bench, strict=True)
    ]
    at_edge = _round_shares(shares, whole, below)
    return [(edge, count - edge) for edge, count in zip(at_edge, of_bench, strict=True)]


def _round_shares(shares: Sequence[int], whole: int, below: Below) -> list[int]:
    """Round shares / whole to integers by systematic sampling: each up or down, on average exact."""
    start = below(whole)
    # Marks stand at start, start + whole, start + 2 whole ...: a share gets the marks that lie in its stretch.
    marks = [-((start - end) // whole) for end in accumulate(shares, initial=0)]
    return [after - before for before, after in pairwise(marks)]


def _one_a_stretch(size: int, count: int, below: Below) -> list[int]:
    """Draw `count` of the numbers 0 to size - 1, one in each of `count` equal stretches, each with chance count / size.

    A number is `count` units long and a stretch `size`, so that borders are whole. The number that lies across a
    border, `before` units in the stretch before it, was drawn there with chance before / size. If it was, this stretch
    takes one of its other units; if not, it takes this number with chance `after` / (size - before). Together that is
    after / size, and the others are left with the chance that their units give them.
    """
    drawn: list[int] = []
    for stretch in range(count):
        start = stretch * size
        before = start % count
        after = count - before if before else 0
        shared = start // count
        if before and drawn[-1] != shared and below(size - before) < after:
            drawn.append(shared)
        else:
            drawn.append((start + after + below(size - after)) // count)
    return drawn


__all__ = ["Below", "BenchMap", "Place", "RandomStream", "Zone", "draw_by", "draw_key", "draw_places"]
