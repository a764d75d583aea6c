"""Which published range a crop is judged against, and what the other sources say.

The rule (house default: the sources do not agree and none ranks above the others): pH and EC are chosen each
for itself among the rows that give the quantity: a row that gives both comes first, then the sources that the
policy names, in its order, then rows that were read, in table order, then rows from memory.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipeline.measures.reference_tables import crop_key

RANGE_COLUMNS = (
    "crop_key",
    "crop",
    "quantity",
    "low",
    "high",
    "source",
    "source_url",
    "how_known",
    "ph_group",
    "row_no",
)
EDGE = pl.Decimal(9, 4)


def named_source_rank(source: pl.Expr, source_order: Sequence[str]) -> pl.Expr:
    """Position of the first name in `source_order` that a source begins with; all others come last.

    Case does not matter, and a name may leave off the article's title: beginnings are compared.
    """
    text = source.str.strip_chars().str.to_lowercase()
    rank: pl.Expr = pl.lit(len(source_order), dtype=pl.Int32)
    for position, name in reversed(list(enumerate(source_order))):
        fits = text.str.starts_with(name.strip().lower())
        rank = pl.when(fits).then(pl.lit(position, dtype=pl.Int32)).otherwise(rank)
    return rank


def list_published_ranges(crop_targets: pl.DataFrame) -> pl.DataFrame:
    """One row per crop, quantity (`ph` or `ec`) and source; `gives_both`: the row has both quantities."""
    keyed = crop_targets.with_columns(
        crop_key=crop_key(pl.col("crop")),
        gives_both=pl.col("ph_low").is_not_null() & pl.col("ec_low_ms_cm").is_not_null(),
    )
    shared = ["crop_key", "crop", "source", "source_url", "how_known", "ph_group", "row_no", "gives_both"]
    by_quantity = [
        keyed.filter(pl.col(low).is_not_null()).select(
            *shared,
            quantity=pl.lit(quantity),
            low=pl.col(low).cast(EDGE),
            high=pl.col(high).cast(EDGE),
        )
        for quantity, low, high in (("ph", "ph_low", "ph_high"), ("ec", "ec_low_ms_cm", "ec_high_ms_cm"))
    ]
    return pl.concat(by_quantity)


def rank_published_ranges(crop_targets: pl.DataFrame, source_order: Sequence[str]) -> pl.DataFrame:
    """All published ranges in the order of preference, best first, quantities and crops mixed."""
    # A column first: with no names the rank is a single value, which `sort` would not spread over the rows.
    return (
        list_published_ranges(crop_targets)
        .with_columns(source_rank=named_source_rank(pl.col("source"), source_order))
        .sort(~pl.col("gives_both"), "source_rank", pl.col("how_known") == "memory", "row_no")
    )


def choose_targets(crop_targets: pl.DataFrame, source_order: Sequence[str]) -> pl.DataFrame:
    """Return the range that each crop is judged against: one row per crop and quantity, sorted by both.

    `crop_targets` as from `load_crop_targets`; `source_order` the source names that the policy prefers.
    Result: crop_key, crop, quantity (`ph` or `ec`), low and high (Decimal; pH, or mS/cm at 25 °C), source,
    source_url, how_known, ph_group, row_no. `ph_group` is the crop's: that of its chosen pH row, else of the
    first row in the same order that names one; it stands on both rows of a crop.
    """
    ranked = rank_published_ranges(crop_targets, source_order)
    groups = (
        ranked.sort(pl.col("quantity") != "ph", maintain_order=True)
        .filter(pl.col("ph_group").is_not_null())
        .group_by("crop_key", maintain_order=True)
        .agg(pl.col("ph_group").first())
    )
    return (
        ranked.unique(["crop_key", "quantity"], keep="first", maintain_order=True)
        .drop("ph_group")
        .join(groups, on="crop_key", how="left", validate="m:1")
        .select(RANGE_COLUMNS)
        .sort("crop_key", "quantity")
    )


def other_ranges(crop_targets: pl.DataFrame, chosen: pl.DataFrame) -> pl.DataFrame:
    """Return every other published range for the crops and quantities in `chosen`, in table order.

    Columns as in `choose_targets`, but `ph_group` is what that very row says (sources differ).
    """
    return (
        list_published_ranges(crop_targets)
        .join(chosen.select("crop_key", "quantity"), on=["crop_key", "quantity"], how="semi")
        .join(
            chosen.select("crop_key", "quantity", "row_no"), on=["crop_key", "quantity", "row_no"], how="anti"
        )
        .select(RANGE_COLUMNS)
        .sort("crop_key", "quantity", "row_no")
    )
