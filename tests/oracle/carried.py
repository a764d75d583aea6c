"""What a dossier carries, taken as CSV and worked out again, is letter for letter what the home worked out."""

from __future__ import annotations

from datetime import date

from pipeline.audit.check import work_out
from pipeline.audit.evidence import Period, write_type
from pipeline.audit.reading import read_table
from pipeline.tables.files import to_csv
from pipeline.warehouse.audit import GIVEN, WORKED_OUT_AGAIN, fetch_audit
from pipeline.warehouse.connect import Connection


def assert_follows(connection: Connection, period: Period, as_of: date) -> None:
    """The relations of the audit must have been built in `connection`."""
    given = fetch_audit(connection, GIVEN)
    types = {
        name: {column: write_type(kind) for column, kind in frame.schema.items()}
        for name, frame in given.items()
    }
    again = work_out({name: read_table(to_csv(frame)) for name, frame in given.items()}, types, period, as_of)
    for name, frame in fetch_audit(connection, WORKED_OUT_AGAIN).items():
        assert to_csv(again[name]).decode() == to_csv(frame).decode(), name
