"""What the rules remark about the samplings of a day, each with what it was worked out from. Pure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from pydantic import BaseModel, ConfigDict

from pipeline.reports.wording import Wording
from pipeline.settings import SiteSettings
from pipeline.trace.cells import places_of, show_cells
from pipeline.warehouse.query import StandingRows

Row = dict[str, Any]


class TracedRemark(BaseModel):
    """One remark on a sampling: rule, the sentence of the page, and how it came about, cells included."""

    model_config = ConfigDict(frozen=True)

    purpose: str
    rule: str
    sentence: str
    steps: list[str]


def trace_remarks(rows: StandingRows, site: SiteSettings, on: date) -> list[TracedRemark]:
    """Every remark on the samplings of one lot on one day."""
    words = Wording("%Y-%m-%d")
    lines = rows.lines.to_dicts()
    found = [row for row in rows.findings.to_dicts() if row["sampled_on"] == on]
    traced = []
    for row in sorted(found, key=lambda one: (one["purpose"], one["rule"])):
        own = [line for line in lines if (line["sampled_on"], line["purpose"]) == (on, row["purpose"])]
        make = _STEPS.get(row["rule"], _in_general)
        traced.append(
            TracedRemark(
                purpose=row["purpose"],
                rule=row["rule"],
                sentence=words.finding(row),
                steps=make(_About(row, own, lines, site)),
            )
        )
    return traced


@dataclass(frozen=True, slots=True)
class _About:
    """One remark, the lines of its sampling, and all lines of the lot."""

    row: Row
    own: list[Row]
    lines: list[Row]
    site: SiteSettings


def _in_general(a: _About) -> list[str]:
    """Where the lines stand whose cells are shown with the sampling."""
    return [f"from {places_of(a.own)}"] if a.own else []


def _cells(*fields: str) -> Callable[[_About], list[str]]:
    """Steps that are the raw cells of these fields, a line each."""

    def made(a: _About) -> list[str]:
        return [show_cells(line, a.site, fields) for line in a.own]

    return made


def _too_fast(a: _About) -> list[str]:
    """Time from the first to the last stamp, shared out over the pots between."""
    stamped = [line for line in a.own if line["sampled_time"] is not None]
    times = sorted(line["sampled_time"] for line in stamped)
    first, last = (datetime.combine(date.min, one) for one in (times[0], times[-1]))
    seconds = (last - first).total_seconds()
    return [
        (
            f"{times[0]} to {times[-1]}: {seconds:.0f} s / ({len(stamped)} - 1) pots = "
            f"{seconds / (len(stamped) - 1):.1f} s, the policy asks at {a.row['low']:.0f} s"
        ),
        *(
            f"{show_cells(line, a.site, ('date', 'time'))}, read as {line['sampled_time']}"
            for line in sorted(stamped, key=lambda one: (one["sampled_time"], one["line"]))
        ),
    ]


def _all_alike(a: _About) -> list[str]:
    return [
        f"{len(a.own)} lines, and not one that reads otherwise",
        *_cells("ph", "ec")(a),
    ]


def _same_as_before(a: _About) -> list[str]:
    """Both samplings, pot for pot in the order of their figures."""
    day = date.fromisoformat(a.row["what"])
    series = ("routine", "retest") if a.row["purpose"] in ("routine", "retest") else (a.row["purpose"],)
    before = [line for line in a.lines if line["sampled_on"] == day and line["purpose"] in series]
    ordered = [
        sorted(group, key=lambda line: (line["ph"] is None, line["ph"] or 0, line["ec_recorded_ms_cm"] or 0))
        for group in (a.own, before)
    ]
    return [
        f"{show_cells(now, a.site, ('ph', 'ec'))} beside {show_cells(then, a.site, ('ph', 'ec'))} of {day}"
        for now, then in zip(*ordered, strict=False)
    ]


def _entered_late(a: _About) -> list[str]:
    late = [line for line in a.own if (line["received_on"] - line["sampled_on"]).days > a.row["high"]]
    return [
        f"{show_cells(line, a.site, ('date',))}, received {line['received_on']}: "
        f"{(line['received_on'] - line['sampled_on']).days} days, more than {a.row['high']:.0f}"
        for line in late
    ]


def _below_water(a: _About) -> list[str]:
    return [
        (
            f"mean EC {a.row['a']:.4f} below the source water's {a.row['b']:.4f} mS/cm of {a.row['what']}; its line "
            "stands in the trace of the site"
        ),
        *_in_general(a),
    ]


_STEPS: Final[dict[str, Callable[[_About], list[str]]]] = {
    "too_fast": _too_fast,
    "all_alike": _all_alike,
    "same_as_before": _same_as_before,
    "entered_late": _entered_late,
    "ec_below_water": _below_water,
    "one_bench": _cells("bench"),
    "one_position": _cells("position"),
    "poured_off_recipe": _cells("poured"),
    "more_than_poured": _cells("poured", "leachate"),
    "poured_not_distilled": _cells("poured_with", "poured_ec"),
    "drain_time": _cells("drain", "drain_start", "drain_end"),
    "affected_in_routine": _cells("purpose", "condition"),
}


def write_remarks(remarks: Sequence[TracedRemark]) -> list[str]:
    """Remarks as lines for a terminal."""
    lines = ["", "Remarks"] if remarks else []
    for one in remarks:
        lines.append(f"  {one.rule}: {one.sentence}")
        lines += [f"      {step}" for step in one.steps]
    return lines


__all__ = ["TracedRemark", "trace_remarks", "write_remarks"]
