"""Sentences for the reasons of a lot's level: one thought each, figures with units. Pure."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from pipeline.languages import Speech
from pipeline.reports.wording_figures import (
    UNITS,
    Row,
    days,
    mean_of,
    ml,
    nth,
    pots,
    quantity_of,
    range_of,
    side_of,
    signed,
    treatments_of,
    unit_of,
)
from pipeline.reports.wording_meters import explain_doubted

Write = Callable[[Speech, Row], str]


def explain_reason(w: Speech, row: Row) -> str:
    """Sentence for one row of the relation `reasons`."""
    return REASONS[row["code"]](w, row)


def _target(w: Speech, row: Row) -> str:
    """The target of the day that is spoken of; where tonight's is another one, that beside it."""
    target, now = range_of(w, row["quantity"], row["low"], row["high"]), row.get("target_now")
    if now is None or (float(row["low"]), float(row["high"])) == now:
        return target
    return w("{target} (of that day, now {now})", target=target, now=range_of(w, row["quantity"], *now))


def _out(w: Speech, row: Row) -> str:
    how = w("clearly out") if row["code"] == "clearly_out" else w("out")
    out = w(
        "on {day}: {how}, target {target}, {row}.",
        day=w.day(row["sampled_on"]),
        how=how,
        target=_target(w, row),
        row=_in_a_row(w, row),
    )
    if not row["flag"]:
        return f"{mean_of(w, row)} {out}{_asks_for_nothing(w, row)}"
    places = {
        "name": quantity_of(w, row),
        "bound": row["bound"],
        "unit": unit_of(row),
        "pots": pots(w, row["bound_pots"]),
        "out": out,
    }
    if row["side"] == "high":
        return w("{name} at least {bound:.2f}{unit} ({pots}, too much leachate dilutes) {out}", **places)
    return w(
        "{name} at most {bound:.2f}{unit} ({pots}, too little leachate makes EC read high) {out}", **places
    )


def _asks_for_nothing(w: Speech, row: Row) -> str:
    """Why a low EC is a note only; its stage is that of the sampling."""
    if (row["quantity"], row["side"], row["level"]) != ("ec", "low", "note"):
        return ""
    if row["stage"] == "finishing":
        return " " + w("Low EC is expected while a lot is finishing and asks for nothing.")
    return " " + w("Low EC is expected while a lot is establishing itself and asks for nothing.")


def _in_a_row(w: Speech, row: Row) -> str:
    if row["in_a_row"] < 2:
        return side_of(w, row)
    since = w.day(row["since_on"])
    return w(
        "{nth} {side} in a row since {day}", nth=nth(w, row["in_a_row"]), side=side_of(w, row), day=since
    )


def _very_high(w: Speech, row: Row) -> str:
    day, mean = w.day(row["sampled_on"]), row["mean"]
    if row["flag"]:
        return w(
            "EC at least {mean:.2f} mS/cm on {day} is in the published band very high or above: salt injury is "
            "likely.",
            mean=mean,
            day=day,
        )
    return w(
        "EC {mean:.2f} mS/cm on {day} is in the published band very high or above: salt injury is likely.",
        mean=mean,
        day=day,
    )


def _affected_out(w: Speech, row: Row) -> str:
    return w(
        "Affected plants on {day}: {mean}, clearly out, {side}; target {target}.",
        day=w.day(row["sampled_on"]),
        mean=mean_of(w, row),
        side=side_of(w, row),
        target=_target(w, row),
    )


def _pair_out(w: Speech, row: Row) -> str:
    """A pair around a feeding: low EC is told of its first half, high EC and pH of its second."""
    places = {
        "day": w.day(row["sampled_on"]),
        "mean": _at_least(w, row) if row["flag"] else mean_of(w, row),
        "how": w("clearly out") if row["code"] == "pair_clearly_out" else w("out"),
        "side": side_of(w, row),
        "target": _target(w, row),
    }
    if row["what"] == "before_feed":
        return w("Before feeding on {day}: {mean}, {how}, {side}; target {target}.", **places) + (
            _asks_for_nothing(w, row)
        )
    return w("After feeding on {day}: {mean}, {how}, {side}; target {target}.", **places)


def _at_least(w: Speech, row: Row) -> str:
    """A mean of pots that lean the other way."""
    places = {"name": quantity_of(w, row), "mean": row["mean"], "unit": unit_of(row)}
    if row["side"] == "high":
        return w("{name} at least {mean:.2f}{unit}", **places)
    return w("{name} at most {mean:.2f}{unit}", **places)


def _never_counted(w: Speech, row: Row) -> str:
    return w("No sampling that counts since the lot started {days} ago.", days=days(w, row["days"]))


def _not_read(w: Speech, row: Row) -> str:
    return w(
        "Last read {days} ago, on {day}; a sampling is due every {interval}.",
        days=days(w, row["days"]),
        day=w.day(row["sampled_on"]),
        interval=days(w, row["pots"]),
    )


def _close(w: Speech, row: Row) -> str:
    places = {"mean": mean_of(w, row), "day": w.day(row["sampled_on"]), "target": _target(w, row)}
    if row["side"] == "low":
        return w("{mean} on {day}: close to the lower edge of target {target}.", **places)
    if row["side"] == "high":
        return w("{mean} on {day}: close to the upper edge of target {target}.", **places)
    return w("{mean} on {day}: close to both edges of target {target}.", **places)


def _uneven(w: Speech, row: Row) -> str:
    return w(
        "Uneven lot on {day}: {name} differs from pot to pot with an SD of {sd:.2f}{unit} (the policy allows "
        "{allowed:.2f}{unit}); look at watering and feed.",
        day=w.day(row["sampled_on"]),
        name=quantity_of(w, row),
        sd=row["mean"],
        unit=unit_of(row),
        allowed=row["first_mean"],
    )


def _affected(w: Speech, row: Row) -> str:
    places = {"day": w.day(row["sampled_on"]), "pots": pots(w, row["pots"])}
    if row["is_compared"]:
        return w("Affected plants were sampled apart on {day} ({pots}).", **places)
    return w(
        "Affected plants were sampled apart on {day} ({pots}): compare them with the healthy ones.", **places
    )


def _meter_in_doubt(w: Speech, row: Row) -> str:
    return w(
        "Read on {day} with {meters}: calibrate it and read again before acting.",
        day=w.day(row["sampled_on"]),
        meters=explain_doubted(row["doubted_meters"], w),
    )


def _not_counting(w: Speech, row: Row) -> str:
    told = w(
        "The sampling of {day} does not count: {pots} usable, {needed} needed.",
        day=w.day(row["sampled_on"]),
        pots=pots(w, row["pots"]),
        needed=row["min_pots"],
    )
    if not row.get("held_lines"):
        return told
    held = w.many(
        "{n} line of the lot is held: mended, it may complete it.",
        "{n} lines of the lot are held: mended, they may complete it.",
        row["held_lines"],
    )
    return f"{told} {held}"


def _ec_not_judged(w: Speech, row: Row) -> str:
    day = w.day(row["sampled_on"])
    if row["what"] == "odd_temperature":
        return w(
            "EC of {day} is not judged: the meter does not compensate for temperature, and what was written down is "
            "no temperature of leachate.",
            day=day,
        )
    if row["side"] is None:
        return w(
            "EC of {day} is not judged: the meter does not compensate for temperature, and no temperature was "
            "written down.",
            day=day,
        )
    median = w(
        "median {mean:.0f} mL instead of {wanted}", mean=row["mean"], wanted=ml(row["low"], row["high"])
    )
    places = {"day": day, "pots": pots(w, row["pots"]), "median": median}
    if row["side"] == "both":
        return w(
            "EC of {day} is not judged: too much leachate was collected from {pots} and too little from {others} "
            "({median}).",
            others=pots(w, row["min_pots"]),
            **places,
        )
    if row["side"] == "high":
        return w(
            "EC of {day} is not judged: too much leachate was collected from {pots} ({median}), which makes EC read "
            "low.",
            **places,
        )
    return w(
        "EC of {day} is not judged: too little leachate was collected from {pots} ({median}), which makes EC read "
        "high.",
        **places,
    )


def _surprising(w: Speech, row: Row) -> str:
    return w(
        "A surprising {name}: well inside at the sampling before, clearly out now. Check and calibrate the meter, read "
        "again, then judge.",
        name=quantity_of(w, row),
    )


def _drift(w: Speech, row: Row) -> str:
    places = {
        "name": quantity_of(w, row),
        "n": row["pots"],
        "first": row["first_mean"],
        "last": row["mean"],
        "unit": unit_of(row),
    }
    if row["side"] == "high":
        return w(
            "{name} rose from sampling to sampling over the last {n}: {first:.2f} to {last:.2f}{unit}.",
            **places,
        )
    return w(
        "{name} fell from sampling to sampling over the last {n}: {first:.2f} to {last:.2f}{unit}.", **places
    )


def _one_pot(w: Speech, row: Row) -> str:
    return w(
        "{name} of {day} depends on one pot at {pot:.2f}{unit}: the mean is {mean:.2f}{unit} with it and "
        "{without:.2f}{unit} without, target {target}. Read that pot again.",
        name=quantity_of(w, row),
        day=w.day(row["sampled_on"]),
        pot=row["first_mean"],
        unit=unit_of(row),
        mean=row["mean"],
        without=row["ci_low"],
        target=_target(w, row),
    )


def explain_trend(w: Speech, row: Row) -> str:
    """A trend that is more than chance: mean, ci_low and ci_high are the slope a week and its interval."""
    places = {
        "name": quantity_of(w, row),
        "slope": abs(row["mean"]),
        "unit": unit_of(row),
        "speeds": _speeds(w, row),
        "n": row["pots"],
        "day": w.day(row["since_on"]),
    }
    if row["mean"] > 0:
        return w(
            "{name} rises by {slope:.2f}{unit} a week ({speeds}) over {n} samplings since {day}: more than chance "
            "alone usually makes.",
            **places,
        )
    return w(
        "{name} falls by {slope:.2f}{unit} a week ({speeds}) over {n} samplings since {day}: more than chance "
        "alone usually makes.",
        **places,
    )


def _speeds(w: Speech, row: Row) -> str:
    """The interval of a slope, without a sign where both ends go the same way."""
    low, high = row["ci_low"], row["ci_high"]
    if low * high < 0:
        return w("{low} to {high}", low=signed(w, low), high=signed(w, high))
    first, last = sorted((abs(low), abs(high)))
    return f"{w.figure(first, '.2f')}-{w.figure(last, '.2f')}"


def _forecast(w: Speech, row: Row) -> str:
    """When the trend leaves the target: a day to come, or one gone by since the lot was last read (`days` ago)."""
    if row["days"] is not None:
        return _gone_by(w, row)
    first = w("any day now") if row["flag"] else w.day(row["since_on"])
    last = row["until_on"]
    until = (
        w("between {first} and {last}", first=first, last=w.day(last))
        if last is not None
        else w("at the earliest {first}", first=first)
    )
    places = {"name": quantity_of(w, row), "day": w.day(row["sampled_on"]), "until": until}
    if row["side"] == "high":
        return w("If it goes on like this, {name} rises above its target about {day} ({until}).", **places)
    return w("If it goes on like this, {name} falls below its target about {day} ({until}).", **places)


def _gone_by(w: Speech, row: Row) -> str:
    places = {
        "name": quantity_of(w, row),
        "day": w.day(row["sampled_on"]),
        "ago": days(w, row["days"]),
    }
    if row["side"] == "high":
        return w(
            "If it went on as it did, {name} has been above its target since about {day}; last read {ago} ago.",
            **places,
        )
    return w(
        "If it went on as it did, {name} has been below its target since about {day}; last read {ago} ago.",
        **places,
    )


def _off_baseline(w: Speech, row: Row) -> str:
    places = {
        "name": quantity_of(w, row),
        "mean": row["mean"],
        "unit": unit_of(row),
        "day": w.day(row["sampled_on"]),
        "start": row["first_mean"],
    }
    if row["side"] == "high":
        return w(
            "{name} has moved away from this lot's own start: its weighted mean is now {mean:.2f}{unit} ({day}), "
            "its first five samplings had {start:.2f}{unit}, and chance alone seldom takes it above "
            "{edge:.2f}{unit}.",
            edge=row["ci_high"],
            **places,
        )
    return w(
        "{name} has moved away from this lot's own start: its weighted mean is now {mean:.2f}{unit} ({day}), its "
        "first five samplings had {start:.2f}{unit}, and chance alone seldom takes it below {edge:.2f}{unit}.",
        edge=row["ci_low"],
        **places,
    )


def _affected_differ(w: Speech, row: Row) -> str:
    known = [abs(row[end]) for end in ("ci_low", "ci_high") if row[end] is not None]
    interval = f" ({w.figure(min(known), '.2f')}-{w.figure(max(known), '.2f')})" if known else ""
    places = {
        "day": w.day(row["sampled_on"]),
        "name": quantity_of(w, row),
        "mean": row["mean"],
        "unit": unit_of(row),
        "gap": abs(row["mean"] - row["first_mean"]),
        "interval": interval,
    }
    if row["side"] == "high":
        return w(
            "Affected plants of {day}: {name} {mean:.2f}{unit}, {gap:.2f}{interval} above the healthy ones.",
            **places,
        )
    return w(
        "Affected plants of {day}: {name} {mean:.2f}{unit}, {gap:.2f}{interval} below the healthy ones.",
        **places,
    )


def _affected_unexplained(w: Speech, row: Row) -> str:
    return w(
        "pH and EC do not explain the affected plants of {day}: they read like the healthy ones. Look at roots and "
        "pests, send tissue to a laboratory.",
        day=w.day(row["sampled_on"]),
    )


def _affected_too_few(w: Speech, row: Row) -> str:
    return w(
        "Affected and healthy plants of {day} cannot be told apart by {first} and {second}: take five of each.",
        day=w.day(row["sampled_on"]),
        first=row["pots"],
        second=pots(w, row["min_pots"]),
    )


def _treated(w: Speech, row: Row) -> str:
    places = {
        "day": w.day(row["sampled_on"]),
        "treatments": treatments_of(w, row["what"]),
        "until": w.weekday_and_day(row["until_on"]),
    }
    if row["flag"]:
        return w("Treated on {day} ({treatments}), retest was due {until}.", **places)
    return w("Treated on {day} ({treatments}), retest due {until}.", **places)


def _retest_missed(w: Speech, row: Row) -> str:
    return w(
        "Retest missed: treated on {day} ({treatments}), the retest was due {until}, {days} ago. Nobody knows yet "
        "whether it helped.",
        day=w.day(row["sampled_on"]),
        treatments=treatments_of(w, row["what"]),
        until=w.weekday_and_day(row["until_on"]),
        days=days(w, row["days"]),
    )


def _unmoved(w: Speech, row: Row) -> str:
    return w(
        "{name} is still {side} on {day}, as it has been since {since}: the treatment of {treated} ({treatments}) has "
        "not mended it.",
        name=quantity_of(w, row),
        side=side_of(w, row),
        day=w.day(row["sampled_on"]),
        since=w.day(row["since_on"]),
        treated=w.day(row["until_on"]),
        treatments=treatments_of(w, row["what"]),
    )


def _treatment_result(w: Speech, row: Row) -> str:
    moved = row["mean"] - row["first_mean"]
    figures = w(
        "After {treatments} on {treated}: {name} {before:.2f}{unit} on {first}, {after:.2f}{unit} on {last}",
        treatments=treatments_of(w, row["what"]),
        treated=w.day(row["until_on"]),
        name=quantity_of(w, row),
        before=row["first_mean"],
        unit=unit_of(row),
        first=w.day(row["since_on"]),
        after=row["mean"],
        last=w.day(row["sampled_on"]),
    )
    if row["flag"]:
        return w(
            "{figures}; {before} and {after} are too few to tell whether it moved.",
            figures=figures,
            before=row["pots"],
            after=pots(w, row["min_pots"]),
        )
    low, high = row["ci_low"], row["ci_high"]
    interval = "" if low is None else f" ({w('{low} to {high}', low=signed(w, low), high=signed(w, high))})"
    move = explain_move(w, row, moved, low, high, is_clear=row["side"] is not None)
    return f"{figures}, {signed(w, moved)}{interval}: {move}."


def explain_move(
    w: Speech, row: Row, moved: float, low: float | None, high: float | None, *, is_clear: bool
) -> str:
    """What is said of a move from before to after, one wording for reason and contrast.

    An interval that leaves 0 out is a move; below one step of the policy it is a small one.
    """
    is_rise = moved > 0
    if is_clear:
        return w("a clear rise") if is_rise else w("a clear fall")
    if low is None or high is None or low <= 0 <= high:
        return w("no clear move")
    if abs(moved) < row["step"] - 1e-9:
        step = f"{w.figure(row['step'], 'g')}{UNITS[row['quantity']] or ' pH'}"
        return (
            w("a small rise, less than {step}", step=step)
            if is_rise
            else w("a small fall, less than {step}", step=step)
        )
    return (
        w("a rise, but so few pots do not prove it")
        if is_rise
        else w("a fall, but so few pots do not prove it")
    )


def _alkaline_water(w: Speech, row: Row) -> str:
    return w(
        "pH rises by {slope:.2f} a week, and the source water has {mean:.0f} mg/L alkalinity as CaCO3 ({day}), "
        "published for these containers: {range} mg/L. The water may be the cause.",
        slope=row["first_mean"],
        mean=row["mean"],
        day=w.day(row["sampled_on"]),
        range=explain_alkalinity(w, row["low"], row["high"]),
    )


def explain_alkalinity(w: Speech, low: float | None, high: float) -> str:
    """A published range of alkalinity, without its unit."""
    return w("up to {high:.0f}", high=high) if low is None else f"{low:.0f}-{high:.0f}"


REASONS: Final[dict[str, Write]] = {
    "clearly_out": _out,
    "out": _out,
    "ec_very_high": _very_high,
    "affected_clearly_out": _affected_out,
    "pair_clearly_out": _pair_out,
    "pair_out": _pair_out,
    "never_counted": _never_counted,
    "not_read_lately": _not_read,
    "close_to_limit": _close,
    "uneven": _uneven,
    "affected_noted": _affected,
    "meter_in_doubt": _meter_in_doubt,
    "last_did_not_count": _not_counting,
    "ec_not_judged": _ec_not_judged,
    "surprising": _surprising,
    "depends_on_one_pot": _one_pot,
    "trend": explain_trend,
    "forecast": _forecast,
    "off_baseline": _off_baseline,
    "affected_differ": _affected_differ,
    "affected_unexplained": _affected_unexplained,
    "affected_too_few": _affected_too_few,
    "drift": _drift,
    "treated": _treated,
    "retest_missed": _retest_missed,
    "unmoved_after_treatment": _unmoved,
    "treatment_result": _treatment_result,
    "alkaline_water": _alkaline_water,
}
