"""How a container class is sampled by default, what a policy table may change of it, and who publishes which value."""

from __future__ import annotations

from decimal import Decimal

from pydantic import Field

from pipeline.settings.fields import Frozen, Number, Whole
from pipeline.settings.policy_scalars import UMASS
from pipeline.settings.words import ContainerClass


class ContainerRule(Frozen):
    """How a container class is sampled: volumes in mL, times in days and minutes."""

    pour_ml: Number = Field(gt=0, le=2000, description="distilled water to pour")
    leachate_low_ml: Number = Field(gt=0, le=1000, description="leachate to collect, at least")
    leachate_high_ml: Number = Field(gt=0, le=1000, description="leachate to collect, at most")
    min_usable_pots: Whole = Field(ge=1, le=50, description="usable pots that a sampling needs to count")
    routine_interval_days: Whole = Field(ge=1, le=90, description="days between routine samplings")
    drain_low_min: Number = Field(ge=0, le=1440, description="drain time before pouring, at least")
    drain_high_min: Number = Field(gt=0, le=1440, description="drain time before pouring, at most")


class ContainerChange(Frozen):
    """What a policy table changes in the rule of a container class; what it leaves out stays as it was."""

    pour_ml: Number | None = Field(None, gt=0, le=2000)
    leachate_low_ml: Number | None = Field(None, gt=0, le=1000)
    leachate_high_ml: Number | None = Field(None, gt=0, le=1000)
    min_usable_pots: Whole | None = Field(None, ge=1, le=50)
    routine_interval_days: Whole | None = Field(None, ge=1, le=90)
    drain_low_min: Number | None = Field(None, ge=0, le=1440)
    drain_high_min: Number | None = Field(None, gt=0, le=1440)


CONTAINER_UNITS = {
    "pour_ml": "mL",
    "leachate_low_ml": "mL",
    "leachate_high_ml": "mL",
    "min_usable_pots": "pots",
    "routine_interval_days": "days",
    "drain_low_min": "min",
    "drain_high_min": "min",
}


def _container(pour: int, low: int, high: int, pots: int, days: int, drain_high: int = 60) -> ContainerRule:
    return ContainerRule(
        pour_ml=Decimal(pour),
        leachate_low_ml=Decimal(low),
        leachate_high_ml=Decimal(high),
        min_usable_pots=pots,
        routine_interval_days=days,
        drain_low_min=Decimal(30),
        drain_high_min=Decimal(drain_high),
    )


CONTAINER_DEFAULTS: dict[ContainerClass, ContainerRule] = {
    "plug": _container(30, 30, 30, 5, 3),
    "cell_pack": _container(30, 30, 30, 5, 14),
    "pot_4in": _container(30, 30, 30, 5, 14),
    "pot_5_6in": _container(75, 50, 50, 5, 14),
    "pot_6_5in_plus": _container(100, 50, 60, 5, 14),
    "nursery": _container(120, 50, 50, 3, 14, drain_high=120),
}

# Routine intervals as published for each container: rows 1 to 4 and 9 of pipeline/reference/sampling_frequency.csv.
CONTAINER_INTERVAL_DAYS: dict[ContainerClass, int] = {
    "plug": 3,
    "cell_pack": 7,
    "pot_4in": 7,
    "pot_5_6in": 14,
    "pot_6_5in_plus": 14,
    "nursery": 7,
}

_NURSERY_VOLUMES = "NC State Extension, The Pour-Through Extraction Procedure, nursery crops"
_NURSERY_POTS = "NC State Extension, Using the PourThru Procedure, nursery crops: 3 to 5 containers"
_PLUG_INTERVAL = (
    f"{UMASS}, and NC State Univ., Horticulture Information Leaflet 590 (2000): plugs 2 to 3 times a week"
)
CONTAINER_SOURCES: dict[tuple[str, str], str] = {
    ("plug", "routine_interval_days"): _PLUG_INTERVAL,
    ("nursery", "pour_ml"): _NURSERY_VOLUMES,
    ("nursery", "leachate_low_ml"): _NURSERY_VOLUMES,
    ("nursery", "leachate_high_ml"): _NURSERY_VOLUMES,
    ("nursery", "drain_low_min"): _NURSERY_VOLUMES,
    ("nursery", "drain_high_min"): _NURSERY_VOLUMES,
    ("nursery", "min_usable_pots"): _NURSERY_POTS,
}
