"""Groups as rows and back: order, gaps, empty frames; and row statistics against NumPy's own."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.measures.padded import column, nan_mean, nan_median, nan_sd, pad, reason_of

UNHURRIED = settings(deadline=None)
FRAME = pl.DataFrame(
    {
        "lot": ["B", "A", "B", "A", "B", "C"],
        "nth": [2, 1, 1, 2, 3, 1],
        "value": [5.0, 1.0, 4.0, 2.0, 6.0, None],
    }
)


def test_groups_are_rows_in_their_order() -> None:
    padded = pad(FRAME, ["lot"], "value", order=["nth"])
    assert padded.keys["lot"].to_list() == ["A", "B"]
    assert padded.n.tolist() == [2, 3]
    np.testing.assert_array_equal(padded.floats("value"), [[1.0, 2.0, np.nan], [4.0, 5.0, 6.0]])
    assert padded.is_there.tolist() == [[True, True, False], [True, True, True]]


def test_only_the_last_values() -> None:
    padded = pad(FRAME, ["lot"], "value", order=["nth"], last=2)
    np.testing.assert_array_equal(padded.floats("value"), [[1.0, 2.0], [5.0, 6.0]])


def test_there_and_back() -> None:
    padded = pad(FRAME, ["lot"], "value", order=["nth"])
    flat = padded.flatten(padded.floats("value") * 10)
    assert flat.tolist() == [10.0, 20.0, 40.0, 50.0, 60.0]
    assert padded.long["value"].to_list() == [1.0, 2.0, 4.0, 5.0, 6.0]


def test_keys_of_two_columns_with_null() -> None:
    frame = pl.DataFrame({"a": [1, 1, 1], "b": [None, None, 2], "value": [1.0, 2.0, 3.0]})
    assert pad(frame, ["a", "b"], "value").n.tolist() == [2, 1]


def test_no_groups() -> None:
    padded = pad(FRAME.clear(), ["lot"], "value", order=["nth"], last=3)
    assert padded.floats("value").shape == (0, 1)
    assert padded.keys.height == 0


def test_nan_is_no_value() -> None:
    frame = pl.DataFrame({"lot": ["A", "A"], "value": [float("nan"), 1.0]})
    assert pad(frame, ["lot"], "value").n.tolist() == [1]


def test_columns_and_reasons() -> None:
    assert column("x", np.array([1.0, np.nan])).to_list() == [1.0, None]
    yes, no = np.array([True, False, True]), np.array([True, True, False])
    assert reason_of((yes, "first"), (no, "second")).to_list() == ["first", "second", "first"]
    assert reason_of((~yes & ~no, "never")).to_list() == [None, None, None]


@UNHURRIED
@given(st.lists(st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=8), min_size=1, max_size=6))
def test_row_statistics_are_those_of_numpy(rows: list[list[float]]) -> None:
    width = max(len(row) for row in rows)
    values = np.array([row + [np.nan] * (width - len(row)) for row in rows])
    assert nan_median(values) == pytest.approx(np.nanmedian(values, axis=1), abs=1e-9)
    assert nan_mean(values) == pytest.approx(np.nanmean(values, axis=1), abs=1e-9)
    assert nan_sd(values) == pytest.approx(np.nanstd(values, axis=1, ddof=1), abs=1e-9)


def test_row_statistics_of_too_few() -> None:
    values = np.array([[np.nan, np.nan], [1.0, np.nan]])
    np.testing.assert_array_equal(nan_median(values), [np.nan, 1.0])
    np.testing.assert_array_equal(nan_mean(values), [np.nan, 1.0])
    np.testing.assert_array_equal(nan_sd(values), [np.nan, np.nan])
