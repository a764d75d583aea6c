"""Which policy is in force on which day: defaults, then the group's tables, then the site's."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from pipeline.settings.containers import CONTAINER_DEFAULTS, CONTAINER_INTERVAL_DAYS
from pipeline.settings.policy import CropGroup, OwnTarget, PolicyPeriod, PolicyValues
from pipeline.settings.words import CONTAINER_CLASSES, SettableLevel

DEFAULTS_FROM = date(1, 1, 1)

Periods = Sequence[PolicyPeriod]
SetBy = Literal["group", "site"]


@dataclass(frozen=True, slots=True)
class PolicyInForce:
    """The policy from a day to the day before another; `own` names what the group or the site set."""

    valid_from: date
    valid_to: date | None
    values: PolicyValues
    own: frozenset[str]


def merge_policy(group: Periods, site: Periods) -> list[PolicyInForce]:
    """Return the policy of a site as periods without gaps, the first from 0001-01-01 with the defaults.

    Defaults, then the group's tables in order of their dates, then the site's: each changes only what it
    lists. An own target replaces an earlier one of that crop, quantity and stage; of a crop's pH group and feeding
    level each replaces its earlier one, and what a later row leaves out stays. The site's beats the group's.
    """
    starts = sorted({DEFAULTS_FROM, *(period.valid_from for period in (*group, *site))})
    ends = [*starts[1:], None]
    return [_in_force(start, end, group, site) for start, end in zip(starts, ends, strict=True)]


def _in_force(start: date, end: date | None, group: Periods, site: Periods) -> PolicyInForce:
    values: dict[str, Any] = {}
    containers: dict[str, dict[str, Any]] = {name: {} for name in CONTAINER_CLASSES}
    targets: dict[tuple[str, str, str | None], OwnTarget] = {}
    crops: dict[str, CropGroup] = {}
    levels: dict[str, SettableLevel] = {}
    for set_by, period in _until(start, group, site):
        values |= period.listed()
        for container, changes in period.listed_container_values().items():
            containers[container] |= changes
        for target in period.targets:
            targets[target.key] = OwnTarget(**target.model_dump(), set_by=set_by)
        for crop in period.crops:
            crops[crop.key] = crop.laid_over(crops.get(crop.key))
        levels |= period.finding_levels
    own = {*values, *(f"containers.{name}.{key}" for name, changes in containers.items() for key in changes)}
    if targets:
        own.add("targets")
    if crops:
        own.add("crops")
    own |= {f"finding_levels.{name}" for name in levels}
    if "min_usable_pots" in values:
        # A group that sets the general number means every class that it does not name.
        for changes in containers.values():
            changes.setdefault("min_usable_pots", values["min_usable_pots"])
    if values.get("routine_by") == "container":
        for name, days in CONTAINER_INTERVAL_DAYS.items():
            containers[name].setdefault("routine_interval_days", days)
    rules = {name: rule.model_copy(update=containers[name]) for name, rule in CONTAINER_DEFAULTS.items()}
    merged = PolicyValues(
        **values,
        containers=rules,
        targets=tuple(targets.values()),
        crops=tuple(crops.values()),
        finding_levels=levels,
    )
    return PolicyInForce(start, end, merged, frozenset(own))


def _until(start: date, group: Periods, site: Periods) -> Iterable[tuple[SetBy, PolicyPeriod]]:
    """Yield who set it and the tables that hold on `start`, in the order in which they override."""
    set_by: SetBy
    for set_by, periods in (("group", group), ("site", site)):
        for period in sorted(periods, key=lambda one: one.valid_from):
            if period.valid_from <= start:
                yield set_by, period


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two values that cannot hold together: the names, and the sentence that says so."""

    names: tuple[str, str]
    found: str
    right: str


_ORDERED_PAIRS = (
    ("slope_low_pct", "slope_warn_low_pct"),
    ("slope_warn_low_pct", "slope_warn_high_pct"),
    ("slope_warn_high_pct", "slope_high_pct"),
    ("ph_action_low_iron_efficient", "ph_action_high_iron_inefficient"),
)


def find_contradictions(values: PolicyValues) -> list[Contradiction]:
    """Return the pairs of values that are the wrong way round."""
    pairs = [(low, high, getattr(values, low), getattr(values, high)) for low, high in _ORDERED_PAIRS]
    for container, rule in values.containers.items():
        for low, high in (("leachate_low_ml", "leachate_high_ml"), ("drain_low_min", "drain_high_min")):
            prefix = f"containers.{container}."
            pairs.append((prefix + low, prefix + high, getattr(rule, low), getattr(rule, high)))
    return [
        Contradiction((low, high), f"{low} is {a} and {high} is {b}", f"{low} must not be above {high}")
        for low, high, a, b in pairs
        if a > b
    ]
