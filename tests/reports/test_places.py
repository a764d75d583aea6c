"""Where lines stand, in few words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.languages import Speech, load_tongue
from pipeline.reports.places import list_places


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ([], ""),
        ([("drop/a.csv", 7)], "drop/a.csv line 7"),
        ([("drop/a.csv", 4), ("drop/a.csv", 3), ("drop/a.csv", 4)], "drop/a.csv lines 3-4"),
        (
            [("drop/b.csv", 2), ("drop/a.csv", 9), ("drop/a.csv", 3), ("drop/a.csv", 4), ("drop/a.csv", 5)],
            "drop/a.csv lines 3-5, 9; drop/b.csv line 2",
        ),
    ],
)
def test_lines_are_told_as_spans_file_by_file(lines: list[tuple[str, int]], told: str) -> None:
    assert list_places(lines) == told


@given(st.sets(st.integers(1, 60), min_size=1))
def test_no_line_is_lost_and_none_is_added(lines: set[int]) -> None:
    told = list_places(("a", line) for line in lines).removeprefix("a lines ").removeprefix("a line ")
    found: list[int] = []
    for span in told.split(", "):
        first, _, last = span.partition("-")
        found += range(int(first), int(last or first) + 1)
    assert found == sorted(lines)


def test_lines_are_told_in_the_language_of_the_page() -> None:
    w = Speech(load_tongue("es"), "%d/%m/%Y")
    told = list_places([("drop/a.csv", 3), ("drop/a.csv", 4), ("drop/b.csv", 2)], w)
    assert told == "drop/a.csv líneas 3-4; drop/b.csv línea 2"
