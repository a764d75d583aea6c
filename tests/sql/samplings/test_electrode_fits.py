"""Slope and offset worked out from mV, against a published sheet and the electrode measures."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.measures.electrodes import electrode_checks
from tests.sql.bench import Bench

COLUMNS = "temperature_c | buffers | buffer_4_mv | buffer_7_mv | buffer_10_mv"


def fits(bench: Bench, *lines: str) -> list[tuple[object, ...]]:
    bench.calibrations("\n".join([COLUMNS, *lines]))
    found = bench.rows("electrode_fits", "record_no, n_buffers, slope_pct::double, offset_mv::double")
    return [row[1:] for row in found]


def test_the_two_electrodes_of_the_published_sheet(bench: Bench) -> None:
    # "How to calculate offset and slope": 175 mV over 3.00 pH are 98.6 %, 145 mV are 81.7 %; buffers 4.01 and 7.01
    assert fits(bench, "25 | 4.01 7.00 | 170 | -4.4 | -", "25 | 4.01 7.00 | 150 | 5.5 | -") == [
        (2, pytest.approx(98.6, abs=0.05), -4.4),
        (2, pytest.approx(81.69, abs=0.05), 5.5),
    ]


def test_they_are_those_of_the_electrode_measures(bench: Bench) -> None:
    lines = [
        (18.0, 176.1, 3.2, -170.4),
        (25.0, 170.0, -4.4, None),
        (31.5, 150.2, -9.9, -185.0),
        (7.0, None, 12.0, -160.2),
    ]
    written = [
        " | ".join(["-" if cell is None else str(cell) for cell in (degrees, None, *mv)])
        for degrees, *mv in lines
    ]
    rows = [
        {"check": number, "nominal": label, "mv": mv, "temperature": degrees}
        for number, (degrees, *all_mv) in enumerate(lines, start=1)
        for label, mv in zip((4.01, 7.0, 10.01), all_mv, strict=True)
        if mv is not None
    ]
    expected = electrode_checks(
        pl.DataFrame(rows), ["check"], nominal="nominal", mv="mv", temperature_c="temperature"
    ).sort("check")
    found = fits(bench, *written)
    assert [row[1] for row in found] == pytest.approx(expected["slope_pct"].to_list(), abs=0.0051)
    assert [row[2] for row in found] == pytest.approx(expected["offset_mv"].to_list(), abs=0.051)


@pytest.mark.parametrize(
    "line",
    ["25 | - | 170 | - | -", "25 | 4.65 7.00 | 140 | 0 | -", "60 | - | 170 | 0 | -"],
)
def test_too_few_or_unknown_buffers_give_no_slope(bench: Bench, line: str) -> None:
    ((_, slope, offset),) = fits(bench, line)
    assert (slope, offset) == (None, None)


def test_a_nonsensical_reading_is_a_failed_slope_and_no_defect(bench: Bench) -> None:
    assert fits(bench, "25 | - | 99999 | -99999 | -") == [(2, 9999.0, -99999.0)]
    bench.connection.execute("update calibration_lines set slope_pct = null")
    assert bench.rows("calibrations", "is_accepted, is_slope_failed, is_slope_computed") == [
        (False, True, True)
    ]
