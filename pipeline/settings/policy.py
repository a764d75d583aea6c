"""The policy: every number that a judgement hangs on, with unit, origin, source, meaning and its dates.

Its plain values are in policy_scalars, those of container classes in containers; here stand what dates and lays them
together, targets and crops beside them, and the catalogue of all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field
from pydantic_core import PydanticCustomError

from pipeline.settings.containers import (
    CONTAINER_DEFAULTS,
    CONTAINER_SOURCES,
    CONTAINER_UNITS,
    ContainerChange,
    ContainerRule,
)
from pipeline.settings.fields import Day, Frozen, Number, Text
from pipeline.settings.findings import SETTABLE
from pipeline.settings.policy_scalars import PolicyScalars
from pipeline.settings.words import (
    ContainerClass,
    FeedingLevel,
    Origin,
    PhGroup,
    Quantity,
    SettableLevel,
    Stage,
)

ORIGIN_WORDS: dict[Origin, str] = {"P": "published", "C": "common practice", "H": "house default"}


def _check_finding(name: str) -> str:
    if name not in SETTABLE:
        raise PydanticCustomError(
            "right", "{right}", {"right": f"a finding whose level can be set: {', '.join(SETTABLE)}"}
        )
    return name


FindingName = Annotated[str, AfterValidator(_check_finding)]


class Target(Frozen):
    """A target of the group's or the site's own: crop and quantity, edges in pH or in mS/cm at 25 °C.

    With a `stage` it holds in that stage of a lot alone, and goes before one without.
    """

    crop: Text
    quantity: Quantity
    low: Number = Field(ge=0, le=20)
    high: Number = Field(ge=0, le=20)
    stage: Stage | None = None
    note: str = ""

    @property
    def key(self) -> tuple[str, str, Stage | None]:
        """What a later target of that crop, quantity and stage replaces; crops compare without case and blanks."""
        return (" ".join(self.crop.casefold().split()), self.quantity, self.stage)


class OwnTarget(Target):
    """A target in force, with who set it."""

    set_by: Literal["group", "site"]


class CropGroup(Frozen):
    """Among which pH group and feeding level a crop counts for which no source prints a range of its own."""

    crop: Text
    ph_group: PhGroup | None = None
    feeding_level: FeedingLevel | None = None

    @property
    def key(self) -> str:
        """By which a later row finds an earlier one of that crop; crops compare without case and blanks."""
        return " ".join(self.crop.casefold().split())

    def laid_over(self, earlier: CropGroup | None) -> CropGroup:
        """This row with what it leaves out as an earlier row of that crop has it."""
        if earlier is None:
            return self
        return CropGroup(
            crop=self.crop,
            ph_group=self.ph_group or earlier.ph_group,
            feeding_level=self.feeding_level or earlier.feeding_level,
        )


class PolicyValues(PolicyScalars):
    """All values in force on a day; every container class is there."""

    containers: dict[ContainerClass, ContainerRule] = Field(default_factory=lambda: dict(CONTAINER_DEFAULTS))
    targets: tuple[OwnTarget, ...] = ()
    crops: tuple[CropGroup, ...] = ()
    finding_levels: dict[FindingName, SettableLevel] = Field(default_factory=dict)


class PolicyPeriod(PolicyScalars):
    """One [[policy]] table: only what it lists (`listed()`) changes from that day on, the rest stays."""

    valid_from: Day
    containers: dict[ContainerClass, ContainerChange] = Field(default_factory=dict)
    targets: tuple[Target, ...] = ()
    crops: tuple[CropGroup, ...] = ()
    finding_levels: dict[FindingName, SettableLevel] = Field(default_factory=dict)

    def listed(self) -> dict[str, Any]:
        """Return the plain values that this table lists, by name."""
        names = self.model_fields_set - {"valid_from", "containers", "targets", "crops", "finding_levels"}
        return {name: getattr(self, name) for name in sorted(names)}

    def listed_container_values(self) -> dict[ContainerClass, dict[str, Any]]:
        """Return the values that this table lists for container classes."""
        return {
            container: {
                name: value
                for name in sorted(change.model_fields_set)
                if (value := getattr(change, name)) is not None
            }
            for container, change in self.containers.items()
        }


@dataclass(frozen=True, slots=True)
class PolicyEntry:
    """What the policy knows about one of its values; `origin` is P, C or H, `unit` may be empty for lists."""

    name: str
    unit: str
    origin: Origin
    source: str | None
    meaning: str
    default: Any


def _list_catalogue() -> tuple[PolicyEntry, ...]:
    entries = []
    for name, field in PolicyScalars.model_fields.items():
        facts: Any = field.json_schema_extra
        entries.append(
            PolicyEntry(
                name, facts["unit"], facts["origin"], facts["source"], field.description or "", field.default
            )
        )
    for container, rule in CONTAINER_DEFAULTS.items():
        for name, field in ContainerRule.model_fields.items():
            source = CONTAINER_SOURCES.get((container, name))
            # Every pot size has a customary interval, the plug's alone is published; the rest is custom too.
            entries.append(
                PolicyEntry(
                    f"containers.{container}.{name}",
                    CONTAINER_UNITS[name],
                    "P" if source else "C",
                    source,
                    field.description or "",
                    getattr(rule, name),
                )
            )
    return tuple(entries)


POLICY_CATALOGUE: tuple[PolicyEntry, ...] = _list_catalogue()
