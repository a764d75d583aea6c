"""Looking back over a period: the relations of sql/audit, built beside a warehouse that stays as it is."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Final

import duckdb
import polars as pl

from pipeline.errors import WarehouseError
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.dictionary import fetch_sorted
from pipeline.warehouse.statements import fetch, quoted, read_sql, run_sql

GIVEN: Final = ("audit_lots", "rule_spans", "audit_samplings", "cause_dues")
"""What compliance is worked out from: with these, the excuses and the period anybody can work it out again."""

WORKED_OUT: Final = ("audit_dues", "sampling_gaps", "compliance")
COMPLIANCE_MODELS: Final = (
    "audit_lots",
    "audit_growers",
    "rule_spans",
    "audit_samplings",
    "routine_dues",
    "cause_dues",
    *WORKED_OUT,
)
AUDIT_MODELS: Final = (*COMPLIANCE_MODELS, "audit_questions")
AGAIN: Final = ("audit_growers", "routine_dues", *WORKED_OUT)
"""What is built again from what is given, in this order."""


def begin_audit(
    connection: Connection, from_on: date, to_on: date, as_of: date, site_id: str | None = None
) -> None:
    """Say which days, and which site (None: all), the relations below look at; `as_of`: the day of what was known."""
    run_sql(
        connection,
        "queries/audit_period",
        {"from_on": from_on, "to_on": to_on, "as_of": as_of, "site_id": site_id},
    )


def build_audit(connection: Connection, models: Sequence[str] = AUDIT_MODELS) -> None:
    """Build relations of sql/audit as temporary ones: the file of the warehouse is not touched."""
    for name in models:
        connection.execute(
            f"create or replace temp table {quoted(name)} as\n{read_sql(f'audit/{name}')}"
        ).fetchall()


_RELATIONS: Final = {
    "compliance": "compliance",
    "dues": "audit_dues",
    "gaps": "sampling_gaps",
    "lots": "audit_lots",
    "lot_growers": "audit_growers",
    "samplings": "audit_samplings",
    "rules": "rule_spans",
    "causes": "cause_dues",
    "site_questions": "audit_questions",
}
_QUERIES: Final = (
    *("excuses", "figures", "readings", "closings", "corrections", "held", "meters", "remarks", "people"),
    *("plantings", "growers", "files"),
)
_NAMED: Final = {"excuses": "audit_exemptions"}
_GIVEN_AS: Final = {
    "audit_lots": "lots",
    "rule_spans": "rules",
    "audit_samplings": "samplings",
    "cause_dues": "causes",
    "exemptions": "excuses",
    "grower_houses": "growers",
}
_TYPE = re.compile(r"[A-Z]+(\(\d+, ?\d+\))?(\[\])?")


def fetch_audit(connection: Connection) -> dict[str, pl.DataFrame]:
    """Everything that a dossier shows and carries, by the name of its CSV; the relations must have been built."""
    relations = {name: fetch_sorted(connection, relation) for name, relation in _RELATIONS.items()}
    queries = {name: fetch(connection, f"queries/{_NAMED.get(name, f'audit_{name}')}") for name in _QUERIES}
    return {**relations, **queries}


def compute_again(
    tables: Mapping[str, pl.DataFrame],
    types: Mapping[str, Mapping[str, str]],
    from_on: date,
    to_on: date,
    as_of: date,
) -> dict[str, pl.DataFrame]:
    """Growers of lots, dues, gaps and compliance worked out once more from a dossier's own tables alone.

    tables: columns of text, as a CSV gives them (null where a cell is empty); types: by table and column.
    Raises WarehouseError where a table lacks a column or a cell cannot be what its column says.
    """
    with duckdb.connect() as connection:
        try:
            for relation, name in _GIVEN_AS.items():
                _take(connection, relation, tables[name], types[name])
            begin_audit(connection, from_on, to_on, as_of)
            connection.execute("create temp view current_lots as from audit_lots").fetchall()
            connection.execute(
                f"create temp table lot_growers as\n{read_sql('samplings/lot_growers')}"
            ).fetchall()
            build_audit(connection, AGAIN)
            return {
                name: fetch_sorted(connection, _RELATIONS[name])
                for name in ("lot_growers", "dues", "gaps", "compliance")
            }
        except duckdb.Error as error:
            raise WarehouseError(
                f"The dossier's tables cannot be computed again ({str(error).splitlines()[0]}); "
                "ask for the dossier as it was handed out."
            ) from error


def _take(connection: Connection, relation: str, frame: pl.DataFrame, types: Mapping[str, str]) -> None:
    wrong = [kind for kind in types.values() if not _TYPE.fullmatch(kind)]
    if wrong or not set(frame.columns) <= set(types):
        raise WarehouseError(
            f"The dossier's dictionary does not describe its table for {relation}; "
            "ask for the dossier as it was handed out."
        )
    columns = ", ".join(f"{quoted(name)}::{types[name]} as {quoted(name)}" for name in frame.columns)
    connection.register("incoming_frame", frame)
    # Names are quoted and types are looked at above; SQL has no parameter for either.
    connection.execute(
        f"create temp table {quoted(relation)} as select {columns} from incoming_frame"  # noqa: S608
    ).fetchall()
    connection.unregister("incoming_frame")
