"""The policy: every number that a judgement hangs on, with unit, origin, source, meaning and its dates.

Origins: P published (the source is named), C common practice, H house default that a group sets for itself.
Measured values are Decimal, because edges are compared exactly; counts and days are int.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, Strict, StringConstraints
from pydantic_core import PydanticCustomError

from pipeline.settings.findings import SETTABLE
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
FEED_CHANGE_WAIT = "New England Greenhouse Update, 30 Mar 2015"
LIME_DRENCH_WAIT = "Univ. of Maryland Extension, 2006, raising media pH: 10 to 14 days"
UMASS = "UMass Extension, Greenhouse Updates, 24 Mar 2023"


def _refuse_quoted_number(value: object) -> object:
    """TOML has numbers; a quoted one, or true and false, is a slip that must be seen."""
    if isinstance(value, str | bool):
        raise PydanticCustomError("number", "a number without quotes")
    return value


Number = Annotated[Decimal, BeforeValidator(_refuse_quoted_number)]
Whole = Annotated[int, Strict()]
Day = Annotated[date, Strict()]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1)]


def _refuse_breaks(text: str) -> str:
    """A name goes into heads of mail, units of systemd and lines of a terminal, where a break begins something else."""
    if any(unicodedata.category(letter) in ("Cc", "Zl", "Zp") for letter in text):
        right = "a name on one line, without control characters,"
        raise PydanticCustomError("right", "{right}", {"right": right})
    return text


Name = Annotated[Text, AfterValidator(_refuse_breaks)]


class Frozen(BaseModel):
    """Base of all settings: no unknown keys, no later changes."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def _value(
    default: object,
    unit: str,
    origin: Origin,
    meaning: str,
    *,
    source: str | None = None,
    low: float | None = None,
    high: float | None = None,
) -> Any:
    """Declare one policy value with its facts and its sensible range (edges included)."""
    return Field(
        default=default,
        ge=None if low is None else Decimal(str(low)),
        le=None if high is None else Decimal(str(high)),
        description=meaning,
        json_schema_extra={"unit": unit, "origin": origin, "source": source},
    )


class PolicyScalars(Frozen):
    """The values of the policy that are not tables."""

    min_usable_pots: Whole = _value(
        5,
        "pots",
        "C",
        "usable pots that a sampling needs to count, where nothing else is said",
        low=1,
        high=50,
    )
    summary_ph_sd: Number = _value(
        Decimal("0.2"),
        "pH",
        "H",
        "SD between pots assumed for a line that stands for several pots",
        low=0,
        high=2,
    )
    summary_ec_sd_ms_cm: Number = _value(
        Decimal("0.4"),
        "mS/cm",
        "H",
        "SD between pots assumed for a line that stands for several pots",
        low=0,
        high=5,
    )
    ec_alpha_per_c: Number = _value(
        Decimal("0.0191"),
        "per °C",
        "P",
        "change of EC with temperature, for meters that do not compensate",
        source="1.91 %/°C: conductivity-logger manual (read); Standard Methods 2510 (from memory)",
        low=0,
        high=0.05,
    )
    volume_warn_share: Number = _value(
        Decimal("0.20"), "share", "H", "leachate volume this far off the target is remarked on", low=0, high=1
    )
    volume_exclude_over: Number = _value(
        Decimal("1.4"),
        "× upper target",
        "H",
        "more leachate than this: the pot's EC is left out",
        low=1,
        high=10,
    )
    volume_exclude_under: Number = _value(
        Decimal("0.5"),
        "× lower target",
        "H",
        "less leachate than this: the pot's EC is left out",
        low=0,
        high=1,
    )
    pour_warn_share: Number = _value(
        Decimal("0.25"), "share", "H", "water poured this far off the recipe is remarked on", low=0, high=1
    )
    unequal_volume_share: Number = _value(
        Decimal("0.30"),
        "share",
        "H",
        "leachate volumes are unequal when their range over their median is above it",
        low=0,
        high=5,
    )
    ec_highest_ms_cm: Number = _value(
        Decimal(20),
        "mS/cm",
        "H",
        "an EC above it is held as a mistake until it is corrected",
        low=5,
        high=100,
    )
    uneven_ph_sd: Number = _value(
        Decimal("0.30"), "pH", "H", "SD between pots above which a lot is uneven", low=0, high=3
    )
    uneven_ec_sd_ms_cm: Number = _value(
        Decimal("0.60"), "mS/cm", "H", "SD between pots above which a lot is uneven", low=0, high=10
    )
    clear_margin_ph: Number = _value(
        Decimal("0.2"),
        "pH",
        "H",
        "pH is clearly out only where its mean lies beyond the edge by at least this",
        low=0,
        high=2,
    )
    clear_margin_ec_share: Number = _value(
        Decimal("0.15"),
        "share of the edge",
        "H",
        "EC is clearly out only where its mean lies beyond the edge by at least this share of the edge",
        low=0,
        high=1,
    )
    # Chosen so that steady lots of light feeders rarely act by chance: see tests/bench/false_alarms.py.
    clear_margin_ec_low_ms_cm: Number = _value(
        Decimal("0.4"),
        "mS/cm",
        "H",
        "and by no less than this below the low edge, where that share comes to less",
        low=0,
        high=5,
    )
    clear_margin_ec_high_ms_cm: Number = _value(
        Decimal("0.5"),
        "mS/cm",
        "H",
        "and by no less than this above the high edge, where that share comes to less",
        low=0,
        high=5,
    )
    ph_action_high_iron_inefficient: Number = _value(
        Decimal("6.4"),
        "pH",
        "P",
        "a mean above it is clearly out for iron-inefficient crops",
        source="Univ. of Florida IFAS Extension, training page on high substrate pH",
        low=4,
        high=9,
    )
    ph_action_low_iron_efficient: Number = _value(
        Decimal("5.5"),
        "pH",
        "P",
        "a mean below it is clearly out for iron-efficient crops",
        source="Michigan State Univ. Extension",
        low=3,
        high=8,
    )
    ph_action_low_other: Number = _value(
        Decimal("5.4"),
        "pH",
        "P",
        "a mean below it is clearly out for other crops, unless their target begins lower",
        source="e-GRO Alert, reported by Floral Daily",
        low=3,
        high=8,
    )
    ec_act_ms_cm: Number = _value(
        Decimal("6.6"),
        "mS/cm",
        "P",
        "an EC from here up calls for action in greenhouse crops",
        source='UMass Extension, soil testing chapter, pour-through band "very high"',
        low=1,
        high=20,
    )
    ec_low_act_share: Number = _value(
        Decimal("0.6"),
        "× low edge",
        "H",
        "an EC below it calls for action at once, in the active stage",
        low=0,
        high=1,
    )
    act_in_a_row: Whole = _value(
        2, "samplings", "H", "this many samplings in a row beyond the margin call for action", low=2, high=10
    )
    first_within_days: Whole = _value(
        7,
        "days",
        "H",
        "the first sampling is due within this time of potting, sticking, sowing or transplanting (common practice: "
        "soon; the number of days is our own)",
        low=1,
        high=90,
    )
    routine_by: Literal["custom", "container"] = _value(
        "custom",
        "",
        "H",
        'routine intervals: "custom" every two weeks (common practice; plugs as published), "container" as published '
        "for each container (NC State Univ. HIL 590; UMass Extension)",
    )
    symptoms_within_days: Whole = _value(
        3,
        "days",
        "H",
        "after affected plants were noted, affected and healthy ones are to be sampled within this time",
        low=1,
        high=30,
    )
    affected_pots: Whole = _value(
        5, "pots", "C", "pots of affected and of healthy plants that a comparison needs, each", low=2, high=50
    )
    minutes_per_pot: Number = _value(
        Decimal(4), "min", "H", "time that one pot takes when work is planned", low=0.1, high=60
    )
    feed_pair_crops: tuple[Text, ...] = _value(
        (),
        "",
        "H",
        "periodically fed crops, beside those on the problem list, that are read the day before and the day of feeding",
    )
    problem_interval_days: Whole = _value(
        7, "days", "H", "routine interval of the crops on the problem list", low=1, high=90
    )
    after_out_interval_days: Whole = _value(
        7,
        "days",
        "H",
        "after a sampling that was out of range the next is due within this time",
        low=1,
        high=90,
    )
    grace_days: Whole = _value(
        2,
        "days",
        "H",
        "a sampling may come this late and still be on time where its interval is 14 days or more; with a shorter "
        "interval it may not be late at all",
        low=0,
        high=30,
    )
    problem_crops: tuple[Text, ...] = _value((), "", "H", "crops that are sampled at the problem interval")
    silent_after_nights: Whole = _value(
        3,
        "nights",
        "H",
        "a site is called silent when it has sent nothing for this many nights",
        low=1,
        high=60,
    )
    slope_low_pct: Number = _value(
        Decimal(85),
        "%",
        "P",
        "a pH electrode with less slope has failed its calibration",
        source="published worksheet on slope and offset",
        low=50,
        high=100,
    )
    slope_high_pct: Number = _value(
        Decimal(105),
        "%",
        "P",
        "a pH electrode with more slope has failed its calibration",
        source="published worksheet on slope and offset",
        low=100,
        high=130,
    )
    slope_warn_low_pct: Number = _value(
        Decimal(95),
        "%",
        "P",
        "less slope is remarked on",
        source="usual laboratory window, Standard Methods and USGS practice (from memory)",
        low=50,
        high=100,
    )
    slope_warn_high_pct: Number = _value(
        Decimal(102),
        "%",
        "P",
        "more slope is remarked on",
        source="usual laboratory window, Standard Methods and USGS practice (from memory)",
        low=100,
        high=130,
    )
    offset_limit_mv: Number = _value(
        Decimal(30),
        "mV",
        "P",
        "offset at pH 7, either way, beyond which a calibration has failed",
        source="published worksheet on slope and offset",
        low=1,
        high=100,
    )
    buffer_limit_ph: Number = _value(
        Decimal("0.1"),
        "pH",
        "H",
        "a buffer found or left this far off its pH at its temperature: the check has failed",
        low=0,
        high=1,
    )
    ec_standard_share: Number = _value(
        Decimal("0.05"),
        "share",
        "H",
        "EC standard found this far off: the calibration has failed",
        low=0,
        high=1,
    )
    establishing_days: Whole = _value(
        14, "days", "H", "first days of a lot, in which low EC is a note only", low=0, high=120
    )
    finishing_days: Whole = _value(
        21, "days", "H", "last days of a lot, in which low EC is a note only", low=0, high=120
    )
    step_ph: Number = _value(
        Decimal("0.2"), "pH", "H", "one step of distance when lots are put in order", low=0.01, high=2
    )
    step_ec_ms_cm: Number = _value(
        Decimal("0.5"), "mS/cm", "H", "one step of distance when lots are put in order", low=0.01, high=5
    )
    finishing_high_ec_weight: Number = _value(
        Decimal("1.5"),
        "×",
        "H",
        "how much more the distance of a high EC weighs in the order of lots, read while a lot is finishing",
        low=1,
        high=5,
    )
    quality_days: Whole = _value(
        28, "days", "H", "days before the as-of date over which data quality is counted", low=1, high=366
    )
    affected_within_days: Whole = _value(
        14, "days", "H", "samplings of affected plants are spoken of for this many days", low=1, high=120
    )
    outlier_ph: Number = _value(
        Decimal("0.3"), "pH", "H", "a pot this far from the median may be an outlier", low=0, high=3
    )
    outlier_ec_ms_cm: Number = _value(
        Decimal("0.5"), "mS/cm", "H", "a pot this far from the median may be an outlier", low=0, high=10
    )
    precision_ph: Number = _value(
        Decimal("0.2"), "pH", "H", "precision for which the number of pots needed is given", low=0.01, high=2
    )
    precision_ec_ms_cm: Number = _value(
        Decimal("0.3"),
        "mS/cm",
        "H",
        "precision for which the number of pots needed is given",
        low=0.01,
        high=5,
    )
    trend_samplings: Whole = _value(
        6, "samplings", "H", "a trend is judged from this many samplings, the last ones", low=5, high=12
    )
    pace_seconds: Whole = _value(
        15, "s", "H", "pots read faster than one in this time are asked about", low=1, high=600
    )
    late_entry_days: Whole = _value(
        7, "days", "H", "a reading received this much later than it was taken is asked about", low=1, high=366
    )
    question_days: Whole = _value(
        30,
        "days",
        "H",
        "days before the as-of date over which a site's digits are looked at",
        low=7,
        high=366,
    )
    wait_leaching_days: Whole = _value(
        2,
        "days",
        "H",
        "waiting time after leaching, before the lot is read again (from memory: at the next irrigation)",
        low=1,
        high=60,
    )
    wait_bicarbonate_days: Whole = _value(
        3,
        "days",
        "H",
        "waiting time after a bicarbonate drench, before the lot is read again",
        low=1,
        high=60,
    )
    wait_feed_change_days: Whole = _value(
        7,
        "days",
        "P",
        "waiting time after a change of feed, acid or basic feed too, before the lot is read again",
        source=FEED_CHANGE_WAIT,
        low=1,
        high=60,
    )
    wait_lime_drench_days: Whole = _value(
        10,
        "days",
        "P",
        "waiting time after a lime drench, before the lot is read again",
        source=LIME_DRENCH_WAIT,
        low=1,
        high=60,
    )
    wait_other_days: Whole = _value(
        7, "days", "H", "waiting time after any other treatment, before the lot is read again", low=1, high=60
    )
    before_treatment_days: Whole = _value(
        21,
        "days",
        "H",
        "the retest after a treatment is compared with the last sampling before it, if that is at most this old",
        low=1,
        high=120,
    )
    water_check_days: Whole = _value(
        60, "days", "H", "checks of source water and feed that are older are not used", low=1, high=366
    )
    feed_tolerance_share: Number = _value(
        Decimal("0.10"),
        "share",
        "H",
        "feed at the hose end, less the water, this far off what it should add is remarked on",
        low=0,
        high=1,
    )
    target_source_order: tuple[Text, ...] = _value(
        (UMASS,), "", "H", "sources of published targets that are preferred, best first"
    )


def _check_finding(name: str) -> str:
    if name not in SETTABLE:
        raise PydanticCustomError(
            "right", "{right}", {"right": f"a finding whose level can be set: {', '.join(SETTABLE)}"}
        )
    return name


FindingName = Annotated[str, AfterValidator(_check_finding)]


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
