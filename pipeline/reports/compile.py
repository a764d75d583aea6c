"""Warehouse rows in, the night's document out: the one place that knows both.

Pure: frames, settings and published tables in, a Summary out. Nothing is judged here.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, get_args

import polars as pl

from pipeline.measures.ec import ec_band
from pipeline.reports.policy_lines import list_policy
from pipeline.reports.summary import (
    Due,
    DueState,
    Figures,
    FileReceived,
    Finding,
    Grower,
    HeldCause,
    HeldExample,
    Level,
    Lines,
    Lot,
    Meter,
    Night,
    Option,
    OtherRange,
    Pot,
    Quality,
    Quantity,
    Reason,
    Sampling,
    Site,
    Source,
    Summary,
    Target,
)
from pipeline.reports.wording import CONTAINER_WORDS, DUE_PURPOSES, Row, Wording
from pipeline.settings import PolicyInForce, Settings, SiteSettings

ORDER_FORMULA = (
    "Lots stand in the order of their level (act, no current reading, watch, OK). Within a level: distance of the mean "
    "beyond the edge of the target in steps (0.2 pH or 0.5 mS/cm is one step) times one plus the number in a row; "
    "then the number of plants; then the days to the lot's end. House default."
)
LEVELS: tuple[Level, ...] = get_args(Level)
DUE_STATES: tuple[DueState, ...] = get_args(DueState)
QUANTITIES: tuple[Quantity, ...] = get_args(Quantity)
_OUT_CODES = {"clearly_out", "out", "ec_very_high", "affected_clearly_out"}
_LEVEL_ORDER = {"act": 0, "no_reading": 1, "watch": 2, "note": 3}
_CODE_ORDER = {
    code: place for place, code in enumerate(("clearly_out", "out", "ec_very_high", "affected_clearly_out"))
}


@dataclass(frozen=True, slots=True)
class Published:
    """Published tables that reports show: EC bands and corrective options as loaded from pipeline/reference."""

    ec_bands: pl.DataFrame
    options: pl.DataFrame


@dataclass(frozen=True, slots=True)
class _Rows:
    """Rows of every table by the lot or site they belong to."""

    by_lot: dict[str, dict[tuple[str, str], list[dict[str, Any]]]]
    by_site: dict[str, dict[str, list[dict[str, Any]]]]
    ranges: dict[tuple[str, str], list[dict[str, Any]]]
    options: list[dict[str, Any]]

    def lot(self, table: str, site_id: str, lot_key: str) -> list[dict[str, Any]]:
        return self.by_lot[table].get((site_id, lot_key), [])

    def site(self, table: str, site_id: str) -> list[dict[str, Any]]:
        return self.by_site[table].get(site_id, [])


def compile_summary(
    tables: Mapping[str, pl.DataFrame],
    settings: Settings,
    policies: Mapping[str, PolicyInForce],
    published: Published,
    night: Night,
) -> Summary:
    """Make the document of one night.

    tables: as from `pipeline.warehouse.query.fetch_tables`; policies: by site id, in force on the as-of date.
    """
    rows = _arrange(tables, published)
    sites = [_site(site, policies[site.id], rows, settings.group.date_format) for site in settings.sites]
    levels = Counter(lot.level for site in sites for lot in site.lots)
    return Summary(
        group_name=settings.group.name,
        language=settings.group.language,
        paper=settings.group.paper,
        date_format=settings.group.date_format,
        order_formula=ORDER_FORMULA,
        night=night,
        lots_by_level={level: levels[level] for level in LEVELS},
        sites=sites,
    )


def _arrange(tables: Mapping[str, pl.DataFrame], published: Published) -> _Rows:
    pots = tables["pots"]
    banded = tables["figures"].join(
        pots.group_by("site_id", "lot_key", "sampled_on", "purpose").agg(pl.col("method").first()),
        on=["site_id", "lot_key", "sampled_on", "purpose"],
        how="left",
    )
    figures = banded.with_columns(
        band=pl.when((pl.col("quantity") == "ec") & (pl.col("n") > 0)).then(
            ec_band(pl.col("method"), pl.col("mean").round(4), published.ec_bands)
        )
    )
    by_lot = ("samplings", "pots", "targets", "dues", "reasons", "sampling_findings")
    by_site = ("lots", "meter_states", "site_states", "held_causes", "releases", "files_tonight", "troubles")
    return _Rows(
        by_lot={
            "figures": _group(figures, "site_id", "lot_key"),
            **{name: _group(tables[name], "site_id", "lot_key") for name in by_lot},
        },
        by_site={
            name: {key[0]: rows for key, rows in _group(tables[name], "site_id").items()} for name in by_site
        },
        ranges=_group(tables["published_ranges"].sort("row_no"), "crop_key", "quantity"),
        options=published.options.to_dicts(),
    )


def _group(frame: pl.DataFrame, *keys: str) -> dict[Any, list[dict[str, Any]]]:
    grouped: dict[Any, list[dict[str, Any]]] = defaultdict(list)
    for row in frame.iter_rows(named=True):
        grouped[tuple(row[key] for key in keys)].append(row)
    return dict(grouped)


def _site(site: SiteSettings, policy: PolicyInForce, rows: _Rows, group_date_format: str) -> Site:
    words = Wording(site.date_format, group_date_format)
    state = rows.site("site_states", site.id)[0]
    lots = [_lot(lot, rows, words) for lot in rows.site("lots", site.id)]
    levels = Counter(lot.level for lot in lots)
    dues = Counter(lot.due.state for lot in lots)
    releases = sorted(rows.site("releases", site.id), key=lambda row: (row["cause"], row["lot_code"]))
    return Site(
        site_id=site.id,
        name=site.name,
        language=site.language,
        paper=site.paper,
        date_format=site.date_format,
        growers=[
            Grower(grower_id=grower.id, name=grower.name, houses=list(grower.houses))
            for grower in site.growers
        ],
        first_received_on=state["first_received_on"],
        last_received_on=state["last_received_on"],
        nights_silent=state["nights_silent"],
        is_silent=state["is_silent"],
        last_reading_on=state["last_reading_on"],
        lots_by_level={level: levels[level] for level in LEVELS},
        dues_by_state={due: dues[due] for due in DUE_STATES},
        pots_due=sum(
            lot.due.pots for lot in lots if lot.due.state in ("overdue", "never_sampled", "due_this_week")
        ),
        lots_on_time=sum(lot.due.state not in ("overdue", "never_sampled") for lot in lots),
        quality_28_days=Quality(**{name: state[name] for name in Quality.model_fields}),
        lines=Lines(**{name: state[name] for name in Lines.model_fields}),
        files_tonight=[_file(row) for row in rows.site("files_tonight", site.id)],
        released_tonight=sum(row["records"] for row in releases),
        released_sentences=[words.released(row) for row in releases],
        held=_held(rows.site("held_causes", site.id), words),
        meters=[
            _meter(row, words)
            for row in sorted(rows.site("meter_states", site.id), key=lambda r: str(r["meter_id"]))
        ],
        findings=_site_findings(site, state, rows, words),
        policy=list_policy(policy),
        lots=lots,
        lots_ended=state["lots_ended"],
    )


def _file(row: Row) -> FileReceived:
    return FileReceived(
        name=row["name"],
        kind=row["kind"],
        received_on=row["received_on"],
        lines=row["lines"],
        records=row["records"],
        held_why=row["problem_sentence"],
    )


def _site_findings(site: SiteSettings, state: Row, rows: _Rows, words: Wording) -> list[Finding]:
    findings = []
    if state["is_silent"]:
        findings.append(
            Finding(
                rule="site_silent",
                level="warn",
                sentence=_silence(site, state, words),
                group_sentence=words.for_group(partial(_silence, site, state)),
            )
        )
    findings += [
        Finding(
            rule=row["problem"],
            # A header without lines holds nothing: the site may have had nothing to report.
            level="note" if row["problem"] == "header_only" else "hold",
            sentence=words.file(row, rows.site("held_causes", site.id)),
            file=row["name"],
        )
        for row in rows.site("files_tonight", site.id)
        if row["problem"] is not None
    ]
    for row in rows.site("troubles", site.id):
        level: Any = "note" if row["code"] == "unclaimed" else "hold"
        sentence = f"{row['sentence']} {row['mend']}"
        findings.append(Finding(rule=row["code"], level=level, sentence=sentence, file=row["name"]))
    return findings


def _held(causes: Sequence[Row], words: Wording) -> list[HeldCause]:
    held = []
    for row in sorted(causes, key=lambda r: (-r["records"], r["cause"], r["what"] or "")):
        sentence, mend = words.held(row)
        examples = [HeldExample(**example) for example in row["examples"]]
        held.append(
            HeldCause(
                cause=row["cause"],
                what=row["what"],
                sentence=sentence,
                group_sentence=words.for_group(partial(_held_sentence, row)),
                mend=mend,
                records=row["records"],
                examples=examples,
            )
        )
    return held


def _silence(site: SiteSettings, state: Row, words: Wording) -> str:
    return words.silent(site.name, state["last_received_on"], state["nights_silent"])


def _held_sentence(row: Row, words: Wording) -> str:
    return words.held(row)[0]


def _meter(row: Row, words: Wording) -> Meter:
    return Meter(
        meter_id=row["meter_id"],
        last_calibrated_on=row["last_calibrated_on"],
        last_accepted=row["last_accepted"],
        slope_pct=_float(row["slope_pct"]),
        offset_mv=_float(row["offset_mv"]),
        in_doubt=row["is_in_doubt"],
        readings_in_doubt=row["readings_in_doubt"],
        days_used_without_calibration=row["days_used_without_calibration"],
        sentence=words.meter(row),
        group_sentence=words.for_group(partial(Wording.meter, row=row)),
    )


def _lot(row: Row, rows: _Rows, words: Wording) -> Lot:
    key = (row["site_id"], row["lot_key"])
    targets = {target["quantity"]: target for target in rows.lot("targets", *key)}
    reasons = sorted(
        rows.lot("reasons", *key),
        key=lambda r: (
            _LEVEL_ORDER[r["level"]],
            _CODE_ORDER.get(r["code"], len(_CODE_ORDER)),
            r["code"],
            r["quantity"] or "",
            r["side"] or "",
        ),
    )
    dues = sorted(rows.lot("dues", *key), key=lambda due: due["nth"])
    ph_group = targets["ph"]["ph_group"]
    last = row["last_counting_on"]
    return Lot(
        lot_id=row["lot_id"],
        house=row["house"],
        bench=row["bench"],
        crop=row["crop"],
        cultivar=row["cultivar"],
        container_class=row["container_class"],
        plants=row["plants"],
        started_on=row["started_on"],
        ends_on=row["ends_on"],
        days_to_end=row["days_to_end"],
        stage=row["stage"],
        grower_id=row["grower_id"],
        ph_group=ph_group,
        target_ph=_target(targets["ph"], rows),
        target_ec=_target(targets["ec"], rows),
        no_target_why=_no_target(row, targets),
        level=row["level"],
        rank=row["rank"],
        score=row["score"],
        reasons=[
            Reason(
                code=reason["code"],
                level=reason["level"],
                quantity=reason["quantity"],
                # there the side says which way the volume was off, and the sentence tells it
                side=None if reason["code"] == "ec_not_judged" else reason["side"],
                sentence=words.reason(reason),
                group_sentence=words.for_group(partial(Wording.reason, row=reason)),
            )
            for reason in reasons
        ],
        options=_options(reasons, ph_group, rows.options),
        last_counting_on=last,
        days_since_counting=None if last is None else (row["as_of"] - last).days,
        due=Due(
            state=row["state"],
            due_on=row["due_on"],
            purpose=DUE_PURPOSES[row["why"]],
            why=words.due(dues[0]),
            also=[words.due(due) for due in dues[1:]],
            days_overdue=row["days_overdue"],
            pots=row["pots"],
        ),
        samplings=_samplings(key, rows, words),
    )


def _no_target(lot: Row, targets: Mapping[str, Row]) -> dict[Quantity, str]:
    why: dict[Quantity, str] = {}
    for quantity in QUANTITIES:
        target = targets[quantity]
        name = "pH" if quantity == "ph" else "EC"
        if target["low"] is None and target["remark"] == "history_only":
            what = (
                "lots on controlled-release fertilizer are"
                if lot["feed_mode"] == "controlled_release"
                else f"a {CONTAINER_WORDS[lot['container_class']]} is"
            )
            why[quantity] = (
                f"No {name} target: {what} judged only against an own target, which policy does not set."
            )
        elif target["low"] is None:
            why[quantity] = f"No published {name} target for this crop."
        elif target["remark"] == "no_published_target":
            why[quantity] = f"No published {name} target for this crop; the general range is used."
    return why


def _target(row: Row, rows: _Rows) -> Target | None:
    if row["low"] is None:
        return None
    low, high = float(row["low"]), float(row["high"])
    others = [
        OtherRange(
            low=float(other["low"]),
            high=float(other["high"]),
            source=other["source"],
            how_known=other["how_known"],
        )
        for other in rows.ranges.get((row["crop_key"], row["quantity"]), [])
        if other["source"] != row["source"]
    ]
    text = row["source"] or {"site": "set by the site", "group": "set by the group"}[row["basis"]]
    source = Source(basis=row["basis"], text=text, url=row["source_url"], how_known=row["how_known"])
    return Target(low=low, high=high, source=source, others=others)


def _options(reasons: Iterable[Row], ph_group: str | None, options: Sequence[Row]) -> list[Option]:
    """Published options for what is out, mild ones first; those that need a row of samplings only with one."""
    wanted: dict[tuple[str, str], int] = {}
    for reason in reasons:
        if reason["code"] in _OUT_CODES and reason["level"] != "note":
            key = (reason["quantity"], reason["side"])
            wanted[key] = max(wanted.get(key, 1), reason["in_a_row"] or 1)
    chosen = [
        option
        for option in options
        if (option["quantity"], option["side"]) in wanted
        and option["ph_group"] in (None, ph_group)
        and option["needs_in_a_row"] <= wanted[(option["quantity"], option["side"])]
    ]
    return [Option(**{name: option[name] for name in Option.model_fields}) for option in chosen]


def _samplings(key: tuple[str, str], rows: _Rows, words: Wording) -> list[Sampling]:
    def part(table: str) -> dict[Any, list[dict[str, Any]]]:
        return _by(rows.lot(table, *key), lambda row: (row["sampled_on"], row["purpose"]))

    figures, pots, findings = part("figures"), part("pots"), part("sampling_findings")
    samplings = []
    for row in rows.lot("samplings", *key):
        at = (row["sampled_on"], row["purpose"])
        by_quantity = {figure["quantity"]: figure for figure in figures[at]}
        samplings.append(
            Sampling(
                sampled_on=row["sampled_on"],
                purpose=row["purpose"],
                n_pots=row["n_pots"],
                min_pots=row["min_pots"],
                counts=row["is_counting"],
                proper=row["proper"],
                meter_ids=row["meter_ids"] or [],
                meter_calibrated=row["is_meter_calibrated"] if row["has_calibrations"] else None,
                meter_in_doubt=row["is_meter_in_doubt"],
                leachate_median_ml=row["leachate_median_ml"],
                leachate_low_ml=float(row["leachate_low_ml"]),
                leachate_high_ml=float(row["leachate_high_ml"]),
                pots_over_collected=row["pots_over_collected"],
                pots_under_collected=row["pots_under_collected"],
                pots_without_volume=row["pots_without_volume"],
                ph=_figures(by_quantity["ph"]),
                ec=_figures(by_quantity["ec"]),
                pots=[
                    Pot(
                        **{name: pot[name] for name in _POT_FIELDS},
                        usable_ph=pot["is_usable_ph"],
                        usable_ec=pot["is_usable_ec"],
                    )
                    for pot in pots.get(at, [])
                ],
                findings=[
                    Finding(rule=finding["rule"], level=finding["level"], sentence=words.finding(finding))
                    for finding in sorted(findings.get(at, []), key=lambda f: f["rule"])
                ],
            )
        )
    return samplings


_POT_FIELDS = [name for name in Pot.model_fields if name not in ("usable_ph", "usable_ec")]


def _figures(row: Row) -> Figures:
    return Figures(
        n=row["n"],
        mean=row["mean"],
        sd=row["sd"],
        sd_assumed=row["is_sd_assumed"],
        ci_low=row["ci_low"],
        ci_high=row["ci_high"],
        median=row["median"],
        min=row["min"],
        max=row["max"],
        pots_in_range=row["pots_in_range"],
        side=row["side"],
        verdict=row["verdict"],
        at_least=row["is_at_least"],
        inside_another_range=row["is_inside_another"],
        in_a_row=row["in_a_row"],
        band=row["band"],
        not_judged_why=row["not_judged_why"],
    )


def _by(
    rows: Iterable[dict[str, Any]], key: Callable[[dict[str, Any]], Any]
) -> dict[Any, list[dict[str, Any]]]:
    grouped: dict[Any, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        grouped[key(row)].append(row)
    return dict(grouped)


def _float(value: Any) -> float | None:
    return None if value is None else float(value)
