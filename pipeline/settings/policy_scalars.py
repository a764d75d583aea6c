"""The values of the policy that are not tables: each with default, unit, origin, meaning, source and sensible range.

Origins: P published (the source is named), C common practice, H house default that a group sets for itself.
Measured values are Decimal, because edges are compared exactly; counts and days are int.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Literal

from pydantic import Field

from pipeline.settings.fields import Frozen, Number, Text, Whole
from pipeline.settings.words import Origin

FEED_CHANGE_WAIT = "New England Greenhouse Update, 30 Mar 2015"
LIME_DRENCH_WAIT = "Univ. of Maryland Extension, 2006, raising media pH: 10 to 14 days"
UMASS = "UMass Extension, Greenhouse Updates, 24 Mar 2023"


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
