"""From the figures of a site's meters, water and feed back to file and line; its crops elsewhere, its front rows."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Any, Final, Literal

import numpy as np
import polars as pl
from pydantic import BaseModel, ConfigDict

from pipeline.measures.contrasts import site_contrasts
from pipeline.measures.electrodes import nernst_slope_mv
from pipeline.reports.wording import CONTAINER_WORDS
from pipeline.settings import Settings, SiteSettings
from pipeline.settings.sheet import columns_of
from pipeline.trace.find import find_site, header_of
from pipeline.trace.measures import contrast_steps
from pipeline.trace.positions import front_row_steps
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.query import (
    fetch_buffers,
    fetch_checks,
    fetch_crop_means,
    fetch_recorded_rows,
    fetch_traced_waters,
)

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


class TracedCropContrast(BaseModel):
    """One crop in one container class at two sites: the lots' means, and what was worked out from them."""

    model_config = ConfigDict(frozen=True)

    crop: str
    container_class: str
    quantity: Literal["ph", "ec"]
    first_site: str
    second_site: str
    word: Literal["clear", "not_clear", "too_few"]
    steps: list[str]


class SiteTrace(BaseModel):
    """A site's checks that tonight's judgement takes, its crops against those of other sites, and where pots stood."""

    model_config = ConfigDict(frozen=True)

    site_id: str
    site_name: str
    checks: list[TracedCheck]
    contrasts: list[TracedCropContrast]
    front_row: list[str]
    """How many pots stood in the front row, step by step; empty where no row on a mapped bench is written down."""


def trace_site(connection: Connection, settings: Settings, site_id: str) -> SiteTrace:
    """Trace the last check of each meter of a site, the checks of its water and feed, and its crops elsewhere.

    Raises SiteNotFound when the home lacks the site.
    """
    site = find_site(settings, site_id)
    buffers = fetch_buffers(connection, site.id)
    meters = [
        _meter(row, _of_line(buffers, row), site)
        for row in fetch_checks(connection, site.id).iter_rows(named=True)
    ]
    waters = fetch_traced_waters(connection, site.id).to_dicts()
    means, limits = fetch_crop_means(connection)
    names = {one.id: one.name for one in settings.sites}
    return SiteTrace(
        site_id=site.id,
        site_name=site.name,
        checks=[*meters, *_waters(waters, site)],
        contrasts=trace_crop_contrasts(means, limits, site.id, names),
        front_row=front_row_steps(fetch_recorded_rows(connection, site.id)),
    )


def trace_crop_contrasts(
    means: pl.DataFrame, limits: pl.DataFrame, site_id: str, names: Mapping[str, str]
) -> list[TracedCropContrast]:
    """Each crop that a site grows as another site does, held against it anew; pure.

    `means`, `limits`: rows of sql/measures/crop_means.sql and limits.sql; `names`: of the sites by id. As in the
    night the first site's step decides.
    """
    traced = []
    for quantity in ("ph", "ec"):
        mine = means.filter(pl.col("quantity") == quantity)
        for least in limits[f"step_{quantity}"].head(1):
            rows = site_contrasts(mine, least).filter(
                (pl.col("first_site") == site_id) | (pl.col("second_site") == site_id)
            )
            traced += [
                _crop_contrast(row, mine, quantity, least, names) for row in rows.iter_rows(named=True)
            ]
    return sorted(traced, key=lambda one: (one.crop, one.container_class, one.first_site, one.second_site))


def _crop_contrast(
    row: Row, means: pl.DataFrame, quantity: str, least: float, names: Mapping[str, str]
) -> TracedCropContrast:
    steps = [
        _lots(row, means, row[f"{which}_site"], names, row[f"mean_{which}"]) for which in ("first", "second")
    ]
    steps.append(
        f"difference {row['mean_first']:.4f} - {row['mean_second']:.4f} = {row['difference']:.4f}, "
        "a lot's last counting mean being one value"
    )
    return TracedCropContrast.model_validate(
        {
            "crop": row["crop_key"],
            "container_class": row["container_class"],
            "quantity": quantity,
            "first_site": row["first_site"],
            "second_site": row["second_site"],
            "word": row["word"],
            "steps": [*steps, *contrast_steps(row, least, "lots")],
        }
    )


def _lots(row: Row, means: pl.DataFrame, site_id: str, names: Mapping[str, str], mean: float) -> str:
    lots = means.filter(
        pl.col("site_id") == site_id,
        pl.col("crop_key") == row["crop_key"],
        pl.col("container_class") == row["container_class"],
    ).sort("lot_id")
    listed = ", ".join(
        f"{lot} {day} {value:.4f}"
        for lot, day, value in lots.select("lot_id", "sampled_on", "mean").iter_rows()
    )
    return f"{names.get(site_id, site_id)}: {listed}; mean {mean:.4f}"


def _cells(row: Row, site: SiteSettings) -> list[str]:
    """The cells that carry a unit, as they stand in the file; none when site.toml has fewer exports by now."""
    raw: dict[str, str] = json.loads(row["cells"]) if row["cells"] else {}
    columns = columns_of(site, row["export_no"], header_of(row["header"]))
    shown = [
        f"{column.column} “{raw[field]}” {column.unit}"
        for field, column in columns.items()
        if column.unit and raw.get(field)
    ]
    return [f"cells: {', '.join(shown)}"] if shown else []


def _of_line(frame: pl.DataFrame, row: Row) -> list[Row]:
    return frame.filter(
        pl.col("file_id") == row["file_id"], pl.col("record_no") == row["record_no"]
    ).to_dicts()


def _meter(row: Row, buffers: Sequence[Row], site: SiteSettings) -> TracedCheck:
    steps = [*_cells(row, site), *(_buffer(one, row["stage"]) for one in buffers)]
    if row["slope_pct"] is not None:
        steps += _slope(row, buffers) if row["is_slope_computed"] else [_stated(row)]
    elif row["offset_mv"] is not None:
        steps.append(
            f"offset as the line states it: {_plain(row['offset_mv'])} mV, accepted up to "
            f"{_plain(row['offset_limit_mv'])} either way"
        )
    if row["worst_error_ph"] is not None:
        steps.append(
            f"farthest buffer {_plain(row['worst_error_ph'])} pH off, accepted up to {_plain(row['buffer_limit_ph'])}"
        )
    if row["ec_standard_ms_cm"] is not None and row["ec_found_ms_cm"] is not None:
        off = abs(row["ec_found_ms_cm"] - row["ec_standard_ms_cm"])
        most = row["ec_standard_share"] * row["ec_standard_ms_cm"]
        steps.append(
            f"EC standard {_plain(row['ec_standard_ms_cm'])} mS/cm, shown {_plain(row['ec_found_ms_cm'])}: "
            f"{_plain(off)} off, accepted up to {_plain(row['ec_standard_share'])} × "
            f"{_plain(row['ec_standard_ms_cm'])} = {_plain(most)}"
        )
    if row["passed"] is not None:
        steps.append(f"the line says: {'passed' if row['passed'] else 'failed'}")
    steps.append("accepted" if row["is_accepted"] else "not accepted")
    name = f"{row['meter_id']}, {row['calibrated_on']}, {row['stage'].replace('_', ' ')}"
    return _check("meter", name, row, steps)


def _buffer(one: Row, stage: str) -> str:
    known = "not in the table" if one["buffer_ph"] is None else f"pH {one['buffer_ph']:.3f}"
    assumed = " (no temperature given)" if one["is_temperature_assumed"] else ""
    shown = one["found_ph"] if stage == "as_found" else one["left_ph"]
    told = [
        *([f"shown {_plain(shown)}"] if shown is not None else []),
        *([f"{_plain(one['mv'])} mV"] if one["mv"] is not None else []),
    ]
    return (
        f"buffer {_plain(one['label'])} at {_plain(one['temperature_c'])} °C{assumed} = {known}: "
        f"{', '.join(told) or 'not read at this stage'}"
    )


def _slope(row: Row, buffers: Sequence[Row]) -> list[str]:
    used = [one for one in buffers if one["mv"] is not None]
    mean_c = sum(float(one["temperature_c"]) for one in used) / len(used)
    theory = float(nernst_slope_mv(np.array([mean_c]))[0])
    points = ", ".join(f"({one['buffer_ph']:.3f}, {_plain(one['mv'])})" for one in used)
    return [
        (
            f"least squares through {points}: {-float(row['slope_pct']) / 100 * theory:.2f} mV per pH, "
            f"{_plain(row['slope_pct'])} % of the {theory:.2f} of theory at {mean_c:.1f} °C; accepted are "
            f"{_plain(row['slope_low_pct'])}-{_plain(row['slope_high_pct'])} %"
        ),
        (
            f"at pH 7.00 that line shows {_plain(row['offset_mv'])} mV; "
            f"accepted up to {_plain(row['offset_limit_mv'])} either way"
        ),
    ]


def _stated(row: Row) -> str:
    offset = (
        ""
        if row["offset_mv"] is None
        else f", offset {_plain(row['offset_mv'])} mV, up to {_plain(row['offset_limit_mv'])}"
    )
    return (
        f"slope as the line states it: {_plain(row['slope_pct'])} %, accepted are "
        f"{_plain(row['slope_low_pct'])}-{_plain(row['slope_high_pct'])} %{offset}"
    )


def _waters(rows: Sequence[Row], site: SiteSettings) -> list[TracedCheck]:
    found = []
    for _, same in groupby(rows, key=lambda row: (row["file_id"], row["record_no"])):
        classes = list(same)
        row = classes[0]
        steps = [*_cells(row, site), *_ec(row)]
        if row["alkalinity_mg_l"] is not None:
            steps += [_alkalinity(one) for one in classes if one["container_class"] is not None]
        if row["place"] == "hose_end":
            steps += _feed(row)
        spot = row["injector"] or row["house"]
        name = f"{row['place'].replace('_', ' ')}{f', {spot}' if spot else ''}, {row['checked_on']}"
        found.append(_check(row["place"], name, row, steps))
    return found


def _ec(row: Row) -> list[str]:
    if row["ec_recorded_ms_cm"] is None:
        return []
    recorded = _plain(row["ec_recorded_ms_cm"])
    if row["ec_compensated"]:
        return [f"EC {recorded} mS/cm at 25 °C, as the meter shows it"]
    if row["ec_25_ms_cm"] is None:
        return [
            f"EC {recorded} mS/cm: the meter does not compensate and no temperature is given, so it is not used"
        ]
    return [
        (
            f"EC {recorded} / (1 + {row['ec_alpha_per_c']:g} × ({_plain(row['temperature_c'])} - 25)) = "
            f"{_plain(row['ec_25_ms_cm'])} mS/cm at 25 °C"
        )
    ]


_WATER_WORDS: Final[Mapping[str, str]] = {
    "low": "low",
    "in_range": "in range",
    "high": "high",
    "acid": "high, and above what acid is thought of for",
}


def _alkalinity(row: Row) -> str:
    asked = f"at most {row['high']:g}" if row["low"] is None else f"{row['low']:g}-{row['high']:g}"
    acid = "" if row["acid_above"] is None else f", acid above {row['acid_above']:g}"
    return (
        f"alkalinity {_plain(row['alkalinity_mg_l'])} mg/L CaCO3 beside {asked} for "
        f"{CONTAINER_WORDS[row['container_class']]}{acid} ({row['source']}): "
        f"{_WATER_WORDS.get(row['water_word'], row['water_word'])}"
    )


_FEED_WORDS: Final[Mapping[str, str]] = {
    "as_set": "as it should be",
    "weak": "weak",
    "strong": "strong",
    "below_water": "less than the water alone",
    "no_feed": "hardly any feed is asked for, not judged",
    "not_measured": "not judged: target or water is not known",
}


def _feed(row: Row) -> list[str]:
    word = _FEED_WORDS.get(row["feed_word"], "not judged")
    if row["water_ec_ms_cm"] is None:
        return [f"no check of the source water: {word}"]
    water, gives = row["water_ec_ms_cm"], row["added_ec_ms_cm"]
    added = f"less the water of {row['water_on']}, {water:.4f}, the feed adds {gives:.4f}"
    if row["share"] is None:
        return [f"{added}: {word}"]
    tolerance = float(row["feed_tolerance_share"]) * 100
    return [
        (
            f"{added}; asked for are {_plain(row['target_ec_ms_cm'])} - {row['water_ec_ms_cm']:.4f} = "
            f"{row['expected_ec_ms_cm']:.4f}: {row['share'] * 100:.1f} %, accepted "
            f"{100 - tolerance:g}-{100 + tolerance:g} %: {word}"
        )
    ]


def _check(of: str, name: str, row: Row, steps: list[str]) -> TracedCheck:
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


def _plain(value: Any) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def write_site_trace(trace: SiteTrace) -> list[str]:
    """The trace as lines for a terminal."""
    lines = [f"{trace.site_name}: last check of each meter, and the checks of water and feed that are used"]
    for check in trace.checks:
        kind = "meter " if check.of == "meter" else ""
        lines += ["", f"{kind}{check.name}", f"  {check.file} line {check.line}: {check.text}"]
        lines += [f"      {step}" for step in check.steps]
    if not trace.checks:
        lines += ["", "  none"]
    if trace.contrasts:
        lines += [
            "",
            "The same crop here and at another site, the lots' last counting means of the last 28 days",
        ]
    for one in trace.contrasts:
        name = "pH" if one.quantity == "ph" else "EC"
        lines += ["", f"{one.crop}, {CONTAINER_WORDS[one.container_class]}, {name}"]
        lines += [f"      {step}" for step in one.steps]
    if trace.front_row:
        lines += ["", "Pots of the last weeks whose row on a mapped bench is written down"]
        lines += [f"      {step}" for step in trace.front_row]
    return lines
