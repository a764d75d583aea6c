"""Source water and feed: alkalinity against what the site's containers bear, the hose end against its setting.

What the feed adds is the hose end's EC less the water's, and is held against the asked EC less the water's.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path
from typing import Any

from tests.oracle.fields import round_half_up
from tests.oracle.other_lines import Line
from tests.oracle.samplings import Sampling
from tests.oracle.settings import Policy, fold

# Below it a share says nothing: a house default.
LEAST_ADDED_MS_CM = Fraction("0.1")
IN_GENERAL = ""


@dataclass(frozen=True)
class Borne:
    """Alkalinity in mg/L CaCO3. An edge that is not published is None."""

    low: Fraction | None
    high: Fraction | None
    acid_above: Fraction | None

    def word(self, alkalinity: Fraction) -> str:
        """Edges belong to the range."""
        if self.acid_above is not None and alkalinity > self.acid_above:
            return "acid"
        if self.high is not None and alkalinity > self.high:
            return "high"
        return "low" if self.low is not None and alkalinity < self.low else "in_range"


@dataclass(frozen=True)
class Check:
    """A check of a site's water or feed; EC at 25 °C."""

    line: Line
    place: str
    # Injector, or house where none is named.
    spot: str | None
    ec_ms_cm: Fraction | None
    alkalinity_mg_l: Fraction | None
    target_ec_ms_cm: Fraction | None


@dataclass(frozen=True)
class Feed:
    """The last check of a hose end, with the water that it is held against."""

    check: Check
    water: Check | None

    def word(self, tolerance: Fraction) -> str | None:
        """None where a figure is missing, or so little is asked for that a share says nothing."""
        if self.water is None:
            return None
        hose, water, target = self.check.ec_ms_cm, self.water.ec_ms_cm, self.check.target_ec_ms_cm
        assert hose is not None
        assert water is not None
        if hose < water:
            return "below_water"
        if target is None or target - water < LEAST_ADDED_MS_CM:
            return None
        share = (hose - water) / (target - water)
        return "weak" if share < 1 - tolerance else "strong" if share > 1 + tolerance else "as_set"


@dataclass(frozen=True)
class Waters:
    """What tonight's judgement takes, and all source waters with EC.

    `words`: the source water's, by container class of the standing lots.
    """

    sources: Sequence[Check]
    judged: Check | None
    words: dict[str, str]
    feeds: Sequence[Feed]
    tolerance: Fraction

    def of(self, container_class: str) -> str | None:
        return self.words.get(container_class)


def read_borne(folder: Path) -> dict[str, Borne]:
    """The row that is marked as used for each class, and under IN_GENERAL the one without classes."""
    found: dict[str, Borne] = {}
    with (folder / "alkalinity_targets.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            if row["used"] != "yes":
                continue
            edges = [row[name] for name in ("low_mg_l", "high_mg_l", "acid_above_mg_l")]
            borne = Borne(*(Fraction(edge) if edge else None for edge in edges))
            for container_class in row["container_classes"].split() or [IN_GENERAL]:
                found[container_class] = borne
    return found


def check_of(line: Line, policy: Policy) -> Check:
    """A meter that does not compensate needs a temperature; without one there is no EC."""
    ec, degrees = line.typed.number("ec"), line.typed.number("temperature")
    if ec is not None and not line.export.ec_compensated:
        ec = (
            None
            if degrees is None
            else round_half_up(ec / (1 + policy["ec_alpha_per_c"] * (degrees - 25)), 4)
        )
    return Check(
        line,
        line.typed.text("place") or "",
        line.typed.text("injector") or line.typed.text("house"),
        ec,
        line.typed.number("alkalinity"),
        line.typed.number("target_ec"),
    )


def nearest(waters: Sequence[Check], day: date) -> Check | None:
    """The source water nearest in days, the earlier day of two as near; of one day the last."""
    if not waters:
        return None
    best = min(waters, key=lambda water: (abs((water.line.day - day).days), water.line.day)).line.day
    return max((water for water in waters if water.line.day == best), key=lambda water: water.line.when)


def waters_of(
    lines: Iterable[Line],
    policy_of: Callable[[date], Policy],
    container_classes: Iterable[str],
    borne: dict[str, Borne],
    as_of: date,
) -> Waters:
    """Checks that are not too old; the last water whose alkalinity is known, the last feed of each hose end."""
    policy = policy_of(as_of)
    since = as_of - timedelta(days=int(policy["water_check_days"]))
    ever = [check_of(line, policy_of(line.day)) for line in lines]
    sources = [check for check in ever if check.place == "source_water" and check.ec_ms_cm is not None]
    checks = [check for check in ever if since <= check.line.day <= as_of]
    alkaline = [
        check for check in checks if check.place == "source_water" and check.alkalinity_mg_l is not None
    ]
    with_ec = [check for check in sources if since <= check.line.day <= as_of]
    # An injector and a house of one name are two hose ends.
    hoses: dict[tuple[bool, str], Check] = {}
    for check in sorted(checks, key=lambda each: each.line.when):
        if check.place == "hose_end" and check.ec_ms_cm is not None:
            hoses[check.line.typed.text("injector") is None, fold(check.spot or "")] = check
    judged = max(alkaline, key=lambda check: check.line.when, default=None)
    words: dict[str, str] = {}
    if judged is not None and judged.alkalinity_mg_l is not None:
        for container_class in container_classes:
            row = borne.get(container_class, borne[IN_GENERAL])
            words[container_class] = row.word(judged.alkalinity_mg_l)
    return Waters(
        sources,
        judged if words else None,
        words,
        [Feed(check, nearest(with_ec, check.line.day)) for check in hoses.values()],
        policy["feed_tolerance_share"],
    )


def water_findings(waters: Waters) -> list[tuple[str, str]]:
    """Rule and level: one remark on the source water at most, one on each hose end."""
    found: list[tuple[str, str]] = []
    words = set(waters.words.values())
    if "acid" in words:
        found.append(("alkalinity_acid", "warn"))
    elif words & {"low", "high"}:
        found.append(("alkalinity_outside", "note"))
    for feed in waters.feeds:
        word = feed.word(waters.tolerance)
        if word in ("weak", "strong", "below_water"):
            found.append((f"feed_{word}", "warn"))
    return found


def is_below_water(sampling: Sampling, waters: Waters) -> bool:
    """The mean EC is less than that of the source water in use: its last check by that day, not too old."""
    since = sampling.sampled_on - timedelta(days=int(sampling.policy["water_check_days"]))
    in_use = [check for check in waters.sources if since <= check.line.day <= sampling.sampled_on]
    mean = sampling.quantities["ec"].statistics.mean
    if not in_use or mean is None:
        return False
    water = max(in_use, key=lambda check: check.line.when).ec_ms_cm
    return water is not None and mean < water


def number(value: Fraction | None) -> float | None:
    return None if value is None else float(value)


def check_part(check: Check, water: Check | None, words: list[str]) -> dict[str, Any]:
    return {
        "checked_on": check.line.day.isoformat(),
        "place": check.place,
        "spot": check.spot,
        "ec_ms_cm": number(check.ec_ms_cm),
        "alkalinity_mg_l": number(check.alkalinity_mg_l),
        "target_ec_ms_cm": number(check.target_ec_ms_cm) if check.place == "hose_end" else None,
        "water_on": None if water is None else water.line.day.isoformat(),
        "water_ec_ms_cm": None if water is None else number(water.ec_ms_cm),
        "words": words,
    }


def water_part(waters: Waters) -> list[dict[str, Any]]:
    """The waters, then the hose ends by their name; words in the order of the alphabet."""
    sources = {feed.water.line.place: feed.water for feed in waters.feeds if feed.water is not None}
    if waters.judged is not None:
        sources[waters.judged.line.place] = waters.judged
    off = sorted(set(waters.words.values()) - {"in_range"}) or ["in_range"]

    def order(check: Check) -> tuple[bool, str, date, tuple[int, int]]:
        return check.spot is None, check.spot or "", check.line.day, check.line.place

    rows = [
        check_part(check, None, off if check is waters.judged else [])
        for check in sorted(sources.values(), key=order)
    ]
    for feed in sorted(waters.feeds, key=lambda each: order(each.check)):
        word = feed.word(waters.tolerance)
        rows.append(check_part(feed.check, feed.water, [] if word is None else [word]))
    return rows
