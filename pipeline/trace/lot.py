"""From a reported figure back to file and line: every conversion, exclusion and sum shown.

`trace_lot` gathers values, `write_trace` puts them into words for a terminal; both are free of I/O but for the
warehouse that they are given.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from pipeline.errors import SiteNotFound
from pipeline.reports.wording import Wording
from pipeline.settings import Settings, SiteSettings
from pipeline.trace.figures import TracedFigure, trace_figure, write_figure
from pipeline.trace.find import find_site, list_nearest
from pipeline.trace.lines import Part, TracedLine, known_spans, trace_line, write_line
from pipeline.trace.measures import TracedMeasure, trace_measures, write_measures
from pipeline.trace.meters import TracedMeterDay, trace_meter_days, write_meter_day
from pipeline.trace.remarks import TracedRemark, trace_remarks, write_remarks
from pipeline.trace.standing import TracedStanding, trace_standing, write_standing
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.query import (
    fetch_answered_dues,
    fetch_buffers,
    fetch_checks,
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


class TracedSampling(Part):
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


class Trace(Part):
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
    spans = known_spans(connection, found_lines)
    line_rows = found_lines.to_dicts()
    lines = [trace_line(row, site, spans.get((row["file_id"], row["record_no"]), ())) for row in line_rows]
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
                figures=[trace_figure(row, ranges, pots) for row in own],
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
            lines += write_line(line)
        for figure in sampling.figures:
            lines += write_figure(figure)
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
            lines += write_line(line)
    return lines
