"""Who needs what: the level of a lot with its reasons, and its score."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from tests.oracle.fates import Lot
from tests.oracle.measures import Measures, measure_reasons
from tests.oracle.outliers import side_without
from tests.oracle.samplings import QUANTITIES, Judged, Sampling, is_uneven, margin_of, stage_on
from tests.oracle.settings import Policy, fold
from tests.oracle.targets import is_shown_against_its_own_history
from tests.oracle.treatments import LastTreatment

LEVELS = ("act", "no_reading", "watch", "ok")
GRACE_FROM_DAYS = 14


@dataclass(frozen=True)
class Reason:
    """One reason for a level."""

    code: str
    level: str
    quantity: str | None = None
    side: str | None = None


def routine_interval(lot: Lot, policy: Policy) -> int:
    """Days between routine samplings: the container class's, for problem crops at most the problem
    interval.
    """
    days = int(policy.containers[lot.container_class]["routine_interval_days"])
    return min(days, int(policy["problem_interval_days"])) if fold(lot.crop) in policy.problem_crops else days


def last_counting(samplings: list[Sampling]) -> Sampling | None:
    """The last counting routine sampling or retest."""
    counting = [sampling for sampling in samplings if sampling.is_followed and sampling.counts]
    return counting[-1] if counting else None


def low_ec_is_a_note(sampling: Sampling, quantity: str, side: str | None) -> bool:
    """Low EC matters only while a lot is active; a young lot was hardly fed, an old one is being finished."""
    return quantity == "ec" and side == "low" and sampling.stage != "active"


def is_far_below(judged: Judged, policy: Policy) -> bool:
    """Below 0.7 x the low edge."""
    return (
        judged.target is not None
        and judged.decides is not None
        and judged.decides < policy["ec_low_act_share"] * judged.target.low
    )


def is_clearly_out_to_act(sampling: Sampling, quantity: str, policy: Policy) -> bool:
    """Clearly out on the sampling; low EC only in an active lot, and below 0.7 x the edge or twice in a
    row.
    """
    judged = sampling.quantities[quantity]
    if judged.verdict != "clearly_out":
        return False
    if quantity == "ec" and judged.side == "low":
        return sampling.stage == "active" and (is_far_below(judged, policy) or judged.in_a_row >= 2)
    return True


def is_in_a_row_to_act(samplings: list[Sampling], last: Sampling, quantity: str, policy: Policy) -> bool:
    """Out so many times in a row, the last two means both beyond the edge by the margin; low EC only when
    active.
    """
    judged = last.quantities[quantity]
    if not judged.is_out or judged.in_a_row < policy["act_in_a_row"]:
        return False
    if low_ec_is_a_note(last, quantity, judged.side):
        return False
    followed = [
        sampling.quantities[quantity]
        for sampling in samplings
        if sampling.is_followed and sampling.quantities[quantity].side is not None
    ]
    place = next(index for index, each in enumerate(followed) if each is judged)
    return all(each.beyond_by_margin for each in followed[max(0, place - 1) : place + 1])


def is_extreme_ec(sampling: Sampling) -> bool:
    """An EC mean that is very high for its extraction method, nursery stock apart.

    Judged, or not judged only because no published target serves the crop or the method.
    """
    judged = sampling.quantities["ec"]
    if judged.not_judged_why in ("no_target", "other_method"):
        return judged.is_very_high and not is_shown_against_its_own_history(sampling.lot)
    return judged.is_very_high and judged.decides is not None and sampling.lot.container_class != "nursery"


def act_reasons(samplings: list[Sampling], last: Sampling, policy: Policy) -> list[Reason]:
    """What the last counting sampling asks to be done."""
    reasons: list[Reason] = []
    for quantity in QUANTITIES:
        side = last.quantities[quantity].side
        # A side that hangs on one pot is watched.
        if side_without(last, quantity) is not None:
            continue
        if is_clearly_out_to_act(last, quantity, policy):
            reasons.append(Reason("clearly_out", "act", quantity, side))
        elif is_in_a_row_to_act(samplings, last, quantity, policy):
            reasons.append(Reason("in_a_row", "act", quantity, side))
    if is_extreme_ec(last):
        level = "act" if side_without(last, "ec") is None else "watch"
        reasons.append(Reason("ec_extreme", level, "ec", "high"))
    return reasons


def stays_act(samplings: list[Sampling], last: Sampling, quantity: str) -> bool:
    """Read by a meter in doubt and out, as the judged sampling before was clearly by one that is not; no low EC."""
    judged = last.quantities[quantity]
    if not judged.is_out or judged.in_a_row < 2 or (quantity, judged.side) == ("ec", "low"):
        return False
    followed = [one for one in samplings if one.is_followed and one.quantities[quantity].side is not None]
    place = next(index for index, each in enumerate(followed) if each is last)
    before = followed[place - 1]
    return (
        place > 0
        and before.quantities[quantity].verdict == "clearly_out"
        and not before.meter_in_doubt
        and side_without(before, quantity) is None
        and side_without(last, quantity) is None
    )


def affected_reasons(samplings: list[Sampling], policy: Policy, as_of: date) -> list[Reason]:
    """The latest affected sampling of the last days, counting and clearly out.

    Only watch when its meter was in doubt, and for low EC that is not below 0.7 x the edge; low EC of a lot
    that is not active is no reason.
    """
    recent = recent_affected(samplings, policy, as_of)
    if not recent or not recent[-1].counts:
        return []
    latest = recent[-1]
    reasons: list[Reason] = []
    for quantity, judged in latest.quantities.items():
        if judged.verdict != "clearly_out" or low_ec_is_a_note(latest, quantity, judged.side):
            continue
        mild = quantity == "ec" and judged.side == "low" and not is_far_below(judged, policy)
        hangs = side_without(latest, quantity) is not None
        level = "watch" if mild or latest.meter_in_doubt or hangs else "act"
        reasons.append(Reason("affected_clearly_out", level, quantity, judged.side))
    return reasons


def recent_affected(samplings: list[Sampling], policy: Policy, as_of: date) -> list[Sampling]:
    since = as_of - timedelta(days=int(policy["affected_within_days"]))
    return [
        sampling for sampling in samplings if sampling.purpose == "affected" and sampling.sampled_on >= since
    ]


def has_no_reading(lot: Lot, last: Sampling | None, policy: Policy, as_of: date) -> bool:
    """The last counting sampling is older than interval and grace; or there is none and the first was due."""
    if last is None:
        return as_of > lot.stands_from + timedelta(days=int(policy["first_within_days"]))
    interval = routine_interval(lot, policy)
    grace = int(policy["grace_days"]) if interval >= GRACE_FROM_DAYS else 0
    return (as_of - last.sampled_on).days > interval + grace


def watch_reasons(
    samplings: list[Sampling], last: Sampling | None, policy: Policy, as_of: date, acted: set[str | None]
) -> list[Reason]:
    """Out, close to limit, uneven, affected plants, meter in doubt, a sampling that did not count, EC not
    judged.
    """
    reasons: list[Reason] = []
    after = [
        sampling
        for sampling in samplings
        if sampling.is_followed
        and not sampling.counts
        and (last is None or sampling.sampled_on > last.sampled_on)
    ]
    if last is not None:
        for quantity in QUANTITIES:
            judged = last.quantities[quantity]
            side = judged.side
            if judged.is_out and quantity not in acted:
                level = "note" if low_ec_is_a_note(last, quantity, side) else "watch"
                reasons.append(Reason("out", level, quantity, side))
            if judged.verdict == "close_to_limit":
                assert judged.target is not None
                assert judged.statistics.ci_low is not None
                assert judged.statistics.ci_high is not None
                over_low = judged.statistics.ci_low < float(judged.target.low)
                over_high = judged.statistics.ci_high > float(judged.target.high)
                is_note = low_ec_is_a_note(last, quantity, "low") and over_low and not over_high
                reached = None if over_low and over_high else "low" if over_low else "high"
                reasons.append(Reason("close_to_limit", "note" if is_note else "watch", quantity, reached))
            if is_uneven(last, quantity):
                reasons.append(Reason("uneven", "watch", quantity))
        if last.meter_in_doubt:
            reasons.append(Reason("meter_in_doubt", "watch"))
        ec = last.quantities["ec"]
        if ec.target is not None and ec.not_judged_why in ("volume", "no_temperature"):
            reasons.append(Reason("ec_not_judged", "watch", "ec"))
    if recent_affected(samplings, policy, as_of):
        reasons.append(Reason("affected_plants", "watch"))
    if after:
        reasons.append(Reason("did_not_count", "watch"))
    return reasons


def side_of_volume(sampling: Sampling) -> str | None:
    """Whether too much or too little was collected from most of the pots, where volume is why EC is not judged."""
    if sampling.quantities["ec"].not_judged_why != "volume":
        return None
    over = sum(pot.reading.n_pots for pot in sampling.pots if pot.why_not_ec == "over_collected")
    under = sum(pot.reading.n_pots for pot in sampling.pots if pot.why_not_ec == "under_collected")
    return None if over == under else "high" if over > under else "low"


def out_since(samplings: list[Sampling], quantity: str, side: str) -> date:
    """The first day of the row of samplings out on a side that ends with the last one judged."""
    since = date.max
    for sampling in reversed(samplings):
        found = sampling.quantities[quantity].side if sampling.is_followed else None
        if found is None:
            continue
        if found != side:
            break
        since = sampling.sampled_on
    return since


def retest_reasons(
    samplings: list[Sampling],
    last: Sampling | None,
    treatment: LastTreatment | None,
    is_retest_excused: bool,
    as_of: date,
) -> list[Reason]:
    """A retest that is awaited (a note), or missed; or read, and still out on the side on which it was out before."""
    if treatment is None:
        return []
    if treatment.after is None:
        is_missed = treatment.retest_due_on < as_of and not is_retest_excused
        return [Reason("retest_missed", "watch") if is_missed else Reason("treated", "note")]
    reasons: list[Reason] = []
    if last is None:
        return reasons
    for quantity, judged in last.quantities.items():
        if (
            judged.side in ("low", "high")
            and not low_ec_is_a_note(last, quantity, judged.side)
            and out_since(samplings, quantity, judged.side) <= treatment.day
        ):
            reasons.append(Reason("unmoved", "watch", quantity, judged.side))
    return reasons


def reasons_of(
    lot: Lot,
    samplings: list[Sampling],
    policy: Policy,
    as_of: date,
    measures: Measures,
    is_retest_excused: bool = False,
) -> list[Reason]:
    """All reasons, worst first. A meter in doubt makes nothing act that was not so before."""
    last = last_counting(samplings)
    reasons: list[Reason] = []
    if last is not None and not last.meter_in_doubt:
        reasons += act_reasons(samplings, last, policy)
    elif last is not None:
        reasons += [
            Reason(
                "clearly_out" if last.quantities[quantity].verdict == "clearly_out" else "in_a_row",
                "act",
                quantity,
                last.quantities[quantity].side,
            )
            for quantity in QUANTITIES
            if stays_act(samplings, last, quantity)
        ]
    acted = {reason.quantity for reason in reasons if reason.code != "ec_extreme"}
    reasons += affected_reasons(samplings, policy, as_of)
    if has_no_reading(lot, last, policy, as_of):
        reasons.append(Reason("no_reading", "no_reading"))
    if last is not None and last.meter_in_doubt and is_extreme_ec(last):
        reasons.append(Reason("ec_extreme", "watch", "ec", "high"))
    reasons += watch_reasons(samplings, last, policy, as_of, acted)
    reasons += [Reason(*found) for found in measure_reasons(samplings, last, measures)]
    reasons += retest_reasons(samplings, last, measures.treatment, is_retest_excused, as_of)
    return sorted(reasons, key=lambda reason: (*LEVELS, "note").index(reason.level))


def level_of(reasons: list[Reason]) -> str:
    """The worst level among the reasons; notes do not count."""
    return min((reason.level for reason in reasons if reason.level != "note"), key=LEVELS.index, default="ok")


def score_of(samplings: list[Sampling], policy: Policy, reasons: list[Reason]) -> Fraction:
    """Steps beyond the edge (0.2 pH or 0.5 mS/cm each) times (1 + number in a row, and 1 more after a retest
    that was missed or is still out); the larger of the quantities.
    """
    last = last_counting(samplings)
    more = 1 if any(reason.code in ("retest_missed", "unmoved") for reason in reasons) else 0
    scores = [Fraction(0)]
    if last is not None:
        for quantity, judged in last.quantities.items():
            if not judged.is_out or judged.decides is None or judged.target is None:
                continue
            if low_ec_is_a_note(last, quantity, judged.side):
                continue
            edge = judged.target.low if judged.side == "low" else judged.target.high
            step = policy["step_ph" if quantity == "ph" else "step_ec_ms_cm"]
            is_weighed = (quantity, judged.side, last.stage) == ("ec", "high", "finishing")
            weight = last.policy["finishing_high_ec_weight"] if is_weighed else Fraction(1)
            scores.append(abs(judged.decides - edge) / step * weight * (1 + judged.in_a_row + more))
    return max(scores)


def rank_key(
    level: str, score: Fraction, lot: Lot, site_id: str, as_of: date
) -> tuple[int, Fraction, int, tuple[bool, int], str, str]:
    """Level, score, plants at stake, days to the end (unknown last), site, lot."""
    to_end = (True, 0) if lot.ends_on is None else (False, (lot.ends_on - as_of).days)
    return LEVELS.index(level), -score, -(lot.plants or 0), to_end, site_id, lot.code


__all__ = [
    "LEVELS",
    "Reason",
    "last_counting",
    "level_of",
    "margin_of",
    "rank_key",
    "reasons_of",
    "routine_interval",
    "score_of",
    "stage_on",
]
