"""Sentences about meters and their checks, with the figures. Pure: rows in, one sentence out.

`day` writes a date as the site writes it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

Row = Mapping[str, Any]
Day = Callable[[date], str]
FAILING = ("slope_failed", "offset_failed", "buffer_off", "ec_standard_off", "check_marked_failed")
"""Rules for which a check is not accepted."""
_MOST_CHECKS = 3
_USUAL_BUFFERS = (4, 7, 10)


def explain_meter_finding(row: Row, day: Day) -> str:
    """Sentence for one row of the relation `meter_findings`."""
    if row["rule"] in FAILING:
        return f"{_check(row, day)}: {_figures(row)}: {_doubt(row, day)}."
    return _REMARKS[row["rule"]](row, day)


def explain_meter(row: Row, findings: Sequence[Row], day: Day) -> str | None:
    """What is the matter with a meter, from its row of `meter_states` and its `meter_findings`, newest check first.

    None when there is nothing to say. A rule that the policy switched off has no finding, so it is not told.
    """
    last = [one for one in findings if one["is_last"]]
    parts = _last_failed(row, last, day)
    told = [] if row["is_in_doubt"] else [one for one in last if one["rule"] == "slope_marginal"]
    parts += [explain_meter_finding(one, day) for one in told]
    parts += _some([one for one in findings if one["rule"] in FAILING and not _is_told(one, last)], day)
    parts += _some([one for one in findings if one["rule"] == "buffers_not_bracketing"], day)
    parts += [
        explain_meter_finding(one, day)
        for one in last
        if one["rule"] in ("solution_expired", "buffers_unread")
    ]
    return " ".join([*parts, *_uncalibrated(row, day)]) or None


def explain_doubted(meters: Sequence[Row], day: Day) -> str:
    """The meters of a sampling that are in doubt, each with the check that failed."""
    return ", and ".join(
        f"meter {one['meter_id']}, whose check of {day(one['failed_on'])} failed" for one in meters
    )


def explain_not_bracketed(meters: Sequence[Row]) -> str:
    """The meters of a sampling whose buffers of that day do not bracket what they read."""
    return " ".join(
        f"The {_bracket(one['lowest_buffer'], one['highest_buffer'])} bracket the "
        f"{_readings(one['lowest_ph'], one['highest_ph'])} of meter {one['meter_id']} on this day: "
        f"{advise_buffers(one['lowest_ph'], one['highest_ph'])}."
        for one in meters
    )


def _last_failed(row: Row, last: Sequence[Row], day: Day) -> list[str]:
    failed = [_figures(one) for one in last if one["rule"] in FAILING]
    if not row["is_in_doubt"] or not failed:
        return []
    return [
        (
            f"{row['meter_id']} failed its check on {day(row['last_calibrated_on'])}: {'; '.join(failed)}. Clean it "
            f"and calibrate; {_readings_of(row['readings_in_doubt'])} since the last good check in doubt."
        )
    ]


def _is_told(one: Row, last: Sequence[Row]) -> bool:
    """Whether it is the last check's, or says of the same line as found what is told of it as left."""
    key = ("file_id", "record_no", "rule")
    return any([one[name] for name in key] == [other[name] for name in key] for other in last)


def _some(findings: Sequence[Row], day: Day) -> list[str]:
    """The newest ones in full, the others counted."""
    more = len(findings) - _MOST_CHECKS
    return [
        *(explain_meter_finding(one, day) for one in findings[:_MOST_CHECKS]),
        *([f"{more} more such {'remark' if more == 1 else 'remarks'} before."] if more > 0 else []),
    ]


def _uncalibrated(row: Row, day: Day) -> list[str]:
    if row["last_calibrated_on"] is None:
        return [f"No calibration of {row['meter_id']} is known."]
    # The day of the failed check has been told already.
    told = row["last_calibrated_on"] if row["is_in_doubt"] else None
    days = [one for one in row["days_used_unchecked"] if one != told]
    if not days:
        return []
    shown = ", ".join(day(one) for one in days[-3:])
    before = len(days) - 3
    more = f" and on {before} {'day' if before == 1 else 'days'} before" if before > 0 else ""
    return [f"{row['meter_id']} was used without an accepted calibration on {shown}{more}."]


def _check(row: Row, day: Day) -> str:
    stage = ""
    if row["stage"] == "as_found":
        stage = " as found"
    elif row["is_of_two"]:
        stage = " as left"
    return f"{row['meter_id']} on {day(row['calibrated_on'])}{stage}"


def _figures(row: Row) -> str:
    """What failed, with its figures and its limit."""
    return _FIGURES[row["rule"]](row)


def _buffer_off(row: Row) -> str:
    at = (
        ""
        if abs(row["low"] - row["c"]) < 0.005 or row["temperature_c"] is None
        else f" ({row['low']:.2f} at {row['temperature_c']:g} °C)"
    )
    off = f"{row['a']:.2f}" if round(row["a"], 2) > row["high"] else f"{row['a']:g}"
    return f"{_ph(row['b'])} in buffer {_ph(row['c'])}{at}, {off} off (limit {row['high']:g})"


def _standard_off(row: Row) -> str:
    off = abs(row["a"] - row["b"]) / row["b"] * 100 if row["b"] else None
    limit = f"limit {row['c'] * 100:g} %"
    share = f" ({limit})" if off is None else f", {_beyond(off, row['c'] * 100)} % off ({limit})"
    # What nobody wrote was adjusted is as it was found.
    as_found = "; EC as left is not written, so it is as found" if row["is_ec_left_not_written"] else ""
    return f"EC standard {_ec(row['b'])} read as {_ec(row['a'])} mS/cm{share}{as_found}"


def _beyond(value: float, limit: float) -> str:
    """A figure beyond its limit, with as few decimals as still show that."""
    return next(
        (text for decimals in (1, 2, 3) if float(text := f"{value:.{decimals}f}") > limit), f"{value:g}"
    )


_FIGURES: Mapping[str, Callable[[Row], str]] = {
    "slope_failed": lambda r: f"slope {r['a']:g} %, accepted are {r['low']:g}-{r['high']:g} %",
    "offset_failed": lambda r: f"offset {r['a']:g} mV, accepted are {r['high']:g} mV either way",
    "buffer_off": _buffer_off,
    "ec_standard_off": _standard_off,
    "check_marked_failed": lambda _: "the site's own record says so",
}


def _doubt(row: Row, day: Day) -> str:
    """Which readings a failed check puts in doubt, and how the meter was left."""
    before, after, good = row["readings_before"], row["readings_after"], row["good_on"]
    # Those that follow hang on how the meter was left.
    after = 0 if row["is_of_two"] and row["stage"] == "as_found" else after
    parts = []
    if before:
        since = (
            "before it, no good check is known," if good is None else f"since the good check of {day(good)}"
        )
        parts.append(f"{_readings_of(before)} {since}")
    if after:
        parts.append(f"{after} after it" if before else f"{_readings_of(after)} after it")
    doubt = f"{' and '.join(parts)} in doubt" if parts else "no reading in doubt"
    if row["stage"] != "as_found":
        return doubt
    left = {True: "left good", False: "not left good", None: "how it was left is not written"}
    return f"{doubt}; {left[row['is_left_good']]}"


def _readings_of(number: int) -> str:
    return "1 reading" if number == 1 else f"{number} readings"


def _marginal(row: Row, day: Day) -> str:
    return (
        f"{row['meter_id']} slope {row['a']:.1f} % on {day(row['calibrated_on'])}: accepted, but outside "
        f"{row['low']:g}-{row['high']:g} %; the electrode is ageing or dirty."
    )


def _expired(row: Row, day: Day) -> str:
    return (
        f"The solution {row['what'] or 'for the check'} of {row['meter_id']} on {day(row['calibrated_on'])} was past "
        f"its date ({day(row['on_day'])}): take a fresh one."
    )


def _not_bracketing(row: Row, day: Day) -> str:
    when = f" on {day(row['calibrated_on'])}"
    return (
        f"{row['meter_id']}'s {_bracket(row['low'], row['high'], when)} bracket its "
        f"{_readings(row['a'], row['b'])}: {advise_buffers(row['a'], row['b'])}."
    )


def _unread(row: Row, day: Day) -> str:
    return (
        f"The buffers of {row['meter_id']} on {day(row['calibrated_on'])}, “{row['what']}”, can be read in more than "
        "one way or are none: write them like 4.01/7.00. Nobody can tell whether they bracket its readings."
    )


_REMARKS: Mapping[str, Callable[[Row, Day], str]] = {
    "slope_marginal": _marginal,
    "solution_expired": _expired,
    "buffers_not_bracketing": _not_bracketing,
    "buffers_unread": _unread,
}


def _bracket(low: float, high: float, when: str = "") -> str:
    return (
        f"buffer {_ph(low)}{when} does not"
        if low == high
        else f"buffers {_ph(low)} and {_ph(high)}{when} do not"
    )


def _readings(low: float, high: float) -> str:
    return f"reading {_ph(low)}" if low == high else f"readings {_ph(low)} to {_ph(high)}"


def advise_buffers(low: float, high: float) -> str:
    """What to do: the usual buffers on both sides of what was read (common practice)."""
    below = max((one for one in _USUAL_BUFFERS[:-1] if one <= low), default=None)
    above = min(
        (one for one in _USUAL_BUFFERS if below is not None and one > below and one >= high), default=None
    )
    if above is None:
        return "calibrate with a buffer on either side of them"
    return f"calibrate with {below} and {above}"


def _ph(value: float) -> str:
    return f"{value:.2f}"


def _ec(value: float) -> str:
    """An EC with the digits that it has, two at least."""
    text = f"{value:.4f}".rstrip("0")
    return text if len(text.split(".")[1]) > 1 else f"{value:.2f}"
