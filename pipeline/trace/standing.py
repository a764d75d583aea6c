"""Why a lot stands where it does on tonight's pages: its reasons, its level, its place, its treatments. Pure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final, Literal

import polars as pl
from pydantic import BaseModel, ConfigDict

from pipeline.reports.compile_lot import give_context
from pipeline.reports.wording import TREATMENT_WORDS, Wording
from pipeline.settings import SiteSettings
from pipeline.trace.cells import places_of, show_cells
from pipeline.warehouse.query import StandingRows

Row = dict[str, Any]
LEVELS: Final = ("act", "no_reading", "watch", "ok")
LEVEL_WORDS: Final = {"act": "act", "no_reading": "no current reading", "watch": "watch", "ok": "OK"}
NAMES: Final = {"ph": "pH", "ec": "EC"}
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


@dataclass(frozen=True, slots=True)
class _Known:
    """What the steps of a reason are taken from."""

    lot: Row
    site: SiteSettings
    verdicts: dict[str, Row]
    pairs: list[Row]
    hangs_on_one: set[str]
    samplings: list[Row]
    figures: list[Row]
    drifts: list[Row]
    contrasts: list[Row]
    lines: list[Row]
    treatments: list[Row]
    waters: list[Row]


def trace_standing(rows: StandingRows, site: SiteSettings, line: Row) -> TracedStanding | None:
    """The place of one lot on tonight's pages; None where it stands in no house any more.

    `line`: the lot's own line (row of sql/queries/trace_lot.sql).
    """
    if rows.lots.is_empty():
        return None
    lot = rows.lots.row(0, named=True)
    known = _Known(
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


# The place --------------------------------------------------------------------------------------


def _order_steps(known: _Known, attention: pl.DataFrame, reasons: Sequence[Row], line: Row) -> list[str]:
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


# Reasons ----------------------------------------------------------------------------------------

Made = tuple[list[str], list[Row]]
"""Steps, and the lines that they rest on."""


def _reason(row: Row, known: _Known, words: Wording) -> TracedReason:
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


def _lines_of(
    known: _Known, day: date | None, purposes: Sequence[str], quantity: str | None = None
) -> list[Row]:
    """The lines of one day's sampling; of one quantity those that are usable for it."""
    return [
        line
        for line in known.lines
        if line["sampled_on"] == day
        and line["purpose"] in purposes
        and (quantity is None or line[f"is_usable_{quantity}"])
    ]


def _last_lines(known: _Known, quantity: str | None) -> list[Row]:
    lot = known.lot
    return _lines_of(known, lot["last_counting_on"], [lot["last_counting_purpose"]], quantity)


def _out(row: Row, known: _Known) -> Made:
    verdict = known.verdicts[row["quantity"]]
    steps = [*verdict_steps(verdict), *_row_steps(row, verdict, known), _level_step(row, verdict, known)]
    # biased pots decided where none was usable
    lines = _last_lines(known, None if verdict["is_at_least"] else row["quantity"])
    return steps, lines


def verdict_steps(row: Row) -> list[str]:
    """How far a mean is beyond its edge, and whether that is clearly; a row of `verdicts` on the low or high side."""
    side = row["side"]
    edge, clear, action = (row[f"{what}{side}"] for what in ("", "clear_", "action_"))
    word, beyond = ("above", ">") if side == "high" else ("below", "<")
    mean = row["judged_mean"]
    steps = [f"mean {mean:.4f} is {abs(mean - float(edge)):.4f} {word} the edge {plain(edge)}"]
    if row["is_at_least"]:
        return [*steps, "judged from pots that lean the other way: out, never clearly"]
    if row["ci_low"] is not None:
        near = row["ci_low"] if side == "high" else row["ci_high"]
        steps.append(
            f"interval {row['ci_low']:.4f} to {row['ci_high']:.4f}: its near end {near:.4f} "
            f"{'lies' if row['is_interval_beyond'] else 'does not lie'} {word} {plain(edge)}; with the margin the edge "
            f"is {plain(clear)}, which the mean {'reaches' if row['is_beyond_margin'] else 'does not reach'}"
        )
    if action is not None:
        crossed = "yes" if row["is_threshold_crossed"] else "no"
        steps.append(f"published action threshold: mean {beyond} {plain(action)}? {crossed}")
    if row["is_inside_another"]:
        steps.append("inside another published range for the crop: out at most")
    return [*steps, f"so {row['verdict'].replace('_', ' ')}"]


def _row_steps(row: Row, verdict: Row, known: _Known) -> list[str]:
    """The samplings that are out on one side in a row."""
    if row["in_a_row"] < 2:
        return []
    members = [
        one
        for one in known.figures
        if one["quantity"] == row["quantity"]
        and one["side"] == row["side"]
        and one["in_a_row"] > 0
        and one["purpose"] in ("routine", "retest")
        and row["since_on"] <= one["sampled_on"] <= verdict["sampled_on"]
    ]
    return [
        f"{one['in_a_row']} in a row: {one['sampled_on']}, mean {_mean_of(one)} "
        f"({places_of(_lines_of(known, one['sampled_on'], [one['purpose']]))})"
        for one in sorted(members, key=lambda one: (one["sampled_on"], one["in_a_row"]))
    ]


def _mean_of(figure: Row) -> str:
    mean = figure["bound"] if figure["bound"] is not None else figure["mean"]
    return f"{mean:.4f}"


def _level_step(row: Row, verdict: Row, known: _Known) -> str:
    """Which of the rules gave an out mean its level."""
    return f"{row['level'].replace('_', ' ')}: {_why_level(row, verdict, known)}"


def _why_level(row: Row, verdict: Row, known: _Known) -> str:
    if verdict["is_low_ec_outside_active"]:
        return f"low EC asks for something in the active stage only, and the lot was {verdict['stage']}"
    if verdict["is_meter_in_doubt"] and row["level"] == "act":
        return (
            "the meter is in doubt, but the sampling before was clearly out by one that is not, so it stays"
        )
    if verdict["is_meter_in_doubt"]:
        return "the meter is in doubt, which never leads to act by itself"
    if row["quantity"] in known.hangs_on_one:
        return "one pot alone decides the side, which never leads to act by itself"
    in_a_row, asked = verdict["in_a_row"], verdict["act_in_a_row"]
    if row["level"] == "act" and verdict["verdict"] == "clearly_out":
        if row["quantity"] == "ec" and row["side"] == "low":
            far = "below" if verdict["is_ec_far_below"] else "not below"
            return f"clearly out, {far} {plain(verdict['ec_low_act'])} mS/cm, {in_a_row} in a row"
        return "clearly out"
    if row["level"] == "act":
        return f"{in_a_row} in a row (it takes {asked}), the last two beyond the edge by the margin"
    if verdict["verdict"] == "clearly_out":
        return f"low EC acts below {plain(verdict['ec_low_act'])} mS/cm or from the second in a row on"
    margin = "yes" if verdict["are_last_two_beyond_margin"] else "no"
    return f"out; {in_a_row} in a row where {asked} act, the last two beyond the edge by the margin: {margin}"


def _very_high(row: Row, known: _Known) -> Made:
    verdict = known.verdicts["ec"]
    return [
        (
            f"mean {row['mean']:.4f} mS/cm beside {plain(verdict['ec_act_ms_cm'])}, where “very high” begins for the "
            "extraction method"
        )
    ], _last_lines(known, None if verdict["is_at_least"] else "ec")


def _affected_out(row: Row, known: _Known) -> Made:
    edge = row[row["side"]]
    steps = [
        (
            f"affected plants: mean {row['mean']:.4f}, interval {row['ci_low']:.4f} to {row['ci_high']:.4f}, beyond "
            f"the edge {plain(edge)} by {abs(row['mean'] - float(edge)):.4f}"
        )
    ]
    return steps, _lines_of(known, row["sampled_on"], ["affected"], row["quantity"])


def _pair_out(row: Row, known: _Known) -> Made:
    """A half of a pair around a feeding that is out on the side on which it is judged."""
    (verdict,) = [
        one for one in known.pairs if (one["quantity"], one["side"]) == (row["quantity"], row["side"])
    ]
    return [*verdict_steps(verdict), f"{row['level']}: {_why_pair_level(row, verdict)}"], _lines_of(
        known, row["sampled_on"], [row["what"]], None if verdict["is_at_least"] else row["quantity"]
    )


def _why_pair_level(row: Row, verdict: Row) -> str:
    if verdict["is_low_ec_outside_active"]:
        return f"low EC asks for something in the active stage only, and the lot was {verdict['stage']}"
    if verdict["is_by_one_pot"]:
        return "one pot alone decides the side, which never leads to act by itself"
    if row["level"] == "act":
        return "clearly out, or EC very high"
    if verdict["verdict"] == "clearly_out" and (row["quantity"], row["side"]) == ("ec", "low"):
        return f"low EC before feeding acts below {plain(verdict['ec_low_act'])} mS/cm"
    if verdict["verdict"] == "clearly_out":
        return "the meter is in doubt, which never leads to act by itself"
    return "out; a pair around a feeding stands in no row"


def _unread(row: Row, known: _Known) -> Made:
    lot = known.lot
    if row["code"] == "never_counted":
        since, limit = lot["stands_from"], lot["first_within_days"]
        return [f"{lot['as_of']} - {since} = {row['days']} days; a first sampling within {limit}"], []
    grace = f" and {lot['grace_days']} days of grace" if lot["grace_days"] else ""
    return [
        f"{lot['as_of']} - {row['sampled_on']} = {row['days']} days; every {lot['interval_days']}{grace}"
    ], _last_lines(known, None) if row["sampled_on"] == lot["last_counting_on"] else _lines_of(
        known, row["sampled_on"], ["after_feed"]
    )


def _close(row: Row, known: _Known) -> Made:
    return [
        (
            f"interval {row['ci_low']:.4f} to {row['ci_high']:.4f} beside {plain(row['low'])} to {plain(row['high'])}; "
            f"the mean {row['mean']:.4f} lies inside"
        )
    ], _last_lines(known, row["quantity"])


def _uneven(row: Row, known: _Known) -> Made:
    return [f"SD {row['mean']:.4f} beside the policy's {row['first_mean']:g}"], _last_lines(
        known, row["quantity"]
    )


def _one_pot(row: Row, known: _Known) -> Made:
    lines = _last_lines(known, row["quantity"])
    value = {"ph": "ph", "ec": "ec_25_ms_cm"}[row["quantity"]]
    odd = [line for line in lines if float(line[value]) == row["first_mean"]]
    return [
        (
            f"with the pot at {row['first_mean']:g} the mean is {row['mean']:.4f}, without it {row['ci_low']:.4f}: "
            f"another side of {plain(row['low'])} to {plain(row['high'])}"
        )
    ], odd


def _measured(row: Row, known: _Known) -> Made:
    """A reason whose arithmetic stands among the measures of the lot."""
    where = {
        "trend": "trend",
        "forecast": "forecast",
        "off_baseline": "the lot's own chart",
        "treatment_result": "contrast, treatment",
    }.get(row["code"], "contrast, affected")
    name = f"{NAMES[row['quantity']]}, " if row["quantity"] else "pH and EC, "
    told = [f"worked out under the measures of the lot: {name}{where}"]
    if where.startswith("contrast"):
        return [*told, *_compared_steps(where.removeprefix("contrast, "), known)], []
    return [*told, f"from {_series_places(row, known)}"], []


def _series_places(row: Row, known: _Known) -> str:
    """Where the counting samplings of a quantity stand, those of a trend from its first day on."""
    first = row["since_on"] if row["code"] == "trend" else None
    days = sorted(
        {
            (one["sampled_on"], one["purpose"])
            for one in known.figures
            if one["quantity"] == row["quantity"]
            and one["is_followed"]
            and (first is None or one["sampled_on"] >= first)
        }
    )
    return "; ".join(f"{day}: {places_of(_lines_of(known, day, [purpose]))}" for day, purpose in days)


def _compared_steps(comparison: str, known: _Known) -> list[str]:
    """Where the pots of both samplings of a contrast stand."""
    pairs = {
        (one["first_on"], one["second_on"], one["second_purpose"])
        for one in known.contrasts
        if one["comparison"] == comparison
    }
    purposes = ("affected",) if comparison == "affected" else ("routine", "retest")
    return [
        f"first {first}: {places_of(_lines_of(known, first, purposes))}; "
        f"second {second}: {places_of(_lines_of(known, second, [purpose]))}"
        for first, second, purpose in sorted(pairs)
    ]


def _drift(row: Row, known: _Known) -> Made:
    (drift,) = [one for one in known.drifts if one["quantity"] == row["quantity"]]
    means = sorted(
        (one for one in known.figures if one["quantity"] == row["quantity"] and one["is_followed"]),
        key=lambda one: one["sampled_on"],
    )
    listed = ", ".join(f"{one['sampled_on']} {one['mean']:.4f}" for one in means[-drift["samplings"] :])
    moved, step = abs(row["mean"] - row["first_mean"]), known.lot[f"step_{row['quantity']}"]
    return [f"means {listed}: together {moved:.4f}, a step is {step:g}"], []


def _surprising(row: Row, known: _Known) -> Made:
    verdict = known.verdicts[row["quantity"]]
    return [
        (
            f"{verdict['verdict_before'].replace('_', ' ')} at the sampling before, clearly out now; no trend and no "
            "drift goes that way"
        )
    ], []


def _treated(row: Row, known: _Known) -> Made:
    last = [one for one in known.treatments if one["is_last"]]
    steps = [
        f"treated on {row['sampled_on']}, to be read again on {row['until_on']}; tonight is {known.lot['as_of']}"
    ]
    return steps, last


def _unmoved(row: Row, known: _Known) -> Made:
    last = [one for one in known.treatments if one["is_last"]]
    after = last[0]["after_on"] if last else None
    return [
        (
            f"{row['side']} since {row['since_on']}, treated on {row['until_on']}, read after the wait on {after}, and "
            f"still {row['side']} on {row['sampled_on']}"
        )
    ], last


def _water(row: Row, known: _Known) -> Made:
    steps = [
        f"alkalinity {one['alkalinity_mg_l']:g} mg/L CaCO3 on {one['checked_on']} beside at most {one['high']:g} "
        f"({one['source']}); pH rises by {row['first_mean']:.4f} a week"
        for one in known.waters
    ]
    return steps, known.waters


def _affected(row: Row, known: _Known) -> Made:
    return [f"sampled within the last {known.lot['affected_within_days']} days"], _lines_of(
        known, row["sampled_on"], ["affected"]
    )


def _doubted(row: Row, _: _Known) -> Made:
    listed = ", ".join(
        f"{one['meter_id']} by its check of {one['failed_on']}" for one in row["doubted_meters"]
    )
    return [f"put in doubt: {listed}; the check stands with the sampling of {row['sampled_on']}"], []


def _not_counting(row: Row, known: _Known) -> Made:
    return [f"{row['pots']} pots usable for pH, {row['min_pots']} needed"], _lines_of(
        known, row["sampled_on"], ["routine", "retest"]
    )


def _ec_not_judged(row: Row, known: _Known) -> Made:
    verdict = known.verdicts["ec"]
    over, under = verdict["pots_excluded_over"], verdict["pots_excluded_under"]
    why = (
        "no temperature of 0 to 50 °C for a meter that does not compensate"
        if row["side"] is None
        else f"left out: {over} pots with far too much leachate, {under} with far too little"
    )
    return [why], _last_lines(known, None)


REASON_STEPS: Final[dict[str, Callable[[Row, _Known], Made]]] = {
    "clearly_out": _out,
    "out": _out,
    "ec_very_high": _very_high,
    "affected_clearly_out": _affected_out,
    "pair_clearly_out": _pair_out,
    "pair_out": _pair_out,
    "never_counted": _unread,
    "not_read_lately": _unread,
    "close_to_limit": _close,
    "uneven": _uneven,
    "depends_on_one_pot": _one_pot,
    "trend": _measured,
    "forecast": _measured,
    "off_baseline": _measured,
    "affected_differ": _measured,
    "affected_unexplained": _measured,
    "affected_too_few": _measured,
    "treatment_result": _measured,
    "treated": _treated,
    "retest_missed": _treated,
    "unmoved_after_treatment": _unmoved,
    "alkaline_water": _water,
    "affected_noted": _affected,
    "meter_in_doubt": _doubted,
    "last_did_not_count": _not_counting,
    "ec_not_judged": _ec_not_judged,
    "surprising": _surprising,
    "drift": _drift,
}


# Treatments -------------------------------------------------------------------------------------


def _treatment(row: Row, known: _Known) -> list[str]:
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


def plain(value: Any) -> str:
    """A DECIMAL without trailing zeros."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


__all__ = [
    "REASON_STEPS",
    "TracedReason",
    "TracedStanding",
    "trace_standing",
    "verdict_steps",
    "write_standing",
]
