"""Which tables are handed out, under which name, and what each of their columns means. Pure but for its CSV."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import Final

import polars as pl

TABLES: Final[Mapping[str, str]] = {
    "lots": "current_lots",
    "lot_growers": "lot_growers",
    "lot_spans": "lot_facts",
    "readings": "usable_readings",
    "samplings": "samplings",
    "sampling_figures": "sampling_figures",
    "verdicts": "verdicts",
    "rows_out": "streaks",
    "dues": "dues",
    "due_states": "due_states",
    "attention": "attention",
    "reasons": "reasons",
    "remarks": "sampling_findings",
    "calibrations": "calibrations",
    "meter_days": "meter_days",
    "treatments": "treatments",
    "feed_checks": "feed_checks",
    "exemptions": "exemptions",
    "plantings": "plantings",
    "people": "people",
    "files": "files",
    "lines": "record_fates",
}
"""Name of each table that is handed out, and the relation of the warehouse that it is."""


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a column name stands for; `unit` is empty for words, counts and marks."""

    unit: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Column:
    """One line of the dictionary. `origin`: where its values come from; `kind`: its type in the warehouse."""

    table: str
    column: str
    kind: str
    unit: str
    meaning: str
    origin: str


@dataclass(frozen=True, slots=True)
class TableFacts:
    """What the dictionary says of a whole table: its grain, its key and the file that makes it."""

    table: str
    relation: str
    grain: str
    key: str
    made_by: str
    rows: int


@cache
def load_meanings() -> Mapping[str, Meaning]:
    """Meaning of every column name, from the CSV beside this file: a name means the same in every table."""
    path = Path(__file__).with_name("meanings.csv")
    with path.open(encoding="utf-8", newline="") as stream:
        return {row["column"]: Meaning(row["unit"], row["meaning"]) for row in csv.DictReader(stream)}


def head_with_unit(column: Column) -> str:
    """A header that says its unit, for people: `leachate_ml (mL)`."""
    return f"{column.column} ({column.unit})" if column.unit else column.column


def dictionary_frame(columns: list[Column]) -> pl.DataFrame:
    """The dictionary as a table of its own."""
    return pl.DataFrame([asdict(one) for one in columns])
