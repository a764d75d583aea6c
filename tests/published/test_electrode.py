"""Limits for a pH electrode against two worked electrodes.

Worked sheet "How to calculate offset and slope" (read): accepted between 85 % (150 mV) and 105 % (186 mV) and
within ±30 mV at pH 7.01; 59.16 mV per pH at 25 °C.
https://studylib.net/doc/25392327/how-to-calculate-offset-and-slope
"""

from __future__ import annotations

from decimal import Decimal

import polars as pl
import pytest

from pipeline.measures.reference_tables import load_meter_limits
from tests.published.worked import read_worked

MV_PER_PH = 59.16


def millivolts(electrode: str) -> tuple[float, float]:
    """What the electrode shows at pH 7.01 and at pH 4.01."""
    rows = read_worked("electrode_calibration").filter(pl.col("electrode") == electrode)
    by_buffer = dict(zip(rows["buffer_ph"], rows["mv"].cast(pl.Float64), strict=True))
    return by_buffer["7.01"], by_buffer["4.01"]


def slope_pct(electrode: str) -> float:
    at_7, at_4 = millivolts(electrode)
    return (at_4 - at_7) / (7.01 - 4.01) / MV_PER_PH * 100


def accepted(quantity: str, value: float) -> bool:
    limits = load_meter_limits().row(
        by_predicate=(pl.col("quantity") == quantity) & (pl.col("how_known") == "read"), named=True
    )
    return bool(float(limits["low"]) <= value <= float(limits["high"]))


# The verdicts and the differences were read; the percentages are computed.
@pytest.mark.parametrize(
    ("electrode", "difference_mv", "percent", "good"), [("1", 175, 98.6, True), ("2", 145, 81.7, False)]
)
def test_worked_electrodes(electrode: str, difference_mv: int, percent: float, *, good: bool) -> None:
    at_7, at_4 = millivolts(electrode)
    assert at_4 - at_7 == difference_mv
    assert slope_pct(electrode) == pytest.approx(percent, abs=0.05)
    assert accepted("slope", slope_pct(electrode)) is good
    assert accepted("offset", at_7)


# The sheet's own limits in millivolts (read) are the shipped limits in percent, to the digit that it prints.
@pytest.mark.parametrize(("limit_mv", "percent"), [(150, 85), (186, 105)])
def test_limits_in_millivolts_and_percent(limit_mv: int, percent: int) -> None:
    assert round(limit_mv / 3.00 / MV_PER_PH * 100) == percent


@pytest.mark.parametrize(("offset_mv", "good"), [(-30, True), (30, True), (30.1, False), (-30.1, False)])
def test_offset_limits(offset_mv: float, *, good: bool) -> None:
    assert accepted("offset", offset_mv) is good


# Usual laboratory window 95 to 102 % (memory): only warns.
def test_laboratory_window() -> None:
    window = load_meter_limits().filter(pl.col("how_known") == "memory")
    assert window.select("low", "high").rows() == [(Decimal(95), Decimal(102))]
