"""The words and fields that settings may use, each listed once for checks, messages and other steps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from pipeline.units import Quantity as UnitQuantity

Kind = Literal[
    "readings", "lots", "calibrations", "treatments", "feed_checks", "exemptions", "plantings", "people"
]
ContainerClass = Literal["plug", "cell_pack", "pot_4in", "pot_5_6in", "pot_6_5in_plus", "nursery"]
ExtractionMethod = Literal["pour-through", "1:2 dilution", "saturated media extract"]
StartKind = Literal["sown", "stuck", "potted", "transplanted"]
FeedMode = Literal["constant", "periodic", "controlled_release"]
Purpose = Literal["routine", "affected", "healthy", "before_feed", "after_feed", "retest"]
PouredWith = Literal["distilled", "deionised", "rain", "tap", "other"]
Condition = Literal["healthy", "affected"]
# What is done to mend a pH or an EC: the procedures of pipeline/reference/corrective_options.csv.
Treatment = Literal[
    "leaching",
    "clear_water",
    "acid_feed",
    "basic_feed",
    "feed_change",
    "bicarbonate",
    "lime_drench",
    "lime_topdressing",
    "iron_drench",
    "iron_sulfate",
    "other",
]
FeedPlace = Literal["source_water", "hose_end", "tank"]
LotEvent = Literal["started", "moved", "split", "shipped", "changed"]
CheckStage = Literal["as_found", "as_left", "both"]
Quantity = Literal["ph", "ec"]
Stage = Literal["establishing", "active", "finishing"]
"""How far a lot has come."""
PhGroup = Literal["iron-inefficient", "general", "iron-efficient"]
FeedingLevel = Literal["light", "medium", "heavy"]
Origin = Literal["P", "C", "H"]
SettableLevel = Literal["warn", "note", "off"]
WeekDay = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]

KINDS: tuple[str, ...] = get_args(Kind)
CONTAINER_CLASSES: tuple[str, ...] = get_args(ContainerClass)

# Fields whose column must name its unit, and of what; fields that are not here have none.
UNIT_OF_FIELD: dict[str, UnitQuantity] = {
    "ec": "ec",
    "ec_sd": "ec",
    "ec_standard": "ec",
    "ec_found": "ec",
    "poured": "volume",
    "poured_ec": "ec",
    "leachate": "volume",
    "temperature": "temperature",
    "ec_left": "ec",
    "target_ec": "ec",
    "alkalinity": "alkalinity",
}

# Fields whose cells must end up as one of our words.
WORDS_BY_FIELD: dict[str, tuple[str, ...]] = {
    "container": CONTAINER_CLASSES,
    "start_kind": get_args(StartKind),
    "feed_mode": get_args(FeedMode),
    "purpose": get_args(Purpose),
    "condition": get_args(Condition),
    "poured_with": get_args(PouredWith),
    "method": get_args(ExtractionMethod),
    "passed": ("yes", "no"),
    "what": get_args(Treatment),
    "place": get_args(FeedPlace),
    "event": get_args(LotEvent),
    "stage": get_args(CheckStage),
}


@dataclass(frozen=True, slots=True)
class KindFields:
    """Which fields an export of a kind may map, and of which groups at least one field each is needed."""

    known: tuple[str, ...]
    one_of: tuple[tuple[str, ...], ...]


FIELDS: dict[str, KindFields] = {
    "readings": KindFields(
        known=(
            "lot",
            "house",
            "bench",
            "position",
            "crop",
            "date",
            "datetime",
            "time",
            "year",
            "week",
            "purpose",
            "pot",
            "n_pots",
            "ph",
            "ph_sd",
            "ec",
            "ec_sd",
            "poured",
            "poured_with",
            "poured_ec",
            "leachate",
            "temperature",
            "drain",
            "drain_start",
            "drain_end",
            "condition",
            "sampler",
            "meter",
            "method",
            "note",
        ),
        one_of=(("ph", "ec"), ("date", "datetime", "week"), ("lot", "house")),
    ),
    "lots": KindFields(
        known=(
            "lot",
            "house",
            "bench",
            "crop",
            "cultivar",
            "container",
            "started",
            "start_kind",
            "ends",
            "plants",
            "grower",
            "substrate",
            "irrigation",
            "feed_mode",
            "valid_from",
            "parent",
            "event",
            "note",
        ),
        one_of=(("lot",), ("crop",), ("container",), ("started",)),
    ),
    "calibrations": KindFields(
        known=(
            "meter",
            "date",
            "datetime",
            "time",
            "person",
            "slope",
            "offset",
            "buffers",
            "ec_standard",
            "ec_found",
            "passed",
            "stage",
            "found_4",
            "found_7",
            "found_10",
            "left_4",
            "left_7",
            "left_10",
            "mv_4",
            "mv_7",
            "mv_10",
            "temperature",
            "ec_left",
            "solution",
            "solution_expires",
            "note",
        ),
        one_of=(("meter",), ("date", "datetime")),
    ),
    "treatments": KindFields(
        known=(
            "lot",
            "house",
            "bench",
            "crop",
            "date",
            "datetime",
            "time",
            "year",
            "week",
            "what",
            "product",
            "rate",
            "person",
            "note",
        ),
        one_of=(("what",), ("date", "datetime", "week"), ("lot", "house")),
    ),
    "feed_checks": KindFields(
        known=(
            "date",
            "datetime",
            "time",
            "year",
            "week",
            "place",
            "house",
            "injector",
            "ec",
            "temperature",
            "ph",
            "alkalinity",
            "nitrogen",
            "target_ec",
            "person",
            "note",
        ),
        one_of=(("place",), ("date", "datetime", "week"), ("ec", "ph", "alkalinity", "nitrogen")),
    ),
    "exemptions": KindFields(
        known=(
            "lot",
            "house",
            "bench",
            "crop",
            "purpose",
            "from",
            "until",
            "reason",
            "person",
            "entered_on",
            "note",
        ),
        one_of=(("lot", "house"), ("from",), ("until",), ("reason",), ("person",)),
    ),
    "plantings": KindFields(
        known=("lot", "crop", "cultivar", "house", "bench", "planted", "ships", "plants", "note"),
        one_of=(("lot",), ("planted", "ships")),
    ),
    "people": KindFields(
        known=("name", "role", "trained_on", "trained_by", "until", "note"),
        one_of=(("name",),),
    ),
}

# Two of these can never stand in one column.
MEASURED_FIELDS = (
    "ph",
    "ph_sd",
    "ec",
    "ec_sd",
    "poured",
    "poured_ec",
    "leachate",
    "temperature",
    "alkalinity",
    "nitrogen",
    "target_ec",
)
