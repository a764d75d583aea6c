"""Why a lot stands where it does on tonight's pages: its reasons, its level, its place, its treatments. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

import polars as pl
from pydantic import BaseModel, ConfigDict

from pipeline.reports.compile_lot import give_context
from pipeline.reports.wording import TREATMENT_WORDS, Wording
from pipeline.settings import SiteSettings
from pipeline.trace.cells import places_of, show_cells
from pipeline.trace.known import NAMES, Known, Row, plain
from pipeline.trace.reason_steps import REASON_STEPS
from pipeline.warehouse.query import StandingRows

LEVELS: Final = ("act", "no_reading", "watch", "ok")
LEVEL_WORDS: Final = {"act": "act", "no_reading": "no current reading", "watch": "watch", "ok": "OK"}
MOST_LINES: Final = 12
"""Lines shown of one sampling beside a reason; where they stand is said of all."""


class TracedReason(BaseModel):
    """One reason as the page words it, what it was worked out from, and the lines that it rests on."""

    model_config = ConfigDict(frozen=True)

    code: str
    level: Literal["act", "no_reading", "watch", "note"]
    quantity: Literal["ph", "ec"] | None
    sentence: str
    steps: list[str]
    lines: list[str]


class TracedStanding(BaseModel):
    """A standing lot's place on the pages: level and rank step by step, its reasons, its treatments."""

    model_config = ConfigDict(frozen=True)

    level: Literal["act", "no_reading", "watch", "ok"]
    score: float
    rank: int
    order: list[str]
    reasons: list[TracedReason]
    treatments: list[str]


def trace_standing(rows: StandingRows, site: SiteSettings, line: Row) -> TracedStanding | None:
    """The place of one lot on tonight's pages; None where it stands in no house any more.

    `line`: the lot's own line (row of sql/queries/trace_lot.sql).
    """
    if rows.lots.is_empty():
        return None
    lot = rows.lots.row(0, named=True)
    known = Known(
        lot=lot,
        site=site,
        verdicts={row["quantity"]: row for row in rows.last_verdicts.to_dicts()},
        pairs=[
            {**row, "in_a_row": 1}
            for row in rows.pair_verdicts.sort("quantity", "side", descending=True).to_dicts()
        ],
        hangs_on_one={
            row["quantity"]
            for row in rows.depending.to_dicts()
            if (row["sampled_on"], row["purpose"]) == (lot["last_counting_on"], lot["last_counting_purpose"])
        },
        samplings=rows.samplings.to_dicts(),
        figures=rows.figures.to_dicts(),
        drifts=rows.drifts.to_dicts(),
        contrasts=rows.contrasts.to_dicts(),
        lines=rows.lines.to_dicts(),
        treatments=rows.treatments.to_dicts(),
        waters=rows.waters.to_dicts(),
    )
    words = Wording("%Y-%m-%d")
    reasons = sorted(
        give_context(lot, rows.reasons.to_dicts(), known.figures),
        key=lambda row: ((*LEVELS[:3], "note").index(row["level"]), row["code"], row["quantity"] != "ph"),
    )
    return TracedStanding(
        level=lot["level"],
        score=lot["score"],
        rank=lot["rank"],
        order=_order_steps(known, rows.attention, reasons, line),
        reasons=[_reason(row, known, words) for row in reasons],
        treatments=[step for row in known.treatments for step in _treatment(row, known)],
    )


def _order_steps(known: Known, attention: pl.DataFrame, reasons: Sequence[Row], line: Row) -> list[str]:
    """Level, score and rank, as the formula on the page has them."""
    lot = known.lot
    more = 1 if {row["code"] for row in reasons} & {"retest_missed", "unmoved_after_treatment"} else 0
    why = (
        "no reason above a note"
        if lot["level"] == "ok"
        else f"the worst of the reasons, {', '.join(row['code'] for row in reasons if row['level'] == lot['level'])}"
    )
    last = [row for _, row in sorted(known.verdicts.items(), reverse=True)]
    scores = [_score_step(row, more) for row in (*last, *known.pairs)]
    out = [step for step in scores if step]
    score = (
        f"score, the largest of these: {lot['score']:g}"
        if out
        else "score 0: no mean of the last sampling is out"
    )
    return [
        f"level {LEVEL_WORDS[lot['level']]}: {why}",
        *out,
        score,
        f"{_at_stake(lot)} ({show_cells(line, known.site, ('plants', 'ends'))})",
        _rank_step(lot, attention),
    ]


def _at_stake(lot: Row) -> str:
    plants = "not known" if lot["plants"] is None else f"{lot['plants']:,}"
    ends, left = lot["ends_on"], lot["days_to_end"]
    return f"plants: {plants}; {'no end is known' if left is None else f'{left} days to {ends}'}"


def _score_step(row: Row, more: int) -> str | None:
    """One quantity's part: steps beyond the edge × weight × (1 + in a row + retest)."""
    name = NAMES[row["quantity"]]
    if row["side"] not in ("low", "high"):
        return None
    if row["is_low_ec_outside_active"]:
        return f"{name}: low outside the active stage, no score"
    edge = row[row["side"]]
    distance = abs(row["judged_mean"] - float(edge))
    factor = row["weight"] * (1 + row["in_a_row"] + more)
    weighed = f"; × {row['weight']:g} as a high EC while finishing" if row["weight"] != 1 else ""
    retest = " + 1 for the retest" if more else ""
    return (
        f"{name}: |{row['judged_mean']:.4f} - {plain(edge)}| = {distance:.4f}, in steps of {plain(row['step'])}: "
        f"{row['steps_beyond']:.4f}{weighed}; × (1 + {row['in_a_row']} in a row{retest}) = "
        f"{row['steps_beyond'] * factor:.4f}"
    )


def _rank_step(lot: Row, attention: pl.DataFrame) -> str:
    """How many lots of the group stand before this one, and by what."""
    before = attention.filter(pl.col("rank") < lot["rank"])
    worse = before.filter(pl.col("level") != lot["level"]).height
    alike = before.filter(pl.col("level") == lot["level"])
    score = alike.filter(pl.col("score") > lot["score"]).height
    rest = alike.height - score
    return (
        f"place {lot['rank']} of {attention.height}: before it {worse} of a worse level, {score} of its level with a "
        f"higher score, {rest} alike in both, with more plants, fewer days to the end, or by name"
    )


def _reason(row: Row, known: Known, words: Wording) -> TracedReason:
    steps, lines = REASON_STEPS[row["code"]](row, known)
    fields = {"ph": ("ph",), "ec": ("ec", "temperature", "leachate")}.get(row["quantity"], ("ph", "ec"))
    shown = [show_cells(line, known.site, () if "sampled_on" not in line else fields) for line in lines]
    if len(shown) > MOST_LINES:
        shown = [*shown[:MOST_LINES], f"and {len(shown) - MOST_LINES} more: {places_of(lines)}"]
    return TracedReason(
        code=row["code"],
        level=row["level"],
        quantity=row["quantity"],
        sentence=words.reason(row),
        steps=steps,
        lines=shown,
    )


def _treatment(row: Row, known: Known) -> list[str]:
    """One line on a treatment: what was done, how long to wait, and what was read before and after."""
    by = "the lot's place" if row["is_by_place"] else "the lot"
    steps = [
        f"{row['treated_on']}, {TREATMENT_WORDS[row['treatment']]}, by {by}: {show_cells(row, known.site)}"
    ]
    if row["retest_due_on"] is not None:
        steps.append(
            f"    {row['treated_on']} + {row['longest_wait_days']} days, the longest wait of that day: to be read "
            f"again from {row['retest_due_on']} on"
        )
    if row["is_last"]:
        before, after = row["before_on"] or "nothing", row["after_on"] or "nothing yet"
        steps.append(
            f"    the last treatment; held against each other: {before} before, {after} after the wait"
        )
    return steps


def write_standing(standing: TracedStanding) -> list[str]:
    """A lot's place as lines for a terminal."""
    lines = ["", f"Standing tonight: {LEVEL_WORDS[standing.level]}, place {standing.rank}"]
    lines += [f"  {step}" for step in standing.order]
    lines += ["", "Reasons"] if standing.reasons else []
    for reason in standing.reasons:
        lines.append(f"  {LEVEL_WORDS.get(reason.level, reason.level)}: {reason.sentence}")
        lines += [f"      {step}" for step in (*reason.steps, *reason.lines)]
    lines += ["", "Treatments"] if standing.treatments else []
    return lines + [f"  {step}" for step in standing.treatments]
