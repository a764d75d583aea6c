"""What a file leaves behind when it is read again: lines that others lean on, and how many of its values changed."""

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


def count_changed(before: Values, after: Values) -> dict[int, int]:
    """Lines whose values differ, by the file in which they stand first now; a file without any is left out."""
    first = after.lines.filter("is_first")
    was = before.lines.select("file_id", "line_from", was_file="at_file_id", was_record="at_record_no")
    places = first.join(was, on=["file_id", "line_from"], how="left")
    counts: dict[int, int] = {}
    for table, now in after.rows.items():
        names = [name for name in now.columns if name not in ("file_id", "record_no")]
        pairs = places.join(
            now, left_on=["at_file_id", "at_record_no"], right_on=["file_id", "record_no"], how="inner"
        ).join(
            before.rows[table],
            left_on=["was_file", "was_record"],
            right_on=["file_id", "record_no"],
            how="left",
            suffix="_before",
        )
        differs = pl.any_horizontal(pl.col(name).ne_missing(pl.col(f"{name}_before")) for name in names)
        counts |= dict(pairs.filter(differs).group_by("file_id").len().iter_rows())
    return counts


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
