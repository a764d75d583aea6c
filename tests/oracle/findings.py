"""Which rules have a remark on a sampling; the product's sentences are not checked here."""

from __future__ import annotations

from tests.oracle.figures import median_of
from tests.oracle.outliers import apart
from tests.oracle.samplings import Pot, Sampling, is_uneven
from tests.oracle.settings import Policy


def is_off_recipe(pot: Pot, sampling: Sampling) -> bool:
    """Water poured off the class's recipe by more than a quarter."""
    poured = pot.reading.poured_ml
    recipe = sampling.policy.containers[sampling.lot.container_class]["pour_ml"]
    return poured is not None and abs(poured - recipe) > sampling.policy["pour_warn_share"] * recipe


def is_more_than_poured(pot: Pot) -> bool:
    """More leachate than water poured."""
    poured, leachate = pot.reading.poured_ml, pot.reading.leachate_ml
    return poured is not None and leachate is not None and leachate > poured


def is_poured_with_unknown(pot: Pot) -> bool:
    """Poured with water that is not pure and whose EC is not written down."""
    water = pot.reading.poured_with
    return water not in (None, "distilled", "deionised") and pot.reading.poured_ec_ms_cm is None


def is_drained_off_recipe(pot: Pot, sampling: Sampling) -> bool:
    """Waited shorter or longer than the class's recipe."""
    minutes, container = pot.reading.drain_min, sampling.policy.containers[sampling.lot.container_class]
    return minutes is not None and not container["drain_low_min"] <= minutes <= container["drain_high_min"]


def has_unequal_volumes(sampling: Sampling) -> bool:
    """The range of the volumes is over 30 % of their median."""
    volumes = [pot.reading.leachate_ml for pot in sampling.pots if pot.reading.leachate_ml is not None]
    median = median_of(volumes)
    if median is None or median == 0:
        return False
    return max(volumes) - min(volumes) > sampling.policy["unequal_volume_share"] * median


def are_all_alike(sampling: Sampling) -> bool:
    """Enough pots, each read by itself, and all that was read equal: pH, EC or both; of one alone at least five."""
    if any(pot.reading.n_pots != 1 for pot in sampling.pots):
        return False
    ph = [pot.reading.ph for pot in sampling.pots if pot.reading.ph is not None]
    ec = [
        pot.reading.ec_ms_cm if pot.ec_ms_cm is None else pot.ec_ms_cm
        for pot in sampling.pots
        if pot.reading.ec_ms_cm is not None
    ]
    measured = [figures for figures in (ph, ec) if figures]
    least = sampling.min_pots if len(measured) == 2 else max(sampling.min_pots, 5)
    return max(map(len, measured)) >= least and all(len(set(figures)) == 1 for figures in measured)


def is_set_apart(pot: Pot) -> bool:
    """An affected pot of a routine sampling."""
    return pot.reading.stated_purpose != pot.reading.purpose


def is_left_out_without(pot: Pot) -> bool:
    """A pot whose EC is left out because no temperature is written down."""
    return pot.why_not_ec == "no_temperature" and pot.reading.temperature_c is None


def with_levels(found: list[tuple[str, str]], policy: Policy) -> list[tuple[str, str]]:
    """A level that the policy sets takes the place of the rule's own; what leaves a pot out has none to set."""
    levels = [
        (rule, level if level == "exclude" else policy.finding_levels.get(rule, level))
        for rule, level in found
    ]
    return [(rule, level) for rule, level in levels if level != "off"]


def findings_of(sampling: Sampling, others: list[tuple[str, str]]) -> list[dict[str, str]]:
    """Rule and level of every remark; `others` are those that need the lot's other samplings or the site's water."""
    pots = sampling.pots
    left_out = {pot.why_not_ec for pot in pots}
    rules = (
        ("too_few_pots", "warn", not sampling.counts and not all(map(is_set_apart, pots))),
        ("over_collected", "warn", any(pot.is_over for pot in pots)),
        ("under_collected", "warn", any(pot.is_under for pot in pots)),
        ("volume_excludes_ec", "exclude", bool(left_out & {"over_collected", "under_collected"})),
        ("no_temperature", "exclude", any(is_left_out_without(pot) for pot in pots)),
        (
            "odd_temperature",
            "exclude",
            "no_temperature" in left_out
            and any(
                pot.reading.temperature_c is not None for pot in pots if pot.why_not_ec == "no_temperature"
            ),
        ),
        ("volume_not_recorded", "warn", any(pot.reading.leachate_ml is None for pot in pots)),
        ("poured_off_recipe", "warn", any(is_off_recipe(pot, sampling) for pot in pots)),
        ("more_than_poured", "warn", any(is_more_than_poured(pot) for pot in pots)),
        ("poured_not_distilled", "warn", any(is_poured_with_unknown(pot) for pot in pots)),
        ("drain_time", "warn", any(is_drained_off_recipe(pot, sampling) for pot in pots)),
        ("unequal_volumes", "warn", has_unequal_volumes(sampling)),
        ("uneven_ph", "warn", is_uneven(sampling, "ph")),
        ("uneven_ec", "warn", is_uneven(sampling, "ec")),
        ("outlier_ph", "warn", bool(apart(sampling, "ph").count)),
        ("outlier_ec", "warn", bool(apart(sampling, "ec").count)),
        ("all_alike", "warn", are_all_alike(sampling)),
        (
            "meter_not_calibrated",
            "warn",
            sampling.meter_calibrated is not None
            and sampling.meter_unchecked
            and not sampling.meter_in_doubt,
        ),
        (
            "buffers_not_bracketing",
            "warn",
            sampling.meter_calibrated is not None
            and sampling.meter_unbracketed
            and not sampling.meter_in_doubt,
        ),
        ("meter_in_doubt", "warn", sampling.meter_in_doubt),
        (
            "affected_in_routine",
            "note",
            any(map(is_set_apart, pots)),
        ),
    )
    found = [(rule, level) for rule, level, holds in rules if holds] + others
    return [{"rule": rule, "level": level} for rule, level in with_levels(found, sampling.policy)]
