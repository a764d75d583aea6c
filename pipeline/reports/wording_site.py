"""Sentences about a site: its water and feed, its lists, its figures of a month, two samplings beside each other."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from pipeline.languages import Speech
from pipeline.reports.wording_figures import (
    UNITS,
    Row,
    containers_of,
    quantity_of,
    readings,
    signed,
    some,
    unit_of,
)
from pipeline.reports.wording_reasons import explain_alkalinity, explain_move

Write = Callable[[Speech, Row], str]


def _alkalinity_off(w: Speech, row: Row) -> str:
    """One water against the ranges of all containers for which it lies outside."""
    ranges = row["ranges"]
    shown = ", ".join(
        w(
            "{range} mg/L for {containers}",
            range=explain_alkalinity(w, one["low"], one["high"]),
            containers=containers_of(w, one["classes"]),
        )
        for one in ranges
    )
    is_low = [one["low"] is not None and row["a"] < one["low"] for one in ranges]
    side = w("below") if all(is_low) else w("outside") if any(is_low) else w("above")
    acid = (
        ""
        if row["c"] is None
        else " "
        + w(
            "Such water tends to raise pH; above {limit:.0f} mg/L growers consider treating the water with acid.",
            limit=row["c"],
        )
    )
    return (
        w(
            "Source water of {day}: alkalinity {found:.0f} mg/L as CaCO3, {side} what is published: {ranges}.",
            day=w.day(row["checked_on"]),
            found=row["a"],
            side=side,
            ranges=shown,
        )
        + acid
    )


def _hose(w: Speech, row: Row) -> str:
    return (
        w("Feed at the hose end ({place})", place=row["place"]) if row["place"] else w("Feed at the hose end")
    )


def _feed_off(w: Speech, row: Row) -> str:
    return w(
        "{hose} is {word}: {found:.2f} mS/cm on {day}, its target is {target:.2f} mS/cm. The source water has "
        "{water:.2f} mS/cm ({water_day}), so the feed adds {added:.2f} mS/cm instead of {wanted:.2f} mS/cm "
        "({share:.0f} %). Check injector and stock tank.",
        hose=_hose(w, row),
        word=w("weak") if row["rule"] == "feed_weak" else w("strong"),
        found=row["a"],
        day=w.day(row["checked_on"]),
        target=row["c"],
        water=row["b"],
        water_day=w.day(row["water_on"]),
        added=row["a"] - row["b"],
        wanted=row["c"] - row["b"],
        share=row["d"] * 100,
    )


def _feed_below_water(w: Speech, row: Row) -> str:
    return w(
        "{hose} has {found:.2f} mS/cm on {day}, less than the source water alone ({water:.2f} mS/cm on {water_day}). "
        "Check the meter, and whether both were the same water.",
        hose=_hose(w, row),
        found=row["a"],
        day=w.day(row["checked_on"]),
        water=row["b"],
        water_day=w.day(row["water_on"]),
    )


WATER_FINDINGS: Final[dict[str, Write]] = {
    "alkalinity_outside": _alkalinity_off,
    "alkalinity_acid": _alkalinity_off,
    "feed_weak": _feed_off,
    "feed_strong": _feed_off,
    "feed_below_water": _feed_below_water,
}


def _lot_not_listed(w: Speech, row: Row) -> str:
    return w.many(
        "{n} planted lot is not in the lot list: {names}. Nobody is asked to sample it.",
        "{n} planted lots are not in the lot list: {names}. Nobody is asked to sample them.",
        len(row["names"]),
        names=some(w, row["names"]),
    )


def _sampler_not_trained(w: Speech, row: Row) -> str:
    return w(
        "{readings} of the last 28 days by somebody who is not in the list of people or was trained later: {names}.",
        readings=readings(w, row["readings"]),
        names=some(w, row["names"]),
    )


def _lot_code_twice(w: Speech, row: Row) -> str:
    return w(
        "Codes that differ only in capital letters are taken as one lot: {names}. Give one of them another.",
        names=some(w, row["names"]),
    )


def _lot_gone(w: Speech, row: Row) -> str:
    names = some(w, row["names"])
    if len(row["names"]) == 1:
        return w.many(
            "Lot {names} is gone from the site's lot list: {n} reading of it waits until the list has it again.",
            "Lot {names} is gone from the site's lot list: {n} readings of it wait until the list has it again.",
            row["readings"],
            names=names,
        )
    return w.many(
        "Lots {names} are gone from the site's lot list: {n} reading of them waits until the list has them again.",
        "Lots {names} are gone from the site's lot list: {n} readings of them wait until the list has them again.",
        row["readings"],
        names=names,
    )


def _lot_ends_first(w: Speech, row: Row) -> str:
    return w.many(
        "{n} lot ends before it starts: {names}. Nobody is asked to sample it; mend its days in the lot list.",
        "{n} lots end before they start: {names}. Nobody is asked to sample them; mend their days in the lot list.",
        len(row["names"]),
        names=some(w, row["names"]),
    )


def _pots_not_told_apart(w: Speech, row: Row) -> str:
    return w(
        "{names}: {readings} of samplings in which a pot's number comes twice. Each counts as a pot of its own, and a "
        "correction of one of them cannot be told from another pot. Number the pots, or write numbers_pots = false "
        "into the [[export]], and this is said no more.",
        names=some(w, row["names"]),
        readings=readings(w, row["readings"]),
    )


LIST_FINDINGS: Final[dict[str, Write]] = {
    "lot_not_listed": _lot_not_listed,
    "sampler_not_trained": _sampler_not_trained,
    "lot_code_twice": _lot_code_twice,
    "lot_gone": _lot_gone,
    "lot_ends_first": _lot_ends_first,
    "pots_not_told_apart": _pots_not_told_apart,
}


def _last_digits(w: Speech, row: Row) -> str:
    return w(
        "Of {n} {name} readings of the last month {share:.0f} % end in {digit:.0f}, where one in ten would be "
        "expected. Are all digits of the meter written down?",
        n=row["n"],
        name=quantity_of(w, row),
        share=row["b"] * 100,
        digit=row["a"],
    )


def _whole_ec(w: Speech, row: Row) -> str:
    return w(
        "{whole:.0f} of {n} EC readings of the last month are whole numbers. Are they rounded?",
        whole=row["a"],
        n=row["n"],
    )


def _scale_jump(w: Speech, row: Row) -> str:
    return w(
        "The median EC of the last 14 days is {now:.2f} mS/cm, before it was {before:.2f} mS/cm in the same lots: "
        "about {factor}. Was a meter, its scale or the unit of the column changed?",
        now=row["a"],
        before=row["b"],
        factor=_factor(w, row["c"]),
    )


def _front_of_bench(w: Speech, row: Row) -> str:
    return w(
        "Of {n} pots of the last month whose row is written down {front:.0f} stood in the front row, where {chance} "
        "would be expected by chance: take pots from the middle and the back too.",
        n=row["n"],
        front=row["a"],
        chance=_expected_pots(w, row["b"]),
    )


def _expected_pots(w: Speech, value: float) -> str:
    """Pots are whole; below ten a tenth still tells something."""
    is_whole = value >= 10 or f"{value:.1f}".endswith(".0")
    return w.figure(value, ".0f" if is_whole else ".1f")


def _factor(w: Speech, value: float) -> str:
    if value in (1000.0, 2.0):
        return w("{n:.0f} times as much", n=value)
    if value == 0.001:
        return w("a thousandth")
    if value == 0.5:
        return w("half")
    if value == 0.7:
        return w("{n:.1f} times", n=value)
    return w("{n:.1f} times as much", n=value)


def _last_digits_of_days(w: Speech, row: Row) -> str:
    return w(
        "Of {n} {name} readings from {since} to {until} {share:.0f} % end in {digit:.0f}, where one in ten would be "
        "expected. Are all digits of the meter written down?",
        n=row["n"],
        name=quantity_of(w, row),
        since=w.day(row["from_on"]),
        until=w.day(row["until_on"]),
        share=row["b"] * 100,
        digit=row["a"],
    )


def _whole_ec_of_days(w: Speech, row: Row) -> str:
    return w(
        "{whole:.0f} of {n} EC readings from {since} to {until} are whole numbers. Are they rounded?",
        whole=row["a"],
        n=row["n"],
        since=w.day(row["from_on"]),
        until=w.day(row["until_on"]),
    )


QUESTIONS: Final[dict[str, Write]] = {
    "last_digits": _last_digits,
    "whole_ec": _whole_ec,
    "scale_jump": _scale_jump,
    "front_of_bench": _front_of_bench,
}
QUESTIONS_OF_DAYS: Final[dict[str, Write]] = {
    **QUESTIONS,
    "last_digits": _last_digits_of_days,
    "whole_ec": _whole_ec_of_days,
}
"""The same asked over days that a row names (from_on, until_on) instead of the last month."""


def explain_contrast(w: Speech, row: Row) -> str:
    """Two samplings of a lot against each other, for one row of the relation `contrasts`."""
    first, second = {
        "affected": (w("affected plants"), w("healthy ones")),
        "feed": (w("before feeding"), w("after feeding")),
        "treatment": (w("before the treatment"), w("after it")),
    }[row["comparison"]]
    figures = w(
        "{name} {one:.2f}{unit} {first} ({first_day}), {other:.2f}{unit} {second} ({second_day})",
        name=quantity_of(w, row),
        one=row["mean_first"],
        unit=unit_of(row),
        first=first,
        first_day=w.day(row["first_on"]),
        other=row["mean_second"],
        second=second,
        second_day=w.day(row["second_on"]),
    )
    if row["word"] == "too_few":
        return w("{figures}: too few pots to tell them apart.", figures=figures)
    difference, low, high = row["difference"], row["ci_low"], row["ci_high"]
    if row["comparison"] == "affected":
        verdict = _gap(w, row, difference, low, high)
    else:
        # What moved is what came after less what was before.
        difference, low, high = -difference, _minus(high), _minus(low)
        verdict = explain_move(w, row, difference, low, high, is_clear=row["word"] == "clear")
    interval = "" if low is None else f", {w('{low} to {high}', low=signed(w, low), high=signed(w, high))}"
    return f"{figures}: {verdict} ({signed(w, difference)}{interval})."


def _minus(value: float | None) -> float | None:
    return None if value is None else -value


def _gap(w: Speech, row: Row, difference: float, low: float | None, high: float | None) -> str:
    """What is said of two groups of pots of one day."""
    if row["word"] == "clear":
        return w("a clear difference")
    if low is None or high is None or low <= 0 <= high:
        return w("no clear difference")
    if abs(difference) < row["step"] - 1e-9:
        return w(
            "a small difference, less than {step}",
            step=f"{w.figure(row['step'], 'g')}{UNITS[row['quantity']] or ' pH'}",
        )
    return w("a difference, but so few pots do not prove it")
