"""From the figures of a site's meters, water and feed back to file and line; its crops elsewhere, its questions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Any, Final, Literal

import polars as pl
from pydantic import BaseModel, ConfigDict

from pipeline.measures.contrasts import site_contrasts
from pipeline.reports.wording import CONTAINER_WORDS
from pipeline.settings import Settings, SiteSettings
from pipeline.trace.find import find_site
from pipeline.trace.measures import contrast_steps
from pipeline.trace.meters import TracedCheck, list_cells, make_check, plain, trace_checks, write_check
from pipeline.trace.positions import front_row_steps
from pipeline.trace.questions import TracedQuestion, trace_lists, trace_questions, write_questions
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.query import (
    fetch_buffers,
    fetch_checks,
    fetch_crop_means,
    fetch_list_lines,
    fetch_recorded_rows,
    fetch_site_findings,
    fetch_traced_waters,
    fetch_written,
)

Row = dict[str, Any]


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
    """A site's checks of meters, water and feed that tonight's judgement takes, its crops elsewhere, questions."""

    model_config = ConfigDict(frozen=True)

    site_id: str
    site_name: str
    checks: list[TracedCheck]
    contrasts: list[TracedCropContrast]
    questions: list[TracedQuestion]
    lists: list[TracedQuestion]
    front_row: list[str]
    """How many pots stood in the front row, step by step; empty where no row on a mapped bench is written down."""


def trace_site(connection: Connection, settings: Settings, site_id: str) -> SiteTrace:
    """Trace every check of the meters of a site, the checks of its water and feed, and its crops elsewhere.

    Raises SiteNotFound when the home lacks the site.
    """
    site = find_site(settings, site_id)
    meters = trace_checks(fetch_checks(connection, site.id), fetch_buffers(connection, site.id), site)
    waters = fetch_traced_waters(connection, site.id).to_dicts()
    means, limits = fetch_crop_means(connection)
    names = {one.id: one.name for one in settings.sites}
    questions, lists = fetch_site_findings(connection, site.id)
    return SiteTrace(
        site_id=site.id,
        site_name=site.name,
        checks=[*meters, *_waters(waters, site)],
        contrasts=trace_crop_contrasts(means, limits, site.id, names),
        questions=trace_questions(questions, fetch_written(connection, site.id)),
        lists=trace_lists(lists, fetch_list_lines(connection, site.id)),
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


def _waters(rows: Sequence[Row], site: SiteSettings) -> list[TracedCheck]:
    found = []
    for _, same in groupby(rows, key=lambda row: (row["file_id"], row["record_no"])):
        classes = list(same)
        row = classes[0]
        steps = [*list_cells(row, site), *_ec(row)]
        if row["alkalinity_mg_l"] is not None:
            steps += [_alkalinity(one) for one in classes if one["container_class"] is not None]
        if row["place"] == "hose_end":
            steps += _feed(row)
        spot = row["injector"] or row["house"]
        name = f"{row['place'].replace('_', ' ')}{f', {spot}' if spot else ''}, {row['checked_on']}"
        found.append(make_check(row["place"], name, row, steps))
    return found


def _ec(row: Row) -> list[str]:
    if row["ec_recorded_ms_cm"] is None:
        return []
    recorded = plain(row["ec_recorded_ms_cm"])
    if row["ec_compensated"]:
        return [f"EC {recorded} mS/cm at 25 °C, as the meter shows it"]
    if row["ec_25_ms_cm"] is None:
        return [
            f"EC {recorded} mS/cm: the meter does not compensate and no temperature is given, so it is not used"
        ]
    return [
        (
            f"EC {recorded} / (1 + {row['ec_alpha_per_c']:g} × ({plain(row['temperature_c'])} - 25)) = "
            f"{plain(row['ec_25_ms_cm'])} mS/cm at 25 °C"
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
        f"alkalinity {plain(row['alkalinity_mg_l'])} mg/L CaCO3 beside {asked} for "
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
            f"{added}; asked for are {plain(row['target_ec_ms_cm'])} - {row['water_ec_ms_cm']:.4f} = "
            f"{row['expected_ec_ms_cm']:.4f}: {row['share'] * 100:.1f} %, accepted "
            f"{100 - tolerance:g}-{100 + tolerance:g} %: {word}"
        )
    ]


def write_site_trace(trace: SiteTrace) -> list[str]:
    """The trace as lines for a terminal."""
    lines = [
        f"{trace.site_name}: every check of its meters, newest first, and the checks of water and feed that are used"
    ]
    for check in trace.checks:
        lines += ["", *write_check(check)]
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
    lines += write_questions([*trace.questions, *trace.lists])
    return lines
