"""Lines that an earlier file of the same export has already brought: they are neither translated nor stored again.

Two lines are the same when they stand in the same layout under the same settings and are the k-th of their text in
their files; only then does equal text mean equal facts.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

import polars as pl

from pipeline.intake.header import header_key, mapped_keys
from pipeline.settings import Export

KNOWN_SCHEMA: dict[str, pl.DataType] = {
    "layout": pl.String(),
    "text": pl.String(),
    "nth": pl.Int32(),
    "file_id": pl.Int32(),
    "record_no": pl.Int64(),
    "ph": pl.Decimal(6, 3),
    "ec_ms_cm": pl.Decimal(9, 4),
}
"""One row per line: its layout, its text, the how manieth of this text in its file it is, where it was seen first, and
the figures that rules about a whole file look at (pH, and EC in mS/cm; null where it has none)."""
FOUND_SCHEMA: dict[str, pl.DataType] = {
    name: KNOWN_SCHEMA[name] for name in ("record_no", "file_id", "ph", "ec_ms_cm")
} | {"first_record_no": pl.Int64()}


def no_lines() -> pl.DataFrame:
    """Known lines before there are any."""
    return pl.DataFrame(schema=KNOWN_SCHEMA)


def lay_out(header: Sequence[str], export: Export) -> str:
    """What stands in which column, as a JSON list: the header's key where the column is read, null elsewhere."""
    mapped = mapped_keys(export)
    is_noted = export.extra_columns == "note"
    keys = [header_key(name) for name in header]
    return json.dumps([key if is_noted or key in mapped else None for key in keys], ensure_ascii=False)


def number_equal_texts(records: pl.DataFrame) -> pl.DataFrame:
    """Add `nth` to records: the how manieth data record of its text it is; null where it is not data."""
    # Nearly all texts stand alone, and counting within groups costs ten times as much as finding that out.
    is_data = records["kind"] == "data"
    is_doubled = is_data & records["text"].is_duplicated()
    ones = pl.when(is_data).then(pl.lit(1, dtype=pl.Int32)).alias("nth")
    counted = records.filter(is_doubled).select(
        "record_no", counted=pl.int_range(1, pl.len() + 1, dtype=pl.Int32).over("text")
    )
    return (
        records.with_columns(ones)
        .join(counted, on="record_no", how="left", maintain_order="left")
        .with_columns(nth=pl.coalesce("counted", "nth"))
        .drop("counted")
    )


def find_known(records: pl.DataFrame, layout: str, known: pl.DataFrame, file_id: int) -> pl.DataFrame:
    """Find the records (with `nth`) of file `file_id` that an earlier file has brought.

    Returns record_no, file_id and first_record_no of the first appearance, ph and ec_ms_cm, in the order of the file.
    """
    earlier = (
        known.lazy()
        .filter((pl.col("layout") == layout) & (pl.col("file_id") < file_id))
        .sort("file_id", maintain_order=True)
        .unique(["text", "nth"], keep="first", maintain_order=True)
        .rename({"record_no": "first_record_no"})
    )
    data = records.lazy().filter(pl.col("kind") == "data").select("record_no", "text", "nth")
    found = data.join(earlier, on=["text", "nth"], how="inner", maintain_order="left")
    return found.select(list(FOUND_SCHEMA)).collect()
