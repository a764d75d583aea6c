"""Electrodes: from millivolts to slope and offset, and what a meter showed in a buffer."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.measures.electrodes import (
    buffer_names,
    buffer_ph,
    ec_error_share,
    electrode_checks,
    fit_electrode,
    nernst_slope_mv,
    ph_error,
)

UNHURRIED = settings(deadline=None)


def check(*buffers: tuple[float, float | None, float | None]) -> dict[str, object]:
    frame = pl.DataFrame(
        [("M1", *buffer) for buffer in buffers],
        schema={"meter": pl.String, "nominal": pl.Float64, "mv": pl.Float64, "temperature": pl.Float64},
        orient="row",
    )
    found = electrode_checks(frame, ["meter"], nominal="nominal", mv="mv", temperature_c="temperature")
    return dict(found.row(0, named=True))


@pytest.mark.parametrize(
    ("label", "name"),
    [
        (4.0, "4.00"),
        (4.01, "4.01"),
        (7.0, "7.00"),
        (7.01, "7.00"),
        (6.86, "6.86"),
        (9.18, "9.18"),
        (10.0, "10.01"),
    ],
)
def test_labels(label: float, name: str) -> None:
    assert buffer_names(np.array([label])) == [name]


@pytest.mark.parametrize("label", [5.0, 6.9, float("nan")])
def test_labels_that_no_table_has(label: float) -> None:
    assert buffer_names(np.array([label])) == [None]
    assert np.isnan(buffer_ph(np.array([label]), np.array([25.0]))[0])


@pytest.mark.parametrize(
    ("temperature", "ph"), [(12.5, 7.05), (25.0, 7.00), (50.0, 6.97), (-1.0, None), (51.0, None)]
)
def test_buffer_between_and_beyond_the_rows(temperature: float, ph: float | None) -> None:
    found = buffer_ph(np.array([7.0]), np.array([temperature]))[0]
    assert found == pytest.approx(ph) if ph is not None else np.isnan(found)


# An ideal electrode at any temperature: 100 %, offset as set, whatever the buffers are.
@UNHURRIED
@given(st.floats(0, 50), st.floats(-40, 40), st.floats(50, 110))
def test_an_electrode_made_to_measure(temperature: float, offset: float, percent: float) -> None:
    labels = np.array([4.0, 7.0, 10.01])
    ph = buffer_ph(labels, np.full(3, temperature))
    theory = nernst_slope_mv(np.array([temperature]))[0]
    mv = offset - percent / 100 * theory * (ph - 7.0)
    found = check(*((label, float(reading), temperature) for label, reading in zip(labels, mv, strict=True)))
    assert found["slope_pct"] == pytest.approx(percent, abs=1e-6)
    assert found["offset_mv"] == pytest.approx(offset, abs=1e-6)
    assert found["worst_residual_mv"] == pytest.approx(0.0, abs=1e-6)
    assert found["reason"] is None


def test_a_bent_electrode_shows_its_residual() -> None:
    found = check((4.0, 175.0, 25.0), (7.0, 0.0, 25.0), (10.01, -150.0, 25.0))
    ph, mv = np.array([4.0, 7.0, 10.01]), np.array([175.0, 0.0, -150.0])
    line = np.polyval(np.polyfit(ph, mv, 1), ph)
    assert found["worst_residual_mv"] == pytest.approx(np.abs(mv - line).max())


def test_three_buffers_by_least_squares() -> None:
    ph, mv = np.array([[4.0, 7.0, 10.01]]), np.array([[175.0, 2.0, -150.0]])
    slope, offset, _ = fit_electrode(ph, mv)
    expected = np.polyfit(ph[0] - 7.0, mv[0], 1)
    assert (slope[0], offset[0]) == pytest.approx(tuple(expected))


def test_a_missing_temperature_is_said() -> None:
    assert check((4.0, 175.0, None), (7.0, 0.0, 25.0))["is_temperature_assumed"] is True
    assert check((4.0, 175.0, 25.0), (7.0, 0.0, 25.0))["is_temperature_assumed"] is False


@pytest.mark.parametrize(
    ("buffers", "reason"),
    [
        ([(7.0, 0.0, 25.0)], "too_few"),
        ([(7.0, 0.0, 25.0), (7.0, 1.0, 25.0)], "too_few"),
        ([(4.0, 175.0, 25.0), (7.0, None, 25.0), (7.0, 1.0, 60.0)], "unknown_buffer"),
        ([(4.0, 175.0, 25.0), (5.5, 80.0, 25.0)], "unknown_buffer"),
    ],
)
def test_why_there_is_no_slope(buffers: list[tuple[float, float | None, float | None]], reason: str) -> None:
    found = check(*buffers)
    assert found["reason"] == reason
    assert (found["slope_pct"], found["offset_mv"]) == (None, None)


# The published electrode with the buffers of its sheet, 7.01 and 4.01, which no table has to the last digit.
def test_what_the_bottle_says_goes_before_the_table() -> None:
    frame = pl.DataFrame(
        {
            "meter": "M1",
            "nominal": [7.0, 4.0],
            "mv": [-15.0, 160.0],
            "t": [25.0, 25.0],
            "bottle": [7.01, 4.01],
        }
    )
    with_bottle = electrode_checks(
        frame, ["meter"], nominal="nominal", mv="mv", temperature_c="t", bottle_ph="bottle"
    )
    from_table = electrode_checks(frame, ["meter"], nominal="nominal", mv="mv", temperature_c="t")
    assert with_bottle["slope_mv_per_ph"].item() == pytest.approx(-175 / 3.00)
    assert with_bottle["slope_pct"].item() == pytest.approx(98.6, abs=0.05)
    assert from_table["slope_mv_per_ph"].item() == pytest.approx(-175 / 3.00)
    assert from_table["offset_mv"].item() == pytest.approx(-15.0)
    assert with_bottle["offset_mv"].item() == pytest.approx(-14.42, abs=0.005)


def test_error_in_a_buffer() -> None:
    shown = pl.Series([7.10, 4.00, None, 5.0])
    nominal, temperature = pl.Series([7.0, 4.0, 7.0, 5.0]), pl.Series([10.0, None, 25.0, 25.0])
    found = ph_error(shown, nominal, temperature)
    assert found.to_list() == [pytest.approx(0.04), pytest.approx(0.0), None, None]


def test_error_in_an_ec_standard() -> None:
    found = ec_error_share(pl.Series([1.484, 1.413, None, 1.4]), pl.Series([1.413, 1.413, 1.413, 0.0]))
    assert found.to_list() == [pytest.approx(0.0502, abs=1e-4), 0.0, None, None]


def test_no_checks() -> None:
    schema = {"meter": pl.String, "nominal": pl.Float64, "mv": pl.Float64, "temperature": pl.Float64}
    frame = pl.DataFrame(schema=schema)
    assert (
        electrode_checks(frame, ["meter"], nominal="nominal", mv="mv", temperature_c="temperature").height
        == 0
    )
