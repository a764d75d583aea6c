"""Settings and published tables as the relations that the models join: filled anew each night."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

from pipeline.settings import PolicyInForce, Settings, SiteSettings, resolve_policy
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.programme_tables import programme_frames
from pipeline.warehouse.statements import insert_frame, quoted

FOR_EVER = date(9999, 12, 31)
Span = tuple[str, PolicyInForce]


@dataclass(frozen=True, slots=True)
class Published:
    """Published tables, ready for the warehouse.

    ranges: crop_key, quantity, row_no, low, high, source, how_known; general: quantity, low, high, source,
    source_url, how_known; groups: quantity, group_name, low, high, source, source_url, how_known; t_table: df, t;
    very_high_edges: method, ec_ms_cm, is_included; buffers: buffer, temperature_c, ph, source, how_known. choose: the
    order of sources in, the chosen rows out (crop_key, quantity, low, high, source, source_url, how_known, ph_group).
    """

    ranges: pl.DataFrame
    general: pl.DataFrame
    groups: pl.DataFrame
    t_table: pl.DataFrame
    very_high_edges: pl.DataFrame
    buffers: pl.DataFrame
    choose: Callable[[tuple[str, ...]], pl.DataFrame]


def load_settings_tables(connection: Connection, settings: Settings, published: Published) -> None:
    """Replace the settings' relations by what holds tonight."""
    spans = [(site.id, span) for site in settings.sites for span in resolve_policy(settings, site)]
    orders = {span.values.target_source_order for _, span in spans}
    chosen = {order: published.choose(order) for order in sorted(orders)}
    frames = {
        "sites": _sites(settings.sites),
        **programme_frames(settings.sites),
        **_policy_frames(spans),
        "published_ranges": published.ranges,
        "general_targets": published.general,
        "chosen_targets": _chosen(spans, chosen, published.groups),
        "crop_groups": _crop_groups(chosen.values()),
        "t_quantiles": published.t_table,
        "very_high_edges": published.very_high_edges,
        "buffer_values": published.buffers,
    }
    connection.begin()
    for table, frame in frames.items():
        # The name is our own and quoted; SQL has no parameter for a table.
        connection.execute(f"delete from {quoted(table)}").fetchall()  # noqa: S608
        if frame is not None and frame.height:
            insert_frame(connection, table, frame)
    connection.commit()


def _chosen(
    spans: Sequence[Span], chosen: Mapping[tuple[str, ...], pl.DataFrame], groups: pl.DataFrame
) -> pl.DataFrame | None:
    frames = []
    for site_id, span in spans:
        printed = chosen[span.values.target_source_order]
        span_of = {"site_id": pl.lit(site_id), "valid_from": pl.lit(span.valid_from)}
        named = _group_ranges(span, groups)
        of_policy = named.select("crop_key", "quantity", "policy_group", "policy_low", "policy_high")
        # A crop whose own range is printed without a pH group has that of the policy: thresholds for action go by it.
        ph_groups = named.filter(pl.col("quantity") == "ph").select("crop_key", ph_group="policy_group")
        frames.append(
            printed.drop("ph_group")
            .join(ph_groups, on="crop_key", how="left", validate="m:1")
            .join(of_policy, on=["crop_key", "quantity"], how="left", validate="1:1")
            .with_columns(**span_of, group_name=None)
        )
        # Where no source prints a range for the crop, its group's is the chosen one.
        grouped = (
            named.join(printed, on=["crop_key", "quantity"], how="anti")
            .join(ph_groups, on="crop_key", how="left", validate="m:1")
            .with_columns(**span_of, group_name="policy_group", low="policy_low", high="policy_high")
        )
        frames.append(grouped.select(frames[-1].columns))
    return pl.concat(frames, how="vertical_relaxed") if frames else None


def _group_ranges(span: PolicyInForce, groups: pl.DataFrame) -> pl.DataFrame:
    """The ranges of the groups among which the policy counts crops: a row for each crop and quantity that it names."""
    named = [
        {"crop_key": crop.key, "quantity": quantity, "policy_group": name}
        for crop in span.values.crops
        for quantity, name in (("ph", crop.ph_group), ("ec", crop.feeding_level))
        if name is not None
    ]
    schema = {"crop_key": pl.String, "quantity": pl.String, "policy_group": pl.String}
    ranges = groups.rename({"group_name": "policy_group", "low": "policy_low", "high": "policy_high"})
    return pl.DataFrame(named, schema=schema).join(ranges, on=["quantity", "policy_group"], how="inner")


def _sites(sites: Sequence[SiteSettings]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "site_id": site.id,
                "name": site.name,
                "has_calibrations": any(export.kind == "calibrations" for export in site.exports),
                "first_night": site.first_night,
            }
            for site in sites
        ],
        schema={
            "site_id": pl.String,
            "name": pl.String,
            "has_calibrations": pl.Boolean,
            "first_night": pl.Date,
        },
    )


def _crop_groups(chosen: Iterable[pl.DataFrame]) -> pl.DataFrame | None:
    frames = [frame.select("crop_key", "ph_group") for frame in chosen]
    return pl.concat(frames).unique("crop_key", keep="first") if frames else None


def _policy_frames(spans: Sequence[Span]) -> dict[str, pl.DataFrame | None]:
    if not spans:
        names = (
            "policy",
            "policy_containers",
            "policy_problem_crops",
            "policy_feed_pair_crops",
            "own_targets",
            "policy_finding_levels",
        )
        return dict.fromkeys(names)
    return {
        "policy": pl.DataFrame([_scalars(site_id, span) for site_id, span in spans]),
        "policy_containers": pl.DataFrame(
            [row for site_id, span in spans for row in _containers(site_id, span)]
        ),
        "policy_problem_crops": _crops(spans, "problem_crops"),
        "policy_feed_pair_crops": _crops(spans, "feed_pair_crops"),
        "own_targets": _frame([row for site_id, span in spans for row in _targets(site_id, span)]),
        "policy_finding_levels": _frame(
            [
                {**_span(site_id, span), "rule": rule, "level": level}
                for site_id, span in spans
                for rule, level in span.values.finding_levels.items()
            ]
        ),
    }


def _crops(spans: Sequence[Span], name: str) -> pl.DataFrame | None:
    return _frame(
        [
            {**_span(site_id, span), "crop_key": crop.strip().lower()}
            for site_id, span in spans
            for crop in getattr(span.values, name)
        ]
    )


def _frame(rows: list[dict[str, object]]) -> pl.DataFrame | None:
    return pl.DataFrame(rows, infer_schema_length=None) if rows else None


def _span(site_id: str, span: PolicyInForce) -> dict[str, object]:
    return {
        "site_id": site_id,
        "valid_from": span.valid_from,
        "valid_to": span.valid_to or FOR_EVER,
    }


_NOT_SCALAR = {
    "containers",
    "targets",
    "crops",
    "finding_levels",
    "problem_crops",
    "feed_pair_crops",
    "target_source_order",
    # Used before the warehouse, or by container class.
    "min_usable_pots",
    "ec_highest_ms_cm",
    "routine_by",
}


def _scalars(site_id: str, span: PolicyInForce) -> dict[str, object]:
    values = {
        name: getattr(span.values, name) for name in type(span.values).model_fields if name not in _NOT_SCALAR
    }
    return {**_span(site_id, span), **values}


def _containers(site_id: str, span: PolicyInForce) -> list[dict[str, object]]:
    return [
        {**_span(site_id, span), "container_class": name, **rule.model_dump()}
        for name, rule in span.values.containers.items()
    ]


def _targets(site_id: str, span: PolicyInForce) -> list[dict[str, object]]:
    return [
        {
            **_span(site_id, span),
            "crop_key": target.crop.strip().lower(),
            "quantity": target.quantity,
            "low": target.low,
            "high": target.high,
            "basis": target.set_by,
            "stage": target.stage,
            "note": target.note or None,
        }
        for target in span.values.targets
    ]
