"""The record of a run in the warehouse: its stages with seconds and counts."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from pipeline.warehouse.connect import Connection
from pipeline.warehouse.statements import run_sql


def add_run(connection: Connection, night_no: int, run: Mapping[str, Any]) -> None:
    """Write down the run that publishes a night; `run` as the ledger keeps it (see `RunRecord.as_entry`)."""
    started_at = datetime.fromisoformat(run["started_at"]).astimezone(UTC).replace(tzinfo=None)
    for stage_no, stage in enumerate(run["stages"], start=1):
        place = {"night_no": night_no, "stage_no": stage_no}
        run_sql(
            connection,
            "nights/insert_run_stage",
            {
                **place,
                "run_id": run["run_id"],
                "started_at": started_at,
                "stage": stage["stage"],
                "seconds": Decimal(str(stage["seconds"])),
            },
        )
        for counted, number in stage["counts"].items():
            run_sql(connection, "nights/insert_run_count", {**place, "counted": counted, "number": number})
