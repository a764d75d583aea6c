"""Source water and feed: alkalinity against what a container bears, and the injector against its setting.

Nothing is subtracted in silence: every figure that goes into a difference stands beside it.
"""

from __future__ import annotations

from typing import Final

import polars as pl

from pipeline.measures.reference_tables import load_alkalinity_targets

CACO3_MG_L_PER_MEQ_L: Final = 50.04
"""1 meq/L in mg/L CaCO3: 100.09 / 2."""
FEED_TOLERANCE_SHARE: Final = 0.10
"""House default: an injector within 10 % of its setting is taken as set right."""
LEAST_EXPECTED_MS_CM: Final = 0.1
"""House default: below it a share of what the feed should give is nothing but meter noise."""

ANY_CLASS: Final = "any"
"""Water in general, for classes without a row of their own."""


def alkalinity_targets() -> pl.DataFrame:
    """Alkalinity by container class in mg/L CaCO3, every published row (all read).

    Columns: container_class (`any`: water in general), low (null: none given), high, acid_above (null: not
    given), source, is_used (one row of each class). Nursery containers have no row of their own.
    """
    classes = pl.col("container_classes").fill_null(ANY_CLASS).str.split(" ")
    return (
        load_alkalinity_targets()
        .with_columns(container_class=classes)
        .explode("container_class")
        .select(
            "container_class",
            *(pl.col(f"{name}_mg_l").cast(pl.Float64).alias(name) for name in ("low", "high", "acid_above")),
            "source",
            pl.col("used").alias("is_used"),
        )
    )


def caco3_mg_l(alkalinity_meq_l: pl.Expr) -> pl.Expr:
    """Alkalinity in meq/L as mg/L CaCO3: times 50.04 (from the molar mass of CaCO3, 100.09, by two)."""
    return alkalinity_meq_l.cast(pl.Float64) * CACO3_MG_L_PER_MEQ_L


def judge_alkalinity(waters: pl.DataFrame) -> pl.DataFrame:
    """Each water against what its container class bears.

    `waters`: container_class, alkalinity_mg_l (CaCO3). Result: its columns with low, high, acid_above, source, and
    word: `low`, `in_range`, `high`, `acid` (above the figure from which the source treats water with acid), null
    where there is no reading. A class without a row is held against water in general. Edges belong to the range.
    """
    used = alkalinity_targets().filter(pl.col("is_used")).drop("is_used")
    known = pl.col("container_class").is_in(used["container_class"].implode())
    reading = pl.col("alkalinity_mg_l").cast(pl.Float64)
    return (
        waters.with_columns(_row=pl.when(known).then(pl.col("container_class")).otherwise(pl.lit(ANY_CLASS)))
        .join(used.rename({"container_class": "_row"}), on="_row", how="left", maintain_order="left")
        .drop("_row")
        .with_columns(
            word=pl.when(reading > pl.col("acid_above"))
            .then(pl.lit("acid"))
            .when(reading > pl.col("high"))
            .then(pl.lit("high"))
            .when(reading < pl.col("low"))
            .then(pl.lit("low"))
            .when(reading.is_not_null())
            .then(pl.lit("in_range"))
        )
    )


def check_feeds(feeds: pl.DataFrame, tolerance_share: float = FEED_TOLERANCE_SHARE) -> pl.DataFrame:
    """Each feed at the hose end against what the injector should give.

    `feeds`: hose_ec_ms_cm, water_ec_ms_cm, expected_ec_ms_cm (what the fertilizer alone should add at the set
    rate, from the bag's table), all mS/cm at 25 °C. Result: its columns with added_ec_ms_cm (hose end less
    water), share (added / expected), word: `as_set`, `weak`, `strong`, and reason: `not_measured` (one of the
    three is missing), `below_water` (the hose gives less than the water alone: check meter and sample),
    `no_feed` (less than 0.1 mS/cm expected), null. Where there is a reason there is no share and no word. That
    EC adds up is a rule of thumb of the trade; the tolerance is a house default.
    """
    hose, water, expected = (
        pl.col(name).cast(pl.Float64) for name in ("hose_ec_ms_cm", "water_ec_ms_cm", "expected_ec_ms_cm")
    )
    share = pl.col("added_ec_ms_cm") / expected
    return (
        feeds.with_columns(added_ec_ms_cm=hose - water)
        .with_columns(
            reason=pl.when(hose.is_null() | water.is_null() | expected.is_null())
            .then(pl.lit("not_measured"))
            .when(hose < water)
            .then(pl.lit("below_water"))
            .when(expected < LEAST_EXPECTED_MS_CM)
            .then(pl.lit("no_feed"))
        )
        .with_columns(share=pl.when(pl.col("reason").is_null()).then(share))
        .with_columns(
            word=pl.when(pl.col("share") < 1.0 - tolerance_share - 1e-9)
            .then(pl.lit("weak"))
            .when(pl.col("share") > 1.0 + tolerance_share + 1e-9)
            .then(pl.lit("strong"))
            .when(pl.col("share").is_not_null())
            .then(pl.lit("as_set"))
        )
        .select(*feeds.columns, "added_ec_ms_cm", "share", "word", "reason")
    )
