"""The second reading of positions and the second reckoning of chance: by hand, and against the product's."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from itertools import product

import pytest

from pipeline.settings.benches import Bench as MappedBench
from pipeline.warehouse.statements import fetch
from tests.oracle.positions import Spot, read_position, share_and_front, tail
from tests.oracle.settings import MapBench
from tests.sql.bench import Bench, site
from tests.sql.conftest import begin, bench, warehouse

__all__ = ["begin", "bench", "warehouse"]

GRID = MapBench("House 1", "1", 4, 20, None)


@pytest.mark.parametrize(
    ("text", "spot"),
    [
        ("2-7", Spot(2, 7)),
        ("2-7 edge", Spot(2, 7)),
        ("2-7 inside", Spot(2, 7)),
        ("2-7 middle", None),
        ("R2 C7", Spot(2, 7)),
        ("Row 2", Spot(2)),
        ("Reihe 2, Platz 7", Spot(2, 7)),
        ("vorne", Spot(word="front")),
        ("17", None),
        ("2-7-1", None),
        ("row 2 shelf 7", None),
        ("edge", None),
    ],
)
def test_positions_by_hand(text: str, spot: Spot | None) -> None:
    assert read_position(text) == spot


def test_chances_by_hand() -> None:
    assert tail([Fraction(1, 2)] * 3, 2) == Fraction(1, 2)
    assert tail([Fraction(1, 2), Fraction(1, 3)], 1) == Fraction(2, 3)
    assert tail([Fraction(1, 4)] * 20, 10) > Fraction(1, 100) > tail([Fraction(1, 4)] * 20, 11)
    assert tail([Fraction(1, 4)] * 20, 0) == 1


def written_positions() -> list[str]:
    """Rows, places, signs and words put together in all ways, sense and nonsense."""
    numbers = ("0", "1", "02", "4", "5", "20", "21")
    rows = ("row ", "R", "fila ", "x")
    return [
        *("".join(parts) for parts in product(numbers, ("-", " - ", "/", ":", ".", " ", "--"), numbers)),
        *("".join(parts) for parts in product(rows, numbers, ("", " c", ", place ", "p.", " z"), ("", "7"))),
        *("1-7 edge", "1-8  inside", "2-7edge", "2-7 outside", "7 edge", "row 2 edge"),
        *("front", "Front ", "middle", "BACK", "edge", "hinten", "atrás", "al frente", "front left", "17", "r", "row"),
    ]  # fmt: skip


def test_every_position_is_read_as_the_night_reads_it(bench: Bench) -> None:
    mapped = (MappedBench(house="House 1", name="1", rows=4, columns=20),)
    bench.use(site().model_copy(update={"benches": mapped}))
    bench.lots("lot_code | house | bench\nA | House 1 | 1")
    texts = written_positions()
    bench.readings("position\n" + "\n".join(texts))
    bench.build("usable_readings")
    night = {
        (row["parts"], in_front)
        for row in fetch(bench.connection, "measures/recorded_rows").iter_rows(named=True)
        for in_front in [(row["pots"], row["in_front"])]
    }
    again: Counter[int] = Counter()
    fronts: Counter[int] = Counter()
    for text in texts:
        spot = read_position(text)
        told = None if spot is None else share_and_front(spot, GRID)
        if told is not None:
            again[told[0].denominator] += 1
            fronts[told[0].denominator] += told[1]
    assert night == {(parts, (again[parts], fronts[parts])) for parts in again}
    assert len(texts) > sum(again.values()) > 50
