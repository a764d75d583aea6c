"""What reports and commands read from the warehouse, as frames."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import polars as pl

from pipeline.warehouse.connect import Connection
from pipeline.warehouse.statements import fetch, fetch_relation

Tables = Mapping[str, pl.DataFrame]

_QUERIES: Final = ("lots", "samplings", "figures", "pots", "targets", "files_tonight", "troubles")
_RELATIONS: Final = (
    "dues",
    "reasons",
    "sampling_findings",
    "meter_states",
    "site_states",
    "held_causes",
    "releases",
    "published_ranges",
)


def fetch_tables(connection: Connection) -> dict[str, pl.DataFrame]:
    """Everything that the pages of tonight are made of, by the name of its query or relation."""
    return {
        **{name: fetch(connection, f"queries/{name}") for name in _QUERIES},
        **{name: fetch_relation(connection, name) for name in _RELATIONS},
    }
