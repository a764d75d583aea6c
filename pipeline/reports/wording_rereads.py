"""Words for what reading files again changed: values and fates, before and after."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from pipeline.languages import Speech, load_tongue

ENGLISH_ISO: Final = Speech(load_tongue("en"), "%Y-%m-%d")
_UNITS: Final = {
    "_ms_cm": "mS/cm",
    "_ml": "mL",
    "_c": "°C",
    "_min": "min",
    "_mv": "mV",
    "_pct": "%",
    "_ppm": "ppm",
}


def name_value(column: str, w: Speech = ENGLISH_ISO) -> str:
    """A column of the warehouse as it is said: `ec_ms_cm` is EC (mS/cm)."""
    ending = next((ending for ending in _UNITS if column.endswith(ending)), None)
    if ending is None:
        return _name(column, w)
    return f"{_name(column.removesuffix(ending), w)} ({_UNITS[ending]})"


def _name(column: str, w: Speech) -> str:
    known = {"ph": w("pH"), "ph_sd": w("SD of pH"), "ec": w("EC"), "ec_sd": w("SD of EC")}
    return known.get(column, column.replace("_", " "))


def say_reread_line(row: Mapping[str, Any], w: Speech = ENGLISH_ISO) -> str:
    """One row of the query `reread_lines`, without its file: what was and what is."""
    parts = [
        f"{name_value(one['field'], w)} {_say(one['before'], w)} → {_say(one['after'], w)}"
        for one in row["changed_values"]
    ]
    if row["is_moved"]:
        before = _say_fate(row["fate_before"], row["cause_before"], w)
        parts.append(f"{before} → {_say_fate(row['fate_after'], row['cause_after'], w)}")
    return w("line {line}: {changes}", line=row["line"], changes="; ".join(parts))


def _say(value: str | None, w: Speech) -> str:
    return w("nothing") if value is None else f"“{value}”" if " " in value or not value else value


def _say_fate(fate: str | None, cause: str | None, w: Speech) -> str:
    words = {
        "accepted": w("accepted"),
        "held": w("held"),
        "repeated": w("repeated"),
        "superseded": w("superseded"),
        "withdrawn": w("withdrawn"),
        "not_data": w("no data"),
        None: w("no line of its own"),
    }
    said = words.get(fate, str(fate))
    return said if cause is None else f"{said} ({cause.replace('_', ' ')})"
