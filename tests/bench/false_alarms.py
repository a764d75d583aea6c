"""How often each rule speaks by chance, and how soon it sees what is real: a simulation with a fixed seed.

    .venv/bin/python -m tests.bench.false_alarms

Lots: five pots at each sampling, SD between pots 0.15 pH and 0.40 mS/cm, one routine sampling every 14 days, readings
to two decimals. On top of the pots each sampling as a whole is off by an SD of 0.05 pH and 0.15 mS/cm (weather, hour,
meter, hand). Nobody has published that figure for one site. The choice is about half of what laboratories differ by on
the same water: 0.10 to 0.20 pH (AOAC Official Method 973.41), 7 % in EC (EPA Method 120.1: 119 of 1,710 µS/cm).
Targets: pH 5.8 to 6.2, EC 2.5 to 4.5 mS/cm, no other published range, stage active; then other targets, and those of
the crops of pipeline/reference, with the other published ranges of each crop and its action thresholds.

The rules are those of sql/judgement (verdicts, streaks, drifts, reasons) written anew on whole arrays, with the
shipped policy, and those of pipeline.measures. Rates of `act` are counted under the shipped schedule: a lot that was
out is read again after seven days, so it has more chances. Other rates are for a sampling every 14 days. Contrasts: two
samplings of one lot (each off by its own chance), and two groups of pots of one day (both off alike, so it cancels).
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.measures.contrasts import contrasts
from pipeline.measures.drift import RULES, drift_charts
from pipeline.measures.forecast import forecasts
from pipeline.measures.outliers import LEAST_DISTANCE, is_outlier
from pipeline.measures.reference_tables import load_crop_targets, load_general_targets
from pipeline.measures.t_table import t_quantile
from pipeline.measures.targets import choose_targets, list_published_ranges
from pipeline.measures.trend import LAST_SAMPLINGS, trends
from pipeline.settings.policy import PolicyValues

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SEED: Final = 20260406
POTS: Final = 5
EVERY_DAYS: Final = 14
LIFE: Final = 12
"""Samplings of a steady lot: 24 weeks."""
AGAIN_DAYS: Final = PolicyValues().after_out_interval_days
"""After a sampling that was out the next comes after so many days."""
MOST: Final = LIFE * EVERY_DAYS // AGAIN_DAYS
"""Samplings of a lot in the same weeks that is out each time."""
BEFORE: Final = 8
"""Steady samplings before something changes."""
DAYS_A_MONTH: Final = 365.25 / 12
GROUP: Final = 500
EDGE: Final = 1e-9
PLACES: Final = ("in the middle", "spread evenly", "near the edge")
DETECTING: Final = (
    "out",
    "clearly out",
    "two in a row",
    "two in a row beyond the margin",
    "act",
    "act, once confirmed",
    "three moves one way (drift)",
    "trend (p at most 0.05, a step in eight weeks)",
    "forecast within two samplings",
    "EWMA",
    "any run rule",
)
TARGET_PLACES: Final = ("in the middle", "spread evenly", "near the low edge", "near the high edge")
PH_TARGETS: Final = ((5.8, 6.2), (5.4, 6.2))
EC_TARGETS: Final = ((2.5, 4.5), (1.0, 2.6), (1.5, 2.5), (2.0, 3.5))
SPREADS: Final = ((0.0, 0.0), (0.05, 0.15), (0.10, 0.25))
"""By how much whole samplings are off: pH, mS/cm."""
EC_SHARES: Final = (0.10, 0.13, 0.15, 0.20, 0.25, 0.30)
"""Margins of `clearly out` for EC that the published targets are tried with."""
EC_MIDDLE: Final = 3.5
"""Middle of the target for which the scatter of EC is stated, mS/cm."""
DOUBTS: Final = (0.0, 0.1, 0.3)
"""Shares of samplings that are read with a meter in doubt."""
WEEKS_OF_A_STEP: Final = 8
"""A trend is spoken of where it moves a step in so many weeks."""
MARGINS: Final = ((0.2, 0.10), (0.2, 0.15), (0.3, 0.15), (0.3, 0.20), (0.4, 0.25))
"""Other margins of `clearly out`, pH and share of the EC edge, beside the shipped one."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """pH or EC (mS/cm): target, spreads, and the shipped policy's numbers for it."""

    name: str
    low: float
    high: float
    pot_sd: float
    between_sd: float
    clear_low: float
    clear_high: float
    action_low: float
    action_high: float
    act_from: float
    far_below: float
    uneven_sd: float
    step: float
    least_sigma: float
    others: tuple[tuple[float, float], ...] = ()
    """Other published ranges of the crop: a mean inside of one is never clearly out."""


def quantities(
    between_ph: float, between_ec: float, margin_ph: float, margin_ec: float
) -> tuple[Quantity, Quantity]:
    return ph_of(5.8, 6.2, between_ph, margin_ph), ec_of(2.5, 4.5, between_ec, margin_ec)


def ph_of(low: float, high: float, between: float, margin: float, group: str | None = None) -> Quantity:
    """pH against a target; `group` is the crop's pH group. A threshold counts only beyond the target's own edge."""
    policy = PolicyValues()
    lowest = float(
        policy.ph_action_low_iron_efficient if group == "iron-efficient" else policy.ph_action_low_other
    )
    highest = float(policy.ph_action_high_iron_inefficient) if group == "iron-inefficient" else np.inf
    return Quantity(
        name="ph",
        low=low,
        high=high,
        pot_sd=0.15,
        between_sd=between,
        clear_low=low - margin,
        clear_high=high + margin,
        action_low=lowest if low > lowest else -np.inf,
        action_high=highest if high < highest else np.inf,
        act_from=np.inf,
        far_below=np.inf,
        uneven_sd=float(policy.uneven_ph_sd),
        step=float(policy.step_ph),
        least_sigma=float(policy.summary_ph_sd) / np.sqrt(POTS),
    )


def ec_of(low: float, high: float, between: float, margin_share: float) -> Quantity:
    policy = PolicyValues()
    return Quantity(
        name="ec",
        low=low,
        high=high,
        pot_sd=0.40,
        between_sd=between,
        clear_low=low - max(low * margin_share, float(policy.clear_margin_ec_low_ms_cm)),
        clear_high=high + max(high * margin_share, float(policy.clear_margin_ec_high_ms_cm)),
        action_low=-np.inf,
        action_high=np.inf,
        act_from=float(policy.ec_act_ms_cm),
        far_below=low * float(policy.ec_low_act_share),
        uneven_sd=float(policy.uneven_ec_sd_ms_cm),
        step=float(policy.step_ec_ms_cm),
        least_sigma=float(policy.summary_ec_sd_ms_cm) / np.sqrt(POTS),
    )


def read_pots(rng: np.random.Generator, true_means: Floats, quantity: Quantity) -> Floats:
    """Lots x samplings x pots, as a meter shows them."""
    between = rng.normal(0.0, quantity.between_sd, size=(*true_means.shape, 1))
    pots = rng.normal(0.0, quantity.pot_sd, size=(*true_means.shape, POTS))
    return np.round(true_means[:, :, None] + between + pots, 2)


def place_lots(rng: np.random.Generator, lots: int, quantity: Quantity, place: str) -> Floats:
    """True mean of each lot: lots. Near an edge: an eighth of the target's width inside; the edge is the high one."""
    width = quantity.high - quantity.low
    if place == "in the middle":
        return np.full(lots, quantity.low + width / 2)
    if place == "near the low edge":
        return np.full(lots, quantity.low + width / 8)
    if place in ("near the edge", "near the high edge"):
        return np.full(lots, quantity.high - width / 8)
    return rng.uniform(quantity.low, quantity.high, lots)


def in_a_row(side: NDArray[np.int64]) -> NDArray[np.int64]:
    """How many samplings in a row each one is out on its side; 0 in range: lots x samplings."""
    rows = np.zeros_like(side)
    for nth in range(side.shape[1]):
        before = rows[:, nth - 1] if nth else np.zeros(side.shape[0], dtype=np.int64)
        same = side[:, nth] == (side[:, nth - 1] if nth else 0)
        rows[:, nth] = np.where(side[:, nth] == 0, 0, np.where(same, before + 1, 1))
    return rows


def one_before(values: Bools) -> Bools:
    """What held at the sampling before: lots x samplings."""
    return np.concatenate([np.zeros((values.shape[0], 1), dtype=np.bool_), values[:, :-1]], axis=1)


def verdict_rules(pots: Floats, quantity: Quantity) -> dict[str, Bools]:
    """The rules that look at one sampling and the ones before it, as the night's SQL has them."""
    mean, sd = pots.mean(axis=2), pots.std(axis=2, ddof=1)
    half = float(t_quantile(np.array([POTS - 1.0]))[0]) * sd / np.sqrt(POTS)
    side = (mean > quantity.high + EDGE).astype(np.int64) - (mean < quantity.low - EDGE)
    beyond = (mean >= quantity.clear_high - EDGE) | (mean <= quantity.clear_low + EDGE)
    whole = np.where(side > 0, mean - half > quantity.high, (side < 0) & (mean + half < quantity.low))
    over_threshold = (mean < quantity.action_low - EDGE) | (mean > quantity.action_high + EDGE)
    clearly = ((whole & beyond) | over_threshold) & ~_inside_another(mean, quantity)
    rows = in_a_row(side)
    two_beyond = (rows >= PolicyValues().act_in_a_row) & beyond & one_before(beyond)
    is_low_ec = (side < 0) & (quantity.name == "ec")
    act = np.where(is_low_ec, clearly & ((mean < quantity.far_below) | (rows >= 2)), clearly) | two_beyond
    inside = side == 0
    over_an_edge = (mean - half < quantity.low - EDGE) | (mean + half > quantity.high + EDGE)
    return {
        "out": side != 0,
        "clearly out": clearly,
        "two in a row": rows >= 2,
        "two in a row beyond the margin": two_beyond,
        "close to limit": inside & over_an_edge,
        "three moves one way (drift)": moved_one_way(mean, quantity.step),
        "uneven": sd > quantity.uneven_sd,
        "outlier pot": is_outlier(pots.reshape(-1, POTS), LEAST_DISTANCE[quantity.name])
        .any(axis=1)
        .reshape(mean.shape),
        "act": act | (mean >= quantity.act_from),
        # What `act` would be if one sampling clearly out waited for a second one out on its side.
        "act, once confirmed": (act | (mean >= quantity.act_from)) & (rows >= 2),
    }


def _inside_another(mean: Floats, quantity: Quantity) -> Bools:
    inside = np.zeros(mean.shape, dtype=np.bool_)
    for low, high in quantity.others:
        inside |= (mean >= low - EDGE) & (mean <= high + EDGE)
    return inside


def moved_one_way(mean: Floats, step: float) -> Bools:
    """At least three moves the same way up to here, together a step or more: lots x samplings."""
    direction = np.sign(np.diff(mean, axis=1))
    speaks = np.zeros(mean.shape, dtype=np.bool_)
    begun = np.zeros(mean.shape[0], dtype=np.int64)
    rows = np.arange(mean.shape[0])
    for nth in range(1, mean.shape[1]):
        goes_on = (direction[:, nth - 1] == (direction[:, nth - 2] if nth > 1 else 0)) & (
            direction[:, nth - 1] != 0
        )
        begun = np.where(goes_on, begun, nth - 1)
        speaks[:, nth] = (nth - begun >= 3) & (np.abs(mean[:, nth] - mean[rows, begun]) >= step - EDGE)
    return speaks


def series_rules(mean: Floats, quantity: Quantity) -> dict[str, Bools]:
    """Trend and forecast at every sampling with what was known then, and the charts: lots x samplings."""
    lots, length = mean.shape
    nth = np.tile(np.arange(length), lots)
    frame = pl.DataFrame(
        {"lot": np.repeat(np.arange(lots), length), "nth": nth, "value": mean.ravel()}
    ).with_columns(day=(pl.col("nth") * EVERY_DAYS).cast(pl.Int32).cast(pl.Date))
    ends = pl.DataFrame({"at": np.arange(length)})
    seen = frame.join(ends, how="cross").filter(
        (pl.col("nth") <= pl.col("at")) & (pl.col("nth") > pl.col("at") - LAST_SAMPLINGS)
    )
    told = trends(seen, ["lot", "at"], day="day", value="value").with_columns(
        low=quantity.low,
        high=quantity.high,
        ends_on=pl.lit(None, dtype=pl.Date),
        interval_days=EVERY_DAYS,
    )
    leaving = forecasts(told).with_columns(
        is_large=pl.col("slope_per_week").abs() * WEEKS_OF_A_STEP >= quantity.step - 1e-8
    )
    chart = drift_charts(frame, ["lot"], day="day", value="value", least_sigma=quantity.least_sigma)
    columns = {
        "trend (p at most 0.05, a step in eight weeks)": leaving["is_trend"] & leaving["is_large"],
        "forecast within two samplings": leaving["is_within_two_samplings"] & leaving["is_large"],
        "EWMA": chart["ewma_side"].is_not_null(),
        "moving range": chart["is_moving_range_high"],
        **{f"run rule {rule}": chart[rule] for rule in RULES},
    }
    found = {
        name: said.fill_null(value=False).to_numpy().reshape(lots, length) for name, said in columns.items()
    }
    found["any run rule"] = np.logical_or.reduce([found[f"run rule {rule}"] for rule in RULES])
    return found


def all_rules(pots: Floats, quantity: Quantity) -> dict[str, Bools]:
    return {**verdict_rules(pots, quantity), **series_rules(pots.mean(axis=2), quantity)}


def act_in_doubt(pots: Floats, quantity: Quantity, doubt: Bools, *, stays: bool = True) -> Bools:
    """`act` where some samplings are read with a meter in doubt, which never begins it: lots x samplings.

    `stays`: as the night has it, a lot that a trusted meter found clearly out at the sampling before, and that is out
    on that side again, stays `act`, low EC apart. Without, it falls to `watch`.
    """
    rules = verdict_rules(pots, quantity)
    is_low_ec = (pots.mean(axis=2) < quantity.low - EDGE) & (quantity.name == "ec")
    kept = rules["two in a row"] & one_before(rules["clearly out"] & ~doubt) & ~is_low_ec
    return np.where(doubt, kept & stays, rules["act"])


def begins(speaks: Bools) -> Bools:
    """Where a rule speaks that did not at the sampling before."""
    return speaks & ~one_before(speaks)


def taken_in_time(out: Bools) -> Bools:
    """Which samplings fall into the weeks of a life, each a week after one that was out, else two: lots x samplings."""
    gaps = np.where(out[:, :-1], AGAIN_DAYS, EVERY_DAYS)
    days = np.concatenate([np.zeros((out.shape[0], 1)), gaps.cumsum(axis=1)], axis=1)
    return np.asarray(days < LIFE * EVERY_DAYS)


def act_rate(found: Sequence[Mapping[str, Bools]], rule: str = "act") -> float:
    """New `act` per 100 lot-months of steady lots under the shipped schedule; `found`: the rules of each quantity."""
    alarms = _alarms(found, rule)
    return float(100 * alarms.sum() / lot_months(alarms.size))


def act_error(found: Sequence[Mapping[str, Bools]], rule: str = "act") -> float:
    """Standard error of `act_rate`, over lots: alarms of one lot hang together, since it keeps its true mean."""
    alarms = _alarms(found, rule)
    return float(100 * alarms.std(ddof=1) * np.sqrt(alarms.size) / lot_months(alarms.size))


def _alarms(found: Sequence[Mapping[str, Bools]], rule: str) -> NDArray[np.int64]:
    """How often `rule` of either quantity begins in each lot's weeks: lots."""
    act = np.logical_or.reduce([rules[rule] for rules in found])
    out = np.logical_or.reduce([rules["out"] for rules in found])
    return np.asarray((begins(act) & taken_in_time(out)).sum(axis=1), dtype=np.int64)


def steady_rules(rng: np.random.Generator, lots: int, quantity: Quantity, place: str) -> dict[str, Bools]:
    """The verdict rules on steady lots, as many samplings as the shipped schedule can ask for: lots x samplings."""
    means = np.repeat(place_lots(rng, lots, quantity, place)[:, None], MOST, axis=1)
    return verdict_rules(read_pots(rng, means, quantity), quantity)


def false_alarms(rng: np.random.Generator, lots: int, both: tuple[Quantity, Quantity]) -> list[str]:
    """A Markdown table: new false alarms a month of a group of 500 steady lots."""
    months = lot_months(lots)
    rates: dict[str, list[str]] = {}
    acts, errors, standing = [], [], []
    for place in PLACES:
        act = np.zeros((lots, LIFE), dtype=np.bool_)
        for quantity in both:
            means = np.repeat(place_lots(rng, lots, quantity, place)[:, None], LIFE, axis=1)
            for rule, speaks in all_rules(read_pots(rng, means, quantity), quantity).items():
                rates.setdefault(rule, []).append(f"{GROUP * begins(speaks).sum() / months:.1f}")
                act |= speaks & (rule == "act")
        steady = [steady_rules(rng, lots, quantity, place) for quantity in both]
        acts.append(act_rate(steady))
        errors.append(act_error(steady))
        standing.append(100 * act.mean())
    head = [f"{place}: {quantity}" for place in PLACES for quantity in ("pH", "EC")]
    lines = table(["rule", *head], rates)
    per_place = [
        f"{place} {rate:.2f} ± {error:.2f} ({share:.2f} %)"
        for place, rate, error, share in zip(PLACES, acts, errors, standing, strict=True)
    ]
    return [
        *lines,
        "",
        "`act` by chance, pH or EC, per 100 lot-months ± standard error (and share of samplings): "
        + ", ".join(per_place),
    ]


def changed_lots(
    rng: np.random.Generator, lots: int, quantity: Quantity, place: str
) -> tuple[Floats, Floats]:
    """Pots of lots that change after eight steady samplings, and days since the change at each sampling.

    pH climbs by 0.1 a week, EC by 1 mS/cm at once; the change comes at any hour between two samplings.
    """
    first_after = rng.uniform(0, EVERY_DAYS, lots)
    since = first_after[:, None] + EVERY_DAYS * np.arange(-BEFORE, LIFE)[None, :]
    moved = np.where(since > 0, 0.1 * since / 7 if quantity.name == "ph" else 1.0, 0.0)
    return read_pots(rng, place_lots(rng, lots, quantity, place)[:, None] + moved, quantity), since


def delay(speaks: Bools, since: Floats) -> str:
    """Days from the change until a rule speaks, for half of the lots and for nine in ten.

    Lots for which it spoke already at the last sampling before are left out.
    """
    quiet = ~speaks[:, BEFORE - 1]
    after, days = speaks[quiet, BEFORE:], since[quiet, BEFORE:]
    spoken = np.where(after.any(axis=1), days[np.arange(days.shape[0]), after.argmax(axis=1)], np.inf)
    half, most = np.quantile(spoken, [0.5, 0.9], method="inverted_cdf")
    return " / ".join(f"{day:.0f}" if np.isfinite(day) else f"> {LIFE * EVERY_DAYS}" for day in (half, most))


def table(head: list[str], rows: dict[str, list[str]]) -> list[str]:
    """A Markdown table, its first column the names of the rows."""
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return lines + [f"| {name} | " + " | ".join(cells) + " |" for name, cells in rows.items()]


def detection(rng: np.random.Generator, lots: int, both: tuple[Quantity, Quantity]) -> list[str]:
    """A Markdown table of delays."""
    delays: dict[str, list[str]] = {rule: [] for rule in DETECTING}
    head = ["rule"]
    for quantity, change in zip(both, ("pH + 0.1 a week", "EC + 1 mS/cm at once"), strict=True):
        for place in ("in the middle", "near the edge"):
            head.append(f"{change}, {place}")
            pots, since = changed_lots(rng, lots, quantity, place)
            found = all_rules(pots, quantity)
            for rule in DETECTING:
                delays[rule].append(delay(found[rule], since))
    return table(head, delays)


def choices(seed: int, lots: int, between_ph: float, between_ec: float) -> list[str]:
    """A Markdown table: what other margins and a confirmation would make of `act`, on the same lots."""
    rows: dict[str, list[str]] = {}
    for margin_ph, margin_ec in MARGINS:
        both = quantities(between_ph, between_ec, margin_ph, margin_ec)
        rng = np.random.default_rng(seed)
        for rule in ("act", "act, once confirmed"):
            rows[f"{rule}; margin {margin_ph} pH, {margin_ec:.0%} of the EC edge"] = []
        for place in PLACES:
            found = [steady_rules(rng, lots, quantity, place) for quantity in both]
            for rule in ("act", "act, once confirmed"):
                cells = rows[f"{rule}; margin {margin_ph} pH, {margin_ec:.0%} of the EC edge"]
                cells.append(f"{act_rate(found, rule):.2f}")
        for quantity in both:
            pots, since = changed_lots(rng, lots, quantity, "near the edge")
            verdicts = verdict_rules(pots, quantity)
            for rule in ("act", "act, once confirmed"):
                cells = rows[f"{rule}; margin {margin_ph} pH, {margin_ec:.0%} of the EC edge"]
                cells.append(delay(verdicts[rule], since))
    return table(["choice", *PLACES, "pH + 0.1 a week, near the edge", "EC + 1 mS/cm, near the edge"], rows)


def lot_months(lots: int) -> float:
    return lots * LIFE * EVERY_DAYS / DAYS_A_MONTH


def by_target(seed: int, lots: int, between_ph: float, between_ec: float) -> list[str]:
    """A Markdown table: `act` per 100 lot-months by target, one quantity each, under the shipped margins."""
    policy = PolicyValues()
    wanted = {
        f"pH {low}-{high}": ph_of(low, high, between_ph, float(policy.clear_margin_ph))
        for low, high in PH_TARGETS
    }
    wanted |= {
        f"EC {low}-{high}": ec_of(low, high, between_ec, float(policy.clear_margin_ec_share))
        for low, high in EC_TARGETS
    }
    rng = np.random.default_rng(seed)
    rows = {
        name: [f"{act_rate([steady_rules(rng, lots, quantity, place)]):.2f}" for place in TARGET_PLACES]
        for name, quantity in wanted.items()
    }
    return table(["target", *TARGET_PLACES], rows)


def published_crops(
    between_ph: float,
    between_ec: float,
    margin_ph: float,
    margin_ec: float,
    *,
    is_in_proportion: bool = False,
) -> dict[str, tuple[Quantity, ...]]:
    """pH and, where one is published, EC of every crop in the published table, as the shipped policy chooses them."""
    frame = load_crop_targets()
    chosen = choose_targets(frame, PolicyValues().target_source_order)
    ranges = list_published_ranges(frame)
    (general,) = load_general_targets().filter(pl.col("used") & (pl.col("quantity") == "ph")).to_dicts()
    crops = {}
    for (crop,), mine in chosen.group_by("crop_key", maintain_order=True):
        edges = {row["quantity"]: (float(row["low"]), float(row["high"])) for row in mine.to_dicts()}
        others: dict[str, list[tuple[float, float]]] = {"ph": [], "ec": []}
        for row in ranges.filter(pl.col("crop_key") == crop).to_dicts():
            others[row["quantity"]].append((float(row["low"]), float(row["high"])))
        low, high = edges.get("ph", (float(general["low"]), float(general["high"])))
        both = [ph_of(low, high, between_ph, margin_ph, mine["ph_group"][0])]
        if "ec" in edges:
            ec = ec_of(*edges["ec"], between_ec, margin_ec)
            both.append(_in_proportion(ec) if is_in_proportion else ec)
        crops[str(crop)] = tuple(replace(one, others=tuple(others[one.name])) for one in both)
    return crops


def _in_proportion(ec: Quantity) -> Quantity:
    """The same, its scatter as large a part of the target's middle as it is at 2.5 to 4.5 mS/cm."""
    share = (ec.low + ec.high) / 2 / EC_MIDDLE
    return replace(ec, pot_sd=ec.pot_sd * share, between_sd=ec.between_sd * share)


def published_rates(
    seed: int,
    lots: int,
    between_ph: float,
    between_ec: float,
    margin_ph: float,
    margin_ec: float,
    *,
    is_in_proportion: bool = False,
) -> tuple[float, float, float]:
    """`act` per 100 lot-months of pH, of EC, of either, in a group with as many lots of each crop of the table.

    True means are spread evenly over each crop's target.
    """
    crops = published_crops(between_ph, between_ec, margin_ph, margin_ec, is_in_proportion=is_in_proportion)
    rng = np.random.default_rng(seed)
    each = max(1, lots // len(crops))
    sums = np.zeros(3)
    for crop in crops.values():
        found = [steady_rules(rng, each, quantity, "spread evenly") for quantity in crop]
        for quantity, rules in zip(crop, found, strict=True):
            sums[0 if quantity.name == "ph" else 1] += act_rate([rules])
        sums[2] += act_rate(found)
    ph, ec, either = sums / len(crops)
    return float(ph), float(ec), float(either)


def published_group(seed: int, lots: int) -> list[str]:
    """A Markdown table: `act` per 100 lot-months of the group as the published table has it, by margin and spread."""
    policy = PolicyValues()
    margin_ph, shipped = float(policy.clear_margin_ph), float(policy.clear_margin_ec_share)
    cases = [(share, False) for share in EC_SHARES] + [(shipped, True)]
    rows: dict[str, list[str]] = {}
    for share, is_in_proportion in cases:
        scatter = ", EC scattering in proportion" if is_in_proportion else ""
        cells = rows.setdefault(f"{margin_ph} pH, {share:.0%} of the EC edge{scatter}", [])
        for between_ph, between_ec in SPREADS:
            ph, ec, either = published_rates(
                seed, lots, between_ph, between_ec, margin_ph, share, is_in_proportion=is_in_proportion
            )
            cells.append(f"{either:.2f} ({ph:.2f}, {ec:.2f})")
    return table(["margin", *spread_names()], rows)


def spread_names() -> list[str]:
    return [f"{ph:.2f} pH, {ec:.2f} mS/cm" if ph else "none" for ph, ec in SPREADS]


def clear_share(rng: np.random.Generator, lots: int, quantity: Quantity, *, of_one_day: bool) -> float:
    """How many of 100 comparisons of equal pots are `clear`: five before and five after, or of one day."""
    offsets = rng.normal(0.0, quantity.between_sd, size=(lots, 2, 1))
    if of_one_day:
        offsets[:, 1] = offsets[:, 0]
    middle = (quantity.low + quantity.high) / 2
    pots = np.round(middle + offsets + rng.normal(0.0, quantity.pot_sd, size=(lots, 2, POTS)), 2)
    frame = pl.DataFrame(
        {
            "lot": np.repeat(np.arange(lots), 2 * POTS),
            "grp": np.tile(np.repeat(["first", "second"], POTS), lots),
            "value": pots.ravel(),
        }
    )
    found = contrasts(
        frame,
        ["lot"],
        value="value",
        group="grp",
        first="first",
        second="second",
        least_difference=quantity.step,
    )
    return 100 * float((found["word"] == "clear").sum()) / lots


def doubted_rates(seed: int, lots: int, between_ph: float, between_ec: float) -> list[str]:
    """A Markdown table: `act` by chance per 100 lot-months, its standard error and its share of samplings, by doubt."""
    policy = PolicyValues()
    both = quantities(
        between_ph, between_ec, float(policy.clear_margin_ph), float(policy.clear_margin_ec_share)
    )
    rows: dict[str, list[str]] = {}
    for share in DOUBTS:
        for stays, rule in ((True, "stays"), (False, "falls to watch")):
            rng = np.random.default_rng(seed)
            cells = []
            for place in PLACES:
                # One meter reads pH and EC, so both are in doubt together.
                doubt = rng.random((lots, MOST)) < share
                drawn = [
                    read_pots(rng, np.repeat(place_lots(rng, lots, one, place)[:, None], MOST, axis=1), one)
                    for one in both
                ]
                found = [
                    {
                        "out": verdict_rules(pots, one)["out"],
                        "act": act_in_doubt(pots, one, doubt, stays=stays),
                    }
                    for pots, one in zip(drawn, both, strict=True)
                ]
                standing = 100 * np.logical_or.reduce([rules["act"] for rules in found]).mean()
                cells.append(f"{act_rate(found):.2f} ± {act_error(found):.2f} ({standing:.3f} %)")
            rows[f"{share:.0%} in doubt, {rule}"] = cells
    return table(["samplings", *PLACES], rows)


def contrast_rates(seed: int, lots: int) -> list[str]:
    """A Markdown table: `clear` per 100 comparisons of equal pots, by spread between samplings."""
    policy = PolicyValues()
    rows: dict[str, list[str]] = {}
    for kind, of_one_day in (("before and after", False), ("affected and healthy, one day", True)):
        for place in range(2):
            cells = []
            for between_ph, between_ec in SPREADS:
                quantity = quantities(
                    between_ph, between_ec, float(policy.clear_margin_ph), float(policy.clear_margin_ec_share)
                )[place]
                rng = np.random.default_rng(seed)
                cells.append(f"{clear_share(rng, lots, quantity, of_one_day=of_one_day):.2f}")
            rows[f"{kind}: {('pH', 'EC')[place]}"] = cells
    return table(["comparison", *spread_names()], rows)


def main() -> None:
    policy = PolicyValues()
    parser = argparse.ArgumentParser(description="False alarms and detection delay of the rules.")
    parser.add_argument("--lots", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--between-ph", type=float, default=0.05)
    parser.add_argument("--between-ec", type=float, default=0.15)
    parser.add_argument("--margin-ph", type=float, default=float(policy.clear_margin_ph))
    parser.add_argument("--margin-ec", type=float, default=float(policy.clear_margin_ec_share))
    asked = parser.parse_args()
    both = quantities(asked.between_ph, asked.between_ec, asked.margin_ph, asked.margin_ec)
    rng = np.random.default_rng(asked.seed)
    lines = [
        f"New false alarms a month of {GROUP} steady lots ({asked.lots:,} lots of {LIFE} samplings simulated)",
        "",
        *false_alarms(rng, asked.lots, both),
        "",
        "Days until a rule speaks: half of the lots / nine in ten",
        "",
        *detection(rng, asked.lots, both),
        "",
        "`act` by chance per 100 lot-months, and days until it sees what is real, by choice",
        "",
        *choices(asked.seed, asked.lots, asked.between_ph, asked.between_ec),
        "",
        "`act` by chance per 100 lot-months by target, one quantity each",
        "",
        *by_target(asked.seed, asked.lots, asked.between_ph, asked.between_ec),
        "",
        "`act` by chance per 100 lot-months of the group as the published table has it: either (pH, EC)",
        "",
        *published_group(asked.seed, asked.lots),
        "",
        "`act` by chance per 100 lot-months ± standard error (and share of samplings) with meters in doubt",
        "",
        *doubted_rates(asked.seed, asked.lots, asked.between_ph, asked.between_ec),
        "",
        "`clear` by chance per 100 comparisons of five pots with five",
        "",
        *contrast_rates(asked.seed, asked.lots),
    ]
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
