"""Samplings of a lot: which pots are usable, what the figures are, on which side of the target they lie."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from fractions import Fraction

from tests.oracle.fates import Calibration, Lot, Reading
from tests.oracle.fields import round_half_up
from tests.oracle.figures import Measured, Statistics, median_of, statistics_of
from tests.oracle.meter_checks import buffers_in
from tests.oracle.settings import Policy
from tests.oracle.targets import (
    SEVERAL_METHODS,
    References,
    Target,
    band_of,
    is_of_another_method,
    is_very_high,
    other_published_ranges,
    ph_group_of,
    target_of,
)

QUANTITIES = ("ph", "ec")


@dataclass(frozen=True)
class Pot:
    """A reading as its sampling sees it."""

    reading: Reading
    ec_ms_cm: Fraction | None
    usable_ph: bool
    usable_ec: bool
    why_not_ec: str | None
    is_over: bool
    is_under: bool


@dataclass(frozen=True)
class Judged:
    """One quantity of a sampling. `decides` is the mean that was judged; None: not judged."""

    statistics: Statistics
    target: Target | None
    decides: Fraction | None
    side: str | None
    verdict: str | None
    beyond_by_margin: bool
    at_least: bool
    inside_another_range: bool
    band: str | None
    pots_in_range: int | None
    not_judged_why: str | None
    is_very_high: bool = False
    bound_pots: int | None = None
    in_a_row: int = 0

    @property
    def is_out(self) -> bool:
        return self.side in ("low", "high")

    @property
    def is_uneven_over(self) -> Fraction | None:
        """The exact variance when it was measured, None when it was assumed or cannot be known."""
        return None if self.statistics.sd_assumed else self.statistics.variance


@dataclass(frozen=True)
class Sampling:
    """All accepted readings of one lot on one day for one purpose."""

    lot: Lot
    sampled_on: date
    purpose: str
    policy: Policy
    pots: tuple[Pot, ...]
    min_pots: int
    counts: bool
    proper: str
    meter_ids: tuple[str, ...]
    meter_calibrated: bool | None
    meter_in_doubt: bool
    # Some reading's meter has no accepted check that day; some meter has one, with buffers that do not bracket.
    meter_unchecked: bool
    meter_unbracketed: bool
    stage: str
    quantities: dict[str, Judged] = field(default_factory=dict)

    @property
    def is_followed(self) -> bool:
        """Routine samplings and retests make the streaks and the schedule."""
        return self.purpose in ("routine", "retest")


def stage_on(lot: Lot, day: date, policy: Policy) -> str:
    """Establishing for the first days, finishing for the last, active between."""
    if day < lot.started_on + timedelta(days=int(policy["establishing_days"])):
        return "establishing"
    if lot.ends_on is not None and day > lot.ends_on - timedelta(days=int(policy["finishing_days"])):
        return "finishing"
    return "active"


# Volumes and temperature -------------------------------------------------------------------------


def has_temperature(reading: Reading) -> bool:
    """Leachate is neither frozen nor hotter than 50 °C."""
    return reading.temperature_c is not None and 0 <= reading.temperature_c <= 50


def ec_at_25(reading: Reading, policy: Policy) -> Fraction | None:
    """EC / (1 + alpha (T - 25)), rounded once to four decimals, where the meter does not compensate.

    Without a temperature such a figure cannot be brought to 25 °C and is none.
    """
    if reading.ec_ms_cm is None or reading.ec_compensated:
        return reading.ec_ms_cm
    if reading.temperature_c is None or not has_temperature(reading):
        return None
    return round_half_up(reading.ec_ms_cm / (1 + policy["ec_alpha_per_c"] * (reading.temperature_c - 25)), 4)


def see_pot(reading: Reading, lot: Lot, policy: Policy) -> Pot:
    """A pot's EC is not usable: not measured, no temperature for a meter that needs it, far too much or too
    little water.

    Over and under collected begin at the warning tolerance; excluded is beyond 1.4 x the upper or 0.5 x the
    lower target.
    """
    container = policy.containers[lot.container_class]
    low, high = container["leachate_low_ml"], container["leachate_high_ml"]
    volume = reading.leachate_ml
    is_over = volume is not None and volume > high * (1 + policy["volume_warn_share"])
    is_under = volume is not None and volume < low * (1 - policy["volume_warn_share"])
    why: str | None = None
    if reading.ec_ms_cm is None:
        why = "not_measured"
    elif not reading.ec_compensated and not has_temperature(reading):
        why = "no_temperature"
    elif volume is not None and volume > policy["volume_exclude_over"] * high:
        why = "over_collected"
    elif volume is not None and volume < policy["volume_exclude_under"] * low:
        why = "under_collected"
    return Pot(
        reading, ec_at_25(reading, policy), reading.ph is not None, why is None, why, is_over, is_under
    )


def count(pots: list[Pot]) -> int:
    """Pots, not lines: a line weighs the pots that it stands for."""
    return sum(pot.reading.n_pots for pot in pots)


# Meters ------------------------------------------------------------------------------------------


def is_accepted(calibration: Calibration, policy: Policy) -> bool:
    """Slope and offset within limits, EC standard found within 5 %, and not marked as failed. What is not
    sent passes.
    """
    slope, offset = calibration.slope_pct, calibration.offset_mv
    if slope is not None and not policy["slope_low_pct"] <= slope <= policy["slope_high_pct"]:
        return False
    if offset is not None and abs(offset) > policy["offset_limit_mv"]:
        return False
    error = calibration.worst_error_ph
    if error is not None and error > policy["buffer_limit_ph"]:
        return False
    if calibration.ec_standard and calibration.ec_found is not None:
        off = abs(calibration.ec_found - calibration.ec_standard) / calibration.ec_standard
        if off > policy["ec_standard_share"]:
            return False
    return calibration.passed is not False


def latest_calibration(calibrations: list[Calibration], meter_id: str, day: date) -> Calibration | None:
    """The meter's last calibration up to and including the day; of equal times the later line."""
    own = [each for each in calibrations if each.meter_id == meter_id and each.day <= day]
    found: Calibration | None = None
    for each in own:
        if found is None or each.when >= found.when:
            found = each
    return found


def next_calibration(calibrations: list[Calibration], meter_id: str, day: date) -> Calibration | None:
    """The meter's first calibration after the day; of equal times the earlier line."""
    found: Calibration | None = None
    for each in calibrations:
        if each.meter_id != meter_id or each.day <= day:
            continue
        if found is None or each.when < found.when:
            found = each
    return found


def is_in_doubt(calibrations: list[Calibration], meter_id: str, day: date, policy: Policy) -> bool:
    """A meter is in doubt when its latest calibration failed, and when the next one will fail.

    Nobody knows since when the meter was wrong, so a failure reaches back over the days before it; only a
    day with an accepted calibration of its own is free of that.
    """
    latest = latest_calibration(calibrations, meter_id, day)
    if latest is not None and not is_accepted(latest, policy):
        return True
    following = next_calibration(calibrations, meter_id, day)
    return (
        following is not None
        and not is_accepted(following, policy)
        and not is_checked_on(calibrations, meter_id, day, policy)
    )


def is_checked_on(calibrations: list[Calibration], meter_id: str, day: date, policy: Policy) -> bool:
    """An accepted calibration of that meter on that day, whatever its buffers."""
    return any(
        each.meter_id == meter_id and each.day == day and is_accepted(each, policy) for each in calibrations
    )


def is_bracketed(readings: list[Fraction], buffers: list[Fraction]) -> bool:
    """Every pH lies between the lowest and the highest buffer. Buffers not written down demand nothing."""
    return not readings or not buffers or (min(buffers) <= min(readings) and max(buffers) >= max(readings))


def is_calibrated_on(
    calibrations: list[Calibration], day_readings: list[Reading], meter_id: str, day: date, policy: Policy
) -> bool:
    """An accepted calibration of that meter on that day, with buffers on both sides of all that it read.

    `day_readings` are the site's readings, of all lots and meters; those of other days do not matter.
    """
    read = [
        reading.ph
        for reading in day_readings
        if reading.meter_id == meter_id and reading.sampled_on == day and reading.ph is not None
    ]
    return any(
        each.meter_id == meter_id
        and each.day == day
        and is_accepted(each, policy)
        and is_bracketed(read, buffers_in(each.buffers) or [])
        for each in calibrations
    )


# Judging -----------------------------------------------------------------------------------------


def margin_of(quantity: str, side: str, edge: Fraction, policy: Policy) -> Fraction:
    """How far beyond the edge is clearly beyond: 0.2 pH; 15 % of the EC edge, 0.4 mS/cm below or 0.5 above at least."""
    if quantity == "ph":
        return policy["clear_margin_ph"]
    return max(policy["clear_margin_ec_share"] * edge, policy[f"clear_margin_ec_{side}_ms_cm"])


def crosses_threshold(
    quantity: str, mean: Fraction, side: str, target: Target, ph_group: str | None, policy: Policy
) -> bool:
    """A published action threshold, crossed by the mean of a lot that is out on that side.

    pH above 6.4 for iron-inefficient crops, below 5.5 for iron-efficient ones, below 5.4 for all others. A
    threshold that is not beyond the target's own edge says nothing of its own.
    """
    if quantity != "ph":
        return False
    if side == "high":
        limit = policy["ph_action_high_iron_inefficient"]
        return ph_group == "iron-inefficient" and target.high < limit < mean
    efficient = ph_group == "iron-efficient"
    limit = policy["ph_action_low_iron_efficient" if efficient else "ph_action_low_other"]
    return mean < limit < target.low


def judge(
    quantity: str,
    lot: Lot,
    policy: Policy,
    references: References,
    target: Target,
    figures: Statistics,
    decides: Fraction,
    at_least: bool,
    method: str | None,
) -> tuple[str, str, bool, bool]:
    """Side, verdict, whether beyond the edge by the margin, whether inside another published range.

    Edges belong to the range. Clearly out: the whole interval beyond the edge and the mean by the margin,
    or an action threshold crossed; but only `out` where another source publishes a range with the mean in
    it, or where the pots are biased. Inside: close to limit when the interval reaches over an edge.
    """
    side = "low" if decides < target.low else "high" if decides > target.high else "in_range"
    if side == "in_range":
        crosses = (
            figures.ci_low is not None
            and figures.ci_high is not None
            and (figures.ci_low < float(target.low) or figures.ci_high > float(target.high))
        )
        return side, "close_to_limit" if crosses else "in_range", False, False
    edge = target.low if side == "low" else target.high
    beyond = abs(decides - edge) >= margin_of(quantity, side, edge, policy)
    # Published EC ranges are of the pour-through: they say nothing of a number of another method.
    comparable = quantity == "ph" or method == "pour-through"
    inside_another = comparable and any(
        low <= decides <= high for low, high in other_published_ranges(lot, quantity, policy, references)
    )
    wholly = (side == "high" and figures.ci_low is not None and figures.ci_low > float(edge)) or (
        side == "low" and figures.ci_high is not None and figures.ci_high < float(edge)
    )
    ph_group = ph_group_of(references, lot.crop, policy)
    clearly = (wholly and beyond) or crosses_threshold(quantity, decides, side, target, ph_group, policy)
    verdict = "clearly_out" if clearly and not inside_another and not at_least else "out"
    return side, verdict, beyond, inside_another


def measure(quantity: str, pots: list[Pot], policy: Policy) -> Statistics:
    """Figures of the given pots; of an EC at 25 °C, with its own SD brought to 25 °C by the same factor."""
    lines: list[Measured] = []
    for pot in pots:
        value = pot.reading.ph if quantity == "ph" else pot.ec_ms_cm
        if value is None:
            continue
        own_sd = pot.reading.ph_sd if quantity == "ph" else pot.reading.ec_sd_ms_cm
        if quantity == "ec" and own_sd is not None and pot.reading.ec_ms_cm:
            own_sd = own_sd * value / pot.reading.ec_ms_cm
        lines.append(Measured(value, pot.reading.n_pots, own_sd))
    return statistics_of(lines, policy["summary_ph_sd" if quantity == "ph" else "summary_ec_sd_ms_cm"])


def biased_pots(pots: list[Pot], side: str) -> list[Pot]:
    """Pots whose EC errs on one side only: over-collected ones read low, under-collected ones high."""
    return [
        pot
        for pot in pots
        if pot.why_not_ec not in ("not_measured", "no_temperature")
        and not (pot.is_under if side == "high" else pot.is_over)
    ]


def decided_by_bias(pots: list[Pot], min_pots: int, policy: Policy, target: Target) -> Fraction | None:
    """The mean of enough pots that err towards the target and lie beyond it all the same.

    Over-collected pots read low: still above the range they are high, at least. Under-collected ones
    the other way.
    """
    for side in ("high", "low"):
        biased = biased_pots(pots, side)
        mean = measure("ec", biased, policy).mean
        if mean is None or count(biased) < min_pots:
            continue
        if (side == "high" and mean > target.high) or (side == "low" and mean < target.low):
            return mean
    return None


def method_of(pots: list[Pot]) -> str | None:
    """The extraction method of all readings of a sampling."""
    methods = {pot.reading.method for pot in pots}
    return methods.pop() if len(methods) == 1 else SEVERAL_METHODS


def why_not_judged(
    quantity: str, pots: list[Pot], counts: bool, min_pots: int, target: Target | None
) -> str | None:
    """Too few pots for the sampling to count; no target; for EC a published target of another method; and
    where the pots for EC are too few, why they are.

    That is volume or temperature, whichever leaves out more pots; else they were not measured.
    """
    if not counts:
        return "too_few_pots"
    if target is None:
        return "no_target"
    if quantity == "ec" and is_of_another_method(target, method_of(pots)):
        return "other_method"
    if quantity == "ph" or count([pot for pot in pots if pot.usable_ec]) >= min_pots:
        return None
    by_volume = count([pot for pot in pots if pot.why_not_ec in ("over_collected", "under_collected")])
    by_temperature = count([pot for pot in pots if pot.why_not_ec == "no_temperature"])
    if by_volume or by_temperature:
        return "volume" if by_volume >= by_temperature else "no_temperature"
    return "not_measured"


def judge_quantity(
    quantity: str,
    lot: Lot,
    pots: list[Pot],
    counts: bool,
    min_pots: int,
    policy: Policy,
    references: References,
    stage: str,
) -> Judged:
    """Figures of the usable pots, and the verdict: from them, or for EC from biased pots that are out all
    the same.
    """
    usable = [pot for pot in pots if (pot.usable_ph if quantity == "ph" else pot.usable_ec)]
    figures = measure(quantity, usable, policy)
    target = target_of(lot, quantity, policy, references, stage)
    why = why_not_judged(quantity, pots, counts, min_pots, target)
    method = method_of(pots)
    in_range: int | None = None
    if target is not None and figures.is_pot_level and figures.n > 0:
        in_range = sum(
            1
            for pot in usable
            if (value := pot.reading.ph if quantity == "ph" else pot.ec_ms_cm) is not None
            and target.low <= value <= target.high
        )
    judged = Judged(
        statistics=figures,
        target=target,
        decides=None,
        side=None,
        verdict=None,
        beyond_by_margin=False,
        at_least=False,
        inside_another_range=False,
        band=band_of(figures.mean, method, references) if quantity == "ec" else None,
        pots_in_range=in_range,
        not_judged_why=why,
        is_very_high=quantity == "ec"
        and figures.mean is not None
        and figures.n >= min_pots
        and is_very_high(figures.mean, method, policy, references),
    )
    at_least = why == "volume"
    if target is None or (why is not None and not at_least):
        return judged
    decides = decided_by_bias(pots, min_pots, policy, target) if at_least else figures.mean
    if decides is None:
        return judged
    side, verdict, beyond, inside = judge(
        quantity, lot, policy, references, target, figures, decides, at_least, method
    )
    return replace(
        judged,
        decides=decides,
        side=side,
        verdict=verdict,
        beyond_by_margin=beyond,
        at_least=at_least,
        bound_pots=count(biased_pots(pots, side)) if at_least else None,
        inside_another_range=inside,
        not_judged_why=None,
        is_very_high=quantity == "ec" and is_very_high(decides, method, policy, references),
    )


def properness(pots: list[Pot], min_pots: int, calibrated: bool | None, in_doubt: bool) -> str:
    """Proper: enough pots for pH with a recorded volume within the tolerance, enough for EC, no meter in
    doubt, all meters calibrated.

    Where the site sends no calibrations the last cannot be shown.
    """
    within = [
        pot
        for pot in pots
        if pot.usable_ph and pot.reading.leachate_ml is not None and not pot.is_over and not pot.is_under
    ]
    if count(within) < min_pots or count([pot for pot in pots if pot.usable_ec]) < min_pots:
        return "no"
    if in_doubt:
        return "no"
    if calibrated is None:
        return "not_shown"
    return "yes" if calibrated else "no"


def sample(
    lot: Lot,
    sampled_on: date,
    purpose: str,
    readings: list[Reading],
    day_readings: list[Reading],
    calibrations: list[Calibration] | None,
    policy: Policy,
    references: References,
) -> Sampling:
    """One sampling. `calibrations` is None where the site sends none; `day_readings` are all that the site
    read that day.
    """
    pots = [see_pot(reading, lot, policy) for reading in readings]
    min_pots = int(policy.containers[lot.container_class]["min_usable_pots"])
    counts = count([pot for pot in pots if pot.usable_ph]) >= min_pots
    meters = sorted({reading.meter_id for reading in readings if reading.meter_id is not None})
    calibrated: bool | None = None
    if calibrations is not None:
        calibrated = all(
            reading.meter_id is not None
            and is_calibrated_on(calibrations, day_readings, reading.meter_id, sampled_on, policy)
            for reading in readings
        )
    in_doubt = any(is_in_doubt(calibrations or [], meter, sampled_on, policy) for meter in meters)
    checked = {meter for meter in meters if is_checked_on(calibrations or [], meter, sampled_on, policy)}
    return Sampling(
        lot=lot,
        sampled_on=sampled_on,
        purpose=purpose,
        policy=policy,
        pots=tuple(pots),
        min_pots=min_pots,
        counts=counts,
        proper=properness(pots, min_pots, calibrated, in_doubt),
        meter_ids=tuple(meters),
        meter_calibrated=calibrated,
        meter_in_doubt=in_doubt,
        meter_unchecked=any(reading.meter_id not in checked for reading in readings),
        meter_unbracketed=any(
            not is_calibrated_on(calibrations or [], day_readings, meter, sampled_on, policy)
            for meter in checked
        ),
        stage=stage_on(lot, sampled_on, policy),
        quantities={
            quantity: judge_quantity(
                quantity, lot, pots, counts, min_pots, policy, references, stage_on(lot, sampled_on, policy)
            )
            for quantity in QUANTITIES
        },
    )


def count_in_a_row(samplings: list[Sampling], waited_for: Collection[date] = ()) -> list[Sampling]:
    """Routine samplings and retests, by date: out on the same side again makes the row longer.

    One in range ends it; one that is not judged neither ends nor lengthens it. Other purposes have no row.
    A retest on a day on which a treatment's waiting time was not over does not lengthen it either.
    """
    result: list[Sampling] = []
    running: dict[str, tuple[str, int]] = {}
    for sampling in samplings:
        quantities = dict(sampling.quantities)
        for quantity, judged in sampling.quantities.items():
            if not sampling.is_followed or judged.side is None:
                continue
            if judged.side == "in_range":
                running.pop(quantity, None)
                continue
            side, so_far = running.get(quantity, (judged.side, 0))
            is_early = sampling.purpose == "retest" and sampling.sampled_on in waited_for
            so_far = (so_far if side == judged.side else 0) + (not is_early)
            running[quantity] = (judged.side, so_far)
            quantities[quantity] = replace(judged, in_a_row=max(so_far, 1))
        result.append(replace(sampling, quantities=quantities))
    return result


def leachate_median(sampling: Sampling) -> Fraction | None:
    """Median of the recorded volumes, a line counted once for each pot that it stands for."""
    volumes = [
        pot.reading.leachate_ml
        for pot in sampling.pots
        if pot.reading.leachate_ml is not None
        for _ in range(pot.reading.n_pots)
    ]
    return median_of(volumes)


def is_uneven(sampling: Sampling, quantity: str) -> bool:
    """The measured SD is over policy."""
    variance = sampling.quantities[quantity].is_uneven_over
    limit = sampling.policy["uneven_ph_sd" if quantity == "ph" else "uneven_ec_sd_ms_cm"]
    return variance is not None and math.isfinite(float(variance)) and variance > limit * limit
