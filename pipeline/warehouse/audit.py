"""Looking back over a period: the relations of sql/audit, built beside a warehouse that stays as it is."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Final

from pipeline.warehouse.connect import Connection
from pipeline.warehouse.statements import quoted, read_sql, run_sql

GIVEN: Final = ("audit_lots", "rule_spans", "audit_samplings", "cause_dues")
"""What compliance is worked out from: with these, the excuses and the period anybody can work it out again."""

WORKED_OUT: Final = ("audit_dues", "sampling_gaps", "compliance")
AUDIT_MODELS: Final = (
    "audit_lots",
    "rule_spans",
    "audit_samplings",
    "routine_dues",
    "cause_dues",
    *WORKED_OUT,
)
AGAIN: Final = ("routine_dues", *WORKED_OUT)
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
