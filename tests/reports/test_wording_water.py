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
                "Source water of 30 Mar: alkalinity 60 mg/L as CaCO3, below what is published: 80-120 mg/L for 4 inch "
                "pots and 6.5 inch pots and larger."
            ),
        ),
        (
            {"rule": "alkalinity_outside", "a": 130.0, "ranges": [published(None, 100.0, "nursery")]},
            (
                "Source water of 30 Mar: alkalinity 130 mg/L as CaCO3, above what is published: up to 100 mg/L for "
                "nursery containers."
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
                "Source water of 30 Mar: alkalinity 70 mg/L as CaCO3, outside what is published: 40-60 mg/L for plug "
                "trays, 80-120 mg/L for 4 inch pots."
            ),
        ),
        (
            {
                "rule": "alkalinity_outside",
                "a": 130.0,
                "ranges": [published(80.0, 120.0, "cell_pack", "pot_4in", "pot_5_6in", "pot_6_5in_plus")],
            },
            (
                "Source water of 30 Mar: alkalinity 130 mg/L as CaCO3, above what is published: 80-120 mg/L for cell "
                "packs and pots of all sizes."
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
                "Source water of 30 Mar: alkalinity 210 mg/L as CaCO3, above what is published: 80-120 mg/L for 4 inch "
                "pots. Such water tends to raise pH; above 150 mg/L growers consider treating the water with acid."
            ),
        ),
        (
            {"rule": "feed_weak", "a": 1.3, "b": 0.4, "c": 1.9, "d": 0.6, "place": "North"},
            (
                "Feed at the hose end (North) is weak: 1.30 mS/cm on 30 Mar, its target is 1.90 mS/cm. The source "
                "water has 0.40 mS/cm (23 Mar), so the feed adds 0.90 mS/cm instead of 1.50 mS/cm (60 %). Check "
                "injector and stock tank."
            ),
        ),
        (
            {"rule": "feed_strong", "a": 2.5, "b": 0.4, "c": 1.9, "d": 1.4, "place": ""},
            (
                "Feed at the hose end is strong: 2.50 mS/cm on 30 Mar, its target is 1.90 mS/cm. The source water has "
                "0.40 mS/cm (23 Mar), so the feed adds 2.10 mS/cm instead of 1.50 mS/cm (140 %). Check injector and "
                "stock tank."
            ),
        ),
        (
            {"rule": "feed_below_water", "a": 0.3, "b": 0.4, "c": None, "d": None, "place": "North"},
            (
                "Feed at the hose end (North) has 0.30 mS/cm on 30 Mar, less than the source water alone (0.40 mS/cm "
                "on 23 Mar). Check the meter, and whether both were the same water."
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
            "1 planted lot is not in the lot list: P-1. Nobody is asked to sample it.",
        ),
        (
            {"rule": "lot_not_listed", "names": [f"P-{at}" for at in range(1, 8)], "readings": None},
            (
                "7 planted lots are not in the lot list: P-1, P-2, P-3, P-4, P-5 and 2 more. "
                "Nobody is asked to sample them."
            ),
        ),
        (
            {"rule": "sampler_not_trained", "names": ["Bo", "Cy"], "readings": 12},
            (
                "12 readings of the last 28 days by somebody who is not in the list of people or was "
                "trained later: Bo, Cy."
            ),
        ),
        (
            {"rule": "lot_ends_first", "names": ["A"], "readings": None},
            "1 lot ends before it starts: A. Nobody is asked to sample it; mend its days in the lot list.",
        ),
        (
            {"rule": "lot_ends_first", "names": ["A", "B"], "readings": None},
            "2 lots end before they start: A, B. Nobody is asked to sample them; mend their days in the lot list.",
        ),
        (
            {"rule": "lot_code_twice", "names": ["A-1 / a-1"], "readings": None},
            "Codes that differ only in capital letters are taken as one lot: A-1 / a-1. Give one of them another.",
        ),
        (
            {"rule": "lot_gone", "names": ["A"], "readings": 1},
            "Lot A is gone from the site's lot list: 1 reading of it waits until the list has it again.",
        ),
        (
            {"rule": "lot_gone", "names": ["A", "B"], "readings": 12},
            "Lots A, B are gone from the site's lot list: 12 readings of them wait until the list has them again.",
        ),
        (
            {"rule": "pots_not_told_apart", "names": ["A"], "readings": 10},
            (
                "A: 10 readings of samplings in which a pot's number comes twice. Each counts as a pot of its own, "
                "and a correction of one of them cannot be told from another pot. Number the pots, or write "
                "numbers_pots = false into the [[export]], and this is said no more."
            ),
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
    "step": 0.2,
}


@pytest.mark.parametrize(
    ("changes", "end"),
    [
        ({}, "-0.50 (-0.65 to -0.35): a clear fall."),
        ({"side": None, "ci_low": None, "ci_high": None}, "-0.50: no clear move."),
        ({"side": None, "ci_low": -1.1, "ci_high": 0.1}, "-0.50 (-1.10 to +0.10): no clear move."),
        ({"side": None}, "-0.50 (-0.65 to -0.35): a fall, but so few pots do not prove it."),
        ({"flag": True, "pots": 2, "min_pots": 1}, "2 and 1 pot are too few to tell whether it moved."),
    ],
)
def test_what_a_treatment_moved(changes: dict[str, Any], end: str) -> None:
    sentence = WORDS.reason({**RESULT, **changes})
    in_ec = WORDS.reason({**RESULT, "quantity": "ec"})
    assert "EC 6.70 mS/cm on 16 Mar, 6.20 mS/cm on 30 Mar" in in_ec
    assert sentence.startswith("After acid feed on 20 Mar: pH 6.70 on 16 Mar, 6.20 on 30 Mar")
    assert sentence.endswith(end)


@pytest.mark.parametrize(("is_past", "verb"), [(False, "due"), (True, "was due")])
def test_treated(is_past: bool, verb: str) -> None:
    row = {"code": "treated", "sampled_on": date(2026, 4, 2), "until_on": date(2026, 4, 9),
           "flag": is_past, "what": "leaching,lime_drench"}  # fmt: skip
    assert WORDS.reason(row) == f"Treated on 02 Apr (leaching and a lime drench), retest {verb} Thu 09 Apr."


def test_alkaline_water() -> None:
    row = {"code": "alkaline_water", "first_mean": 0.1, "mean": 180.0, "low": 80.0, "high": 120.0,
           "sampled_on": date(2026, 3, 30)}  # fmt: skip
    assert WORDS.reason(row) == (
        "pH rises by 0.10 a week, and the source water has 180 mg/L alkalinity as CaCO3 (30 Mar), published for these "
        "containers: 80-120 mg/L. The water may be the cause."
    )


def test_remarks_on_a_sampling() -> None:
    poured = {
        "rule": "poured_not_distilled",
        "purpose": "routine",
        "pots": 2,
        "of_pots": 5,
        "what": "rain,tap",
    }
    assert WORDS.finding(poured) == (
        "2 of 5 pots poured with rain and tap water whose EC is not written down: nobody can tell what it adds to the "
        "leachate."
    )
    below = {"rule": "ec_below_water", "purpose": "routine", "a": 0.31, "b": 0.45, "what": "2026-03-12"}
    assert WORDS.finding(below) == (
        "EC 0.31 mS/cm in the leachate, the source water had 0.45 mS/cm on 12 Mar: check the meter, and what was "
        "poured."
    )


CONTRAST: dict[str, Any] = {
    "comparison": "affected", "quantity": "ec", "first_on": date(2026, 3, 30), "second_on": date(2026, 3, 29),
    "mean_first": 5.1, "mean_second": 3.0, "difference": 2.1, "ci_low": 1.5, "ci_high": 2.7, "word": "clear",
    "step": 0.5,
}  # fmt: skip


def test_contrasts_in_words() -> None:
    assert WORDS.contrast(CONTRAST) == (
        "EC 5.10 mS/cm affected plants (30 Mar), 3.00 mS/cm healthy ones (29 Mar): a clear difference (+2.10, "
        "+1.50 to +2.70)."
    )
    unclear = {**CONTRAST, "comparison": "feed", "word": "not_clear", "ci_low": None, "ci_high": None}
    assert WORDS.contrast(unclear).endswith("3.00 mS/cm after feeding (29 Mar): no clear move (-2.10).")
    few = {**CONTRAST, "comparison": "treatment", "word": "too_few"}
    assert WORDS.contrast(few).endswith("3.00 mS/cm after it (29 Mar): too few pots to tell them apart.")


def test_pots_needed() -> None:
    def said(quantity: str, pots: int | None, precision: float, asked: int, n: int = 5) -> str:
        return WORDS.pots_needed(quantity, {"n": n, "pots_needed": pots}, precision, asked)

    assert (
        said("ph", 7, 0.2, 5)
        == "pH: by their spread, 7 pots would be needed to know the mean within ±0.2 pH; 5 are asked for."
    )
    assert said("ph", 5, 0.2, 5) == "pH: by their spread, 5 pots are enough to know the mean within ±0.2 pH."
    assert (
        said("ec", 1, 0.3, 5) == "EC: by their spread, 5 pots are enough to know the mean within ±0.3 mS/cm."
    )
    assert (
        said("ec", 50, 0.3, 1)
        == "EC: by their spread, 50 pots would be needed to know the mean within ±0.3 mS/cm; 1 is asked for."
    )
    assert said("ec", 4180, 0.3, 5) == (
        "EC: by their spread, more than 50 pots would be needed to know the mean within ±0.3 mS/cm; 5 are asked for."
    )
    assert said("ec", None, 0.3, 5, n=2) == (
        "EC: too few pots (2) to say how many would be needed to know the mean within ±0.3 mS/cm."
    )


SMALL: dict[str, Any] = {
    "quantity": "ph", "first_mean": 5.46, "mean": 5.36, "mean_first": 5.46, "mean_second": 5.36,
    "first_on": date(2026, 3, 24), "second_on": date(2026, 3, 31), "word": "not_clear", "step": 0.2,
}  # fmt: skip


def test_a_small_move_is_told_alike_by_reason_and_contrast() -> None:
    reason = WORDS.reason({**RESULT, **SMALL, "side": None, "ci_low": -0.19, "ci_high": -0.01})
    assert reason.endswith("-0.10 (-0.19 to -0.01): a small fall, less than 0.2 pH.")
    # The row of a contrast is first less second.
    row = {**SMALL, "comparison": "treatment", "difference": 0.1, "ci_low": 0.01, "ci_high": 0.19}
    assert WORDS.contrast(row) == (
        "pH 5.46 before the treatment (24 Mar), 5.36 after it (31 Mar): a small fall, less than 0.2 pH "
        "(-0.10, -0.19 to -0.01)."
    )
    rise = WORDS.contrast({**row, "difference": -0.3, "ci_low": -0.4, "ci_high": -0.2, "word": "clear"})
    assert rise.endswith("a clear rise (+0.30, +0.20 to +0.40).")
    apart = {**row, "comparison": "affected"}
    assert WORDS.contrast(apart).endswith("a small difference, less than 0.2 pH (+0.10, +0.01 to +0.19).")
    far = {**apart, "difference": 0.3, "ci_low": 0.1, "ci_high": 0.5}
    assert WORDS.contrast(far).endswith(
        "a difference, but so few pots do not prove it (+0.30, +0.10 to +0.50)."
    )


TREND: dict[str, Any] = {"quantity": "ph", "is_trend": None, "n": 1, "slope_per_week": None}


def test_what_measures_say_before_there_is_enough() -> None:
    assert WORDS.trend_state(TREND) == "pH: 1 sampling since the last change, no trend judged (5 are needed)."
    assert WORDS.trend_state({**TREND, "n": 4, "slope_per_week": -0.1}) == (
        "pH: 4 samplings since the last change, no trend judged (5 are needed), slope -0.10 a week."
    )
    few = {"quantity": "ec", "ewma": None, "reason": "too_few"}
    assert WORDS.own_chart_state(few) == (
        "EC: too few samplings since the last change to see a drift from its own start (6 are needed)."
    )


def test_an_own_chart_has_units_and_no_edge_below_0() -> None:
    row = {
        "quantity": "ec",
        "ewma": 1.2,
        "ewma_side": None,
        "ewma_low": -0.3,
        "ewma_high": 2.1,
        "centre": 0.9,
    }
    assert WORDS.own_chart_state(row) == (
        "EC: weighted mean of the samplings 1.20 mS/cm, within the limits 0.00-2.10 mS/cm around the first five "
        "samplings (0.90 mS/cm)."
    )
