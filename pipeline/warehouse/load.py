"""All files of a night in one insert a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime

import polars as pl

from pipeline.intake.known import KNOWN_SCHEMA, number_equal_texts
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.reread import hand_over, list_changes, read_values
from pipeline.warehouse.statements import fetch, insert_frame, run_sql

LINE_TABLES = {
    "readings": "reading_lines",
    "lots": "lot_lines",
    "calibrations": "calibration_lines",
    "treatments": "treatment_lines",
    "feed_checks": "feed_check_lines",
    "exemptions": "exemption_lines",
    "plantings": "planting_lines",
    "people": "people_lines",
}


@dataclass(frozen=True, slots=True)
class FileFacts:
    """What is known of one file as a whole. `modified_at` is UTC; `problem` holds the whole file.

    `header`, `extra_columns` and `layout` are JSON lists: the header's cells, those of them that no field maps, and
    what stands in which column (null where the file cannot be read). `numbers_pots`: null where the lines tell it.
    """

    site_id: str
    kind: str
    export_no: int
    mode: str
    numbers_pots: bool | None
    name: str
    sha256: str
    size_bytes: int
    modified_at: datetime
    lines: int
    problem: str | None
    problem_sentence: str | None
    problem_mend: str | None
    reading_digest: str = ""
    header: str | None = None
    extra_columns: str | None = None
    layout: str | None = None


@dataclass(frozen=True, slots=True)
class ReadFile:
    """A file of an earlier night, as it was read then. `modified_at` is UTC without saying so."""

    file_id: int
    night_no: int
    received_on: date
    site_id: str
    kind: str
    export_no: int
    name: str
    sha256: str
    size_bytes: int
    modified_at: datetime
    reading_digest: str
    problem: str | None
    header: str | None
    layout: str | None


@dataclass(frozen=True, slots=True)
class NewFile:
    """One file ready to be loaded.

    records: record_no, line_from, line_to, kind, text, and content (see intake.known) where the file could be read;
    rows: typed columns of the kind with `cells`; problems: record_no, code, field, cell, sentence; same_as: record_no,
    same_as_file_id, same_as_record_no of records that an earlier file has brought (they have neither row nor problem),
    None for none.
    """

    facts: FileFacts
    records: pl.DataFrame
    rows: pl.DataFrame
    problems: pl.DataFrame
    same_as: pl.DataFrame | None = None


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something in a drop folder that could not be taken in."""

    site_id: str
    name: str
    code: str
    sentence: str
    mend: str


@dataclass(frozen=True, slots=True)
class NightRow:
    """A night that was run to its end."""

    night_no: int
    as_of: date
    leachbook_version: str
    settings_digest: str
    facts_digest: str
    new_files: int
    new_records: int


def seen_files(connection: Connection) -> set[tuple[str, str, int, str, str]]:
    """Files that need no work again: site, kind, number of the export, name, SHA-256."""
    return {
        (site, kind, int(number), name, sha)
        for site, kind, number, name, sha in run_sql(connection, "nights/seen_files")
    }


def last_night(connection: Connection) -> NightRow | None:
    """The newest complete night of the warehouse, None before the first."""
    rows = run_sql(connection, "nights/last_night")
    return NightRow(*rows[0]) if rows else None


def start_night(connection: Connection, as_of: date, version: str, settings_digest: str) -> int:
    """Number tonight and write it down as the run that the models look at."""
    night_no = _one_number(connection, "nights/next_night")
    run_sql(connection, "nights/forget_run")
    run_sql(connection, "nights/set_run", {"night_no": night_no, "as_of": as_of})
    run_sql(
        connection,
        "nights/open_night",
        {"night_no": night_no, "as_of": as_of, "version": version, "settings_digest": settings_digest},
    )
    return night_no


def finish_night(connection: Connection, night_no: int, digest: str, files: int, records: int) -> None:
    """Complete tonight's row."""
    run_sql(
        connection,
        "nights/finish_night",
        {"digest": digest, "files": files, "records": records, "night_no": night_no},
    )


def read_files(connection: Connection) -> list[ReadFile]:
    """Every file of the warehouse as it was read, oldest first."""
    return [ReadFile(*row) for row in run_sql(connection, "nights/read_files")]


def known_lines(
    connection: Connection, site_id: str, kind: str, export_no: int, reading_digest: str
) -> pl.DataFrame:
    """Lines that the files of one export have brought under these settings, as intake.known has them."""
    parameters = {
        "site_id": site_id,
        "kind": kind,
        "export_no": export_no,
        "reading_digest": reading_digest,
    }
    return fetch(connection, "nights/known_lines", parameters).cast(KNOWN_SCHEMA)  # type: ignore[arg-type]


def next_file_id(connection: Connection) -> int:
    """The number that the next new file will have; those after it follow."""
    return _one_number(connection, "nights/next_file")


def load_files(connection: Connection, night_no: int, as_of: date, files: Sequence[NewFile]) -> int:
    """Insert all files of the night, in the order in which they rule over each other; returns the records."""
    first = next_file_id(connection)
    placed = [_Placed(file_id, night_no, as_of, file) for file_id, file in enumerate(files, start=first)]
    connection.begin()
    records = _insert(connection, placed)
    connection.commit()
    return records


def reload_files(connection: Connection, night_no: int, files: Sequence[tuple[ReadFile, NewFile]]) -> None:
    """Put new readings of old files in the place of the old ones; they keep their number and day of receipt.

    Which values changed is written down for tonight, and what the lines were taken for is kept for `note_fates`.
    """
    if not files:
        return
    placed = [_Placed(old.file_id, old.night_no, old.received_on, new) for old, new in files]
    file_ids = [one.file_id for one in placed]
    tables = list(LINE_TABLES.values())
    before = read_values(connection, tables, file_ids)
    connection.begin()
    run_sql(connection, "nights/keep_lines_before", {"file_ids": file_ids})
    hand_over(connection, [*tables, "record_problems"], file_ids)
    for table in ("files", "records", "record_problems", *tables):
        run_sql(connection, f"nights/forget_{table}", {"file_ids": file_ids})
    _insert(connection, placed)
    changes = list_changes(before, read_values(connection, tables, file_ids))
    if changes.height:
        insert_frame(connection, "reread_values", changes.with_columns(night_no=pl.lit(night_no)))
    changed = dict(changes.group_by("file_id").agg(pl.col("line_from").n_unique()).iter_rows())
    for file_id in file_ids:
        run_sql(
            connection,
            "nights/note_reread",
            {"file_id": file_id, "changed_lines": changed.get(file_id, 0)},
        )
    connection.commit()


@dataclass(frozen=True, slots=True)
class _Placed:
    """A file with its number, and the night and day on which it came."""

    file_id: int
    night_no: int
    received_on: date
    file: NewFile


def _insert(connection: Connection, placed: Sequence[_Placed]) -> int:
    if not placed:
        return 0
    insert_frame(connection, "files", _file_rows(placed))
    records = pl.concat([_record_rows(one.file_id, one.file) for one in placed])
    insert_frame(connection, "records", records)
    problems = [_problem_rows(one.file_id, one.file.problems) for one in placed if one.file.problems.height]
    if problems:
        insert_frame(connection, "record_problems", pl.concat(problems))
    for kind, table in LINE_TABLES.items():
        rows = [
            one.file.rows.drop("cells").with_columns(file_id=pl.lit(one.file_id, dtype=pl.Int32))
            for one in placed
            if one.file.facts.kind == kind and one.file.rows.height
        ]
        if rows:
            insert_frame(connection, table, pl.concat(rows))
    return records.height


def load_troubles(connection: Connection, night_no: int, troubles: Sequence[Trouble]) -> None:
    """Write down what lay in the drop folders and could not be taken in."""
    for trouble in troubles:
        run_sql(connection, "nights/insert_trouble", {"night_no": night_no, **asdict(trouble)})


def _one_number(connection: Connection, name: str) -> int:
    return int(run_sql(connection, name)[0][0])


def _file_rows(placed: Sequence[_Placed]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "file_id": one.file_id,
                "night_no": one.night_no,
                "received_on": one.received_on,
                **asdict(one.file.facts),
                "modified_at": one.file.facts.modified_at.replace(tzinfo=None),
            }
            for one in placed
        ],
        infer_schema_length=None,
        schema_overrides={
            "problem": pl.String,
            "problem_sentence": pl.String,
            "problem_mend": pl.String,
            "header": pl.String,
            "extra_columns": pl.String,
            "layout": pl.String,
        },
    )


def _record_rows(file_id: int, file: NewFile) -> pl.DataFrame:
    """Records with the raw cells of those that could be read, as a JSON object by field.

    A record that an earlier file has brought points to it instead of holding text and cells.
    """
    cells = (
        file.rows.select("record_no", "cells")
        if file.rows.height
        else pl.DataFrame(schema={"record_no": pl.Int64, "cells": pl.String})
    )
    same_as = file.same_as if file.same_as is not None else _NOTHING_KNOWN
    records = file.records
    if "content" not in records.columns:
        records = records.with_columns(content=pl.lit(None, dtype=pl.String))
    return (
        number_equal_texts(records.select("record_no", "line_from", "line_to", "kind", "text", "content"))
        .join(cells, on="record_no", how="left", maintain_order="left")
        .join(same_as, on="record_no", how="left", maintain_order="left")
        .with_columns(
            *(
                pl.when(pl.col("same_as_file_id").is_null()).then(name).alias(name)
                for name in ("text", "content")
            ),
            file_id=pl.lit(file_id, dtype=pl.Int32),
        )
    )


_NOTHING_KNOWN = pl.DataFrame(
    schema={"record_no": pl.Int64, "same_as_file_id": pl.Int32, "same_as_record_no": pl.Int32}
)


def _problem_rows(file_id: int, problems: pl.DataFrame) -> pl.DataFrame:
    return problems.select(
        pl.lit(file_id, dtype=pl.Int32).alias("file_id"),
        "record_no",
        (pl.int_range(pl.len()).over("record_no") + 1).alias("problem_no"),
        "code",
        "field",
        "cell",
        "sentence",
    )
