"""What became of one line of an export on its way to a figure: its cells, its fate, since when."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date
from typing import Any, Final

import polars as pl
from pydantic import BaseModel, ConfigDict

from pipeline.settings import Column, SiteSettings
from pipeline.settings.sheet import columns_of
from pipeline.trace.find import header_of
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.query import fetch_line_spans

Row = dict[str, Any]
_SHOWN_FIELDS: Final = ("ph", "ec", "temperature", "leachate", "n_pots")


class Part(BaseModel):
    """A part of a trace; it does not change."""

    model_config = ConfigDict(frozen=True)


class Cell(Part):
    """One cell of the export and what it became."""

    field: str
    column: str
    unit: str | None
    cell: str
    became: str


class KnownSpan(Part):
    """What a line was taken for, from one night's as-of day to that of the night that took it for something else."""

    fate: str
    cause: str | None
    known_from: date
    known_to: date | None


class TracedLine(Part):
    """One line of an export."""

    file: str
    line: int
    text: str
    fate: str
    purpose: str
    cells: list[Cell]
    used_for: list[str]
    left_out: list[str]
    known: list[KnownSpan] = []


def known_spans(connection: Connection, lines: pl.DataFrame) -> dict[tuple[int, int], list[KnownSpan]]:
    """What each line was taken for and from which as-of day to which, oldest first, by file_id and record_no."""
    if lines.is_empty():
        return {}
    spans: dict[tuple[int, int], list[KnownSpan]] = {}
    for row in fetch_line_spans(connection, lines).iter_rows(named=True):
        span = KnownSpan(**{name: row[name] for name in KnownSpan.model_fields})
        spans.setdefault((row["file_id"], row["record_no"]), []).append(span)
    return spans


def trace_line(row: Row, site: SiteSettings, known: Sequence[KnownSpan]) -> TracedLine:
    """One line with what its cells became; `row` is one of the query `lot_lines`, `known` its spans, oldest first."""
    columns = columns_of(site, row["export_no"], header_of(row["header"]))
    raw: dict[str, str] = json.loads(row["cells"]) if row["cells"] else {}
    left_out = []
    if row["fate"] != "accepted":
        left_out.append(f"{row['fate']}: {_why_not(row, known)}")
    elif row["why_not_ec"]:
        asked = _span_of(row["leachate_low_ml"], row["leachate_high_ml"])
        left_out.append(
            _WHY_NOT_EC[row["why_not_ec"]].format(collected=plain(row["leachate_ml"]), asked=asked)
        )
    used = [name for name, key in (("pH", "is_usable_ph"), ("EC", "is_usable_ec")) if row[key]]
    return TracedLine(
        file=row["file"],
        line=row["line_from"],
        text=row["text"],
        fate=row["fate"],
        purpose=row["purpose"],
        cells=[
            _cell(field, columns[field], raw[field], row)
            for field in _SHOWN_FIELDS
            if field in columns and raw.get(field)
        ],
        used_for=used,
        left_out=left_out,
        known=list(known),
    )


def _why_not(row: Row, known: Sequence[KnownSpan]) -> str:
    """Why a line is not used, and when it was."""
    if row["fate"] not in _FATES:
        return str(row["detail"] or row["cause"])
    why = _FATES[row["fate"]]
    if row["by_file"] is not None:
        where = row["by_file"] if row["by_line"] is None else f"line {row['by_line']} of {row['by_file']}"
        why = f"replaced by {where}"
    stood = [one for one in known if one.fate in ("accepted", "held")]
    ends = [one.known_to for one in stood if one.known_to is not None]
    return f"known from {stood[0].known_from} to {max(ends)}, {why}" if ends else why


_FATES = {
    "repeated": "the same line came in an earlier file",
    "superseded": "a later file brought another version of it",
    "withdrawn": "the newest file does not hold it any more",
}


_WHY_NOT_EC = {
    "not_measured": "no EC on the line",
    "no_temperature": "EC left out: the meter does not compensate and the line has no temperature of 0 to 50 °C",
    "over_collected": "EC left out: {collected} mL of leachate, {asked} mL is asked for",
    "under_collected": "EC left out: {collected} mL of leachate, {asked} mL is asked for",
}


def _cell(field: str, column: Column, cell: str, row: Row) -> Cell:
    return Cell(field=field, column=column.column, unit=column.unit, cell=cell, became=_became(field, row))


def _became(field: str, row: Row) -> str:
    match field:
        case "ph":
            return f"pH {plain(row['ph'])}"
        case "ec" if not row["ec_compensated"] and row["ec_25_ms_cm"] is not None:
            recorded, alpha = plain(row["ec_recorded_ms_cm"]), f"{row['ec_alpha_per_c']:g}"
            return (
                f"{recorded} mS/cm, / (1 + {alpha} × ({plain(row['temperature_c'])} - 25)) = "
                f"{plain(row['ec_25_ms_cm'])} mS/cm at 25 °C"
            )
        case "ec":
            return f"{plain(row['ec_recorded_ms_cm'])} mS/cm"
        case "temperature":
            return f"{plain(row['temperature_c'])} °C"
        case "leachate":
            return f"{plain(row['leachate_ml'])} mL"
    return f"{row['n_pots']} pots"


def _span_of(low: Any, high: Any) -> str:
    return plain(low) if low == high else f"{plain(low)}-{plain(high)}"


def edge_text(value: Any) -> str:
    """An edge with at least one decimal, as tables print it."""
    text = plain(value)
    return text if "." in text else f"{text}.0"


def plain(value: Any) -> str:
    """An exact figure without zeros that say nothing, as the cells have it."""
    if value is None:
        return "nothing"
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def write_line(line: TracedLine) -> list[str]:
    """A line with its cells as lines for a terminal."""
    used = f"used for {' and '.join(line.used_for)}" if line.used_for else "not used"
    written = [f"  {line.file} line {line.line}: {used}"]
    for cell in line.cells:
        unit = f" {cell.unit}" if cell.unit else ""
        written.append(f"      {cell.column} “{cell.cell}”{unit} → {cell.became}")
    return written + [f"      {remark}" for remark in (*line.left_out, *_write_known(line))]


def _write_known(line: TracedLine) -> list[str]:
    """Since when a line is what it is, where no remark has said it, and what it was before."""
    if not line.known or line.known[-1].known_to is not None or line.fate not in ("accepted", "held"):
        return []
    *before, now = line.known
    told = [f"{'in use' if now.fate == 'accepted' else now.fate} since {now.known_from}"]
    told += [f"{_say_fate(one)} from {one.known_from} to {one.known_to}" for one in before]
    return ["; ".join(told)]


def _say_fate(span: KnownSpan) -> str:
    said = "in use" if span.fate == "accepted" else span.fate
    return said if span.cause is None else f"{said} ({span.cause.replace('_', ' ')})"
