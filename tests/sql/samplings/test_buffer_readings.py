"""What a meter showed in each buffer, and the buffer's pH at its temperature."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.measures.electrodes import buffer_ph
from tests.sql.bench import Bench


def test_each_buffer_that_was_read_is_a_row(bench: Bench) -> None:
    bench.calibrations("buffers | found_4_ph | left_7_ph | temperature_c\n- | 4.05 | 7.01 | 25")
    assert bench.rows(
        "buffer_readings", "slot, label::double, buffer_ph, found_ph::double, left_ph::double"
    ) == [
        (4, 4.01, 4.01, 4.05, None),
        (7, 7.0, 7.0, None, 7.01),
    ]


def test_a_check_without_buffers_has_none(bench: Bench) -> None:
    bench.calibrations("slope_pct\n98")
    assert bench.rows("buffer_readings", "*") == []


@pytest.mark.parametrize(
    ("buffers", "labels"),
    [
        ("4.01/7.00/10.01", [4.01, 7.0, 10.01]),
        ("4,00 7,01", [4.0, 7.01, 10.01]),
        ("6.86 and 9.18", [4.01, 6.86, 9.18]),
    ],
)
def test_the_line_s_own_labels_come_first(bench: Bench, buffers: str, labels: list[float]) -> None:
    bench.calibrations(f"buffers | found_4_ph | found_7_ph | found_10_ph\n{buffers} | 4 | 7 | 10")
    assert bench.rows("buffer_readings", "label::double") == [(label,) for label in labels]


def test_buffers_at_their_temperature_are_those_of_the_electrode_measures(bench: Bench) -> None:
    temperatures = [0, 3.5, 12, 18.25, 25, 31, 49.9, 50]
    lines = "\n".join(f"{degrees} | 4 | 7 | 10" for degrees in temperatures)
    bench.calibrations(f"temperature_c | left_4_ph | left_7_ph | left_10_ph\n{lines}")
    found = bench.rows("buffer_readings", "record_no, slot, label::double, temperature_c::double, buffer_ph")
    labels, degrees = pl.Series([row[2] for row in found]), pl.Series([row[3] for row in found])
    expected = buffer_ph(labels.to_numpy(), degrees.to_numpy())
    assert [row[4] for row in found] == pytest.approx(list(expected), abs=1e-12)
    assert len(found) == 24


def test_no_temperature_is_taken_as_25_and_said(bench: Bench) -> None:
    bench.calibrations("temperature_c | found_7_ph\n- | 7\n25 | 7")
    assert bench.rows("buffer_readings", "record_no, is_temperature_assumed, buffer_ph") == [
        (1, True, 7.0),
        (2, False, 7.0),
    ]


@pytest.mark.parametrize("line", ["4.65 | 25 | 4.6", "- | 50.1 | 4.0", "- | -1 | 4.0"])
def test_a_buffer_that_no_table_has_gets_no_value(bench: Bench, line: str) -> None:
    bench.calibrations(f"buffers | temperature_c | found_4_ph\n{line}")
    assert bench.rows("buffer_readings", "buffer_ph") == [(None,)]
