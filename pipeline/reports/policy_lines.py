"""The policy in force as lines for a page: value, unit, origin, and the default where the group set its own."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.reports.summary import PolicyValue
from pipeline.settings import POLICY_CATALOGUE, ContainerRule, PolicyInForce
from pipeline.settings.findings import BY_NAME as FINDINGS_BY_NAME


def list_policy(policy: PolicyInForce) -> list[PolicyValue]:
    """Every value of a policy, in the order of the catalogue, own targets last."""
    lines = []
    for entry in POLICY_CATALOGUE:
        value = _find(policy, entry.name)
        own = entry.name in policy.own and value != entry.default
        lines.append(
            PolicyValue(
                name=entry.name,
                value=_write(value),
                unit=entry.unit or None,
                origin="own" if own else entry.origin,
                meaning=entry.meaning,
                source=None if own else entry.source,
                default=_write(entry.default) if own else None,
            )
        )
    return lines + _finding_levels(policy) + _targets(policy) + _crops(policy)


def _finding_levels(policy: PolicyInForce) -> list[PolicyValue]:
    return [
        PolicyValue(
            name=f"finding_levels.{name}",
            value=level,
            unit=None,
            origin="own",
            meaning=FINDINGS_BY_NAME[name].rule,
            source=None,
            default=FINDINGS_BY_NAME[name].level,
        )
        for name, level in sorted(policy.values.finding_levels.items())
    ]


def _targets(policy: PolicyInForce) -> list[PolicyValue]:
    return [
        PolicyValue(
            name=f"target {target.crop}{f', {target.stage}' if target.stage else ''}",
            value=f"{target.low}-{target.high}",
            unit="pH" if target.quantity == "ph" else "mS/cm",
            origin="own",
            meaning=target.note or f"target set by the {target.set_by}",
            source=None,
            default=None,
        )
        for target in policy.values.targets
    ]


def _crops(policy: PolicyInForce) -> list[PolicyValue]:
    return [
        PolicyValue(
            name=f"crop {crop.crop}",
            value=", ".join(
                [
                    *([f"pH group {crop.ph_group}"] if crop.ph_group else []),
                    *([f"feeding level {crop.feeding_level}"] if crop.feeding_level else []),
                ]
            ),
            unit=None,
            origin="own",
            meaning="its published ranges hold where no source prints one for the crop",
            source=None,
            default=None,
        )
        for crop in policy.values.crops
    ]


def _find(policy: PolicyInForce, name: str) -> Any:
    if name.startswith("containers."):
        _, container, key = name.split(".")
        rules: Mapping[Any, ContainerRule] = policy.values.containers
        return getattr(rules[container], key)
    return getattr(policy.values, name)


def _write(value: Any) -> str:
    return ", ".join(str(item) for item in value) if isinstance(value, tuple) else str(value)
