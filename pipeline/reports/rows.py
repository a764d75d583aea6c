"""Rows of the night's frames by the site or lot they belong to, each found without a search."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from pipeline.measures.ec import ec_band
from pipeline.programme.sheet_buffers import SheetBuffer, list_buffers


@dataclass(frozen=True, slots=True)
class Published:
    """Published tables that reports show, as loaded from pipeline/reference: EC bands, corrective options, how often
    to sample, what buffers read.
    """

    ec_bands: pl.DataFrame
    options: pl.DataFrame
    frequency: pl.DataFrame
    buffers: pl.DataFrame


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows of every table by the lot or site they belong to."""

    by_lot: dict[str, dict[tuple[str, str], list[dict[str, Any]]]]
    by_site: dict[str, dict[str, list[dict[str, Any]]]]
    crop_contrasts: list[dict[str, Any]]
    ranges: dict[tuple[str, str], list[dict[str, Any]]]
    options: list[dict[str, Any]]
    frequency: list[dict[str, Any]]
    buffers: list[SheetBuffer]

    def lot(self, table: str, site_id: str, lot_key: str) -> list[dict[str, Any]]:
        """Rows of a table that belong to one lot."""
        return self.by_lot[table].get((site_id, lot_key), [])

    def site(self, table: str, site_id: str) -> list[dict[str, Any]]:
        """Rows of a table that belong to one site."""
        return self.by_site[table].get(site_id, [])


def arrange_rows(tables: Mapping[str, pl.DataFrame], published: Published) -> Rows:
    """Group the night's frames (as from `warehouse.query.fetch_tables`), each EC mean with its published band."""
    banded = tables["figures"].join(
        tables["samplings"].select("site_id", "lot_key", "sampled_on", "purpose", "method"),
        on=["site_id", "lot_key", "sampled_on", "purpose"],
        how="left",
    )
    figures = banded.with_columns(
        band=pl.when((pl.col("quantity") == "ec") & (pl.col("n") > 0)).then(
            ec_band(pl.col("method"), pl.col("mean").round(4), published.ec_bands)
        )
    )
    by_lot = (
        "samplings",
        "pots",
        "targets",
        "dues",
        "reasons",
        "sampling_findings",
        "trends",
        "own_charts",
        "fed_days",
        "contrasts",
        "treatments",
    )
    by_site = (
        "lots",
        "sampling_plan_days",
        "planned_samplings",
        "sheet_lots",
        "sheet_meters",
        "sheet_left_out",
        "meter_states",
        "meter_findings",
        "site_states",
        "site_questions",
        "water_checks",
        "water_findings",
        "list_findings",
        "held_causes",
        "releases",
        "corrections_tonight",
        "rereads_tonight",
        "reread_lines",
        "released_files",
        "older_files",
        "new_columns",
        "files_tonight",
        "not_data_lines",
        "not_data_files",
        "troubles",
        "calendar",
    )
    return Rows(
        by_lot={
            "figures": _group(figures, "site_id", "lot_key"),
            **{name: _group(tables[name], "site_id", "lot_key") for name in by_lot},
        },
        by_site={
            name: {key[0]: rows for key, rows in _group(tables[name], "site_id").items()} for name in by_site
        },
        crop_contrasts=tables["crop_contrasts"].sort(pl.all()).to_dicts(),
        ranges=_group(tables["published_ranges"].sort("row_no"), "crop_key", "quantity"),
        options=published.options.to_dicts(),
        frequency=published.frequency.to_dicts(),
        buffers=list_buffers(published.buffers),
    )


def _group(frame: pl.DataFrame, *keys: str) -> dict[Any, list[dict[str, Any]]]:
    grouped: dict[Any, list[dict[str, Any]]] = defaultdict(list)
    for row in frame.iter_rows(named=True):
        grouped[tuple(row[key] for key in keys)].append(row)
    return dict(grouped)
