"""How each reason of a lot's level came about, by its code. Pure."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from pipeline.trace.cells import places_of
from pipeline.trace.known import NAMES, Known, Made, Row, last_lines, lines_of
from pipeline.trace.verdict_steps import (
    affected_out_steps,
    close_steps,
    one_pot_steps,
    out_steps,
    pair_out_steps,
    uneven_steps,
    unread_steps,
    very_high_steps,
)


def _measured(row: Row, known: Known) -> Made:
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


def _series_places(row: Row, known: Known) -> str:
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
    return "; ".join(f"{day}: {places_of(lines_of(known, day, [purpose]))}" for day, purpose in days)


def _compared_steps(comparison: str, known: Known) -> list[str]:
    """Where the pots of both samplings of a contrast stand."""
    pairs = {
        (one["first_on"], one["second_on"], one["second_purpose"])
        for one in known.contrasts
        if one["comparison"] == comparison
    }
    purposes = ("affected",) if comparison == "affected" else ("routine", "retest")
    return [
        f"first {first}: {places_of(lines_of(known, first, purposes))}; "
        f"second {second}: {places_of(lines_of(known, second, [purpose]))}"
        for first, second, purpose in sorted(pairs)
    ]


def _drift(row: Row, known: Known) -> Made:
    (drift,) = [one for one in known.drifts if one["quantity"] == row["quantity"]]
    means = sorted(
        (one for one in known.figures if one["quantity"] == row["quantity"] and one["is_followed"]),
        key=lambda one: one["sampled_on"],
    )
    listed = ", ".join(f"{one['sampled_on']} {one['mean']:.4f}" for one in means[-drift["samplings"] :])
    moved, step = abs(row["mean"] - row["first_mean"]), known.lot[f"step_{row['quantity']}"]
    return [f"means {listed}: together {moved:.4f}, a step is {step:g}"], []


def _surprising(row: Row, known: Known) -> Made:
    verdict = known.verdicts[row["quantity"]]
    return [
        (
            f"{verdict['verdict_before'].replace('_', ' ')} at the sampling before, clearly out now; no trend and no "
            "drift goes that way"
        )
    ], []


def _treated(row: Row, known: Known) -> Made:
    last = [one for one in known.treatments if one["is_last"]]
    steps = [
        f"treated on {row['sampled_on']}, to be read again on {row['until_on']}; tonight is {known.lot['as_of']}"
    ]
    return steps, last


def _unmoved(row: Row, known: Known) -> Made:
    last = [one for one in known.treatments if one["is_last"]]
    after = last[0]["after_on"] if last else None
    return [
        (
            f"{row['side']} since {row['since_on']}, treated on {row['until_on']}, read after the wait on {after}, and "
            f"still {row['side']} on {row['sampled_on']}"
        )
    ], last


def _water(row: Row, known: Known) -> Made:
    steps = [
        f"alkalinity {one['alkalinity_mg_l']:g} mg/L CaCO3 on {one['checked_on']} beside at most {one['high']:g} "
        f"({one['source']}); pH rises by {row['first_mean']:.4f} a week"
        for one in known.waters
    ]
    return steps, known.waters


def _affected(row: Row, known: Known) -> Made:
    return [f"sampled within the last {known.lot['affected_within_days']} days"], lines_of(
        known, row["sampled_on"], ["affected"]
    )


def _doubted(row: Row, _: Known) -> Made:
    listed = ", ".join(
        f"{one['meter_id']} by its check of {one['failed_on']}" for one in row["doubted_meters"]
    )
    return [f"put in doubt: {listed}; the check stands with the sampling of {row['sampled_on']}"], []


def _not_counting(row: Row, known: Known) -> Made:
    return [f"{row['pots']} pots usable for pH, {row['min_pots']} needed"], lines_of(
        known, row["sampled_on"], ["routine", "retest"]
    )


def _ec_not_judged(row: Row, known: Known) -> Made:
    verdict = known.verdicts["ec"]
    over, under = verdict["pots_excluded_over"], verdict["pots_excluded_under"]
    why = (
        "no temperature of 0 to 50 °C for a meter that does not compensate"
        if row["side"] is None
        else f"left out: {over} pots with far too much leachate, {under} with far too little"
    )
    return [why], last_lines(known, None)


REASON_STEPS: Final[dict[str, Callable[[Row, Known], Made]]] = {
    "clearly_out": out_steps,
    "out": out_steps,
    "ec_very_high": very_high_steps,
    "affected_clearly_out": affected_out_steps,
    "pair_clearly_out": pair_out_steps,
    "pair_out": pair_out_steps,
    "never_counted": unread_steps,
    "not_read_lately": unread_steps,
    "close_to_limit": close_steps,
    "uneven": uneven_steps,
    "depends_on_one_pot": one_pot_steps,
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
