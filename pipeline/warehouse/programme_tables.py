"""What the settings say of a site's days, houses and people as frames: closed days, feed days, benches, growers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import get_args

import polars as pl

from pipeline.settings import SiteSettings
from pipeline.settings.benches import Feeding, fold_name
from pipeline.settings.words import WeekDay

_ISO_DAY = {name: number for number, name in enumerate(get_args(WeekDay), start=1)}


def programme_frames(sites: Sequence[SiteSettings]) -> dict[str, pl.DataFrame]:
    """Return closed_days, feed_days, benches and grower_houses, in the columns of sql/schema/010 and 041."""
    return {
        "closed_days": _closed_days(sites),
        "feed_days": _feed_days(sites),
        "benches": _benches(sites),
        "grower_houses": _grower_houses(sites),
    }


def _closed_days(sites: Sequence[SiteSettings]) -> pl.DataFrame:
    rows = [
        row
        for site in sites
        for row in (
            *((site.id, _ISO_DAY[day], None) for day in dict.fromkeys(site.no_sampling)),
            *((site.id, None, day) for day in dict.fromkeys(site.holidays)),
        )
    ]
    schema = {"site_id": pl.String, "weekday": pl.Int32, "closed_on": pl.Date}
    return pl.DataFrame(rows, schema=schema, orient="row")


def _feed_days(sites: Sequence[SiteSettings]) -> pl.DataFrame:
    rows = [
        (site.id, None if feeding.house is None else fold_name(feeding.house), lot_key, weekday, day)
        for site in sites
        for feeding in site.feedings
        for lot_key in (*map(fold_name, feeding.lots),) or (None,)
        for weekday, day in _moments(feeding)
    ]
    schema = {
        "site_id": pl.String,
        "house_key": pl.String,
        "lot_key": pl.String,
        "weekday": pl.Int32,
        "fed_on": pl.Date,
    }
    return pl.DataFrame(rows, schema=schema, orient="row")


def _moments(feeding: Feeding) -> list[tuple[int | None, object]]:
    return [*((_ISO_DAY[name], None) for name in feeding.weekdays), *((None, day) for day in feeding.days)]


def _benches(sites: Sequence[SiteSettings]) -> pl.DataFrame:
    rows = [
        (
            site.id,
            walk_no,
            bench.house,
            fold_name(bench.house),
            bench.name,
            fold_name(bench.name),
            bench.rows,
            bench.columns,
            bench.size,
        )
        for site in sites
        for walk_no, bench in enumerate(site.benches, start=1)
    ]
    schema = {
        "site_id": pl.String,
        "walk_no": pl.Int32,
        "house": pl.String,
        "house_key": pl.String,
        "bench": pl.String,
        "bench_key": pl.String,
        "bench_rows": pl.Int32,
        "bench_columns": pl.Int32,
        "places": pl.Int32,
    }
    return pl.DataFrame(rows, schema=schema, orient="row")


def _grower_houses(sites: Sequence[SiteSettings]) -> pl.DataFrame:
    rows = [
        (site.id, grower.id, grower.name, house_key)
        for site in sites
        for grower in site.growers
        for house_key in dict.fromkeys(map(fold_name, grower.houses)) or (None,)
    ]
    schema = dict.fromkeys(("site_id", "grower_id", "grower_name", "house_key"), pl.String)
    return pl.DataFrame(rows, schema=schema, orient="row")
