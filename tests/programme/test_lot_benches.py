"""Which mapped benches a lot's house and bench mean."""

from __future__ import annotations

import pytest

from pipeline.programme.draw import BenchMap
from pipeline.programme.lot_benches import find_lot_benches

BENCHES = [
    BenchMap(at, house, bench, 4, 20, 80)
    for at, (house, bench) in enumerate(
        [
            *(("House 1", name) for name in ("1", "2", "3", "4")),
            *(("House 2", name) for name in ("B1", "B3", "B2", "A-1", "2/3", "Left and right")),
            ("House 3", "1"),
        ],
        start=1,
    )
]


@pytest.mark.parametrize(
    ("house", "bench", "found"),
    [
        pytest.param("House 1", "2", ["2"], id="its name"),
        pytest.param(" house 1 ", "2 ", ["2"], id="case and outer blanks do not matter"),
        pytest.param("House 1", "1, 3", ["1", "3"], id="comma"),
        pytest.param("House 1", "1;3/4", ["1", "3", "4"], id="semicolon and stroke"),
        pytest.param("House 1", "1 + 3", ["1", "3"], id="plus"),
        pytest.param("House 1", "3 and 1", ["1", "3"], id="and, in walking order"),
        pytest.param("House 1", "1 y 3", ["1", "3"], id="and in Spanish"),
        pytest.param("House 1", "1 und 3", ["1", "3"], id="and in German"),
        pytest.param("House 1", "2-4", ["2", "3", "4"], id="a range"),
        pytest.param("House 1", "4 – 2", ["2", "3", "4"], id="a range backwards, with a dash"),
        pytest.param("House 1", "1, 3 to 4", ["1", "3", "4"], id="one and a range"),
        pytest.param("House 2", "B1-B2", ["B1", "B3", "B2"], id="a range goes by the walk, not by the names"),
        pytest.param("House 2", "A-1", ["A-1"], id="a name that looks like a range"),
        pytest.param("House 2", "2/3", ["2/3"], id="a name that looks like two"),
        pytest.param("House 2", "left and right", ["Left and right"], id="a name with and in it"),
        pytest.param("House 1", "2, 9", ["2"], id="what the map lacks is left out"),
        pytest.param("House 1", "9", [], id="not mapped"),
        pytest.param("House 1", "1-9", [], id="a range to nowhere"),
        pytest.param("House 1", None, ["1", "2", "3", "4"], id="no bench: all of the house"),
        pytest.param("House 1", " ", ["1", "2", "3", "4"], id="a blank bench: all of the house"),
        pytest.param("House 9", None, [], id="house not mapped"),
        pytest.param(None, "B1", ["B1"], id="no house, a bench that one house has"),
        pytest.param(None, "1", [], id="no house, a bench that two houses have"),
        pytest.param(None, None, [], id="no house and no bench"),
    ],
)
def test_benches_of_a_lot(house: str | None, bench: str | None, found: list[str]) -> None:
    assert [one.bench for one in find_lot_benches(BENCHES, house, bench)] == found


def test_benches_come_in_walking_order_however_they_are_given() -> None:
    assert [one.bench for one in find_lot_benches(BENCHES[::-1], "House 1", "1-3")] == ["1", "2", "3"]
