"""The demo's lots traced once for all tests, and a bench on a warehouse of a file's own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.reports.summary import Lot, Summary
from pipeline.settings import load_settings
from pipeline.trace import trace_lot
from pipeline.trace.lot import Trace
from pipeline.warehouse.connect import Connection, reader
from tests.sql.bench import Bench, empty, open_warehouse


@pytest.fixture(scope="session")
def traced_lots(demo_home: Path) -> list[tuple[str, Lot, Trace]]:
    """Every lot of the demo, on the last day on which it was sampled, with its site."""
    summary = Summary.model_validate_json((demo_home / "out" / "latest" / "summary.json").read_bytes())
    settings = load_settings(demo_home)
    with reader(demo_home) as connection:
        return [
            (site.site_id, lot, trace_lot(connection, settings, site.site_id, lot.lot_id.lower()))
            for site in summary.sites
            for lot in site.lots
        ]


@pytest.fixture(scope="module")
def warehouse() -> Iterator[Connection]:
    with open_warehouse() as connection:
        yield connection


@pytest.fixture
def bench(warehouse: Connection) -> Bench:
    empty(warehouse)
    return Bench(warehouse)
