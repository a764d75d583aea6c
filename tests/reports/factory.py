"""Invented summary documents: small, large and extreme, for the tests of the pages."""

from __future__ import annotations

import random
from datetime import date, timedelta
from statistics import mean, median, stdev
from typing import Any, Literal

from pipeline.reports.compile import ORDER_FORMULA
from pipeline.reports.compile_plan import sum_weeks
from pipeline.reports.summary import (
    Due,
    Figures,
    FileReceived,
    Finding,
    Grower,
    HeldCause,
    HeldExample,
    Lines,
    Lot,
    Meter,
    Night,
    Option,
    OtherRange,
    PlanDay,
    PlannedSampling,
    PolicyValue,
    Pot,
    PublishedInterval,
    Quality,
    Reason,
    Sampling,
    SetAsideLine,
    Site,
    SlackInterval,
    Source,
    Summary,
    Target,
)
from tests.programme.sheets import make_row, sheet_of

AS_OF = date(2026, 4, 6)
UMASS = "UMass Extension, Greenhouse Updates, 24 Mar 2023, “Keep an Eye on Substrate pH and EC”"
LEVELS: tuple[Literal["act", "no_reading", "watch", "ok"], ...] = ("act", "no_reading", "watch", "ok")
CROPS = (
    ("zonal geranium", "Coral", "iron-efficient", 6.0, 6.6, 2.0, 3.5),
    ("petunia", "Night Sky", "iron-inefficient", 5.4, 6.2, 1.0, 2.6),
    ("poinsettia", "Frost", "general", 5.8, 6.2, 2.5, 4.5),
    ("pansy", "Delta Mix", "iron-inefficient", 5.4, 6.2, 1.0, 2.6),
    ("chrysanthemum", "Amber", "general", 6.0, 6.4, 2.6, 4.6),
    ("New Guinea impatiens", None, "general", 5.8, 6.2, 1.0, 2.6),
)


def make_figures(values: list[float], low: float | None, high: float | None, **changes: Any) -> Figures:
    """Statistics of some pots against a range, by the plain rules."""
    n = len(values)
    m = mean(values) if values else None
    sd = stdev(values) if n > 1 else None
    half = 2.776 * sd / n**0.5 if sd is not None else None
    judged = n >= 5 and low is not None and high is not None and m is not None
    side: Any = None
    verdict: Any = None
    if judged:
        assert m is not None and half is not None and low is not None and high is not None  # noqa: PT018
        side = "low" if m < low else "high" if m > high else "in_range"
        out = max(low - m, m - high)
        crossing = m - half < low or m + half > high
        verdict = (
            "clearly_out"
            if out > max(half, 0.2)
            else "out"
            if out > 0
            else "close_to_limit"
            if crossing
            else "in_range"
        )
    facts: dict[str, Any] = {
        "n": n,
        "mean": m,
        "sd": sd,
        "sd_assumed": False,
        "ci_low": None if m is None or half is None else m - half,
        "ci_high": None if m is None or half is None else m + half,
        "median": median(values) if values else None,
        "min": min(values, default=None),
        "max": max(values, default=None),
        "pots_in_range": sum(low <= v <= high for v in values)
        if low is not None and high is not None
        else None,
        "side": side,
        "verdict": verdict,
        "at_least": False,
        "inside_another_range": False,
        "in_a_row": 0,
        "band": None,
        "not_judged_why": None if judged else "no_target" if n >= 5 else "too_few_pots",
    }
    return Figures(**(facts | changes))


def make_sampling(
    day: date,
    ph: list[float],
    ec: list[float],
    target: tuple[float, float, float, float] | None,
    **changes: Any,
) -> Sampling:
    """One sampling of single pots with volumes on target."""
    pots = [
        Pot(
            file="drop/readings_2026-04-05.csv",
            line=10 + day.toordinal() % 400 + i,
            pot=str(i + 1),
            position=None,
            n_pots=1,
            ph=ph[i],
            ec_ms_cm=ec[i],
            leachate_ml=30.0 + i,
            usable_ph=True,
            usable_ec=True,
            why_not_ec=None,
        )
        for i in range(len(ph))
    ]
    ph_low, ph_high, ec_low, ec_high = target or (None, None, None, None)
    facts: dict[str, Any] = {
        "sampled_on": day,
        "purpose": "routine",
        "n_pots": len(ph),
        "min_pots": 5,
        "counts": len(ph) >= 5,
        "proper": "yes" if len(ph) >= 5 else "no",
        "meter_ids": ["M1"],
        "meter_calibrated": True,
        "meter_in_doubt": False,
        "leachate_median_ml": 32.0,
        "leachate_low_ml": 30.0,
        "leachate_high_ml": 30.0,
        "pots_over_collected": 0,
        "pots_under_collected": 0,
        "pots_without_volume": 0,
        "ph": make_figures(ph, ph_low, ph_high),
        "ec": make_figures(ec, ec_low, ec_high),
        "pots": pots,
        "findings": [],
    }
    return Sampling(**(facts | changes))


def make_target(low: float, high: float, others: bool = True) -> Target:
    """A published range, with another one beside it."""
    return Target(
        low=low,
        high=high,
        source=Source(
            basis="published",
            text=UMASS,
            url="https://ag.umass.edu/greenhouse-floriculture/greenhouse-updates-march-24-2023",
            how_known="read",
        ),
        others=[
            OtherRange(
                low=low - 0.1,
                high=high - 0.4,
                source="Univ. of Maryland Extension, TPM/IPM Report, 20 Mar 2009",
                how_known="read",
            )
        ]
        if others
        else [],
    )


OPTIONS = [
    Option(
        title="Check the meter",
        text="Calibrate the meter with fresh buffers and read again before anything else: "
        "pH disorders are imitated by a wrong meter, by root disease and by high EC.",
        wait=None,
        cautions="None.",
        source="Univ. of Florida IFAS training page",
        how_known="read",
    ),
    Option(
        title="Change to a nitrate fertilizer",
        text="Change to a basic nitrate fertilizer such as 13-2-13 or 15-0-15.",
        wait="Judge after a week.",
        cautions="None printed in the source.",
        source="UMass Extension, Greenhouse Updates, 10 Apr 2023",
        how_known="read",
    ),
    Option(
        title="Flowable lime or potassium bicarbonate",
        text="Potassium bicarbonate 1–2 lb per 100 gal, or flowable lime 2–4 qt per 100 gal.",
        wait="If there is no rise within a week of the fertilizer change.",
        cautions="Can injure roots and foliage: wash off at once; wear eye protection; "
        "check that the injector can take it.",
        source="UMass Extension, Greenhouse Updates, 10 Apr 2023",
        how_known="read",
    ),
]


def make_lot(number: int, level: str, seed: int = 1, **changes: Any) -> Lot:
    """A lot with ten samplings whose story fits the level."""
    rng = random.Random(seed * 1000 + number)  # noqa: S311
    crop, cultivar, group, ph_low, ph_high, ec_low, ec_high = CROPS[number % len(CROPS)]
    target = (ph_low, ph_high, ec_low, ec_high)
    start = AS_OF - timedelta(days=90)
    samplings: list[Sampling] = []
    middle_ph, middle_ec = (ph_low + ph_high) / 2, (ec_low + ec_high) / 2
    drift = {"act": -0.11, "watch": -0.045}.get(level, 0.0)
    row = 0
    for k in range(10):
        day = start + timedelta(days=4 + 9 * k)
        if level == "no_reading" and k > 6:
            continue
        pots = 3 if k == 5 else 5
        ph = [round(middle_ph + drift * k + rng.gauss(0, 0.12), 1) for _ in range(pots)]
        ec = [round(middle_ec + rng.gauss(0, 0.15), 2) for _ in range(pots)]
        sampling = make_sampling(day, ph, ec, target)
        if sampling.counts:
            row = row + 1 if sampling.ph.side == "low" else 0
            sampling = sampling.model_copy(update={"ph": sampling.ph.model_copy(update={"in_a_row": row})})
        else:
            sampling = sampling.model_copy(
                update={
                    "findings": [
                        Finding(
                            rule="too_few_pots",
                            level="warn",
                            sentence="3 pots usable for pH, 5 needed: shown, but does not count.",
                        )
                    ]
                }
            )
        samplings.append(sampling)
    if level == "act":
        samplings.append(
            make_sampling(
                AS_OF - timedelta(days=3),
                [4.9, 5.0, 5.0, 4.8, 5.1],
                [2.0, 2.1, 1.9, 2.2, 2.0],
                target,
                purpose="affected",
            )
        )
    counting = [s for s in samplings if s.counts]
    last = counting[-1] if counting else None
    reasons: list[Reason] = []
    if level == "act" and last is not None:
        reasons = [
            Reason(
                code="clearly_out",
                level="act",
                quantity="ph",
                side="low",
                sentence=f"pH {last.ph.mean:.1f} ({last.ph.ci_low:.1f}–{last.ph.ci_high:.1f}) on {last.sampled_on}, "
                f"target {ph_low}–{ph_high}: clearly out, {last.ph.in_a_row} low in a row.",
            ),
            Reason(
                code="affected",
                level="watch",
                quantity=None,
                side=None,
                sentence="Affected plants were sampled apart on 2026-04-03: pH 5.0.",
            ),
        ]
    elif level == "no_reading":
        reasons = [
            Reason(
                code="no_reading",
                level="no_reading",
                quantity=None,
                side=None,
                sentence="Last counting sampling on 2026-03-05, 32 days ago; every 14 days is the rule.",
            )
        ]
    elif level == "watch":
        reasons = [
            Reason(
                code="close",
                level="watch",
                quantity="ph",
                side="low",
                sentence=f"pH is close to the lower limit of {ph_low}: its interval crosses the edge.",
            )
        ]
    due_on = {
        "act": AS_OF + timedelta(days=2),
        "no_reading": AS_OF - timedelta(days=18),
        "watch": AS_OF + timedelta(days=4),
    }.get(level, AS_OF + timedelta(days=number % 9))
    overdue = (AS_OF - due_on).days
    facts: dict[str, Any] = {
        "lot_id": f"P-{100 + number}",
        "house": f"House {1 + number % 3}",
        "bench": str(1 + number % 7),
        "crop": crop,
        "cultivar": cultivar,
        "container_class": "pot_4in",
        "plants": 400 + 100 * (number % 12),
        "started_on": start,
        "ends_on": AS_OF + timedelta(days=32 + number),
        "days_to_end": 32 + number,
        "stage": "active",
        "grower_id": "g1",
        "grower_ids": ["g1"],
        "ph_group": group,
        "target_ph": make_target(ph_low, ph_high),
        "target_ec": make_target(ec_low, ec_high, others=False),
        "no_target_why": {},
        "level": level,
        "rank": number,
        "score": 4.2 if level == "act" else 0.0,
        "reasons": reasons,
        "options": OPTIONS if level == "act" else OPTIONS[:1] if level == "watch" else [],
        "last_counting_on": last.sampled_on if last else None,
        "days_since_counting": (AS_OF - last.sampled_on).days if last else None,
        "due": Due(
            state="overdue" if overdue > 0 else "due_this_week" if overdue > -7 else "not_yet",
            due_on=due_on,
            purpose="retest" if level == "act" else "routine",
            why="Retest due Wed 2026-04-08 (out of range on 2026-04-01, 7 days)."
            if level == "act"
            else f"Routine sampling due {due_on} (last read on 2026-03-24, every 14 days).",
            also=["routine Tue 2026-04-14"] if level == "act" else [],
            rule="after_out" if level == "act" else "routine",
            days_overdue=overdue if overdue > 0 else None,
            pots=5,
        ),
        "samplings": samplings,
    }
    return Lot(**(facts | changes))


POLICY = [
    PolicyValue(
        name="min_usable_pots",
        value="5",
        unit="pots",
        origin="C",
        meaning="Usable pots that a sampling needs to count",
        source=None,
        default=None,
    ),
    PolicyValue(
        name="ph_action_high_iron_inefficient",
        value="6.4",
        unit="pH",
        origin="P",
        meaning="Act above this pH in iron-inefficient crops",
        source="Univ. of Florida IFAS",
        default=None,
    ),
    PolicyValue(
        name="uneven_ph_sd",
        value="0.25",
        unit="pH",
        origin="own",
        meaning="SD within a sampling that makes a lot uneven",
        source=None,
        default="0.30",
    ),
    PolicyValue(
        name="containers.pot_4in.routine_interval_days",
        value="14",
        unit="days",
        origin="C",
        meaning="Days between routine samplings, 4 inch pots",
        source=None,
        default=None,
    ),
]


SLACK = SlackInterval(
    container_class="pot_4in",
    interval_days=14,
    published=[
        PublishedInterval(
            as_printed="weekly",
            interval_high_days=7,
            source=UMASS,
            url="https://example.org",
            how_known="read",
        )
    ],
    sentence=f"Policy: 4 inch pots every 14 days. Published: weekly ({UMASS}, read).",
)


def make_plan(lots: list[Lot]) -> list[PlanDay]:
    """The next sampling of each lot on its day, what is overdue on the as-of day; 4 minutes a pot."""
    by_day: dict[date, list[PlannedSampling]] = {}
    for lot in lots:
        due_on = lot.due.due_on
        if due_on is not None and (due_on - AS_OF).days < 28:
            by_day.setdefault(max(due_on, AS_OF), []).append(
                PlannedSampling(
                    lot_id=lot.lot_id,
                    house=lot.house,
                    rule=lot.due.rule or "routine",
                    purpose=lot.due.purpose,
                    due_on=due_on,
                    days_overdue=lot.due.days_overdue,
                    pots=lot.due.pots,
                    minutes=4.0 * lot.due.pots,
                )
            )
    return [
        PlanDay(
            plan_on=day,
            lots=len(planned),
            pots=sum(one.pots for one in planned),
            minutes=sum(one.minutes for one in planned),
            samplings=planned,
        )
        for day, planned in sorted(by_day.items())
    ]


def make_site(number: int, levels: tuple[str, ...], **changes: Any) -> Site:
    """A site with one lot for each level given."""
    lots = changes.get("lots") or [make_lot(i + 1, level, seed=number) for i, level in enumerate(levels)]
    by_level = {level: sum(lot.level == level for lot in lots) for level in LEVELS}
    facts: dict[str, Any] = {
        "site_id": f"site-{number}",
        "name": ("North range", "Harbour Nurseries", "Müllerhof", "River bend")[(number - 1) % 4],
        "language": "en",
        "paper": "letter" if number == 2 else "a4",
        "date_format": "%m/%d/%Y" if number == 2 else "%Y-%m-%d",
        "growers": [Grower(grower_id="g1", name="Ada Lindqvist", houses=[])],
        "first_received_on": AS_OF - timedelta(days=60),
        "last_received_on": AS_OF - timedelta(days=4 if number == 4 else 0),
        "nights_silent": 4 if number == 4 else 0,
        "is_silent": number == 4,
        "last_reading_on": AS_OF - timedelta(days=5 if number == 4 else 1),
        "lots_by_level": by_level,
        "dues_by_state": {
            state: sum(lot.due.state == state for lot in lots)
            for state in ("not_yet", "due_this_week", "overdue", "never_sampled", "ships_first", "excused")
        },
        "lots_on_time": sum(lot.due.days_overdue is None for lot in lots),
        "quality_28_days": Quality(samplings=40, counting=37, proper=31, not_shown=2),
        "lines": Lines(
            lines=1210,
            records=1204,
            accepted=1180,
            held=7,
            repeated=12,
            superseded=1,
            withdrawn=2,
            not_data=2,
        ),
        "files_tonight": [
            FileReceived(
                name="drop/readings_2026-04-05.csv",
                kind="readings",
                received_on=AS_OF,
                lines=52,
                records=52,
                held_why=None,
                not_data=[
                    SetAsideLine(line=1, rule="header", text="Lot,Date,pH,EC"),
                    SetAsideLine(line=52, rule="total", text="Total,,<b>12</b>,"),
                ],
                not_data_more=3,
                blank_lines=1,
            ),
            FileReceived(
                name="drop/lots.csv", kind="lots", received_on=AS_OF, lines=17, records=17, held_why=None
            ),
        ],
        "released_tonight": 5,
        "released_sentences": ["5 records of lot P-103 are in use since its line in the lot list arrived."],
        "held": [
            HeldCause(
                cause="lot_unknown",
                what="P-114",
                sentence="5 lines: lot P-114 is in no lot list of the site.",
                mend="Send the lot list with P-114, or correct the lot code.",
                records=5,
                examples=[
                    HeldExample(
                        file="drop/readings_2026-04-05.csv",
                        line=48,
                        text="2026-04-03,P-114,House 1,5.9,2.10,30",
                    )
                ],
            ),
            HeldCause(
                cause="ec_out_of_scale",
                what=None,
                sentence="2 lines: EC 2100 is above 20 mS/cm: looks like µS/cm.",
                mend="Give the unit of the column in site.toml, or correct the line.",
                records=2,
                examples=[
                    HeldExample(
                        file="drop/readings_2026-04-05.csv",
                        line=51,
                        text="2026-04-03,P-102,House 2,6.0,2100,31",
                    )
                ],
            ),
        ],
        "meters": [
            Meter(
                meter_id="M1",
                last_calibrated_on=AS_OF - timedelta(days=3),
                last_accepted=True,
                slope_pct=97.4,
                offset_mv=-4.2,
                in_doubt=False,
                readings_in_doubt=0,
                days_used_without_calibration=[],
                sentence=None,
            ),
            Meter(
                meter_id="M2",
                last_calibrated_on=AS_OF - timedelta(days=6),
                last_accepted=False,
                slope_pct=84.0,
                offset_mv=12.0,
                in_doubt=True,
                readings_in_doubt=15,
                days_used_without_calibration=[AS_OF - timedelta(days=9)],
                sentence="M2: slope 84 %, below 85 %: clean it and calibrate again; 15 readings are in doubt.",
            ),
        ],
        "findings": [],
        "policy": POLICY,
        "lots": lots,
        "lots_ended": 3,
    }
    plan = make_plan(lots)
    facts |= {"plan": plan, "plan_weeks": sum_weeks(plan, AS_OF), "slack_intervals": [SLACK]}
    return Site(**(facts | changes))


def make_summary(sites: list[Site], **changes: Any) -> Summary:
    """A night over some sites."""
    order = sorted(
        ((site_no, lot) for site_no, site in enumerate(sites) for lot in site.lots),
        key=lambda item: (LEVELS.index(item[1].level), -item[1].score, item[0], item[1].rank),
    )
    ranks = {(site_no, lot.lot_id): rank for rank, (site_no, lot) in enumerate(order, start=1)}
    sites = [
        site.model_copy(
            update={
                "lots": [lot.model_copy(update={"rank": ranks[site_no, lot.lot_id]}) for lot in site.lots]
            }
        )
        for site_no, site in enumerate(sites)
    ]
    facts: dict[str, Any] = {
        "group_name": "Three Rivers Growers",
        "language": "en",
        "paper": "a4",
        "date_format": "%Y-%m-%d",
        "order_formula": ORDER_FORMULA,
        "night": Night(
            leachbook_version="0.1.0",
            as_of=AS_OF,
            facts_digest="4f" * 32,
            settings_digest="a1" * 32,
            new_files=6,
            new_records=311,
        ),
        "lots_by_level": {level: sum(site.lots_by_level[level] for site in sites) for level in LEVELS},
        "sites": sites,
    }
    return Summary(**(facts | changes))


def make_small_summary() -> Summary:
    """One site, four lots, one of each level."""
    asked = [make_row(f"P-{number}", house="House 2", bench="2") for number in (101, 102)]
    return make_summary([make_site(1, LEVELS, sheet=sheet_of(*asked, meters=("M1", "M2")))])


def make_large_summary() -> Summary:
    """Four sites of sixteen lots."""
    levels = ("act", "act", "no_reading", "no_reading", "watch", "watch", "watch", *("ok",) * 9)
    return make_summary([make_site(number, levels) for number in (1, 2, 3, 4)])


def make_empty_summary() -> Summary:
    """A site that has never sent anything."""
    return make_summary(
        [
            make_site(
                1,
                (),
                first_received_on=None,
                last_received_on=None,
                nights_silent=None,
                last_reading_on=None,
                files_tonight=[],
                held=[],
                meters=[],
                growers=[],
                released_tonight=0,
                released_sentences=[],
                policy=[],
                lots_ended=0,
                lines=Lines(
                    lines=0, records=0, accepted=0, held=0, repeated=0, superseded=0, withdrawn=0, not_data=0
                ),
                quality_28_days=Quality(samplings=0, counting=0, proper=0, not_shown=0),
            )
        ]
    )


def make_extreme_summary() -> Summary:
    """Long names, markup, emoji, Arabic, control characters, lots without samplings, targets or dates."""
    long_name = "Donaudampfschifffahrtsgesellschaftsgewächshausverwaltung " * 3
    odd = "<script>alert('x')</script> & \"Coral\" 🌱 بتونيا \u202eabc\x07"
    bare: dict[str, Any] = {
        "samplings": [],
        "house": None,
        "bench": None,
        "cultivar": None,
        "plants": None,
        "ends_on": None,
        "days_to_end": None,
        "grower_id": None,
        "ph_group": None,
        "target_ph": None,
        "target_ec": None,
        "last_counting_on": None,
        "days_since_counting": None,
        "no_target_why": {"ph": "No pH target.", "ec": "No published EC target for this crop."},
    }
    lots = [
        make_lot(1, "act", crop=odd, cultivar=odd, lot_id="L" * 60, house=long_name, bench=long_name),
        make_lot(2, "no_reading", **bare),
        make_lot(3, "watch", crop=long_name, lot_id="../../etc/passwd"),
        make_lot(4, "ok", **bare),
        make_lot(
            5,
            "act",
            due=Due(
                state="never_sampled",
                due_on=AS_OF - timedelta(days=20),
                purpose="routine",
                rule="first",
                why=odd,
                also=[],
                days_overdue=20,
                pots=5,
            ),
        ),
    ]
    site = make_site(
        3,
        LEVELS,
        name=odd + long_name,
        lots=lots,
        growers=[Grower(grower_id=f"g{i}", name=long_name, houses=["1"]) for i in range(3)],
        findings=[Finding(rule="columns_changed", level="hold", sentence=odd, file=odd, line=3)],
        held=[
            HeldCause(
                cause="odd",
                what=odd,
                sentence=odd,
                mend=odd,
                records=99999,
                examples=[HeldExample(file=odd, line=1, text="x;" * 400)],
            )
        ],
        lots_by_level={"act": 2, "no_reading": 1, "watch": 1, "ok": 1},
        quality_28_days=Quality(samplings=0, counting=0, proper=0, not_shown=0),
    )
    return make_summary([site], group_name=odd)
