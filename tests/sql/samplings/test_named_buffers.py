"""The buffers that a cell names: read where there is one way to read it, else left alone."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.oracle.meter_checks import buffers_in
from tests.sql.bench import Bench, empty, open_warehouse


def named(bench: Bench, *cells: str) -> list[list[float] | None]:
    bench.calibrations("buffers\n" + "\n".join(cells))
    bench.build("named_buffers")
    found = bench.select("named_buffers", "record_no, labels::double[]")
    return [row[1] for row in found]


@pytest.mark.parametrize(
    ("cell", "labels"),
    [
        ("4,7", [4, 7]),
        ("4,7,10", [4, 7, 10]),
        ("4.01,7.00", [4.01, 7]),
        ("4;7", [4, 7]),
        ("4/7", [4, 7]),
        ("4 7", [4, 7]),
        ("4,01/7,00", [4.01, 7]),
        ("4, 7", [4, 7]),
        ("4,01,7,00", [4.01, 7]),
        ("4,10", [4, 10]),
        ("10,01", [10.01]),
        ("9,18 / 6,86", [9.18, 6.86]),
        ("4,0; 7,0", [4, 7]),
        ("pH 4 und pH 7", [4, 7]),
        ("Tampón 4,01 y 7,00", [4.01, 7]),
        ("4.01 / 7,00", [4.01, 7]),
        ("7", [7]),
    ],
)
def test_a_cell_that_has_one_reading_is_read(bench: Bench, cell: str, labels: list[float]) -> None:
    assert named(bench, cell) == [labels]


@pytest.mark.parametrize(
    "cell",
    [
        # 6.86 shortened, or the buffers 6 and 9
        "6,9",
        "9,2",
        "4,5",
        "4.7",
        "4.7.10",
        "2-point 4/7",
        "4.01/7.00 @ 25",
        "4801/7.00",
        "1413",
    ],
)
def test_a_cell_that_has_two_readings_or_none_is_left_unread(bench: Bench, cell: str) -> None:
    assert named(bench, cell) == [None]


def test_a_cell_without_a_figure_names_nothing(bench: Bench) -> None:
    assert named(bench, "as usual", "-") == []


SIGNS = st.lists(
    st.sampled_from(["4", "7", "10", "01", "00", "6", "9", "18", ",", ".", "/", ";", " ", "pH", "x"]),
    min_size=1,
    max_size=7,
)


@pytest.fixture(scope="module")
def many() -> Bench:
    return Bench(open_warehouse())


@settings(deadline=None)
@given(st.lists(SIGNS.map("".join), min_size=1, max_size=20))
def test_the_oracle_reads_every_cell_alike(many: Bench, cells: list[str]) -> None:
    cells = [cell for cell in map(str.strip, cells) if cell not in ("", "-")]
    if not cells:
        return
    empty(many.connection)
    bench = Bench(many.connection)
    bench.calibrations("buffers\n" + "\n".join(cells))
    bench.build("named_buffers")
    found = dict(bench.select("named_buffers", "record_no, labels::double[]"))
    for number, cell in enumerate(cells, start=1):
        wanted = buffers_in(cell)
        assert found.get(number, []) == (None if wanted is None else [float(one) for one in wanted]), cell
