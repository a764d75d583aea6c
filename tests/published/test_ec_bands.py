"""EC bands against what the sources print."""

from __future__ import annotations

from decimal import Decimal

import polars as pl
import pytest

from pipeline.measures.ec import ec_band, ec_band_limits
from pipeline.measures.reference_tables import load_ec_bands


def band_of(method: str, ec_ms_cm: str) -> str | None:
    reading = pl.DataFrame(
        {"method": [method], "ec": [Decimal(ec_ms_cm)]},
        schema={"method": pl.String, "ec": pl.Decimal(9, 4)},
    )
    named: str | None = reading.select(ec_band(pl.col("method"), pl.col("ec"), load_ec_bands())).item()
    return named


# Kent County Extension, 27 Feb 2008, quoting UMass/UConn (read): one number, three answers.
# http://kentcoopextension.blogspot.com/2008/02/greenhouse-and-nursery-testing-media.html
@pytest.mark.parametrize(
    ("method", "band"),
    [("pour-through", "low"), ("1:2 dilution", "extreme"), ("saturated media extract", "normal")],
)
def test_2_6_is_low_extreme_or_normal_by_method(method: str, band: str) -> None:
    assert band_of(method, "2.6") == band


# UMass Extension, soil testing chapter, Table 2 (read in a third-party reprint), pour-through column; a value
# in the middle of each printed band.
@pytest.mark.parametrize(
    ("ec_ms_cm", "band"),
    [
        ("0.5", "very low"),
        ("1.8", "low"),
        ("3.6", "normal"),
        ("5.5", "high"),
        ("7.2", "very high"),
        ("9.0", "extreme"),
    ],
)
def test_pour_through_bands_as_printed(ec_ms_cm: str, band: str) -> None:
    assert band_of("pour-through", ec_ms_cm) == band


# The printed table leaves 6.5 to 6.6 empty. No source says whose it is: the lower band is the house rule.
@pytest.mark.parametrize(
    ("ec_ms_cm", "band"),
    [("6.5", "high"), ("6.5001", "high"), ("6.55", "high"), ("6.5999", "high"), ("6.6", "very high")],
)
def test_a_value_in_the_printed_gap_belongs_to_the_lower_band(ec_ms_cm: str, band: str) -> None:
    assert band_of("pour-through", ec_ms_cm) == band


# Shared edges follow the one edge that a source decides (2.6 above).
@pytest.mark.parametrize(("ec_ms_cm", "band"), [("1.0", "very low"), ("4.6", "normal"), ("7.8", "very high")])
def test_a_shared_edge_belongs_to_the_lower_band(ec_ms_cm: str, band: str) -> None:
    assert band_of("pour-through", ec_ms_cm) == band


def test_the_set_in_use_is_the_one_that_was_read() -> None:
    limits = ec_band_limits(load_ec_bands())
    assert limits["how_known"].unique().to_list() == ["read"]
    assert limits.height == 18


# NC State Univ., HIL 590 (memory) against UMass (read): the pour-through columns are the same.
def test_both_printed_sets_agree_for_pour_through() -> None:
    edges = load_ec_bands().filter(pl.col("method") == "pour-through")
    columns = ["band_no", "band", "low_ms_cm", "high_ms_cm"]
    used, other = (edges.filter(pl.col("used") == used).select(columns) for used in (True, False))
    assert used.equals(other)
