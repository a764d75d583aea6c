"""Sentences about meters and their checks, with the figures. Pure: rows in, one sentence out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from pipeline.languages import Speech
from pipeline.reports.wording_figures import readings
from pipeline.reports.wording_rereads import ENGLISH_ISO

Row = Mapping[str, Any]
FAILING = ("slope_failed", "offset_failed", "buffer_off", "ec_standard_off", "check_marked_failed")
"""Rules for which a check is not accepted."""
_MOST_CHECKS = 3
_USUAL_BUFFERS = (4, 7, 10)


def explain_meter_finding(row: Row, w: Speech) -> str:
    """Sentence for one row of the relation `meter_findings`."""
    if row["rule"] in FAILING:
        return f"{_check(row, w)}: {_figures(row, w)}: {_doubt(row, w)}."
    return _REMARKS[row["rule"]](row, w)


def explain_meter(row: Row, findings: Sequence[Row], w: Speech) -> str | None:
    """What is the matter with a meter, from its row of `meter_states` and its `meter_findings`, newest check first.

    None when there is nothing to say. A rule that the policy switched off has no finding, so it is not told.
    """
    last = [one for one in findings if one["is_last"]]
    parts = _last_failed(row, last, w)
    told = [] if row["is_in_doubt"] else [one for one in last if one["rule"] == "slope_marginal"]
    parts += [explain_meter_finding(one, w) for one in told]
    parts += _some([one for one in findings if one["rule"] in FAILING and not _is_told(one, last)], w)
    parts += _some([one for one in findings if one["rule"] == "buffers_not_bracketing"], w)
    parts += [
        explain_meter_finding(one, w) for one in last if one["rule"] in ("solution_expired", "buffers_unread")
    ]
    return " ".join([*parts, *_uncalibrated(row, w)]) or None


def explain_doubted(meters: Sequence[Row], w: Speech) -> str:
    """The meters of a sampling that are in doubt, each with the check that failed."""
    return w(", and ").join(
        w("meter {meter}, whose check of {day} failed", meter=one["meter_id"], day=w.day(one["failed_on"]))
        for one in meters
    )


def explain_not_bracketed(meters: Sequence[Row], w: Speech) -> str:
    """The meters of a sampling whose buffers of that day do not bracket what they read."""
    return " ".join(
        w(
            "The {buffers} bracket the {readings} of meter {meter} on this day: {advice}.",
            buffers=_bracket(one["lowest_buffer"], one["highest_buffer"], w),
            readings=_readings(one["lowest_ph"], one["highest_ph"], w),
            meter=one["meter_id"],
            advice=advise_buffers(one["lowest_ph"], one["highest_ph"], w),
        )
        for one in meters
    )


def _last_failed(row: Row, last: Sequence[Row], w: Speech) -> list[str]:
    failed = [_figures(one, w) for one in last if one["rule"] in FAILING]
    if not row["is_in_doubt"] or not failed:
        return []
    return [
        w(
            "{meter} failed its check on {day}: {figures}. Clean it and calibrate; {readings} since the last good "
            "check in doubt.",
            meter=row["meter_id"],
            day=w.day(row["last_calibrated_on"]),
            figures="; ".join(failed),
            readings=readings(w, row["readings_in_doubt"]),
        )
    ]


def _is_told(one: Row, last: Sequence[Row]) -> bool:
    """Whether it is the last check's, or says of the same line as found what is told of it as left."""
    key = ("file_id", "record_no", "rule")
    return any([one[name] for name in key] == [other[name] for name in key] for other in last)


def _some(findings: Sequence[Row], w: Speech) -> list[str]:
    """The newest ones in full, the others counted."""
    more = len(findings) - _MOST_CHECKS
    told = [explain_meter_finding(one, w) for one in findings[:_MOST_CHECKS]]
    return (
        told
        if more <= 0
        else [*told, w.many("{n} more such remark before.", "{n} more such remarks before.", more)]
    )


def _uncalibrated(row: Row, w: Speech) -> list[str]:
    if row["last_calibrated_on"] is None:
        return [w("No calibration of {meter} is known.", meter=row["meter_id"])]
    # The day of the failed check has been told already.
    told = row["last_calibrated_on"] if row["is_in_doubt"] else None
    days = [one for one in row["days_used_unchecked"] if one != told]
    if not days:
        return []
    shown = ", ".join(w.day(one) for one in days[-3:])
    before = len(days) - 3
    if before > 0:
        shown = w.many("{days} and on {n} day before", "{days} and on {n} days before", before, days=shown)
    return [
        w("{meter} was used without an accepted calibration on {days}.", meter=row["meter_id"], days=shown)
    ]


def _check(row: Row, w: Speech) -> str:
    places = {"meter": row["meter_id"], "day": w.day(row["calibrated_on"])}
    if row["stage"] == "as_found":
        return w("{meter} on {day} as found", **places)
    if row["is_of_two"]:
        return w("{meter} on {day} as left", **places)
    return w("{meter} on {day}", **places)


def _figures(row: Row, w: Speech) -> str:
    """What failed, with its figures and its limit."""
    return _FIGURES[row["rule"]](row, w)


def _slope(row: Row, w: Speech) -> str:
    return w(
        "slope {slope:g} %, accepted are {low:g}-{high:g} %", slope=row["a"], low=row["low"], high=row["high"]
    )


def _offset(row: Row, w: Speech) -> str:
    return w("offset {offset:g} mV, accepted are {high:g} mV either way", offset=row["a"], high=row["high"])


def _buffer_off(row: Row, w: Speech) -> str:
    at = (
        ""
        if abs(row["low"] - row["c"]) < 0.005 or row["temperature_c"] is None
        else " "
        + w("({value:.2f} at {temperature:g} °C)", value=row["low"], temperature=row["temperature_c"])
    )
    off = w.figure(row["a"], ".2f" if round(row["a"], 2) > row["high"] else "g")
    return w(
        "{found:.2f} in buffer {buffer:.2f}{at}, {off} off (limit {limit:g})",
        found=row["b"],
        buffer=row["c"],
        at=at,
        off=off,
        limit=row["high"],
    )


def _standard_off(row: Row, w: Speech) -> str:
    off = abs(row["a"] - row["b"]) / row["b"] * 100 if row["b"] else None
    limit = row["c"] * 100
    share = (
        " " + w("(limit {limit:g} %)", limit=limit)
        if off is None
        else ", " + w("{off} % off (limit {limit:g} %)", off=_beyond(off, limit, w), limit=limit)
    )
    # What nobody wrote was adjusted is as it was found.
    as_found = w("; EC as left is not written, so it is as found") if row["is_ec_left_not_written"] else ""
    told = w(
        "EC standard {standard} read as {found} mS/cm", standard=_ec(row["b"], w), found=_ec(row["a"], w)
    )
    return f"{told}{share}{as_found}"


def _beyond(value: float, limit: float, w: Speech) -> str:
    """A figure beyond its limit, with as few decimals as still show that."""
    text = next(
        (text for decimals in (1, 2, 3) if float(text := f"{value:.{decimals}f}") > limit), f"{value:g}"
    )
    return text.replace(".", w.tongue.decimal_mark)


_FIGURES: Final[Mapping[str, Callable[[Row, Speech], str]]] = {
    "slope_failed": _slope,
    "offset_failed": _offset,
    "buffer_off": _buffer_off,
    "ec_standard_off": _standard_off,
    "check_marked_failed": lambda _, w: w("the site's own record says so"),
}


def _doubt(row: Row, w: Speech) -> str:
    """Which readings a failed check puts in doubt, and how the meter was left."""
    before, after, good = row["readings_before"], row["readings_after"], row["good_on"]
    # Those that follow hang on how the meter was left.
    after = 0 if row["is_of_two"] and row["stage"] == "as_found" else after
    told = ""
    if before and good is None:
        told = w("{readings} before it, no good check is known,", readings=readings(w, before))
    elif before:
        told = w("{readings} since the good check of {day}", readings=readings(w, before), day=w.day(good))
    if after and before:
        told = w("{before} and {n} after it", before=told, n=after)
    elif after:
        told = w("{readings} after it", readings=readings(w, after))
    doubt = w("{readings} in doubt", readings=told) if told else w("no reading in doubt")
    if row["stage"] != "as_found":
        return doubt
    left = {
        True: w("left good"),
        False: w("not left good"),
        None: w("how it was left is not written"),
    }
    return f"{doubt}; {left[row['is_left_good']]}"


def _marginal(row: Row, w: Speech) -> str:
    return w(
        "{meter} slope {slope:.1f} % on {day}: accepted, but outside {low:g}-{high:g} %; the electrode may be "
        "ageing or dirty.",
        meter=row["meter_id"],
        slope=row["a"],
        day=w.day(row["calibrated_on"]),
        low=row["low"],
        high=row["high"],
    )


def _expired(row: Row, w: Speech) -> str:
    places = {
        "meter": row["meter_id"],
        "day": w.day(row["calibrated_on"]),
        "expired": w.day(row["on_day"]),
    }
    if row["what"]:
        return w(
            "The solution {solution} of {meter} on {day} was past its date ({expired}): take a fresh one.",
            solution=row["what"],
            **places,
        )
    return w(
        "The solution for the check of {meter} on {day} was past its date ({expired}): take a fresh one.",
        **places,
    )


def _not_bracketing(row: Row, w: Speech) -> str:
    return w(
        "{meter}'s {buffers} bracket its {readings}: {advice}.",
        meter=row["meter_id"],
        buffers=_bracket(row["low"], row["high"], w, row),
        readings=_readings(row["a"], row["b"], w),
        advice=advise_buffers(row["a"], row["b"], w),
    )


def _unread(row: Row, w: Speech) -> str:
    return w(
        "The buffers of {meter} on {day}, “{text}”, can be read in more than one way or are none: write them like "
        "4.01/7.00. Nobody can tell whether they bracket its readings.",
        meter=row["meter_id"],
        day=w.day(row["calibrated_on"]),
        text=row["what"],
    )


_REMARKS: Final[Mapping[str, Callable[[Row, Speech], str]]] = {
    "slope_marginal": _marginal,
    "solution_expired": _expired,
    "buffers_not_bracketing": _not_bracketing,
    "buffers_unread": _unread,
}


def _bracket(low: float, high: float, w: Speech, check: Row | None = None) -> str:
    """The buffers that were used, on the day of a check where it is given, as the beginning of a sentence."""
    places = {"low": low, "high": high}
    if check is None:
        if low == high:
            return w("buffer {low:.2f} does not", **places)
        return w("buffers {low:.2f} and {high:.2f} do not", **places)
    day = w.day(check["calibrated_on"])
    if low == high:
        return w("buffer {low:.2f} on {day} does not", day=day, **places)
    return w("buffers {low:.2f} and {high:.2f} on {day} do not", day=day, **places)


def _readings(low: float, high: float, w: Speech) -> str:
    if low == high:
        return w("reading {low:.2f}", low=low)
    return w("readings {low:.2f} to {high:.2f}", low=low, high=high)


def advise_buffers(low: float, high: float, w: Speech = ENGLISH_ISO) -> str:
    """What to do: the usual buffers on both sides of what was read (common practice)."""
    below = max((one for one in _USUAL_BUFFERS[:-1] if one <= low), default=None)
    above = min(
        (one for one in _USUAL_BUFFERS if below is not None and one > below and one >= high), default=None
    )
    if above is None:
        return w("calibrate with a buffer on either side of them")
    return w("calibrate with {below} and {above}", below=below, above=above)


def _ec(value: float, w: Speech) -> str:
    """An EC with the digits that it has, two at least."""
    text = f"{value:.4f}".rstrip("0")
    text = text if len(text.split(".")[1]) > 1 else f"{value:.2f}"
    return text.replace(".", w.tongue.decimal_mark)
