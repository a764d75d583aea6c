"""The measures of a night: frames from the warehouse in, whole columns through NumPy and SciPy, tables back.

Nothing is judged here: what follows from a trend or an outlier stands in sql/judgement.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

import polars as pl

from pipeline.measures.contrasts import contrasts, site_contrasts
from pipeline.measures.drift import RULES, drift_charts
from pipeline.measures.forecast import forecasts
from pipeline.measures.outliers import score_pots, with_and_without
from pipeline.measures.positions import front_of_bench
from pipeline.measures.t_table import pots_for
from pipeline.measures.trend import trends
from pipeline.measures.water import check_feeds, judge_alkalinity
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.query import fetch_measured
from pipeline.warehouse.statements import replace_rows

LOT: Final = ["site_id", "lot_key"]
CROP: Final = ["crop_key", "container_class", "first_site", "second_site"]
SAMPLING: Final = [*LOT, "sampled_on", "purpose"]
QUANTITIES: Final = ("ph", "ec")
DECIMALS: Final = 9
"""Kept of every figure: the last bits of a double hang on the processor."""

TABLES: Final = (
    "outlier_figures",
    "outlier_pots",
    "pots_needed",
    "trends",
    "drift_points",
    "contrasts",
    "crop_contrasts",
    "judged_waters",
    "judged_feeds",
    "front_rows",
)
OF_A_SITE: Final = ("limits", "crop_means", "waters", "feeds", "recorded_rows")
"""Inputs that are not of one quantity of a lot."""

Inputs = Mapping[str, pl.DataFrame]
Limits = Mapping[str, float]
Tables = dict[str, pl.DataFrame]


def measure_night(connection: Connection) -> None:
    """Fill the tables of sql/schema/007_measures.sql, 008_water.sql and 012_positions.sql for tonight.

    Verdicts and standing lots must be there.
    """
    found = measure(fetch_measured(connection))
    for table in TABLES:
        replace_rows(connection, table, found.get(table))


def measure(inputs: Inputs) -> Tables:
    """Every table of the measures from the queries of sql/measures, by name; pure."""
    found: dict[str, list[pl.DataFrame]] = {}
    for part, limits in _by_policy(inputs):
        for quantity in QUANTITIES:
            of_one = {
                name: frame.filter(pl.col("quantity") == quantity).drop("quantity")
                for name, frame in part.items()
                if name not in OF_A_SITE
            }
            for name, frame in _measure_quantity(of_one, quantity, limits).items():
                found.setdefault(name, []).append(frame.with_columns(quantity=pl.lit(quantity)))
        feeds = check_feeds(part["feeds"], limits["feed_tolerance_share"])
        found.setdefault("judged_feeds", []).append(feeds)
    found["judged_waters"] = [judge_alkalinity(inputs["waters"])]
    found["front_rows"] = [front_of_bench(inputs["recorded_rows"])]
    # The sites of a group are held against each other by the first one's step.
    for limits in inputs["limits"].head(1).iter_rows(named=True):
        for quantity in QUANTITIES:
            means = inputs["crop_means"].filter(pl.col("quantity") == quantity).drop("quantity")
            compared = site_contrasts(means, limits[f"step_{quantity}"]).select(*CROP, *_COMPARED)
            found.setdefault("crop_contrasts", []).append(compared.with_columns(quantity=pl.lit(quantity)))
    return {name: _rounded(pl.concat(frames)) for name, frames in found.items()}


def _by_policy(inputs: Inputs) -> Iterator[tuple[dict[str, pl.DataFrame], Limits]]:
    """Sites with the same policy values go through the measures together."""
    limits = inputs["limits"]
    names = [name for name in limits.columns if name != "site_id"]
    for values, sites in limits.group_by(names, maintain_order=True):
        mine = sites["site_id"].implode()
        part = {
            name: frame.filter(pl.col("site_id").is_in(mine))
            for name, frame in inputs.items()
            if name not in ("limits", "crop_means", "waters", "recorded_rows")
        }
        yield part, dict(zip(names, values, strict=True))


def _measure_quantity(part: Inputs, quantity: str, limits: Limits) -> Tables:
    distance = limits[f"outlier_{quantity}"]
    return {
        "outlier_figures": _outlier_figures(part["usable_pots"], distance),
        "outlier_pots": _outlier_pots(part["usable_pots"], distance),
        "pots_needed": _pots_needed(part["spreads"], limits[f"precision_{quantity}"]),
        "trends": _trends(part["series"], part["standing"], int(limits["trend_samplings"])),
        "drift_points": _drift_points(part["series"], limits[f"least_sigma_{quantity}"]),
        "contrasts": _contrasts(part["compared_pots"], limits[f"step_{quantity}"]),
    }


def _outlier_figures(pots: pl.DataFrame, distance: float) -> pl.DataFrame:
    return with_and_without(pots, SAMPLING, "value", distance).select(
        *SAMPLING,
        "n_outliers",
        "mean_without",
        "sd_without",
        "ci_low_without",
        "ci_high_without",
        "grubbs_g",
        "grubbs_critical",
        "is_grubbs_outlier",
        "reason",
    )


def _outlier_pots(pots: pl.DataFrame, distance: float) -> pl.DataFrame:
    scored = score_pots(pots, SAMPLING, "value", distance)
    return scored.filter(pl.col("is_outlier").fill_null(value=False)).select(
        *SAMPLING, "file_id", "record_no", "value", "modified_z", "score_by"
    )


def _pots_needed(spreads: pl.DataFrame, precision: float) -> pl.DataFrame:
    return spreads.select(*SAMPLING, pots_for(spreads, precision).alias("pots_needed"))


def _trends(series: pl.DataFrame, standing: pl.DataFrame, last: int) -> pl.DataFrame:
    found = trends(series, LOT, day="sampled_on", value="mean", segment="segment", last=last)
    told = forecasts(found.join(standing, on=LOT, how="inner", maintain_order="left"))
    return told.select(
        *LOT,
        pl.col("n").cast(pl.Int32),
        *(
            "first_day",
            "last_day",
            "slope_per_week",
            "slope_low",
            "slope_high",
            "level_reached",
            "p",
            "is_trend",
        ),
        *(
            "heads_for",
            "earliest_on",
            "likely_on",
            "latest_on",
            "is_within_two_samplings",
            "reason",
            "last_fit",
        ),
    )


def _drift_points(series: pl.DataFrame, least_sigma: float) -> pl.DataFrame:
    charts = drift_charts(
        series, LOT, day="sampled_on", value="mean", segment="segment", least_sigma=least_sigma
    )
    broken = pl.concat_list([pl.when(pl.col(rule)).then(pl.lit(rule)) for rule in RULES]).list.drop_nulls()
    return charts.select(
        *LOT,
        pl.col("segment").cast(pl.Int32),
        "sampled_on",
        pl.col("mean").alias("value"),
        pl.col("nth").cast(pl.Int32),
        *("centre", "sigma", "ewma", "ewma_low", "ewma_high", "ewma_side"),
        *("moving_range", "moving_range_high", "is_moving_range_high"),
        broken.alias("rules"),
        "reason",
    )


_COMPARED: Final = [
    pl.col("n_first").cast(pl.Int32),
    pl.col("n_second").cast(pl.Int32),
    *(pl.col(name) for name in ("mean_first", "mean_second", "difference")),
    # A p of 1.0 from one lot against one lot is no finding: where the groups are too small, no test is told of.
    *(
        pl.when(pl.col("word") != "too_few").then(pl.col(name)).alias(name)
        for name in ("ci_low", "ci_high", "p", "hedges_g")
    ),
    *(pl.col(name) for name in ("word", "reason")),
]


def _contrasts(pots: pl.DataFrame, least: float) -> pl.DataFrame:
    keys = [*LOT, "comparison", "first_on", "second_on", "second_purpose"]
    found = contrasts(
        pots, keys, value="value", group="grp", first="first", second="second", least_difference=least
    )
    return found.filter((pl.col("n_first") > 0) & (pl.col("n_second") > 0)).select(*keys, *_COMPARED)


def _rounded(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.with_columns(pl.col(pl.Float64).round(DECIMALS))


__all__ = ["measure", "measure_night"]
