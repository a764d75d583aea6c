"""Ranges of lines, in words."""

from __future__ import annotations

from itertools import chain

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.intake.line_ranges import say_lines


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ([], "no line"),
        ([7], "line 7"),
        ([2, 3, 4], "lines 2-4"),
        ([2, 4, 5, 9], "lines 2, 4-5, 9"),
    ],
)
def test_lines_are_said_as_ranges(lines: list[int], said: str) -> None:
    assert say_lines(lines) == said


@given(st.sets(st.integers(1, 60), min_size=1))
def test_ranges_name_every_line_and_no_other(numbers: set[int]) -> None:
    ranges = [one.split("-") for one in say_lines(sorted(numbers)).split(" ", 1)[1].split(", ")]
    named = list(chain.from_iterable(range(int(one[0]), int(one[-1]) + 1) for one in ranges))
    assert named == sorted(numbers)
