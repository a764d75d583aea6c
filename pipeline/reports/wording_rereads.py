"""Words for what reading files again changed: values and fates, before and after."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

_NAMES: Final = {"ph": "pH", "ph_sd": "SD of pH", "ec": "EC", "ec_sd": "SD of EC"}
_UNITS: Final = {
    "_ms_cm": "mS/cm",
    "_ml": "mL",
    "_c": "°C",
    "_min": "min",
    "_mv": "mV",
    "_pct": "%",
    "_ppm": "ppm",
}
_FATES: Final = {"not_data": "no data", None: "no line of its own"}


def name_value(column: str) -> str:
    """A column of the warehouse as it is said: `ec_ms_cm` is EC (mS/cm)."""
    ending = next((ending for ending in _UNITS if column.endswith(ending)), None)
    if ending is None:
        return _name(column)
    return f"{_name(column.removesuffix(ending))} ({_UNITS[ending]})"


def _name(column: str) -> str:
    return _NAMES.get(column, column.replace("_", " "))


def say_reread_line(row: Mapping[str, Any]) -> str:
    """One row of the query `reread_lines`, without its file: what was and what is."""
    parts = [
        f"{name_value(one['field'])} {_say(one['before'])} → {_say(one['after'])}"
        for one in row["changed_values"]
    ]
    if row["is_moved"]:
        before = _say_fate(row["fate_before"], row["cause_before"])
        parts.append(f"{before} → {_say_fate(row['fate_after'], row['cause_after'])}")
    return f"line {row['line']}: {'; '.join(parts)}"


def _say(value: str | None) -> str:
    return "nothing" if value is None else f"“{value}”" if " " in value or not value else value


def _say_fate(fate: str | None, cause: str | None) -> str:
    said = str(_FATES.get(fate, fate))
    return said if cause is None else f"{said} ({cause.replace('_', ' ')})"
