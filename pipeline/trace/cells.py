"""A line of an export with its raw cells, in one line of text. Pure."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any

from pipeline.reports.places import list_places
from pipeline.settings import SiteSettings
from pipeline.settings.sheet import columns_of
from pipeline.trace.find import header_of

Row = dict[str, Any]


def show_cells(row: Row, site: SiteSettings, fields: Sequence[str] = ()) -> str:
    """File, line and the raw cells of these fields, by default of all that are mapped and not blank.

    `row`: file, line, cells (JSON by field), export_no, header. Where site.toml no longer has the export the field's
    own name stands for its column.
    """
    raw: dict[str, str] = json.loads(row["cells"]) if row["cells"] else {}
    columns = columns_of(site, row["export_no"], header_of(row["header"]))
    shown = [
        f"{columns[field].column if field in columns else field} “{raw[field]}”"
        f"{_unit(columns[field].unit) if field in columns else ''}"
        for field in (fields or sorted(raw))
        if raw.get(field)
    ]
    return f"{row['file']} line {row['line']}{': ' if shown else ''}{', '.join(shown)}"


def _unit(unit: str | None) -> str:
    return f" {unit}" if unit else ""


def places_of(rows: Iterable[Row]) -> str:
    """Where lines stand: “drop/a.csv lines 3-7, 9; drop/b.csv line 2”. `rows` have file and line."""
    return list_places((row["file"], row["line"]) for row in rows)
