"""Sentences for remarks on a sampling: what was off, with its figures. Pure."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from typing import Final

from pipeline.languages import ENGLISH, Speech
from pipeline.reports.wording_figures import (
    QUANTITY_WORDS,
    UNITS,
    Row,
    days,
    ends,
    ml,
    of_pots,
    pots,
    readings,
    span,
)
from pipeline.reports.wording_meters import explain_doubted, explain_not_bracketed

Write = Callable[[Speech, Row], str]
WATER_WORDS: Final = {"rain": "rain", "tap": "tap", "other": "other"}
PURPOSES: Final = {
    "affected": "Affected plants",
    "healthy": "Healthy for comparison",
    "before_feed": "Before feeding",
    "after_feed": "After feeding",
    "retest": "Retest",
}


def explain_finding(w: Speech, row: Row) -> str:
    """Sentence for one row of the relation `sampling_findings`."""
    return _with_purpose(w, row, FINDINGS[row["rule"]](w, row))


def _with_purpose(w: Speech, row: Row, sentence: str) -> str:
    """The sentence with what the sampling was for, where it was not a routine one."""
    purpose = PURPOSES.get(row["purpose"])
    if purpose is None or row["rule"] == "affected_in_routine":
        return sentence
    if w.tongue.language != ENGLISH:
        return f"{w(purpose)}. {sentence}"
    # "EC of ..." stays as it is
    start = sentence if sentence[1:2].isupper() else sentence[:1].lower() + sentence[1:]
    return f"{purpose}{',' if re.match(r'[a-z-]+:', start) else ':'} {start}"


def _too_few_pots(w: Speech, row: Row) -> str:
    return w(
        "{pots} usable for pH, {needed:.0f} needed: shown, but it does not count.",
        pots=pots(w, row["pots"]),
        needed=row["low"],
    )


def _over_collected(w: Speech, row: Row) -> str:
    return w(
        "Over-collected: {pots}, {found} instead of {wanted}. Too much leachate dilutes: EC reads low.",
        pots=of_pots(w, row),
        found=ml(row["a"], row["b"]),
        wanted=ml(row["low"], row["high"]),
    )


def _under_collected(w: Speech, row: Row) -> str:
    return w(
        "Under-collected: {pots}, {found} instead of {wanted}. Too little leachate makes EC read high.",
        pots=of_pots(w, row),
        found=ml(row["a"], row["b"]),
        wanted=ml(row["low"], row["high"]),
    )


def _volume_excludes_ec(w: Speech, row: Row) -> str:
    return w("EC of {pots} left out: leachate volume too far off. Their pH stays in.", pots=of_pots(w, row))


def _no_temperature(w: Speech, row: Row) -> str:
    return w(
        "EC of {pots} left out: the meter does not compensate and no temperature was written down; at 15 °C EC reads "
        "about 20 % low.",
        pots=of_pots(w, row),
    )


def _odd_temperature(w: Speech, row: Row) -> str:
    low, high = (w.figure(row[end], ".1f") for end in ("low", "high"))
    return w(
        "EC of {pots} left out: the meter does not compensate, and {found} °C is no temperature of leachate. Check the "
        "cell and the column's unit.",
        pots=of_pots(w, row),
        found=low if low == high else w("{low} to {high}", low=low, high=high),
    )


def _volume_not_recorded(w: Speech, row: Row) -> str:
    return w("Leachate volume not written down for {pots}.", pots=of_pots(w, row))


def _unequal_volumes(w: Speech, row: Row) -> str:
    return w(
        "Unequal volumes, {low:.0f}-{high:.0f} mL: collect the same from each pot.",
        low=row["low"],
        high=row["high"],
    )


def _poured_off_recipe(w: Speech, row: Row) -> str:
    return w(
        "Water poured off the recipe on {pots}: {found} instead of {wanted:.0f} mL.",
        pots=of_pots(w, row),
        found=ml(row["a"], row["b"]),
        wanted=row["low"],
    )


def _poured_not_distilled(w: Speech, row: Row) -> str:
    kinds = [w(WATER_WORDS.get(kind, kind)) for kind in row["what"].split(",")]
    return w(
        "{pots} poured with {kinds} water whose EC is not written down: nobody can tell what it adds to the leachate.",
        pots=of_pots(w, row),
        kinds=w(" and ").join(kinds),
    )


def _more_than_poured(w: Speech, row: Row) -> str:
    return w(
        "More leachate than water poured on {pots}: an entry error, or the pots had not drained.",
        pots=of_pots(w, row),
    )


def _drain_time(w: Speech, row: Row) -> str:
    return w(
        "Drain time of {pots} {found} min instead of {wanted} min.",
        pots=of_pots(w, row),
        found=span(row["a"], row["b"]),
        wanted=span(row["low"], row["high"]),
    )


def _meter_not_calibrated(w: Speech, row: Row) -> str:
    if row["what"]:
        return w("No accepted calibration of meter {meter} on this day.", meter=row["what"])
    return w("No meter written down.")


def _affected_in_routine(w: Speech, row: Row) -> str:
    """Affected pots of a routine sampling, and what a comparison would take: five of each."""
    marked = pots(w, row["pots"])
    if row["pots"] >= row["low"]:
        return w("{pots} marked as affected, kept apart from the routine figure.", pots=marked)
    return w(
        "{pots} marked as affected, kept apart from the routine figure; for a comparison read {needed:.0f} affected "
        "and {needed:.0f} healthy ones.",
        pots=marked,
        needed=row["low"],
    )


def _all_alike(w: Speech, row: Row) -> str:
    """What all pots read is told where it was one quantity alone."""
    alike = ""
    if row["b"] is None:
        alike = f", pH {w.figure(row['a'], 'g')}"
    elif row["a"] is None:
        alike = f", {w(QUANTITY_WORDS['ec'])} {w.figure(row['b'], 'g')}{UNITS['ec']}"
    return w(
        "All {pots} read exactly alike{alike}. Was each pot read by itself?",
        pots=pots(w, row["of_pots"]),
        alike=alike,
    )


def _outlier(w: Speech, row: Row) -> str:
    quantity = row["rule"].removeprefix("outlier_")
    places = {
        "name": w(QUANTITY_WORDS[quantity]),
        "value": row["a"],
        "unit": UNITS[quantity],
        "mean": row["low"],
        "interval": "" if row["high"] is None else f" ({ends(w, row['high'], row['b'])})",
    }
    told = w.many(
        "{n} pot lies apart, {name} {value:.2f}{unit}: without it the mean is {mean:.2f}{unit}{interval}. It stays "
        "in the figure.",
        "{n} pots lie apart, up to {name} {value:.2f}{unit}: without them the mean is {mean:.2f}{unit}{interval}. "
        "They stay in the figure.",
        row["pots"],
        **places,
    )
    return told + _grubbs(w, row)


def _grubbs(w: Speech, row: Row) -> str:
    """What Grubbs' test says beside, from seven pots."""
    if row["grubbs_g"] is None:
        return ""
    places = {"g": row["grubbs_g"], "limit": row["grubbs_critical"]}
    if row["is_grubbs_outlier"]:
        return " " + w("Grubbs' test agrees: G {g:.2f}, above its 5 % limit of {limit:.2f}.", **places)
    return " " + w("Grubbs' test does not: G {g:.2f}, not above its 5 % limit of {limit:.2f}.", **places)


def _one_bench(w: Speech, row: Row) -> str:
    return w(
        "All {pots} came from bench {bench}, the lot stands on others too: pick from all over.",
        pots=pots(w, row["pots"]),
        bench=row["what"],
    )


def _one_position(w: Speech, row: Row) -> str:
    return w(
        "All {pots} came from one place ({place}): pick from all over, the middle and the back too.",
        pots=pots(w, row["pots"]),
        place=row["what"],
    )


def _too_fast(w: Speech, row: Row) -> str:
    return w(
        "By the time stamps {pots} were read {seconds:.0f} s apart. Was each left to settle?",
        pots=pots(w, row["of_pots"]),
        seconds=row["a"],
    )


def _entered_late(w: Speech, row: Row) -> str:
    return w(
        "{pots} came {days} after they were read. Were they written down that day?",
        pots=of_pots(w, row),
        days=days(w, round(row["a"])),
    )


def _reading_corrected(w: Speech, row: Row) -> str:
    return w(
        "{readings} replaced by a later version; both are kept.",
        readings=readings(w, row["pots"]),
    )


def _sent_again(w: Speech, row: Row) -> str:
    return w.many(
        "{file} came again with {n} more reading of this sampling, and without {gone} that it had before. All of them "
        "count. If it corrects them, number the pots, or send the file again with no more than half of its lines "
        "changed at a time.",
        "{file} came again with {n} more readings of this sampling, and without {gone} that it had before. All of them "
        "count. If it corrects them, number the pots, or send the file again with no more than half of its lines "
        "changed at a time.",
        row["pots"],
        file=row["what"],
        gone=round(row["a"]),
    )


def _uneven_ph(w: Speech, row: Row) -> str:
    return w(
        "Uneven: SD {sd:.2f} pH between pots (the policy allows {allowed:.2f}).",
        sd=row["a"],
        allowed=row["high"],
    )


def _uneven_ec(w: Speech, row: Row) -> str:
    return w(
        "Uneven: SD {sd:.2f} mS/cm between pots (the policy allows {allowed:.2f} mS/cm).",
        sd=row["a"],
        allowed=row["high"],
    )


def _same_as_before(w: Speech, row: Row) -> str:
    day = w.day(date.fromisoformat(row["what"]))
    return w(
        "All {pots} read as they did on {day}. Were they read anew?", pots=pots(w, row["of_pots"]), day=day
    )


def _ec_below_water(w: Speech, row: Row) -> str:
    return w(
        "EC {ec:.2f} mS/cm in the leachate, the source water had {water:.2f} mS/cm on {day}: check the meter, and what "
        "was poured.",
        ec=row["a"],
        water=row["b"],
        day=w.day(date.fromisoformat(row["what"])),
    )


def _meter_in_doubt(w: Speech, row: Row) -> str:
    return w("Read with {meters}.", meters=explain_doubted(row["doubted_meters"], w))


def _not_bracketing(w: Speech, row: Row) -> str:
    return explain_not_bracketed(row["meters_not_bracketed"], w)


FINDINGS: Final[dict[str, Write]] = {
    "too_few_pots": _too_few_pots,
    "over_collected": _over_collected,
    "under_collected": _under_collected,
    "volume_excludes_ec": _volume_excludes_ec,
    "no_temperature": _no_temperature,
    "odd_temperature": _odd_temperature,
    "volume_not_recorded": _volume_not_recorded,
    "unequal_volumes": _unequal_volumes,
    "poured_off_recipe": _poured_off_recipe,
    "poured_not_distilled": _poured_not_distilled,
    "more_than_poured": _more_than_poured,
    "drain_time": _drain_time,
    "meter_not_calibrated": _meter_not_calibrated,
    "affected_in_routine": _affected_in_routine,
    "all_alike": _all_alike,
    "outlier_ph": _outlier,
    "outlier_ec": _outlier,
    "one_bench": _one_bench,
    "one_position": _one_position,
    "too_fast": _too_fast,
    "entered_late": _entered_late,
    "reading_corrected": _reading_corrected,
    "sent_again": _sent_again,
    "uneven_ph": _uneven_ph,
    "uneven_ec": _uneven_ec,
    "same_as_before": _same_as_before,
    "ec_below_water": _ec_below_water,
    "meter_in_doubt": _meter_in_doubt,
    "buffers_not_bracketing": _not_bracketing,
}
