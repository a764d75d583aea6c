"""From a reported figure back to file and line: every conversion, exclusion and sum shown.

`trace_lot` gathers values, `write_trace` puts them into words for a terminal; both are free of I/O but for the
warehouse that they are given.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date
from math import sqrt
from typing import Any, Literal

import polars as pl
from pydantic import BaseModel, ConfigDict

from pipeline.errors import SiteNotFound
from pipeline.reports.wording import Wording
from pipeline.settings import Column, Settings, SiteSettings
from pipeline.settings.sheet import columns_of
from pipeline.trace.bands import band_steps
from pipeline.trace.find import find_site, header_of, list_nearest
from pipeline.trace.measures import TracedMeasure, trace_measures, write_measures
from pipeline.trace.meters import TracedMeterDay, trace_meter_days, write_meter_day
from pipeline.trace.remarks import TracedRemark, trace_remarks, write_remarks
from pipeline.trace.standing import TracedStanding, trace_standing, write_standing
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.query import (
    fetch_answered_dues,
    fetch_buffers,
    fetch_checks,
    fetch_line_spans,
    fetch_lot,
    fetch_lot_codes,
    fetch_lot_dues,
    fetch_lot_lines,
    fetch_lot_measured,
    fetch_lot_meters,
    fetch_lot_ranges,
    fetch_lot_samplings,
    fetch_standing,
)

Row = dict[str, Any]
_SHOWN_FIELDS = ("ph", "ec", "temperature", "leachate", "n_pots")


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True)


class Cell(_Part):
    """One cell of the export and what it became."""

    field: str
    column: str
    unit: str | None
    cell: str
    became: str


class KnownSpan(_Part):
    """What a line was taken for, from one night's as-of day to that of the night that took it for something else."""

    fate: str
    cause: str | None
    known_from: date
    known_to: date | None


class TracedLine(_Part):
    """One line of an export."""

    file: str
    line: int
    text: str
    fate: str
    purpose: str
    cells: list[Cell]
    used_for: list[str]
    left_out: list[str]
    known: list[KnownSpan] = []


class TracedFigure(_Part):
    """How one mean and its verdict came about."""

    quantity: Literal["ph", "ec"]
    n: int
    sum: str | None
    mean: float | None
    sd: float | None
    ci_low: float | None
    ci_high: float | None
    arithmetic: list[str]
    target: str | None
    source: str | None
    other_ranges: list[str]
    unused_group: str | None = None
    verdict: str


class TracedSampling(_Part):
    """One sampling with its lines and figures."""

    sampled_on: date
    purpose: str
    n_pots: int
    min_pots: int
    counts: bool
    proper: str
    answers: list[str]
    meters: list[TracedMeterDay]
    lines: list[TracedLine]
    figures: list[TracedFigure]


class Trace(_Part):
    """A lot and the samplings of one day."""

    site_id: str
    site_name: str
    lot_id: str
    crop: str
    cultivar: str | None
    house: str | None
    lot_file: str
    lot_line: int
    samplings: list[TracedSampling]
    not_used: list[TracedLine]
    measures: list[TracedMeasure]
    remarks: list[TracedRemark]
    standing: TracedStanding | None
    dues: list[str]


def trace_lot(
    connection: Connection, settings: Settings, site_id: str, lot: str, on: date | None = None
) -> Trace:
    """Trace the samplings of one lot on one day, by default the last day that has any, and its place on the pages.

    Raises SiteNotFound when the home lacks the site, the lot, or a sampling on that day.
    """
    site = find_site(settings, site_id)
    site_id = site.id
    lot_key = lot.strip().lower()
    found = fetch_lot(connection, site_id, lot_key).to_dicts()
    if not found:
        known = fetch_lot_codes(connection, site_id)
        raise SiteNotFound(f"{site.name} has no lot {lot} in its lot list: {list_nearest(lot, known)}.")
    rows = fetch_lot_samplings(connection, site_id, lot_key).to_dicts()
    standing = fetch_standing(connection, site_id, lot_key)
    tonight = standing.lots["as_of"].to_list()
    days = sorted({row["sampled_on"] for row in rows})
    day = _choose_day(f"Lot {found[0]['lot_id']} at {site.name}", days, on, tonight)
    found_lines = fetch_lot_lines(connection, site_id, lot_key, day)
    spans = _known_spans(connection, found_lines)
    line_rows = found_lines.to_dicts()
    lines = [_line(row, site, spans.get((row["file_id"], row["record_no"]), ())) for row in line_rows]
    return Trace(
        site_id=site.id,
        site_name=site.name,
        lot_id=found[0]["lot_id"],
        crop=found[0]["crop"],
        cultivar=found[0]["cultivar"],
        house=found[0]["house"],
        lot_file=found[0]["file"],
        lot_line=found[0]["line"],
        samplings=_samplings(
            [row for row in rows if row["sampled_on"] == day],
            lines,
            line_rows,
            fetch_lot_ranges(connection, site_id, lot_key).to_dicts(),
            fetch_answered_dues(connection, site_id, lot_key).to_dicts(),
            _meter_days(connection, site, lot_key, day),
        ),
        not_used=[line for line in lines if line.fate != "accepted"],
        measures=trace_measures(fetch_lot_measured(connection, site_id, lot_key), day),
        remarks=trace_remarks(standing, site, day),
        standing=trace_standing(standing, site, found[0]),
        dues=_dues(fetch_lot_dues(connection, site_id, lot_key).to_dicts()),
    )


def _choose_day(lot: str, days: Sequence[date], on: date | None, tonight: Sequence[date]) -> date:
    """The day asked for, else the last sampling's; a standing lot without any is traced as of the night."""
    if not days:
        if on is None and tonight:
            return tonight[0]
        raise SiteNotFound(f"{lot} has not been sampled yet.")
    if on is not None and on not in days:
        listed = ", ".join(str(one) for one in days)
        raise SiteNotFound(f"{lot} was not sampled on {on}; give one of its days with --on: {listed}.")
    return on or days[-1]


def _dues(rows: Sequence[Row]) -> list[str]:
    """What the lot is due for and why, as of the last night: what rules first, the rest in order of their days."""
    words = Wording("%Y-%m-%d")
    ordered = sorted(rows, key=lambda row: (row["nth"] != 1, row["due_on"], row["why"]))
    return [words.due(row) for row in ordered]


def _meter_days(
    connection: Connection, site: SiteSettings, lot_key: str, day: date
) -> dict[str, list[TracedMeterDay]]:
    """The meters of the day's samplings by purpose."""
    rows = fetch_lot_meters(connection, site.id, lot_key, day).to_dicts()
    checks, buffers = fetch_checks(connection, site.id), fetch_buffers(connection, site.id)
    return {
        purpose: trace_meter_days([row for row in rows if row["purpose"] == purpose], checks, buffers, site)
        for purpose in {row["purpose"] for row in rows}
    }


def _samplings(
    rows: Sequence[Row],
    lines: Sequence[TracedLine],
    line_rows: Sequence[Row],
    ranges: Sequence[Row],
    dues: Sequence[Row],
    meters: Mapping[str, list[TracedMeterDay]],
) -> list[TracedSampling]:
    purposes = sorted({row["purpose"] for row in rows})
    traced = []
    for purpose in purposes:
        own = [row for row in rows if row["purpose"] == purpose]
        first = own[0]
        pots = [row for row in line_rows if row["fate"] == "accepted" and row["purpose"] == purpose]
        traced.append(
            TracedSampling(
                sampled_on=first["sampled_on"],
                purpose=purpose,
                n_pots=first["n_pots"],
                min_pots=first["min_pots"],
                counts=first["is_counting"],
                proper=first["proper"],
                answers=[
                    _answer(due)
                    for due in dues
                    if (due["sampled_on"], due["purpose"]) == (first["sampled_on"], purpose)
                ],
                meters=meters.get(purpose, []),
                lines=[line for line in lines if line.fate == "accepted" and line.purpose == purpose],
                figures=[_figure(row, ranges, pots) for row in own],
            )
        )
    return traced


_DUE_NAMES = {
    "first": "first sampling",
    "routine": "routine sampling",
    "problem_crop": "routine sampling",
    "after_out": "retest",
    "after_pair_out": "retest",
    "after_treatment": "retest after a treatment",
    "symptoms": "sampling of affected and healthy plants",
    "feed_pair": "pair around a feeding",
}


def _answer(due: Row) -> str:
    """The due that the sheet of a sampling names, and whether the sampling came in time."""
    # Somebody may have written over what the sheet had there.
    name = _DUE_NAMES.get(due["due_why"], f"sampling “{due['due_why']}”")
    pots = f"{due['pots']} {'pot' if due['pots'] == 1 else 'pots'}"
    if not due["is_counting"]:
        return f"{pots} of the {name} due {due['due_on']}, too few to answer it"
    late = due["days_late"]
    when = f", {late} {'day' if late == 1 else 'days'} late" if late else ""
    return f"answers the {name} due {due['due_on']}{when} ({pots} on the sheet)"


def _known_spans(connection: Connection, lines: pl.DataFrame) -> dict[tuple[int, int], list[KnownSpan]]:
    """What each line was taken for and from which as-of day to which, oldest first, by file_id and record_no."""
    if lines.is_empty():
        return {}
    spans: dict[tuple[int, int], list[KnownSpan]] = {}
    for row in fetch_line_spans(connection, lines).iter_rows(named=True):
        span = KnownSpan(**{name: row[name] for name in KnownSpan.model_fields})
        spans.setdefault((row["file_id"], row["record_no"]), []).append(span)
    return spans


def _line(row: Row, site: SiteSettings, known: Sequence[KnownSpan]) -> TracedLine:
    columns = columns_of(site, row["export_no"], header_of(row["header"]))
    raw: dict[str, str] = json.loads(row["cells"]) if row["cells"] else {}
    left_out = []
    if row["fate"] != "accepted":
        left_out.append(f"{row['fate']}: {_why_not(row, known)}")
    elif row["why_not_ec"]:
        asked = _span_of(row["leachate_low_ml"], row["leachate_high_ml"])
        left_out.append(
            _WHY_NOT_EC[row["why_not_ec"]].format(collected=_plain(row["leachate_ml"]), asked=asked)
        )
    used = [name for name, key in (("pH", "is_usable_ph"), ("EC", "is_usable_ec")) if row[key]]
    return TracedLine(
        file=row["file"],
        line=row["line_from"],
        text=row["text"],
        fate=row["fate"],
        purpose=row["purpose"],
        cells=[
            _cell(field, columns[field], raw[field], row)
            for field in _SHOWN_FIELDS
            if field in columns and raw.get(field)
        ],
        used_for=used,
        left_out=left_out,
        known=list(known),
    )


def _why_not(row: Row, known: Sequence[KnownSpan]) -> str:
    """Why a line is not used, and when it was."""
    if row["fate"] not in _FATES:
        return str(row["detail"] or row["cause"])
    why = _FATES[row["fate"]]
    if row["by_file"] is not None:
        where = row["by_file"] if row["by_line"] is None else f"line {row['by_line']} of {row['by_file']}"
        why = f"replaced by {where}"
    stood = [one for one in known if one.fate in ("accepted", "held")]
    ends = [one.known_to for one in stood if one.known_to is not None]
    return f"known from {stood[0].known_from} to {max(ends)}, {why}" if ends else why


_FATES = {
    "repeated": "the same line came in an earlier file",
    "superseded": "a later file brought another version of it",
    "withdrawn": "the newest file does not hold it any more",
}
_WHY_NOT_EC = {
    "not_measured": "no EC on the line",
    "no_temperature": "EC left out: the meter does not compensate and the line has no temperature of 0 to 50 °C",
    "over_collected": "EC left out: {collected} mL of leachate, {asked} mL is asked for",
    "under_collected": "EC left out: {collected} mL of leachate, {asked} mL is asked for",
}


def _cell(field: str, column: Column, cell: str, row: Row) -> Cell:
    return Cell(field=field, column=column.column, unit=column.unit, cell=cell, became=_became(field, row))


def _became(field: str, row: Row) -> str:
    match field:
        case "ph":
            return f"pH {_plain(row['ph'])}"
        case "ec" if not row["ec_compensated"] and row["ec_25_ms_cm"] is not None:
            recorded, alpha = _plain(row["ec_recorded_ms_cm"]), f"{row['ec_alpha_per_c']:g}"
            return (
                f"{recorded} mS/cm, / (1 + {alpha} × ({_plain(row['temperature_c'])} - 25)) = "
                f"{_plain(row['ec_25_ms_cm'])} mS/cm at 25 °C"
            )
        case "ec":
            return f"{_plain(row['ec_recorded_ms_cm'])} mS/cm"
        case "temperature":
            return f"{_plain(row['temperature_c'])} °C"
        case "leachate":
            return f"{_plain(row['leachate_ml'])} mL"
    return f"{row['n_pots']} pots"


def _span_of(low: Any, high: Any) -> str:
    return _plain(low) if low == high else f"{_plain(low)}-{_plain(high)}"


def _edge(value: Any) -> str:
    """An edge with at least one decimal, as tables print it."""
    text = _plain(value)
    return text if "." in text else f"{text}.0"


def _plain(value: Any) -> str:
    if value is None:
        return "nothing"
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _figure(row: Row, ranges: Sequence[Row], pots: Sequence[Row]) -> TracedFigure:
    target = None if row["low"] is None else f"{_edge(row['low'])}-{_edge(row['high'])}"
    return TracedFigure(
        quantity=row["quantity"],
        n=row["n"] or 0,
        sum=None if row["sum_x"] is None else _plain(row["sum_x"]),
        mean=row["mean"],
        sd=row["sd"],
        ci_low=row["ci_low"],
        ci_high=row["ci_high"],
        arithmetic=[
            *_arithmetic(row),
            *_bound_steps(row, pots),
            *(band_steps(row["method"], row["mean"]) if row["quantity"] == "ec" else []),
        ],
        target=target,
        source=_source(row),
        other_ranges=[
            f"{_edge(one['low'])}-{_edge(one['high'])}: {one['source']} ({one['how_known']})"
            for one in ranges
            if one["quantity"] == row["quantity"]
            and (one["source"], one["low"], one["high"]) != (row["source"], row["low"], row["high"])
        ],
        unused_group=None if target is None else Wording("%Y-%m-%d").unused_group(row),
        verdict=_verdict(row),
    )


def _source(row: Row) -> str | None:
    """Who set the target, and for which stage where an own one names a stage."""
    if row["low"] is None:
        return None
    stage = row["own_stage"]
    why = f", for lots that are {stage}, as this one was that day" if stage else ""
    source = row["source"] or f"set by the {row['basis']}"
    return f"{source} ({row['how_known']}{why})"


def _arithmetic(row: Row) -> list[str]:
    """The sum, the mean and the interval as somebody would check them with a pocket calculator."""
    if row["mean"] is None:
        return []
    steps = [f"sum {_plain(row['sum_x'])} / {row['n']} pots = mean {row['mean']:.4f}"]
    if row["sd"] is not None and row["ci_high"] is not None:
        half = row["ci_high"] - row["mean"]
        spread = row["sd"] / sqrt(row["n"])
        factor = f"{half / spread:.3f}" if spread else "t"
        kind = (
            "policy's SD, normal factor"
            if row["is_sd_assumed"]
            else f"SD, t for {row['n'] - 1} degrees of freedom"
        )
        steps.append(
            f"95 % interval: {row['mean']:.4f} ± {factor} × {row['sd']:.4f} / √{row['n']} = "
            f"{row['ci_low']:.4f} to {row['ci_high']:.4f} ({kind})"
        )
    if row["low"] is not None and row["side"] is not None and not row["is_at_least"]:
        edges = " and ".join(
            f"{_edge(row[edge])} × {row['n']} = {_plain(row[edge] * row['n'])}" for edge in ("low", "high")
        )
        steps.append(f"against the edges on exact sums: {_plain(row['sum_x'])} beside {edges}")
    return steps


def _bound_steps(row: Row, pots: Sequence[Row]) -> list[str]:
    """What gave EC a side though it is not judged: pots that can lean one way only, and are out the other way."""
    if not row["is_at_least"]:
        return []
    is_high = row["side"] == "high"
    leaning, wrong, edge = ("low", "under", "high") if is_high else ("high", "over", "low")
    used = [one for one in pots if one["ec_25_ms_cm"] is not None and not one[f"is_{wrong}_collected"]]
    listed = ", ".join(
        f"{_plain(one['ec_25_ms_cm'])}{_times(one['n_pots'])} ({one['file']} line {one['line_from']})"
        for one in used
    )
    total, n = row["bound_sum"], row["bound_pots"]
    return [
        f"judged from the pots that are not {wrong}-collected; they may read too {leaning}, not too {edge}: {listed}",
        (
            f"sum {_plain(total)} / {n} pots = {float(total) / n:.4f}, the true mean is "
            f"{'no lower' if is_high else 'no higher'}; against the edge on exact sums: {_plain(total)} beside "
            f"{_edge(row[edge])} × {n} = {_plain(row[edge] * n)}"
        ),
    ]


def _times(n_pots: int) -> str:
    return "" if n_pots == 1 else f" × {n_pots}"


def _verdict(row: Row) -> str:
    if row["side"] is None:
        return {
            "too_few_pots": "not judged: too few usable pots",
            "no_target": "not judged: no target",
            "other_method": "not judged: the published targets are of another extraction method",
            "volume": "not judged: leachate volumes too far off",
            "no_temperature": "not judged: no temperature for an uncompensated meter",
            "not_measured": "not judged: not measured",
        }[row["not_judged_why"]]
    words = {
        "clearly_out": "clearly out",
        "out": "out",
        "close_to_limit": "close to limit",
        "in_range": "in range",
    }
    text = words[row["verdict"]]
    if row["side"] != "in_range":
        text += f", {row['side']}, {row['in_a_row']} in a row" if row["in_a_row"] else f", {row['side']}"
    if row["is_inside_another"]:
        text += "; inside another published range for the crop"
    if row["is_at_least"]:
        text += "; judged from biased pots, the true figure lies further out"
    return text


def write_trace(trace: Trace) -> list[str]:
    """The trace as lines for a terminal."""
    name = f" ‘{trace.cultivar}’" if trace.cultivar else ""
    place = f"{trace.house or 'no house given'} ({trace.lot_file} line {trace.lot_line})"
    lines = [f"{trace.site_name}, lot {trace.lot_id}: {trace.crop}{name}, {place}"]
    lines += [] if trace.samplings else ["", "No sampling yet"]
    for sampling in trace.samplings:
        counts = "counts" if sampling.counts else "does not count"
        proper = sampling.proper.replace("_", " ")
        pots = f"{sampling.n_pots} pots, {sampling.min_pots} needed"
        lines += [
            "",
            f"Sampling of {sampling.sampled_on}, {sampling.purpose}: {pots}, {counts}; proper: {proper}",
            *(f"  {answer}" for answer in sampling.answers),
        ]
        for meter in sampling.meters:
            lines += write_meter_day(meter)
        for line in sampling.lines:
            lines += _write_line(line)
        for figure in sampling.figures:
            lines += _write_figure(figure)
    if trace.measures:
        of_day = f", pots of {trace.samplings[0].sampled_on}" if trace.samplings else ""
        lines += ["", f"Measures of the lot{of_day}"]
        lines += write_measures(trace.measures)
    lines += write_remarks(trace.remarks)
    if trace.standing is not None:
        lines += write_standing(trace.standing)
    if trace.dues:
        lines += ["", "Due as of the last night, what rules first", *(f"  {due}" for due in trace.dues)]
    if trace.not_used:
        lines += ["", "Lines of that day that are not used"]
        for line in trace.not_used:
            lines += _write_line(line)
    return lines


def _write_line(line: TracedLine) -> list[str]:
    used = f"used for {' and '.join(line.used_for)}" if line.used_for else "not used"
    written = [f"  {line.file} line {line.line}: {used}"]
    for cell in line.cells:
        unit = f" {cell.unit}" if cell.unit else ""
        written.append(f"      {cell.column} “{cell.cell}”{unit} → {cell.became}")
    return written + [f"      {remark}" for remark in (*line.left_out, *_write_known(line))]


def _write_known(line: TracedLine) -> list[str]:
    """Since when a line is what it is, where no remark has said it, and what it was before."""
    if not line.known or line.known[-1].known_to is not None or line.fate not in ("accepted", "held"):
        return []
    *before, now = line.known
    told = [f"{'in use' if now.fate == 'accepted' else now.fate} since {now.known_from}"]
    told += [f"{_say_fate(one)} from {one.known_from} to {one.known_to}" for one in before]
    return ["; ".join(told)]


def _say_fate(span: KnownSpan) -> str:
    said = "in use" if span.fate == "accepted" else span.fate
    return said if span.cause is None else f"{said} ({span.cause.replace('_', ' ')})"


def _write_figure(figure: TracedFigure) -> list[str]:
    name = "pH" if figure.quantity == "ph" else "EC"
    unit = "" if figure.quantity == "ph" else " mS/cm"
    written = [f"  {name}: {figure.verdict}"]
    if figure.target:
        written.append(f"      target {figure.target}{unit}: {figure.source}")
    if figure.unused_group:
        written.append(f"      {figure.unused_group}")
    written += [f"      another published range, {other}" for other in figure.other_ranges]
    return written + [f"      {step}" for step in figure.arithmetic]
