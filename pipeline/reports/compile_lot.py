"""One lot of the document: targets, reasons, options, due, samplings with their figures and pots."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from types import MappingProxyType
from typing import Any, Final, get_args

from pipeline.languages import Speech
from pipeline.measures.t_table import LEAST_POTS_FOR_SD
from pipeline.reports.places import list_places
from pipeline.reports.rows import Rows
from pipeline.reports.summary import (
    AnsweredDue,
    Contrast,
    Due,
    Figures,
    Finding,
    Lot,
    Option,
    OtherRange,
    OwnChart,
    Pot,
    Quantity,
    Reason,
    Sampling,
    Source,
    Target,
    Treatment,
    Trend,
    UnusedGroup,
)
from pipeline.reports.wording import Row, Wording

QUANTITIES: tuple[Quantity, ...] = get_args(Quantity)
_PAIR_CODES = {"pair_clearly_out", "pair_out"}
_OUT_CODES = {"clearly_out", "out", "ec_very_high", "affected_clearly_out", *_PAIR_CODES}
_LEVEL_ORDER = {"act": 0, "no_reading": 1, "watch": 2, "note": 3}
# What is out, then what takes weight from that reading: pages that show the first two reasons show both.
_CODE_ORDER = {
    code: place
    for place, code in enumerate(
        (
            "clearly_out",
            "out",
            "pair_clearly_out",
            "pair_out",
            "ec_very_high",
            "affected_clearly_out",
            "meter_in_doubt",
            "last_did_not_count",
        )
    )
}


def compile_lot(row: Row, rows: Rows, words: Wording) -> Lot:
    """The document's part for one row of the query `lots`."""
    key = (row["site_id"], row["lot_key"])
    targets = {target["quantity"]: target for target in rows.lot("targets", *key)}
    reasons = sorted(
        _with_context(row, rows),
        key=lambda r: (
            _LEVEL_ORDER[r["level"]],
            _CODE_ORDER.get(r["code"], len(_CODE_ORDER)),
            r["code"],
            # pH before EC, as everywhere on the pages
            QUANTITIES.index(r["quantity"]) if r["quantity"] else -1,
            r["side"] or "",
        ),
    )
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
        grower_ids=row["grower_ids"] or [],
        ph_group=ph_group,
        target_ph=_target(targets["ph"], rows, words),
        target_ec=_target(targets["ec"], rows, words),
        no_target_why=_no_target(row, targets, words),
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
        options=choose_options(reasons, row["crop"], ph_group, rows.options),
        last_counting_on=last,
        days_since_counting=None if last is None else (row["as_of"] - last).days,
        due=_due(row, rows.lot("dues", *key), words),
        trends={
            trend["quantity"]: _trend({**trend, "step": row[f"step_{trend['quantity']}"]}, words)
            for trend in _sorted(rows.lot("trends", *key))
        },
        own_charts={row["quantity"]: _own_chart(row, words) for row in _sorted(rows.lot("own_charts", *key))},
        contrasts=[
            Contrast(
                **{name: contrast[name] for name in Contrast.model_fields if name != "sentence"},
                sentence=words.contrast({**contrast, "step": row[f"step_{contrast['quantity']}"]}),
            )
            for contrast in _sorted(rows.lot("contrasts", *key), "comparison", "quantity")
        ],
        pots_sentences=_pots_sentences(row, rows, words),
        treatments=[
            Treatment(
                treated_on=done["treated_on"],
                what=done["treatment"],
                product=done["product"],
                person=done["person"],
            )
            for done in _sorted(rows.lot("treatments", *key), "treated_on", "file_id", "record_no")
            if done["treated_on"] <= row["as_of"]
        ],
        fed_on=sorted(row["fed_on"] for row in rows.lot("fed_days", *key)),
        samplings=_samplings(key, rows, words),
    )


def _due(lot: Row, rows: Sequence[Row], words: Wording) -> Due:
    """The lot's ruling due with the others beside it; rows of the query `dues`."""
    ruling = next(due for due in rows if due["nth"] == 1)
    waiting = [due["due_on"] for due in rows if due["why"] == "after_treatment" and not due["is_excused"]]
    return Due(
        state=lot["state"],
        due_on=lot["due_on"],
        purpose=lot["purposes"],
        why=words.due(ruling),
        group_sentence=words.for_group(partial(Wording.due, row=ruling)),
        also=words.other_dues(rows, lot if lot["state"] == "excused" else None),
        days_overdue=lot["days_overdue"],
        pots=lot["pots"],
        rule=lot["why"],
        rule_on=lot["rule_on"],
        caused_on=lot["caused_on"],
        retest_due_on=min(waiting, default=None),
        excused_until=lot["excused_until"],
        excuse_reason=lot["excuse_reason"],
        excused_by=lot["excused_by"],
        excuse=words.excuse(lot) if lot["state"] == "excused" else None,
        excused_late=lot["is_excused_late"],
    )


def _sorted(rows: Sequence[Row], *names: str) -> list[Row]:
    return sorted(rows, key=lambda row: [row[name] for name in names or ("quantity",)])


def _trend(row: Row, words: Wording) -> Trend:
    return Trend(
        samplings=row["n"],
        first_on=row["first_day"],
        last_on=row["last_day"],
        leaves_within_two_samplings=row["is_within_two_samplings"],
        sentence=words.trend_state(row),
        **{name: row[name] for name in _TREND_FIELDS},
    )


_TREND_FIELDS = (
    "slope_per_week",
    "slope_low",
    "slope_high",
    "p",
    "is_trend",
    "heads_for",
    "earliest_on",
    "likely_on",
    "latest_on",
    "last_fit",
)


_COMPARED = {"affected_differ", "affected_unexplained", "affected_too_few"}


def _with_context(lot: Row, rows: Rows) -> list[dict[str, Any]]:
    """The lot's reasons, each with what its sentence needs of the last counting sampling and of the policy."""
    key = (lot["site_id"], lot["lot_key"])
    return give_context(lot, rows.lot("reasons", *key), rows.lot("figures", *key))


def give_context(lot: Row, reasons: Sequence[Row], figures: Sequence[Row]) -> list[dict[str, Any]]:
    """Reasons of one lot (rows of the relation) as `Wording.reason` takes them; `lot`, `figures`: of the queries."""
    last = _last_of(lot, figures)
    is_compared = any(reason["code"] in _COMPARED for reason in reasons)
    told = []
    for reason in reasons:
        figure = (
            _pair_figure(reason, figures)
            if reason["code"] in _PAIR_CODES
            else last.get(reason["quantity"], {})
        )
        context = {name: figure.get(name) for name in ("bound", "bound_pots", "stage")}
        told.append(
            {
                **reason,
                **context,
                "flag": figure.get("is_at_least") if reason["code"] == "ec_very_high" else reason["flag"],
                "step": lot[f"step_{reason['quantity']}"] if reason["quantity"] else None,
                "is_compared": is_compared,
                "target_now": _target_now(lot, reason["quantity"]),
            }
        )
    return told


def _target_now(lot: Row, quantity: str | None) -> tuple[float, float] | None:
    """Low and high of tonight's target, None where there is none."""
    if quantity is None or lot[f"{quantity}_low_now"] is None or lot[f"{quantity}_high_now"] is None:
        return None
    return lot[f"{quantity}_low_now"], lot[f"{quantity}_high_now"]


def _pair_figure(reason: Row, figures: Sequence[Row]) -> Row:
    """The figures of the half of a pair of which a reason speaks."""
    half = tuple(reason[name] for name in ("sampled_on", "what", "quantity"))
    return next(one for one in figures if (one["sampled_on"], one["purpose"], one["quantity"]) == half)


def _last_figures(lot: Row, rows: Rows) -> dict[str, Row]:
    """Figures of the lot's last counting sampling by quantity."""
    return _last_of(lot, rows.lot("figures", lot["site_id"], lot["lot_key"]))


def _last_of(lot: Row, figures: Sequence[Row]) -> dict[str, Row]:
    return {
        figure["quantity"]: figure
        for figure in figures
        if (figure["sampled_on"], figure["purpose"])
        == (lot["last_counting_on"], lot["last_counting_purpose"])
    }


def _pots_sentences(lot: Row, rows: Rows, words: Wording) -> dict[Quantity, str]:
    """How many pots would give the policy's precision, by the spread of the last counting sampling.

    Held against the pots of one sampling: a due that asks for affected and healthy plants asks for two.
    """
    last = _last_figures(lot, rows)
    return {
        quantity: words.pots_needed(quantity, last[quantity], lot[f"precision_{quantity}"], lot["asked_pots"])
        for quantity in QUANTITIES
        if quantity in last
        and (last[quantity]["pots_needed"] is not None or 0 < last[quantity]["n"] < LEAST_POTS_FOR_SD)
    }


def _own_chart(row: Row, words: Wording) -> OwnChart:
    return OwnChart(
        sampled_on=row["sampled_on"],
        baseline=row["centre"],
        smoothed=row["ewma"],
        low=row["ewma_low"],
        high=row["ewma_high"],
        side=row["ewma_side"],
        rules=row["rules"] or [],
        sentence=words.own_chart_state(row),
    )


def _no_target(lot: Row, targets: Mapping[str, Row], words: Wording) -> dict[Quantity, str]:
    why: dict[Quantity, str] = {}
    for quantity in QUANTITIES:
        target = targets[quantity]
        if target["low"] is None and target["remark"] == "history_only":
            why[quantity] = words.no_target(
                quantity,
                lot["container_class"],
                is_controlled_release=lot["feed_mode"] == "controlled_release",
            )
        elif target["low"] is None or target["remark"] == "no_published_target":
            why[quantity] = words.unpublished(quantity, is_general_used=target["low"] is not None)
    return why


def _target(row: Row, rows: Rows, words: Wording) -> Target | None:
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
    source = Source(
        basis=row["basis"],
        text=text,
        url=row["source_url"],
        how_known=row["how_known"],
        stage=row["own_stage"],
    )
    return Target(low=low, high=high, source=source, others=others, unused_group=_unused_group(row, words))


def _unused_group(row: Row, words: Wording) -> UnusedGroup | None:
    sentence = words.unused_group(row)
    if sentence is None:
        return None
    low, high = (None if row[edge] is None else float(row[edge]) for edge in ("unused_low", "unused_high"))
    return UnusedGroup(name=row["unused_group"], low=low, high=high, sentence=sentence)


def choose_options(
    reasons: Iterable[Row], crop: str, ph_group: str | None, options: Sequence[Row]
) -> list[Option]:
    """Published options for what is out, mild ones first; those that need a row of samplings only with one.

    An option that its source gives for some crops or some readings alone is left out elsewhere.
    """
    wanted: dict[tuple[str, str], int] = {}
    readings: dict[tuple[str, str], list[float]] = defaultdict(list)
    for reason in reasons:
        if reason["code"] in _OUT_CODES and reason["level"] != "note":
            key = (reason["quantity"], reason["side"])
            wanted[key] = max(wanted.get(key, 1), reason["in_a_row"] or 1)
            if (value := reason["bound"] if reason["mean"] is None else reason["mean"]) is not None:
                readings[key].append(value)
    chosen = [
        option
        for option in options
        if (key := (option["quantity"], option["side"])) in wanted
        and option["ph_group"] in (None, ph_group)
        and option["needs_in_a_row"] <= wanted[key]
        and _is_for_crop(option, crop)
        and any(_is_for_reading(option, value) for value in readings[key])
    ]
    return [Option(**{name: option[name] for name in Option.model_fields}) for option in chosen]


def _is_for_crop(option: Row, crop: str) -> bool:
    """Whether the option names no crop, or this one; "calibrachoa" names "calibrachoa, trailing" too."""
    named = option["crops"]
    return named is None or any(
        re.match(rf"{re.escape(one.strip())}\b", crop.strip(), re.IGNORECASE) for one in named.split(";")
    )


def _is_for_reading(option: Row, value: float) -> bool:
    """Whether a pH, as it is printed, lies in the range that the option is published for; edges belong to it."""
    low, high, shown = option["ph_low"], option["ph_high"], round(value, 2)
    return (low is None or shown >= float(low)) and (high is None or shown <= float(high))


def _samplings(key: tuple[str, str], rows: Rows, words: Wording) -> list[Sampling]:
    def part(table: str) -> dict[Any, list[dict[str, Any]]]:
        return _by(rows.lot(table, *key), lambda row: (row["sampled_on"], row["purpose"]))

    figures, pots, findings = part("figures"), part("pots"), part("sampling_findings")
    samplings = []
    for row in rows.lot("samplings", *key):
        at = (row["sampled_on"], row["purpose"])
        by_quantity = {figure["quantity"]: figure for figure in figures[at]}
        read = [
            Pot(
                **{name: pot[name] for name in _POT_FIELDS},
                usable_ph=pot["is_usable_ph"],
                usable_ec=pot["is_usable_ec"],
            )
            for pot in pots.get(at, [])
        ]
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
                answers=[AnsweredDue(**one) for one in row["answers"] or []],
                pots=read,
                findings=[
                    Finding(
                        rule=finding["rule"],
                        level=finding["level"],
                        sentence=words.finding(finding),
                        places=_places(finding["rule"], read, words.speech),
                    )
                    for finding in sorted(findings.get(at, []), key=lambda f: f["rule"])
                ],
            )
        )
    return samplings


# Remarks on some of a sampling's pots; every other one is about all of them.
_PICKS: Final[Mapping[str, Callable[[Pot], bool]]] = MappingProxyType(
    {
        "outlier_ph": lambda pot: pot.outlier_ph,
        "outlier_ec": lambda pot: pot.outlier_ec,
        "volume_excludes_ec": lambda pot: pot.why_not_ec in ("over_collected", "under_collected"),
        "no_temperature": lambda pot: pot.why_not_ec == "no_temperature",
        "odd_temperature": lambda pot: pot.why_not_ec == "no_temperature",
    }
)


def _places(rule: str, pots: Sequence[Pot], w: Speech) -> str | None:
    """Where the lines stand that a remark is about."""
    picks = _PICKS.get(rule)
    return list_places(((pot.file, pot.line) for pot in pots if picks is None or picks(pot)), w) or None


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
        bound=row["bound"],
        bound_pots=row["bound_pots"],
        inside_another_range=row["is_inside_another"],
        in_a_row=row["in_a_row"],
        band=row["band"],
        not_judged_why=row["not_judged_why"],
        pots_needed=row["pots_needed"],
        outliers=row["n_outliers"],
        mean_without=row["mean_without"],
        sd_without=row["sd_without"],
        ci_low_without=row["ci_low_without"],
        ci_high_without=row["ci_high_without"],
        grubbs_g=row["grubbs_g"],
        grubbs_critical=row["grubbs_critical"],
        grubbs_beyond=row["grubbs_beyond"],
        depends_on_one_pot=row["depends_on_one_pot"],
    )


def _by(
    rows: Iterable[dict[str, Any]], key: Callable[[dict[str, Any]], Any]
) -> dict[Any, list[dict[str, Any]]]:
    grouped: dict[Any, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        grouped[key(row)].append(row)
    return dict(grouped)
