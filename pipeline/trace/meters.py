"""Checks of meters back to file and line, each figure beside its limit, and what they make of a day. Pure."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date
from typing import Any, Literal

import numpy as np
import polars as pl
from pydantic import BaseModel, ConfigDict

from pipeline.measures.electrodes import nernst_slope_mv
from pipeline.reports.wording_meters import advise_buffers
from pipeline.settings import SiteSettings

Row = dict[str, Any]


class TracedCheck(BaseModel):
    """One check of a meter, of source water or of feed: its line, and what was worked out from it."""

    model_config = ConfigDict(frozen=True)

    of: Literal["meter", "source_water", "hose_end"]
    name: str
    file: str
    line: int
    text: str
    steps: list[str]


class TracedMeterDay(BaseModel):
    """One meter of a sampling: what its checks make of the day, and those checks. `meter_id` None: none is named."""

    model_config = ConfigDict(frozen=True)

    meter_id: str | None
    is_good: bool
    why: list[str]
    checks: list[TracedCheck]


def trace_checks(checks: pl.DataFrame, buffers: pl.DataFrame, site: SiteSettings) -> list[TracedCheck]:
    """Each check (rows of sql/queries/trace_checks.sql) with the buffers of its line (trace_buffers.sql)."""
    return [_meter(row, _of_line(buffers, row), site) for row in checks.iter_rows(named=True)]


def trace_meter_days(
    meters: Sequence[Row], checks: pl.DataFrame, buffers: pl.DataFrame, site: SiteSettings
) -> list[TracedMeterDay]:
    """The meters of one sampling (rows of sql/queries/trace_meters.sql); none where the site sends no checks."""
    return [_meter_day(row, checks, buffers, site) for row in meters if row["has_calibrations"]]


def _meter_day(row: Row, checks: pl.DataFrame, buffers: pl.DataFrame, site: SiteSettings) -> TracedMeterDay:
    if row["meter_id"] is None:
        return TracedMeterDay(
            meter_id=None,
            is_good=False,
            why=["a reading names no meter, so nothing shows that it was calibrated"],
            checks=[],
        )
    own = checks.filter(pl.col("meter_id").str.to_lowercase() == row["meter_id"].lower())
    is_doubt = (
        (pl.col("file_id") == row["doubt_file_id"])
        & (pl.col("record_no") == row["doubt_record_no"])
        & (pl.col("stage") == row["doubt_stage"])
        if row["is_in_doubt"]
        else pl.lit(value=False)
    )
    doubt = own.filter(is_doubt)
    of_day = own.filter(pl.col("calibrated_on") == row["sampled_on"])
    return TracedMeterDay(
        meter_id=row["meter_id"],
        is_good=row["is_calibrated"] and not row["is_in_doubt"],
        why=[*_doubt(row, doubt), _day(row, of_day)],
        checks=trace_checks(
            own.filter(is_doubt | (pl.col("calibrated_on") == row["sampled_on"])), buffers, site
        ),
    )


def _doubt(row: Row, doubt: pl.DataFrame) -> list[str]:
    return [
        (
            f"in doubt: its {_which(row['sampled_on'], one['calibrated_on'])}, of {one['calibrated_on']}, "
            f"{_stage(one)}, failed ({one['file']} line {one['line']})"
        )
        for one in doubt.iter_rows(named=True)
    ]


def _which(sampled_on: date, checked_on: date) -> str:
    return "next check" if checked_on > sampled_on else "last check"


def _day(row: Row, of_day: pl.DataFrame) -> str:
    """Whether the meter was calibrated on the day, and why not."""
    if of_day.is_empty():
        return "not calibrated: there is no check on this day"
    if not row["is_checked"]:
        return "not calibrated: no check of this day is accepted"
    if not row["is_calibrated"]:
        low, high = row["lowest_buffer"], row["highest_buffer"]
        return f"not calibrated: {_not_bracketing(low, high, row['lowest_ph'], row['highest_ph'])}"
    return "calibrated: a check of this day is accepted, and its buffers, where they are known, bracket the readings"


def _not_bracketing(low: Any, high: Any, lowest_ph: Any, highest_ph: Any) -> str:
    return (
        f"its buffers, {low:.2f} to {high:.2f}, do not bracket its readings {lowest_ph:.2f} to {highest_ph:.2f}: "
        f"{advise_buffers(lowest_ph, highest_ph)}"
    )


def _meter(row: Row, buffers: Sequence[Row], site: SiteSettings) -> TracedCheck:
    steps = [*list_cells(row, site), *_named(row), *(_buffer(one, row["stage"]) for one in buffers)]
    if row["slope_pct"] is not None:
        steps += _slope(row, buffers) if row["is_slope_computed"] else [_stated(row)]
    elif row["offset_mv"] is not None:
        steps.append(
            f"offset as the line states it: {plain(row['offset_mv'])} mV, accepted up to "
            f"{plain(row['offset_limit_mv'])} either way"
        )
    if row["worst_error_ph"] is not None:
        steps.append(
            f"farthest buffer {plain(row['worst_error_ph'])} pH off, accepted up to {plain(row['buffer_limit_ph'])}"
        )
    steps += _standard(row)
    if row["passed"] is not None:
        steps.append(f"the line says: {'passed' if row['passed'] else 'failed'}")
    steps.append("accepted" if row["is_accepted"] else "not accepted")
    if row["lowest_ph"] is not None:
        low, high = row["lowest_buffer"], row["highest_buffer"]
        steps.append(_not_bracketing(low, high, row["lowest_ph"], row["highest_ph"]))
    if row["readings_before"] or row["readings_after"]:
        steps.append(
            f"puts in doubt: {row['readings_before']} readings before its day, {row['readings_after']} from its day on"
        )
    name = f"{row['meter_id']}, {row['calibrated_on']}, {_stage(row)}"
    return make_check("meter", name, row, steps)


def _stage(row: Row) -> str:
    return str(row["stage"].replace("_", " "))


def _named(row: Row) -> list[str]:
    if row["is_buffers_unread"]:
        return [
            f"buffers “{row['buffers']}”: left unread, the cell can be read in more than one way or names none"
        ]
    if row["labels"] is None:
        return []
    return [f"buffers “{row['buffers']}”, read as {', '.join(f'{label:.2f}' for label in row['labels'])}"]


def _standard(row: Row) -> list[str]:
    if row["ec_standard_ms_cm"] is None or row["ec_found_ms_cm"] is None:
        return []
    off = abs(row["ec_found_ms_cm"] - row["ec_standard_ms_cm"])
    most = row["ec_standard_share"] * row["ec_standard_ms_cm"]
    as_found = ", as found, since EC as left is not written" if row["is_ec_left_not_written"] else ""
    return [
        (
            f"EC standard {plain(row['ec_standard_ms_cm'])} mS/cm, shown {plain(row['ec_found_ms_cm'])}{as_found}: "
            f"{plain(off)} off, accepted up to {plain(row['ec_standard_share'])} × "
            f"{plain(row['ec_standard_ms_cm'])} = {plain(most)}"
        )
    ]


def _buffer(one: Row, stage: str) -> str:
    known = "not in the table" if one["buffer_ph"] is None else f"pH {one['buffer_ph']:.3f}"
    assumed = " (no temperature given)" if one["is_temperature_assumed"] else ""
    shown = one["found_ph"] if stage == "as_found" else one["left_ph"]
    told = [
        *([f"shown {plain(shown)}"] if shown is not None else []),
        *([f"{plain(one['mv'])} mV"] if one["mv"] is not None else []),
    ]
    return (
        f"buffer {plain(one['label'])} at {plain(one['temperature_c'])} °C{assumed} = {known}: "
        f"{', '.join(told) or 'not read at this stage'}"
    )


def _slope(row: Row, buffers: Sequence[Row]) -> list[str]:
    used = [one for one in buffers if one["mv"] is not None]
    mean_c = sum(float(one["temperature_c"]) for one in used) / len(used)
    theory = float(nernst_slope_mv(np.array([mean_c]))[0])
    points = ", ".join(f"({one['buffer_ph']:.3f}, {plain(one['mv'])})" for one in used)
    return [
        (
            f"least squares through {points}: {-float(row['slope_pct']) / 100 * theory:.2f} mV per pH, "
            f"{plain(row['slope_pct'])} % of the {theory:.2f} of theory at {mean_c:.1f} °C; accepted are "
            f"{plain(row['slope_low_pct'])}-{plain(row['slope_high_pct'])} %"
        ),
        (
            f"at pH 7.00 that line shows {plain(row['offset_mv'])} mV; "
            f"accepted up to {plain(row['offset_limit_mv'])} either way"
        ),
    ]


def _stated(row: Row) -> str:
    offset = (
        ""
        if row["offset_mv"] is None
        else f", offset {plain(row['offset_mv'])} mV, up to {plain(row['offset_limit_mv'])}"
    )
    return (
        f"slope as the line states it: {plain(row['slope_pct'])} %, accepted are "
        f"{plain(row['slope_low_pct'])}-{plain(row['slope_high_pct'])} %{offset}"
    )


def _of_line(frame: pl.DataFrame, row: Row) -> list[Row]:
    return frame.filter(
        pl.col("file_id") == row["file_id"], pl.col("record_no") == row["record_no"]
    ).to_dicts()


def list_cells(row: Row, site: SiteSettings) -> list[str]:
    """The cells that carry a unit, as they stand in the file; none when site.toml has fewer exports by now."""
    raw: dict[str, str] = json.loads(row["cells"]) if row["cells"] else {}
    number = row["export_no"]
    columns = site.exports[number - 1].columns if number <= len(site.exports) else {}
    shown = [
        f"{column.column} “{raw[field]}” {column.unit}"
        for field, column in columns.items()
        if column.unit and raw.get(field)
    ]
    return [f"cells: {', '.join(shown)}"] if shown else []


def make_check(of: str, name: str, row: Row, steps: list[str]) -> TracedCheck:
    """A check with its line and its steps."""
    return TracedCheck.model_validate(
        {
            "of": of,
            "name": name,
            "file": row["file"],
            "line": row["line"],
            "text": row["text"],
            "steps": steps,
        }
    )


def write_check(check: TracedCheck, indent: str = "") -> list[str]:
    """A check as lines for a terminal."""
    kind = "meter " if check.of == "meter" else ""
    return [
        f"{indent}{kind}{check.name}",
        f"{indent}  {check.file} line {check.line}: {check.text}",
        *(f"{indent}      {step}" for step in check.steps),
    ]


def write_meter_day(day: TracedMeterDay) -> list[str]:
    """A meter's day as lines for a terminal."""
    name = "No meter" if day.meter_id is None else f"Meter {day.meter_id}"
    lines = [f"  {name}: {'; '.join(day.why)}"]
    for check in day.checks:
        lines += write_check(check, "      ")
    return lines


def plain(value: Any) -> str:
    """A figure without zeros at its end."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
