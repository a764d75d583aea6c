"""What a file leaves behind when it is read again: lines that others lean on, and which of its values changed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.warehouse.connect import Connection
from pipeline.warehouse.statements import fetch, fetch_relation, insert_frame, run_sql


@dataclass(frozen=True, slots=True)
class Values:
    """Lines of some files (see nights/lines_of_files) and the typed values that they have, by table."""

    lines: pl.DataFrame
    rows: Mapping[str, pl.DataFrame]


def read_values(connection: Connection, tables: Iterable[str], file_ids: Sequence[int]) -> Values:
    """The lines of these files with their values, wherever those stand."""
    lines = fetch(connection, "nights/lines_of_files", {"file_ids": list(file_ids)})
    held_in = lines["at_file_id"].unique().implode()
    rows = {
        table: fetch_relation(connection, table).filter(pl.col("file_id").is_in(held_in)) for table in tables
    }
    return Values(lines, rows)


def list_changes(before: Values, after: Values) -> pl.DataFrame:
    """Every value that differs: file_id, line_from, field, value_before, value_after (text; null where there is none).

    Lines are told by where they begin in their file. A line that only repeats one of an earlier file, before and now,
    is left out: what changes in that one changes here.
    """
    lines = before.lines.join(
        after.lines, on=["file_id", "line_from"], how="full", coalesce=True, suffix="_now"
    ).filter(pl.col("is_first").fill_null(False) | pl.col("is_first_now").fill_null(False))
    changes = [_NO_CHANGE]
    for table, now in after.rows.items():
        was = before.rows[table]
        names = [name for name in now.columns if name not in ("file_id", "record_no")]
        pairs = _placed(lines, was, "at_file_id", "at_record_no").join(
            _placed(lines, now, "at_file_id_now", "at_record_no_now"),
            on=["file_id", "line_from"],
            how="full",
            coalesce=True,
            suffix="_after",
        )
        changes += [_changes_of(pairs, name) for name in names]
    return pl.concat(changes).sort("file_id", "line_from", "field")


_NO_CHANGE = pl.DataFrame(
    schema={
        "file_id": pl.Int32,
        "line_from": pl.Int32,
        "field": pl.String,
        "value_before": pl.String,
        "value_after": pl.String,
    }
)


def _placed(lines: pl.DataFrame, rows: pl.DataFrame, at_file: str, at_record: str) -> pl.DataFrame:
    """The rows of a table by file and line of those that have them."""
    places = lines.select("file_id", "line_from", at_file, at_record)
    return places.join(
        rows, left_on=[at_file, at_record], right_on=["file_id", "record_no"], how="inner"
    ).drop(at_file, at_record)


def _changes_of(pairs: pl.DataFrame, name: str) -> pl.DataFrame:
    differing = pairs.filter(pl.col(name).ne_missing(pl.col(f"{name}_after")))
    return differing.select(
        "file_id",
        "line_from",
        pl.lit(name).alias("field"),
        _as_text(differing, name).alias("value_before"),
        _as_text(differing, f"{name}_after").alias("value_after"),
    )


def _as_text(frame: pl.DataFrame, name: str) -> pl.Expr:
    text = pl.col(name).cast(pl.String)
    if not frame.schema[name].is_decimal():
        return text
    # 5.800 and 5.8 are one value, whatever the column keeps.
    return text.str.replace(r"(\.[0-9]*?)0+$", "$1").str.strip_suffix(".")


def hand_over(connection: Connection, tables: Iterable[str], file_ids: Sequence[int]) -> None:
    """Before these files are forgotten, give what others repeat of them to the first of those others.

    Happens where an export takes only some of its earlier files any more: the others stay as they were read.
    """
    parameters = {"file_ids": list(file_ids)}
    run_sql(connection, "nights/choose_heirs", parameters)
    heirs = fetch_relation(connection, "heirs")
    if heirs.is_empty():
        return
    run_sql(connection, "nights/hand_over_references", parameters)
    run_sql(connection, "nights/hand_over_texts")
    for table in tables:
        rows = (
            fetch_relation(connection, table)
            .rename({"file_id": "old_file_id", "record_no": "old_record_no"})
            .join(heirs, on=["old_file_id", "old_record_no"], how="inner")
            .drop("old_file_id", "old_record_no")
        )
        if rows.height:
            insert_frame(connection, table, rows)


def note_fates(connection: Connection) -> None:
    """Once tonight's fates are worked out: write down those of the files read again that are not what they were."""
    run_sql(connection, "nights/note_reread_fates")
