"""The sampling sheet as CSV to fill in: one line a pot, and one a meter. Pure.

Filled in, both are exports that a site can drop: they are known by their headers, so no name here may change.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from decimal import ROUND_HALF_UP, Decimal
from itertools import chain
from typing import Final

from pipeline.programme.sheet import Sheet, SheetGroup, SheetLot, SheetPot
from pipeline.units import VOLUME_UNITS

ENCODING: Final = "utf-8-sig"
_EMPTY: Final = {
    "date": "",
    "ph": "",
    "ec_ms_cm": "",
    "leachate_ml": "",
    "temperature_c": "",
    "condition": "",
    "drain_start": "",
    "drain_end": "",
    "sampler": "",
    "meter": "",
    "note": "",
}
SHEET_COLUMNS: Final = (
    *("site", "lot", "house", "bench", "position", "crop", "purpose", "due_why", "due_on", "pot"),
    *("pour_ml", "collect_ml"),
    *_EMPTY,
)
CALIBRATION_COLUMNS: Final = (
    *("meter", "date", "time", "person", "temperature_c"),
    *("found_4", "found_7", "found_10", "left_4", "left_7", "left_10"),
    *("slope_pct", "offset_mv", "ec_standard_ms_cm", "ec_found_ms_cm", "ec_left_ms_cm"),
    *("solution", "solution_expires", "note"),
)
# What a spreadsheet takes for the beginning of a formula; a tab or a line end before one hides it.
_RUNS: Final = ("=", "+", "-", "@", "\t", "\r", "\n")
# Asked for in both units where the site measures in fluid ounces, written in one.
_BESIDE: Final = {"pour_ml": "pour_fl_oz", "collect_ml": "collect_fl_oz"}
_INSTEAD: Final = {"leachate_ml": "leachate_fl_oz"}


def disarm(text: str) -> str:
    """A cell that no spreadsheet runs: an apostrophe goes before what it would take for a formula."""
    return f"'{text}" if text.lstrip(" ").startswith(_RUNS) else text


def rearm(text: str) -> str:
    """A disarmed cell as it was before; one that nobody had to disarm stays as it is."""
    return text[1:] if text.startswith("'") and disarm(text[1:]) == text else text


def name_columns(columns: Sequence[str], sheet: Sheet) -> tuple[str, ...]:
    """A header with the units in which the site writes."""
    instead, beside = (_INSTEAD, _BESIDE) if sheet.volume_unit == "fl oz" else ({}, {})
    if sheet.temperature_unit == "°F":
        instead = {**instead, "temperature_c": "temperature_f"}
    return tuple(
        chain.from_iterable(
            (instead.get(name, name), beside[name]) if name in beside else (instead.get(name, name),)
            for name in columns
        )
    )


def write_sheet_csv(sheet: Sheet, site_id: str) -> bytes:
    """One line for each pot of each sampling, in walking order; what is known is filled in, the rest is empty."""
    lines = (
        [site_id, *_pot_cells(lot, group, pot, sheet.volume_unit)]
        for lot in sheet.lots
        for group in lot.groups
        for pot in group.pots
    )
    return _write(name_columns(SHEET_COLUMNS, sheet), lines)


def write_calibrations_csv(sheet: Sheet) -> bytes:
    """One line for each meter, with its name filled in."""
    rest = [""] * (len(CALIBRATION_COLUMNS) - 1)
    columns = name_columns(CALIBRATION_COLUMNS, sheet)
    return _write(columns, ([disarm(meter), *rest] for meter in sheet.meters))


def position_of(pot: SheetPot) -> str:
    """Where a pot stands on its bench: `2-7 edge` for row 2, place 7, or the number of the place; empty if not drawn.

    The zone stands beside it because a bare 2-7 becomes the 7th of February in a spreadsheet.
    """
    if pot.row is None:
        return "" if pot.place is None else str(pot.place)
    return f"{pot.row}-{pot.column} {pot.zone}"


def in_volume_unit(value_ml: float, unit: str) -> Decimal:
    """A volume in mL as the site measures it: mL as given, fluid ounces to a tenth."""
    exact = Decimal(repr(value_ml))
    if unit == "mL":
        return exact.normalize()
    ounces = exact / Decimal(VOLUME_UNITS[unit].factor.numerator) * VOLUME_UNITS[unit].factor.denominator
    return ounces.quantize(Decimal("0.1"), rounding=ROUND_HALF_UP)


def _pot_cells(lot: SheetLot, group: SheetGroup, pot: SheetPot, unit: str) -> list[str]:
    units = ("mL",) if unit == "mL" else ("mL", unit)
    return [
        disarm(lot.lot_id),
        disarm(pot.house or lot.house or ""),
        disarm(pot.bench or lot.bench or ""),
        position_of(pot),
        disarm(lot.crop),
        group.purpose,
        lot.due.why,
        lot.due.due_on.isoformat(),
        str(pot.pot),
        *(f"{in_volume_unit(lot.pour_ml, one):f}" for one in units),
        *(_ranged(lot.collect_low_ml, lot.collect_high_ml, one) for one in units),
        *_EMPTY.values(),
    ]


def _ranged(low_ml: float, high_ml: float, unit: str) -> str:
    low, high = (f"{in_volume_unit(value, unit):f}" for value in (low_ml, high_ml))
    return low if low == high else f"{low}-{high}"


def _write(columns: Sequence[str], lines: Iterable[Sequence[str]]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows(lines)
    return text.getvalue().encode(ENCODING)


__all__ = [
    "CALIBRATION_COLUMNS",
    "ENCODING",
    "SHEET_COLUMNS",
    "disarm",
    "in_volume_unit",
    "name_columns",
    "position_of",
    "rearm",
    "write_calibrations_csv",
    "write_sheet_csv",
]
