"""EC columns: the correction's nulls and form, and bands without gap or overlap."""

from __future__ import annotations

from decimal import Decimal

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.measures.ec import ec_band, ec_band_limits
from pipeline.measures.reference_tables import EXTRACTION_METHODS, load_ec_bands

BANDS = load_ec_bands()
LIMITS = ec_band_limits(BANDS).rows(named=True)
READINGS = st.decimals(min_value=0, max_value=20, places=4)

# Example times vary with what else the machine does; only results are judged.
UNHURRIED = settings(deadline=None)


def bands_that_hold(method: str, ec: Decimal) -> list[str]:
    """Every band of a method whose limits hold the reading, one comparison at a time."""
    held = []
    for row in LIMITS:
        low, high = row["low_ms_cm"], row["high_ms_cm"]
        above = ec >= low if row["low_included"] else ec > low
        below = high is None or (ec <= high if row["high_included"] else ec < high)
        if row["method"] == method and above and below:
            held.append(str(row["band"]))
    return held


def name_bands(methods: list[str | None], readings: list[Decimal | None]) -> list[str | None]:
    frame = pl.DataFrame(
        {"method": methods, "ec": readings}, schema={"method": pl.String, "ec": pl.Decimal(9, 4)}
    )
    return frame.select(ec_band(pl.col("method"), pl.col("ec"), BANDS)).to_series().to_list()


@UNHURRIED
@given(st.sampled_from(EXTRACTION_METHODS), READINGS)
def test_each_reading_is_in_exactly_one_band(method: str, ec: Decimal) -> None:
    assert bands_that_hold(method, ec) == name_bands([method], [ec])


@pytest.mark.parametrize("row", LIMITS, ids=lambda row: f"{row['method']} {row['band']}")
def test_each_printed_edge_is_in_exactly_one_band(row: dict[str, Decimal]) -> None:
    assert len(bands_that_hold(str(row["method"]), row["low_ms_cm"])) == 1


def test_readings_without_a_band() -> None:
    readings = [Decimal("2.0"), Decimal("2.0"), None, Decimal("-0.1")]
    assert name_bands([None, "squeezed", "pour-through", "pour-through"], readings) == [None] * 4


def test_bands_of_binary_numbers() -> None:
    frame = pl.DataFrame({"m": ["pour-through"] * 3, "ec": [2.6, 2.6000001, 6.55]})
    assert frame.select(ec_band(pl.col("m"), pl.col("ec"), BANDS)).to_series().to_list() == [
        "low",
        "normal",
        "high",
    ]


def test_only_the_set_in_use_names_bands() -> None:
    # The other printed 1:2 column ends its low band at 0.75, the one in use at 0.8.
    assert name_bands(["1:2 dilution"], [Decimal("0.78")]) == ["low"]
