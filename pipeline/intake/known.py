"""Lines that an earlier file of the same export has already brought: they are neither translated nor stored again.

Two lines are stored as one when they stand in the same layout under the same settings, with the same text, and are
the k-th that say this in their files; only then does equal text mean equal facts. What a line says is its content:
the cells that are read, however they are quoted and whatever stands in the columns that are not.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

import polars as pl

from pipeline.intake.header import header_key, mapped_keys
from pipeline.intake.read import ReadResult
from pipeline.settings import Export

# Stands before the text of a line that has no cells, so that it says nothing that a line with cells could say.
_BROKEN = "\x1f"

KNOWN_SCHEMA: dict[str, pl.DataType] = {
    "layout": pl.String(),
    "text": pl.String(),
    "nth": pl.Int32(),
    "file_id": pl.Int32(),
    "record_no": pl.Int64(),
    "ph": pl.Decimal(6, 3),
    "ec_ms_cm": pl.Decimal(9, 4),
}
"""One row per line: its layout, its text, the how manieth that says this in its file it is, where it was seen first,
and the figures that rules about a whole file look at (pH, and EC in mS/cm; null where it has none)."""
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


def add_content(result: ReadResult, export: Export) -> pl.DataFrame:
    """The records of a file that could be read, with `content`: what each data record says where its text does not say
    it in just this way, null elsewhere.

    The cells of mapped columns, trimmed, with the delimiter between and quotes only where they are needed.
    """
    mapped = mapped_keys(export)
    is_noted = export.extra_columns == "note"
    header = result.header or []
    raw = [
        result.cells[f"c{at}"]
        for at, name in enumerate(header)
        if (is_noted or header_key(name) in mapped) and f"c{at}" in result.cells.columns
    ]
    cells = [one.str.strip_chars() for one in raw]
    is_plain = (
        len(cells) == len(header)
        and result.records["problem"].null_count() == result.records.height
        and not result.records["text"].str.contains('"', literal=True).any()
        and all((one == trimmed).all() for one, trimmed in zip(raw, cells, strict=True))
    )
    if is_plain or not cells:  # the texts say it just so
        return result.records.with_columns(content=pl.lit(None, dtype=pl.String))
    joined = pl.DataFrame([_quoted(one, export.delimiter) for one in cells]).select(
        result.cells["record_no"], content=pl.concat_str(pl.exclude("record_no"), separator=export.delimiter)
    )
    content = pl.coalesce("content", pl.lit(_BROKEN) + pl.col("text"))
    return result.records.join(joined, on="record_no", how="left", maintain_order="left").with_columns(
        content=pl.when((pl.col("kind") == "data") & (content != pl.col("text"))).then(content)
    )


def _quoted(cells: pl.Series, delimiter: str) -> pl.Series:
    """Cells that hold a delimiter or a quote in quotes, so that the joined line can be divided in one way only."""
    is_odd = cells.str.contains(delimiter, literal=True) | cells.str.contains('"', literal=True)
    if not is_odd.any():
        return cells
    quoted = '"' + cells.str.replace_all('"', '""', literal=True) + '"'
    return quoted.zip_with(is_odd, cells).alias(cells.name)


def number_equal_texts(records: pl.DataFrame) -> pl.DataFrame:
    """Add `nth` to records: the how manieth data record that says the same it is; null where it is not data.

    What a record says is its `content`, or its text where it has none.
    """
    has_content = "content" in records.columns and records["content"].null_count() < records.height
    says = records.select(pl.coalesce("content", "text")).to_series() if has_content else records["text"]
    # Nearly all lines stand alone, and counting within groups costs ten times as much as finding that out.
    is_data = records["kind"] == "data"
    is_doubled = is_data & says.is_duplicated()
    ones = pl.when(is_data).then(pl.lit(1, dtype=pl.Int32)).alias("nth")
    counted = (
        records.select("record_no", says.alias("says"))
        .filter(is_doubled)
        .select("record_no", counted=pl.int_range(1, pl.len() + 1, dtype=pl.Int32).over("says"))
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
