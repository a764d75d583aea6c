"""All files of a night in one insert a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime

import polars as pl

from pipeline.warehouse.connect import Connection
from pipeline.warehouse.statements import insert_frame, run_sql

LINE_TABLES = {"readings": "reading_lines", "lots": "lot_lines", "calibrations": "calibration_lines"}


@dataclass(frozen=True, slots=True)
class FileFacts:
    """What is known of one file as a whole. `modified_at` is UTC; `problem` holds the whole file."""

    site_id: str
    kind: str
    export_no: int
    mode: str
    numbers_pots: bool
    name: str
    sha256: str
    size_bytes: int
    modified_at: datetime
    lines: int
    problem: str | None
    problem_sentence: str | None
    problem_mend: str | None


@dataclass(frozen=True, slots=True)
class NewFile:
    """One file ready to be loaded.

    records: record_no, line_from, line_to, kind, text; rows: typed columns of the kind with `cells`;
    problems: record_no, code, field, cell, sentence.
    """

    facts: FileFacts
    records: pl.DataFrame
    rows: pl.DataFrame
    problems: pl.DataFrame


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


def load_files(connection: Connection, night_no: int, as_of: date, files: Sequence[NewFile]) -> int:
    """Insert all files of the night, in the order in which they rule over each other; returns the records."""
    if not files:
        return 0
    numbered = list(enumerate(files, start=_one_number(connection, "nights/next_file")))
    connection.begin()
    insert_frame(connection, "files", _file_rows(numbered, night_no, as_of))
    records = pl.concat([_record_rows(file_id, file) for file_id, file in numbered])
    insert_frame(connection, "records", records)
    problems = [_problem_rows(file_id, file.problems) for file_id, file in numbered if file.problems.height]
    if problems:
        insert_frame(connection, "record_problems", pl.concat(problems))
    for kind, table in LINE_TABLES.items():
        rows = [
            file.rows.drop("cells").with_columns(file_id=pl.lit(file_id, dtype=pl.Int32))
            for file_id, file in numbered
            if file.facts.kind == kind and file.rows.height
        ]
        if rows:
            insert_frame(connection, table, pl.concat(rows))
    connection.commit()
    return records.height


def load_troubles(connection: Connection, night_no: int, troubles: Sequence[Trouble]) -> None:
    """Write down what lay in the drop folders and could not be taken in."""
    for trouble in troubles:
        run_sql(connection, "nights/insert_trouble", {"night_no": night_no, **asdict(trouble)})


def _one_number(connection: Connection, name: str) -> int:
    return int(run_sql(connection, name)[0][0])


def _file_rows(numbered: Sequence[tuple[int, NewFile]], night_no: int, as_of: date) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "file_id": file_id,
                "night_no": night_no,
                "site_id": file.facts.site_id,
                "kind": file.facts.kind,
                "export_no": file.facts.export_no,
                "mode": file.facts.mode,
                "numbers_pots": file.facts.numbers_pots,
                "name": file.facts.name,
                "sha256": file.facts.sha256,
                "size_bytes": file.facts.size_bytes,
                "modified_at": file.facts.modified_at.replace(tzinfo=None),
                "received_on": as_of,
                "lines": file.facts.lines,
                "problem": file.facts.problem,
                "problem_sentence": file.facts.problem_sentence,
                "problem_mend": file.facts.problem_mend,
            }
            for file_id, file in numbered
        ],
        infer_schema_length=None,
        schema_overrides={
            "problem": pl.String,
            "problem_sentence": pl.String,
            "problem_mend": pl.String,
        },
    )


def _record_rows(file_id: int, file: NewFile) -> pl.DataFrame:
    """Records with the raw cells of those that could be read, as a JSON object by field."""
    cells = (
        file.rows.select("record_no", "cells")
        if file.rows.height
        else pl.DataFrame(schema={"record_no": pl.Int64, "cells": pl.String})
    )
    return (
        file.records.select("record_no", "line_from", "line_to", "kind", "text")
        .join(cells, on="record_no", how="left", maintain_order="left")
        .with_columns(file_id=pl.lit(file_id, dtype=pl.Int32))
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
