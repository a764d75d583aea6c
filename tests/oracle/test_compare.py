"""The comparison finds what differs, and what nobody computed."""

from __future__ import annotations

import copy
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from tests.oracle.compare import compare
from tests.oracle.small_home import LOT_HEADER, READING_HEADER, pots, summary_of

LOTS = LOT_HEADER + "P,2,petunia,pot_4in,2026-01-12,2026-05-08,800\nQ,2,pansy,pot_4in,2026-01-12,,\n"


@pytest.fixture
def oracle(tmp_path: Path) -> dict[str, Any]:
    files = {
        "lots.csv": LOTS,
        "readings_2026-04-01.csv": READING_HEADER
        + pots("P", "2026-03-31", [(6.9, 2.5, 30)] * 5)
        + pots("X", "2026-03-31", [(6.9, 2.5, 30)]),
    }
    return summary_of(tmp_path, [(date(2026, 4, 6), files)])


@pytest.fixture
def summary(oracle: dict[str, Any]) -> dict[str, Any]:
    """What a product that agrees would write."""
    found = copy.deepcopy(oracle)
    found["night"]["facts_digest"] = "abc"
    for site in found["sites"]:
        site["policy"] = [{"name": name, "value": str(value)} for name, value in site["policy"].items()]
        for row in site["held"]:
            row.update(examples=row.pop("may_show"), sentence="words", mend="words")
        for row in site["files_tonight"]:
            row["held_why"] = "words" if row.pop("is_held") else None
        for row in site["calendar"]:
            row.update(status="confirmed", description=["words"] * row.pop("samplings"))
        for group in [group for lot in site["sheet"]["lots"] for group in lot["groups"]]:
            group["pots"] = ["place"] * group["pots"]
    return found


def test_agreement(summary: dict[str, Any], oracle: dict[str, Any]) -> None:
    assert compare(summary, oracle) == []


def test_a_number_in_the_ninth_place(summary: dict[str, Any], oracle: dict[str, Any]) -> None:
    figures = summary["sites"][0]["lots"][0]["samplings"][0]["ph"]
    figures["mean"] += 1e-7
    figures["ci_low"] += 1e-7
    (difference,) = compare(summary, oracle)
    assert difference.startswith("summary, sites one, lots P, samplings 2026-03-31 routine, ph, mean: ")


def test_a_new_number_is_not_let_by(summary: dict[str, Any], oracle: dict[str, Any]) -> None:
    summary["sites"][0]["lots"][0]["due"]["minutes"] = 80
    summary["sites"][0]["held"][0]["since"] = 3
    assert compare(summary, oracle) == [
        "summary, sites one, held, held lot_unknown, since: not computed by the oracle",
        "summary, sites one, lots P, due, minutes: not computed by the oracle",
    ]


def test_a_number_is_missing(summary: dict[str, Any], oracle: dict[str, Any]) -> None:
    del summary["sites"][0]["lots"][0]["score"]
    assert compare(summary, oracle) == ["summary, sites one, lots P, score: missing from the summary"]


def test_a_row_is_missing_and_one_too_many(summary: dict[str, Any], oracle: dict[str, Any]) -> None:
    summary["sites"][0]["lots"][1]["lot_id"] = "R"
    assert compare(summary, oracle) == [
        "summary, sites one, lots Q: only the oracle has it",
        "summary, sites one, lots R: only the summary has it",
    ]


def test_another_order(summary: dict[str, Any], oracle: dict[str, Any]) -> None:
    summary["sites"][0]["lots"].reverse()
    (difference,) = compare(summary, oracle)
    assert "order of lots" in difference


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (("sites", 0, "is_silent"), 0, "is_silent"),
        (("sites", 0, "lots", 0, "level"), "watch", "level"),
        (("sites", 0, "lots", 0, "reasons", 0, "side"), "low", "reasons"),
        (("sites", 0, "lots", 0, "target_ph", "others", 0, "low"), 1.0, "target_ph, others"),
        (("sites", 0, "lots", 0, "target_ph", "source", "basis"), "site", "target_ph, source, basis"),
        (("sites", 0, "lots", 0, "started_on"), "2026-01-13", "started_on"),
        (
            ("sites", 0, "lots", 0, "samplings", 0, "pots", 0, "line"),
            9,
            "pots drop/readings_2026-04-01.csv 9",
        ),
        (("sites", 0, "lots", 0, "samplings", 0, "findings"), [], "findings"),
        (("sites", 0, "held", 0, "records"), 2, "held by cause"),
        (("sites", 0, "held", 0, "what"), "Y", "unknown lots"),
        (("sites", 0, "held", 0, "examples", 0, "line"), 2, "is not held for it"),
        (("sites", 0, "files_tonight", 0, "lines"), 99, "files_tonight"),
        (("sites", 0, "files_tonight", 0, "held_why"), "words", "files_tonight"),
        (("sites", 0, "lines", "held"), 2, "lines, held"),
        (("sites", 0, "policy", 0, "value"), "6", "policy min_usable_pots"),
        (("sites", 0, "policy", 0, "name"), "new_value", "policy new_value: not computed"),
        (("sites", 0, "dues_by_state", "overdue"), 3, "dues_by_state, overdue"),
        (("lots_by_level", "act"), 5, "lots_by_level, act"),
        (("night", "new_files"), 5, "night, new_files"),
    ],
)
def test_every_kind_of_difference(
    summary: dict[str, Any], oracle: dict[str, Any], path: tuple[str | int, ...], value: object, words: str
) -> None:
    place: Any = summary
    for step in path[:-1]:
        place = place[step]
    assert place[path[-1]] != value or isinstance(value, int)
    place[path[-1]] = value
    differences = compare(summary, oracle)
    assert differences
    assert any(words in difference for difference in differences)
