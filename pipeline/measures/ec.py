"""Electrical conductivity: the bands by which any reading is described, on whole columns.

Bands inform and never decide where a lot has a target of its own. EC is brought to 25 °C in sql/samplings.
"""

from __future__ import annotations

import polars as pl


def ec_band_limits(bands: pl.DataFrame) -> pl.DataFrame:
    """Return the used set of bands with limits that leave no gap and no overlap: one row per method and band.

    `bands` as from `load_ec_bands`. Result: method, band_no, band, low_ms_cm, low_included, high_ms_cm (null:
    no end), high_included, source, source_url, how_known. A printed edge that two bands share belongs to the
    lower one (read: 2.6 mS/cm is called low for pour-through); a value in a printed gap (6.5 to 6.6) belongs
    to the lower band (house default: no source says), which then ends just before the upper one begins.
    """
    printed = bands.filter(pl.col("used")).sort("method", "band_no")
    below = pl.col("high_ms_cm").shift(1).over("method")
    above = pl.col("low_ms_cm").shift(-1).over("method")
    return printed.select(
        "method",
        "band_no",
        "band",
        "low_ms_cm",
        # The first band has nothing below it; one that begins after a gap owns the edge it is printed with.
        low_included=(below.is_null() | (below < pl.col("low_ms_cm"))),
        high_ms_cm=above,
        high_included=(above == pl.col("high_ms_cm")).fill_null(value=False),
        source="source",
        source_url="source_url",
        how_known="how_known",
    )


def very_high_edges(bands: pl.DataFrame) -> pl.DataFrame:
    """Where the band "very high" begins: method, ec_ms_cm (EC in mS/cm), is_included (the edge belongs to it)."""
    return (
        ec_band_limits(bands)
        .filter(pl.col("band") == "very high")
        .select("method", ec_ms_cm="low_ms_cm", is_included="low_included")
    )


def ec_band(method: pl.Expr, ec_ms_cm: pl.Expr, bands: pl.DataFrame) -> pl.Expr:
    """Return the name of the band that a reading falls in, as a String column.

    `method` is an extraction method, `ec_ms_cm` EC in mS/cm at 25 °C (Decimal, or Float64), `bands` as from
    `load_ec_bands`. Null for an unknown method, a negative or a missing reading: a number without its method
    cannot be classed.
    """
    name: pl.Expr = pl.lit(None, dtype=pl.String)
    # From the top down, so that the lowest band whose low edge is passed wins last.
    for row in ec_band_limits(bands).sort("method", "band_no").iter_rows(named=True):
        edge = pl.lit(row["low_ms_cm"]).cast(pl.Decimal(9, 4))
        passed = ec_ms_cm >= edge if row["low_included"] else ec_ms_cm > edge
        name = pl.when((method == row["method"]) & passed).then(pl.lit(row["band"])).otherwise(name)
    return name
