"""Holds the product's summary against the oracle's, field by field.

Every field of the product's summary must be computed by the oracle, or be named in TEXTS or NOT_COMPUTED.
So a new number cannot slip into the summary unchecked.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Callable
from typing import Any

from tests.oracle.calendar import compare_calendar
from tests.oracle.sheet import compare_sheet

EXACT = 1e-9
ROOTS = 1e-6
ROOT_FIELDS = (
    *("sd", "ci_low", "ci_high", "sd_without", "ci_low_without", "ci_high_without"),
    *("grubbs_g", "grubbs_critical"),
    # an effect in SDs, and the limits of a drift chart
    *("hedges_g", "own_charts, low", "own_charts, high"),
)
# The score is written with six decimals.
SCORES = 5e-7

# Sentences, names of publications and addresses: words, read by people.
TEXTS = frozenset(
    {
        "sentence",
        "group_sentence",
        "group_mend",
        "pots_sentences",
        "released_sentences",
        "group_released_sentences",
        # what was replaced and read again has its own tests; how many lines gave way is compared
        "corrections_tonight",
        "rereads_tonight",
        "reread_lines",
        "reread_lines_more",
        "why",
        "also",
        "excuse",
        "text",
        "url",
        "how_known",
        "mend",
        "held_why",
        "no_target_why",
        "options",
        "order_formula",
    }
)
# Not numbers of the sites: which build ran, and digests that have their own tests.
NOT_COMPUTED = frozenset({"night.leachbook_version", "night.facts_digest", "night.settings_digest"})

KEYS: dict[str, tuple[str, ...]] = {
    "sites": ("site_id",),
    "lots": ("lot_id",),
    "samplings": ("sampled_on", "purpose"),
    "pots": ("file", "line"),
    "meters": ("meter_id",),
    "growers": ("grower_id",),
    "released_files": ("file", "received_on"),
    "contrasts": ("comparison", "quantity"),
    "crop_contrasts": ("crop", "container_class", "quantity", "first_site", "second_site"),
}
# Fields of rows whose order says something; samplings of one day have no order among themselves.
ORDERED = {"lots": "lot_id", "samplings": "sampled_on"}


def is_same(name: str, found: Any, wanted: Any) -> bool:
    """Numbers within tolerance, everything else equal."""
    if isinstance(found, bool) or isinstance(wanted, bool):
        return found is wanted
    if isinstance(found, (int, float)) and isinstance(wanted, (int, float)):
        tolerance = SCORES if name == "score" else ROOTS if name in ROOT_FIELDS else EXACT
        return math.isclose(found, wanted, rel_tol=tolerance, abs_tol=tolerance)
    return bool(found == wanted)


def label(name: str, row: dict[str, Any]) -> str:
    return " ".join(str(row.get(key)) for key in KEYS[name])


def differ(where: str, found: object, wanted: object) -> str:
    return f"{where}: the summary has {found!r}, the oracle {wanted!r}"


def compare_keyed(name: str, found: list[Any], wanted: list[Any], where: str) -> list[str]:
    """Rows that carry a key: none missing, none more, in the same order where the order says something."""
    differences: list[str] = []
    found_by = {label(name, row): row for row in found}
    wanted_by = {label(name, row): row for row in wanted}
    if len(found_by) != len(found):
        differences.append(f"{where}: two rows have the same key {KEYS[name]}")
    differences += [
        f"{where}, {name} {missing}: only the oracle has it"
        for missing in sorted(wanted_by.keys() - found_by.keys())
    ]
    differences += [
        f"{where}, {name} {extra}: only the summary has it"
        for extra in sorted(found_by.keys() - wanted_by.keys())
    ]
    common = found_by.keys() & wanted_by.keys()
    if name in ORDERED:
        found_order = [row[ORDERED[name]] for key, row in found_by.items() if key in common]
        wanted_order = [row[ORDERED[name]] for key, row in wanted_by.items() if key in common]
        if found_order != wanted_order:
            differences.append(differ(f"{where}, order of {name}", found_order, wanted_order))
    for key in wanted_by:
        if key in common:
            differences += compare_parts(found_by[key], wanted_by[key], f"{where}, {name} {key}")
    return differences


def compare_others(found: list[Any], wanted: list[Any], where: str) -> list[str]:
    """Other published ranges of a crop: the same pairs of numbers, each as often."""
    pairs = [Counter((row["low"], row["high"]) for row in rows) for rows in (found, wanted)]
    return (
        []
        if pairs[0] == pairs[1]
        else [differ(where, sorted(pairs[0].elements()), sorted(pairs[1].elements()))]
    )


def compare_reasons(found: list[Any], wanted: list[Any], where: str) -> list[str]:
    """Reasons by level, quantity and side; the product's codes are its own words."""
    kinds = [
        Counter((row["level"], row["quantity"], row["side"]) for row in rows) for rows in (found, wanted)
    ]
    if kinds[0] == kinds[1]:
        return []
    return [
        differ(
            where,
            [(row["code"], row["level"], row["quantity"], row["side"]) for row in found],
            [(row["code"], row["level"], row["quantity"], row["side"]) for row in wanted],
        )
    ]


def compare_held(found: list[Any], wanted: list[Any], where: str) -> list[str]:
    """Held records by cause; every example must be a record that the oracle holds for it."""
    differences: list[str] = []
    sums = [Counter[str](), Counter[str]()]
    for total, rows in zip(sums, (found, wanted), strict=True):
        for row in rows:
            total[row["cause"]] += row["records"]
    if sums[0] != sums[1]:
        differences.append(differ(f"{where}, held by cause", dict(sums[0]), dict(sums[1])))
    unknown_lots = [
        {row["what"]: row["records"] for row in rows if row["cause"] == "lot_unknown"}
        for rows in (found, wanted)
    ]
    if unknown_lots[0] != unknown_lots[1]:
        differences.append(differ(f"{where}, unknown lots", *unknown_lots))
    for row in found:
        known = [
            (example["file"], example["line"])
            for other in wanted
            if other["cause"] == row["cause"]
            for example in other["may_show"]
        ]
        differences += [
            f"{where}, {row['cause']}: {example['file']} line {example['line']} is not held for it"
            for example in row["examples"]
            if (example["file"], example["line"]) not in known
        ]
        extra = row.keys() - {
            "cause",
            "what",
            "sentence",
            "group_sentence",
            "mend",
            "group_mend",
            "records",
            "examples",
        }
        differences += [
            f"{where}, held {row['cause']}, {name}: not computed by the oracle" for name in sorted(extra)
        ]
    return differences


def compare_files(found: list[Any], wanted: list[Any], where: str) -> list[str]:
    """Files of the night by name; a file that is held whole says why."""
    differences: list[str] = []
    rows = [{row["name"]: row for row in each} for each in (found, wanted)]
    if rows[0].keys() != rows[1].keys():
        differences.append(differ(where, sorted(rows[0]), sorted(rows[1])))
    for name in rows[0].keys() & rows[1].keys():
        mine = dict(rows[1][name])
        is_held = mine.pop("is_held")
        if (rows[0][name]["held_why"] is not None) != is_held:
            differences.append(differ(f"{where} {name}, held", rows[0][name]["held_why"], is_held))
        differences += compare_parts(rows[0][name], mine, f"{where} {name}")
    return differences


def compare_policy(found: list[Any], wanted: dict[str, float], where: str) -> list[str]:
    """Values in force that are numbers: each known by name and equal."""
    differences: list[str] = []
    for row in found:
        if not re.fullmatch(r"-?[0-9]+(\.[0-9]+)?", str(row["value"])):
            continue
        if row["name"] not in wanted:
            differences.append(f"{where} {row['name']}: not computed by the oracle")
        elif not is_same("", float(row["value"]), wanted[row["name"]]):
            differences.append(differ(f"{where} {row['name']}", row["value"], wanted[row["name"]]))
    return differences


def compare_findings(found: list[Any], wanted: list[Any], where: str) -> list[str]:
    """Findings by rule and level; the sentences are words."""
    kinds = [Counter((row["rule"], row["level"]) for row in rows) for rows in (found, wanted)]
    differences = [
        f"{where}, {name}: not computed by the oracle"
        for row in found
        for name in sorted(
            row.keys() - {"rule", "level", "sentence", "group_sentence", "file", "line", "places", "sources"}
        )
    ]
    if kinds[0] != kinds[1]:
        differences.append(differ(where, sorted(kinds[0].elements()), sorted(kinds[1].elements())))
    return differences


def compare_rows(found: list[Any], wanted: list[Any], where: str) -> list[str]:
    """Rows without a key of their own: as many, in the same order, each the same."""
    if len(found) != len(wanted):
        return [differ(f"{where}, rows", found, wanted)]
    return [
        difference
        for number, (one, other) in enumerate(zip(found, wanted, strict=True), start=1)
        for difference in compare_parts(one, other, f"{where} {number}")
    ]


def compare_plan(found: list[Any], wanted: list[Any], where: str) -> list[str]:
    """Planned days, each with its samplings in their order."""
    days, others = ([{**day, "samplings": len(day["samplings"])} for day in each] for each in (found, wanted))
    differences = compare_rows(days, others, where)
    if differences:
        return differences
    return [
        difference
        for one, other in zip(found, wanted, strict=True)
        for difference in compare_rows(one["samplings"], other["samplings"], f"{where} {one['plan_on']}")
    ]


SPECIAL: dict[str, Callable[[list[Any], Any, str], list[str]]] = {
    "others": compare_others,
    "reasons": compare_reasons,
    "held": compare_held,
    "files_tonight": compare_files,
    "policy": compare_policy,
    "findings": compare_findings,
    "treatments": compare_rows,
    "water": compare_rows,
    "plan": compare_plan,
    "answers": compare_rows,
    "plan_weeks": compare_rows,
    "slack_intervals": compare_rows,
    "published": compare_rows,
    "calendar": compare_calendar,
}


def compare_parts(found: Any, wanted: Any, where: str) -> list[str]:
    """Two parts with the same fields; the names of the fields lead to the difference."""
    if not isinstance(found, dict) or not isinstance(wanted, dict):
        name = where.rsplit(", ", 1)[-1]
        if ", own_charts, " in where:
            name = f"own_charts, {name}"
        return [] if is_same(name, found, wanted) else [differ(where, found, wanted)]
    differences: list[str] = []
    for name, value in found.items():
        place = f"{where}, {name}"
        if name in TEXTS:
            continue
        if name not in wanted:
            differences.append(f"{place}: not computed by the oracle")
        elif name == "sheet":
            differences += compare_sheet(value, wanted[name], place)
        elif name in SPECIAL and isinstance(value, list):
            differences += SPECIAL[name](value, wanted[name], place)
        elif name in KEYS and isinstance(value, list):
            differences += compare_keyed(name, value, wanted[name], where)
        elif name in ("lots_by_level", "dues_by_state"):
            for key in wanted[name].keys() | value.keys():
                if value.get(key, 0) != wanted[name].get(key):
                    differences.append(differ(f"{place}, {key}", value.get(key, 0), wanted[name].get(key)))
        else:
            differences += compare_parts(value, wanted[name], place)
    for name in wanted.keys() - found.keys():
        differences.append(f"{where}, {name}: missing from the summary")
    return differences


def compare(summary: dict[str, Any], oracle: dict[str, Any]) -> list[str]:
    """All differences between a summary.json and the oracle, one sentence each; an empty list means
    agreement.
    """
    night = {name: value for name, value in summary["night"].items() if f"night.{name}" not in NOT_COMPUTED}
    return compare_parts({**summary, "night": night}, oracle, "summary")
