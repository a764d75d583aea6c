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
AGAIN: Final = (
    "samplings/lot_growers",
    "samplings/samplings",
    "samplings/sampling_figures",
    *(
        f"judgement/{name}"
        for name in (
            "biased_figures",
            "verdicts",
            "feed_pairs",
            "pair_outs",
            "symptom_rounds",
            "treatment_waits",
        )
    ),
    "audit/samplings_again",
    *(f"audit/{name}" for name in ("audit_growers", "routine_dues", "cause_dues", *WORKED_OUT)),
)
"""What is built again from what is given, in this order: the very SQL that nights and audits run."""


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
        _build(connection, name, f"audit/{name}")


def _build(connection: Connection, relation: str, model: str) -> None:
    connection.execute(f"create or replace temp table {quoted(relation)} as\n{read_sql(model)}").fetchall()


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
    *("figures", "readings", "verdicts", "targets", "treatments"),
    *("excuses", "closings", "corrections", "held", "meters", "remarks", "people", "plantings"),
    *(
        "growers",
        "feed_days",
        "closed_days",
        "checks_shown",
        "feed_pair_crops",
        "published_ranges",
        "policy_spans",
    ),
    "files",
)
_NAMED: Final = {"excuses": "audit_exemptions"}
_GIVEN_AS: Final = {
    "audit_lots": "lots",
    "rule_spans": "rules",
    "given_samplings": "samplings",
    "usable_readings": "readings",
    "lot_targets": "targets",
    "treatments": "treatments",
    "exemptions": "excuses",
    "grower_houses": "growers",
    "feed_days": "feed_days",
    "closed_days": "closed_days",
    "checks_shown": "checks_shown",
    "policy_feed_pair_crops": "feed_pair_crops",
    "published_ranges": "published_ranges",
    "policy": "policy_spans",
    "files": "files",
}
GIVEN: Final = tuple(_GIVEN_AS.values())
"""The attached tables that are taken as they are: from them anybody can work out the others again."""
_BUILT_AS: Final = {"audit/samplings_again": "audit_samplings"}
WORKED_OUT_AGAIN: Final = (
    *("figures", "verdicts", "samplings", "causes"),
    *("lot_growers", "dues", "gaps", "compliance"),
)
"""The attached tables that come out of those of GIVEN once more."""
_TYPE = re.compile(r"[A-Z]+(\(\d+, ?\d+\))?(\[\])?")


def fetch_audit(
    connection: Connection, names: Sequence[str] = (*_RELATIONS, *_QUERIES)
) -> dict[str, pl.DataFrame]:
    """What a dossier shows and carries (or some of it), by the name of its CSV; its relations must have been built."""
    return {
        name: fetch_sorted(connection, _RELATIONS[name])
        if name in _RELATIONS
        else fetch(connection, f"queries/{_NAMED.get(name, f'audit_{name}')}")
        for name in names
    }


def compute_again(
    tables: Mapping[str, pl.DataFrame],
    types: Mapping[str, Mapping[str, str]],
    constants: Mapping[str, pl.DataFrame],
    from_on: date,
    to_on: date,
    as_of: date,
) -> dict[str, pl.DataFrame]:
    """What follows from a dossier's own tables alone: samplings, verdicts, follow-ups, dues, gaps, compliance, growers.

    tables: those of GIVEN, columns of text, as a CSV gives them (null where a cell is empty); types: by table and
    column; constants: the program's own `t_quantiles` and `very_high_edges`, in the columns of sql/schema/002.
    Raises WarehouseError where a table lacks a column or a cell cannot be what its column says.
    """
    with duckdb.connect() as connection:
        try:
            for relation, name in _GIVEN_AS.items():
                _take(connection, relation, tables[name], types[name])
            for relation, frame in constants.items():
                connection.register(relation, frame)
            begin_audit(connection, from_on, to_on, as_of)
            connection.execute("create temp view run as select as_of from audit_period").fetchall()
            connection.execute("create temp view current_lots as from audit_lots").fetchall()
            for model in AGAIN:
                _build(connection, _BUILT_AS.get(model, model.split("/")[1]), model)
            return fetch_audit(connection, WORKED_OUT_AGAIN)
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
