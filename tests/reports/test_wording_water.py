"""Sentences on water, feed, treatments and lists: plain words, with every figure that was taken from another."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from pipeline.reports.wording import TREATMENT_WORDS, Wording
from pipeline.settings.words import WORDS_BY_FIELD

WORDS = Wording("%d %b")
WATER: dict[str, Any] = {
    "checked_on": date(2026, 3, 30),
    "water_on": date(2026, 3, 23),
    "c": None,
}


def published(
    low: float | None, high: float, *classes: str, source: str = "A paper"
) -> dict[str, float | list[str] | str | None]:
    return {"low": low, "high": high, "classes": list(classes), "source": source}


def test_every_treatment_has_a_word() -> None:
    assert set(TREATMENT_WORDS) == set(WORDS_BY_FIELD["what"])


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (
            {
                "rule": "alkalinity_outside",
                "a": 60.0,
                "ranges": [published(80.0, 120.0, "pot_4in", "pot_6_5in_plus")],
            },
            (
                "Source water of 30 Mar: alkalinity 60 mg/L CaCO3, below what is published: 80-120 for 4 inch pots "
                "and 6.5 inch pots and larger (A paper)."
            ),
        ),
        (
            {"rule": "alkalinity_outside", "a": 130.0, "ranges": [published(None, 100.0, "nursery")]},
            (
                "Source water of 30 Mar: alkalinity 130 mg/L CaCO3, above what is published: at most 100 for nursery "
                "containers (A paper)."
            ),
        ),
        (
            {
                "rule": "alkalinity_outside",
                "a": 70.0,
                "ranges": [
                    published(40.0, 60.0, "plug"),
                    published(80.0, 120.0, "pot_4in", source="Another paper"),
                ],
            },
            (
                "Source water of 30 Mar: alkalinity 70 mg/L CaCO3, outside what is published: 40-60 for plug trays, "
                "80-120 for 4 inch pots (A paper; Another paper)."
            ),
        ),
        (
            {
                "rule": "alkalinity_acid",
                "a": 210.0,
                "c": 150.0,
                "ranges": [published(80.0, 120.0, "pot_4in")],
            },
            (
                "Source water of 30 Mar: alkalinity 210 mg/L CaCO3, above what is published: 80-120 for 4 inch pots "
                "(A paper). Acid is thought of above 150: expect pH to rise."
            ),
        ),
        (
            {"rule": "feed_weak", "a": 1.3, "b": 0.4, "c": 1.9, "d": 0.6, "place": "North"},
            (
                "Feed at the hose end (North) is weak: 1.30 mS/cm on 30 Mar, 1.90 is asked for. Source water of 23 "
                "Mar has 0.40, so the feed adds 0.90 where 1.50 is meant (60 %). Check injector and stock tank."
            ),
        ),
        (
            {"rule": "feed_strong", "a": 2.5, "b": 0.4, "c": 1.9, "d": 1.4, "place": ""},
            (
                "Feed at the hose end is strong: 2.50 mS/cm on 30 Mar, 1.90 is asked for. Source water of 23 "
                "Mar has 0.40, so the feed adds 2.10 where 1.50 is meant (140 %). Check injector and stock tank."
            ),
        ),
        (
            {"rule": "feed_below_water", "a": 0.3, "b": 0.4, "c": None, "d": None, "place": "North"},
            (
                "Feed at the hose end (North) has 0.30 mS/cm on 30 Mar, less than the source water alone (0.40 on 23 "
                "Mar). Check the meter, and whether both were the same water."
            ),
        ),
    ],
)
def test_water_and_feed(row: dict[str, Any], sentence: str) -> None:
    assert WORDS.water_finding({**WATER, **row}) == sentence


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (
            {"rule": "lot_not_listed", "names": ["P-1"], "readings": None},
            "1 planted lot not in the lot list: P-1. Nobody is asked to sample them.",
        ),
        (
            {"rule": "lot_not_listed", "names": [f"P-{at}" for at in range(1, 8)], "readings": None},
            "7 planted lots not in the lot list: P-1, P-2, P-3, P-4, P-5 and 2 more. Nobody is asked to sample them.",
        ),
        (
            {"rule": "sampler_not_trained", "names": ["Bo", "Cy"], "readings": 12},
            (
                "12 readings of the last 28 days by somebody who is not in the list of people or was "
                "trained later: Bo, Cy."
            ),
        ),
        (
            {"rule": "lot_code_twice", "names": ["A-1 / a-1"], "readings": None},
            "Codes that differ only in capital letters are taken as one lot: A-1 / a-1. Give one of them another.",
        ),
    ],
)
def test_lists(row: dict[str, Any], sentence: str) -> None:
    assert WORDS.list_finding(row) == sentence


RESULT: dict[str, Any] = {
    "code": "treatment_result",
    "quantity": "ph",
    "what": "acid_feed",
    "until_on": date(2026, 3, 20),
    "since_on": date(2026, 3, 16),
    "sampled_on": date(2026, 3, 30),
    "first_mean": 6.7,
    "mean": 6.2,
    "ci_low": -0.65,
    "ci_high": -0.35,
    "pots": 5,
    "min_pots": 5,
    "flag": False,
    "side": "low",
}


@pytest.mark.parametrize(
    ("changes", "end"),
    [
        ({}, "-0.50 (-0.65 to -0.35): a clear fall."),
        ({"side": None, "ci_low": None, "ci_high": None}, "-0.50: no clear move."),
        ({"flag": True, "pots": 2, "min_pots": 1}, "2 and 1 pot are too few to tell whether it moved."),
    ],
)
def test_what_a_treatment_moved(changes: dict[str, Any], end: str) -> None:
    sentence = WORDS.reason({**RESULT, **changes})
    assert sentence.startswith("After acid feed on 20 Mar: pH 6.70 on 16 Mar, 6.20 on 30 Mar")
    assert sentence.endswith(end)


@pytest.mark.parametrize(("is_past", "verb"), [(False, "due"), (True, "was due")])
def test_treated(is_past: bool, verb: str) -> None:
    row = {"code": "treated", "sampled_on": date(2026, 4, 2), "until_on": date(2026, 4, 9),
           "flag": is_past, "what": "leaching,lime_drench"}  # fmt: skip
    assert WORDS.reason(row) == f"Treated on 02 Apr (leaching and a lime drench), retest {verb} 09 Apr."


def test_alkaline_water() -> None:
    row = {"code": "alkaline_water", "first_mean": 0.1, "mean": 180.0, "low": 80.0, "high": 120.0,
           "sampled_on": date(2026, 3, 30)}  # fmt: skip
    assert WORDS.reason(row) == (
        "pH rises by 0.10 a week, and the source water has 180 mg/L alkalinity (CaCO3, 30 Mar) where 80-120 is "
        "published for these containers: the water may be the cause."
    )


def test_remarks_on_a_sampling() -> None:
    poured = {"rule": "poured_not_distilled", "pots": 2, "of_pots": 5, "what": "rain,tap"}
    assert WORDS.finding(poured) == (
        "2 of 5 pots poured with rain and tap water whose EC is not written down: nobody can tell what it adds to the "
        "leachate."
    )
    below = {"rule": "ec_below_water", "a": 0.31, "b": 0.45, "what": "2026-03-12"}
    assert WORDS.finding(below) == (
        "EC 0.31 mS/cm in the leachate, the source water had 0.45 on 12 Mar: check the meter, and what was poured."
    )


CONTRAST: dict[str, Any] = {
    "comparison": "affected", "quantity": "ec", "first_on": date(2026, 3, 30), "second_on": date(2026, 3, 29),
    "mean_first": 5.1, "mean_second": 3.0, "difference": 2.1, "ci_low": 1.5, "ci_high": 2.7, "word": "clear",
}  # fmt: skip


def test_contrasts_in_words() -> None:
    assert WORDS.contrast(CONTRAST) == (
        "EC 5.10 mS/cm affected plants (30 Mar), 3.00 healthy ones (29 Mar): a clear difference (+2.10, "
        "+1.50 to +2.70)."
    )
    unclear = {**CONTRAST, "comparison": "feed", "word": "not_clear", "ci_low": None, "ci_high": None}
    assert WORDS.contrast(unclear).endswith("3.00 after feeding (29 Mar): no clear difference (+2.10).")
    few = {**CONTRAST, "comparison": "treatment", "word": "too_few"}
    assert WORDS.contrast(few).endswith("3.00 after it (29 Mar): too few pots to tell them apart.")


def test_pots_needed() -> None:
    assert WORDS.pots_needed("ph", 7, 0.2) == "pH: 7 pots would give ±0.2 pH."
    assert WORDS.pots_needed("ec", 1, 0.3) == "EC: 1 pot would give ±0.3 mS/cm."
