"""Ranges of lines, and what was read anew, in words."""

from __future__ import annotations

from itertools import chain

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.reports.wording_rereads import name_value, say_lines, say_reread_line


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


@pytest.mark.parametrize(
    ("column", "said"),
    [
        ("ec_ms_cm", "EC (mS/cm)"),
        ("ph", "pH"),
        ("leachate_ml", "leachate (mL)"),
        ("temperature_c", "temperature (°C)"),
        ("lot_code", "lot code"),
    ],
)
def test_columns_are_said_with_their_unit(column: str, said: str) -> None:
    assert name_value(column) == said


def test_a_line_tells_values_and_fates() -> None:
    row = {
        "line": 4,
        "changed_values": [
            {"field": "ph", "before": None, "after": "5.8"},
            {"field": "note", "before": "", "after": "two words"},
        ],
        "is_moved": True,
        "fate_before": "not_data",
        "cause_before": None,
        "fate_after": "held",
        "cause_after": "lot_unknown",
    }
    assert say_reread_line(row) == (
        "line 4: pH nothing → 5.8; note “” → “two words”; no data → held (lot unknown)"
    )
    row |= {"is_moved": False}
    assert say_reread_line(row).endswith("“two words”")
