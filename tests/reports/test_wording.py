"""Every code has a sentence: one thought, figures with units, dates the site's way. Read them aloud."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest

from pipeline.assets import sql_folder
from pipeline.reports.wording import Wording
from pipeline.reports.wording_held import explain_file

WORDS = Wording("%d.%m.%Y")
DAY = date(2026, 3, 31)

MEAN = {"quantity": "ph", "mean": 6.52, "ci_low": 6.462, "ci_high": 6.578, "sampled_on": DAY}
OUT = {
    **MEAN,
    "side": "high",
    "low": 5.4,
    "high": 6.2,
    "flag": False,
    "in_a_row": 3,
    "since_on": date(2026, 3, 17),
}
EC_OUT = {**OUT, "quantity": "ec", "mean": 1.3, "ci_low": None, "ci_high": None, "low": 2.0, "high": 3.5}

# What the document adds to a row of `reasons`.
CONTEXT: dict[str, Any] = {
    "level": "act",
    "stage": "active",
    "step": 0.2,
    "bound": None,
    "bound_pots": None,
    "days": None,
    "what": None,
    "is_compared": False,
    "flag": False,
}

REASONS: list[tuple[str, dict[str, Any], str]] = [
    (
        "treated",
        {"sampled_on": DAY, "until_on": DAY, "flag": False, "what": "leaching"},
        "Treated on 31.03.2026 (leaching), retest due Tue 31.03.2026.",
    ),
    (
        "retest_missed",
        {
            "sampled_on": date(2026, 3, 20),
            "until_on": date(2026, 3, 27),
            "days": 10,
            "flag": True,
            "what": "acid_feed",
        },
        (
            "Retest missed: treated on 20.03.2026 (acid feed), the retest was due Fri 27.03.2026, 10 days ago. "
            "Nobody knows yet whether it helped."
        ),
    ),
    (
        "unmoved_after_treatment",
        {
            "quantity": "ph",
            "side": "low",
            "sampled_on": DAY,
            "since_on": date(2026, 3, 3),
            "until_on": date(2026, 3, 26),
            "what": "bicarbonate",
        },
        (
            "pH is still low on 31.03.2026, as it has been since 03.03.2026: the treatment of 26.03.2026 (bicarbonate) "
            "has not mended it."
        ),
    ),
    (
        "treatment_result",
        {
            **MEAN,
            "first_mean": 6.12,
            "ci_low": 0.2,
            "ci_high": 0.6,
            "since_on": DAY,
            "until_on": DAY,
            "flag": False,
            "what": "basic_feed",
            "side": "high",
        },
        (
            "After basic feed on 31.03.2026: pH 6.12 on 31.03.2026, 6.52 on 31.03.2026, +0.40 (+0.20 to +0.60): "
            "a clear rise."
        ),
    ),
    (
        "alkaline_water",
        {"quantity": "ph", "first_mean": 0.12, "mean": 212.0, "low": None, "high": 100.0, "sampled_on": DAY},
        (
            "pH rises by 0.12 a week, and the source water has 212 mg/L alkalinity as CaCO3 (31.03.2026), published "
            "for these containers: up to 100 mg/L. The water may be the cause."
        ),
    ),
    (
        "depends_on_one_pot",
        {**OUT, "mean": 6.4, "first_mean": 7.3, "ci_low": 6.1},
        (
            "pH of 31.03.2026 depends on one pot at 7.30: the mean is 6.40 with it and 6.10 without, target 5.4-6.2. "
            "Read that pot again."
        ),
    ),
    (
        "trend",
        {"quantity": "ph", "mean": -0.13, "ci_low": -0.14, "ci_high": -0.11, "pots": 6, "since_on": DAY},
        "pH falls by 0.13 a week (0.11-0.14) over 6 samplings since 31.03.2026: more than chance alone usually makes.",
    ),
    (
        "trend",
        {"quantity": "ec", "mean": 0.13, "ci_low": -0.02, "ci_high": 0.31, "pots": 6, "since_on": DAY},
        (
            "EC rises by 0.13 mS/cm a week (-0.02 to +0.31) over 6 samplings since 31.03.2026: more than chance "
            "alone usually makes."
        ),
    ),
    (
        "forecast",
        {
            "quantity": "ph",
            "side": "high",
            "sampled_on": DAY,
            "since_on": DAY,
            "until_on": DAY,
            "flag": False,
        },
        "If it goes on like this, pH rises above its target about 31.03.2026 (between 31.03.2026 and 31.03.2026).",
    ),
    (
        "forecast",
        {"quantity": "ec", "side": "low", "sampled_on": DAY, "since_on": DAY, "until_on": None, "flag": True},
        "If it goes on like this, EC falls below its target about 31.03.2026 (at the earliest any day now).",
    ),
    (
        "forecast",
        {"quantity": "ph", "side": "high", "sampled_on": DAY, "flag": True, "days": 43},
        "If it went on as it did, pH has been above its target since about 31.03.2026; last read 43 days ago.",
    ),
    (
        "forecast",
        {"quantity": "ec", "side": "low", "sampled_on": DAY, "flag": True, "days": 1},
        "If it went on as it did, EC has been below its target since about 31.03.2026; last read 1 day ago.",
    ),
    (
        "off_baseline",
        {
            "quantity": "ec",
            "side": "high",
            "sampled_on": DAY,
            "mean": 4.61,
            "first_mean": 3.85,
            "ci_low": 3.5,
            "ci_high": 4.16,
        },
        (
            "EC has moved away from this lot's own start: its weighted mean is now 4.61 mS/cm (31.03.2026), its first "
            "five samplings had 3.85 mS/cm, and chance alone seldom takes it above 4.16 mS/cm."
        ),
    ),
    (
        "off_baseline",
        {
            "quantity": "ph",
            "side": "low",
            "sampled_on": DAY,
            "mean": 5.61,
            "first_mean": 6.0,
            "ci_low": 5.8,
            "ci_high": 6.2,
        },
        (
            "pH has moved away from this lot's own start: its weighted mean is now 5.61 (31.03.2026), its first five "
            "samplings had 6.00, and chance alone seldom takes it below 5.80."
        ),
    ),
    (
        "affected_differ",
        {
            "quantity": "ph",
            "side": "low",
            "sampled_on": DAY,
            "mean": 5.18,
            "first_mean": 5.43,
            "ci_low": -0.33,
            "ci_high": -0.17,
        },
        "Affected plants of 31.03.2026: pH 5.18, 0.25 (0.17-0.33) below the healthy ones.",
    ),
    (
        "affected_unexplained",
        {"sampled_on": DAY},
        (
            "pH and EC do not explain the affected plants of 31.03.2026: they read like the healthy ones. Look at "
            "roots and pests, send tissue to a laboratory."
        ),
    ),
    (
        "affected_too_few",
        {"sampled_on": DAY, "pots": 2, "min_pots": 5},
        "Affected and healthy plants of 31.03.2026 cannot be told apart by 2 and 5 pots: take five of each.",
    ),
    (
        "clearly_out",
        OUT,
        "pH 6.52 (6.46-6.58) on 31.03.2026: clearly out, target 5.4-6.2, 3rd high in a row since 17.03.2026.",
    ),
    (
        "out",
        {**EC_OUT, "side": "low", "in_a_row": 1},
        "EC 1.30 mS/cm on 31.03.2026: out, target 2.0-3.5 mS/cm, low.",
    ),
    (
        "clearly_out",
        {**EC_OUT, "side": "low", "in_a_row": 1, "level": "note", "stage": "finishing"},
        (
            "EC 1.30 mS/cm on 31.03.2026: clearly out, target 2.0-3.5 mS/cm, low. Low EC is expected while a lot is "
            "finishing and asks for nothing."
        ),
    ),
    (
        "out",
        {**EC_OUT, "side": "low", "in_a_row": 2, "level": "note", "stage": "establishing"},
        (
            "EC 1.30 mS/cm on 31.03.2026: out, target 2.0-3.5 mS/cm, 2nd low in a row since 17.03.2026. Low EC is "
            "expected while a lot is establishing itself and asks for nothing."
        ),
    ),
    (
        "out",
        {**EC_OUT, "mean": 5.06, "ci_low": -5.28, "ci_high": 15.41, "in_a_row": 1},
        "EC 5.06 mS/cm (0.00-15.41) on 31.03.2026: out, target 2.0-3.5 mS/cm, high.",
    ),
    (
        "out",
        {**EC_OUT, "mean": None, "bound": 5.06, "bound_pots": 5, "flag": True, "in_a_row": 2},
        (
            "EC at least 5.06 mS/cm (5 pots, too much leachate dilutes) on 31.03.2026: out, target 2.0-3.5 mS/cm, "
            "2nd high in a row since 17.03.2026."
        ),
    ),
    (
        "out",
        {
            **EC_OUT,
            "mean": None,
            "bound": 1.06,
            "bound_pots": 1,
            "flag": True,
            "side": "low",
            "in_a_row": 1,
        },
        (
            "EC at most 1.06 mS/cm (1 pot, too little leachate makes EC read high) on 31.03.2026: out, target 2.0-3.5 "
            "mS/cm, low."
        ),
    ),
    (
        "ec_very_high",
        {"mean": 6.8, "sampled_on": DAY, "flag": True},
        "EC at least 6.80 mS/cm on 31.03.2026 is in the published band very high or above: salt injury is likely.",
    ),
    (
        "ec_very_high",
        {"mean": 6.8, "sampled_on": DAY},
        "EC 6.80 mS/cm on 31.03.2026 is in the published band very high or above: salt injury is likely.",
    ),
    (
        "affected_clearly_out",
        {**OUT, "mean": 5.18, "ci_low": 5.1, "ci_high": 5.26, "low": 6.0, "high": 6.6, "side": "low"},
        "Affected plants on 31.03.2026: pH 5.18 (5.10-5.26), clearly out, low; target 6.0-6.6.",
    ),
    (
        "pair_clearly_out",
        {**EC_OUT, "side": "low", "mean": 1.4, "ci_low": 1.3, "ci_high": 1.5, "what": "before_feed"},
        "Before feeding on 31.03.2026: EC 1.40 mS/cm (1.30-1.50), clearly out, low; target 2.0-3.5 mS/cm.",
    ),
    (
        "pair_out",
        {**EC_OUT, "side": "low", "mean": 1.4, "what": "before_feed", "level": "note", "stage": "finishing"},
        (
            "Before feeding on 31.03.2026: EC 1.40 mS/cm, out, low; target 2.0-3.5 mS/cm. Low EC is expected while a "
            "lot is finishing and asks for nothing."
        ),
    ),
    (
        "pair_out",
        {**EC_OUT, "side": "high", "mean": 4.1, "what": "after_feed", "flag": True},
        "After feeding on 31.03.2026: EC at least 4.10 mS/cm, out, high; target 2.0-3.5 mS/cm.",
    ),
    ("never_counted", {"days": 14}, "No sampling that counts since the lot started 14 days ago."),
    (
        "not_read_lately",
        {"days": 20, "sampled_on": date(2026, 3, 17), "pots": 14},
        "Last read 20 days ago, on 17.03.2026; a sampling is due every 14 days.",
    ),
    (
        "close_to_limit",
        {**OUT, "mean": 6.13, "ci_low": 6.03, "ci_high": 6.23},
        "pH 6.13 (6.03-6.23) on 31.03.2026: close to the upper edge of target 5.4-6.2.",
    ),
    (
        "close_to_limit",
        {**OUT, "mean": 5.8, "ci_low": 5.2, "ci_high": 6.4, "side": None},
        "pH 5.80 (5.20-6.40) on 31.03.2026: close to both edges of target 5.4-6.2.",
    ),
    (
        "uneven",
        {"quantity": "ec", "mean": 0.69, "first_mean": 0.6, "sampled_on": DAY},
        (
            "Uneven lot on 31.03.2026: EC differs from pot to pot with an SD of 0.69 mS/cm (the policy allows 0.60 "
            "mS/cm); look at watering and feed."
        ),
    ),
    (
        "affected_noted",
        {"sampled_on": DAY, "pots": 1},
        "Affected plants were sampled apart on 31.03.2026 (1 pot): compare them with the healthy ones.",
    ),
    (
        "affected_noted",
        {"sampled_on": DAY, "pots": 5, "is_compared": True},
        "Affected plants were sampled apart on 31.03.2026 (5 pots).",
    ),
    (
        "meter_in_doubt",
        {"sampled_on": DAY, "doubted_meters": [{"meter_id": "M2", "failed_on": date(2026, 3, 20)}]},
        (
            "Read on 31.03.2026 with meter M2, whose check of 20.03.2026 failed: calibrate it and read again before "
            "acting."
        ),
    ),
    (
        "last_did_not_count",
        {"sampled_on": DAY, "pots": 3, "min_pots": 5},
        "The sampling of 31.03.2026 does not count: 3 pots usable, 5 needed.",
    ),
    (
        "last_did_not_count",
        {"sampled_on": DAY, "pots": 3, "min_pots": 5, "held_lines": 2},
        (
            "The sampling of 31.03.2026 does not count: 3 pots usable, 5 needed. 2 lines of the lot are held: mended, "
            "they may complete it."
        ),
    ),
    (
        "ec_not_judged",
        {"sampled_on": DAY, "side": None, "what": "odd_temperature"},
        (
            "EC of 31.03.2026 is not judged: the meter does not compensate for temperature, and what was written down "
            "is no temperature of leachate."
        ),
    ),
    (
        "ec_not_judged",
        {"sampled_on": DAY, "side": "high", "pots": 5, "mean": 80.0, "low": 50.0, "high": 50.0},
        (
            "EC of 31.03.2026 is not judged: too much leachate was collected from 5 pots (median 80 mL instead of "
            "50 mL), which makes EC read low."
        ),
    ),
    (
        "ec_not_judged",
        {"sampled_on": DAY, "side": "low", "pots": 5, "mean": 20.0, "low": 50.0, "high": 60.0},
        (
            "EC of 31.03.2026 is not judged: too little leachate was collected from 5 pots (median 20 mL "
            "instead of 50-60 mL), which makes EC read high."
        ),
    ),
    (
        "ec_not_judged",
        {"sampled_on": DAY, "side": None},
        (
            "EC of 31.03.2026 is not judged: the meter does not compensate for temperature, and no temperature "
            "was written down."
        ),
    ),
    (
        "surprising",
        {"quantity": "ph"},
        (
            "A surprising pH: well inside at the sampling before, clearly out now. Check and calibrate the meter, "
            "read again, then judge."
        ),
    ),
    (
        "drift",
        {"quantity": "ec", "side": "low", "pots": 4, "first_mean": 2.9, "mean": 2.1},
        "EC fell from sampling to sampling over the last 4: 2.90 to 2.10 mS/cm.",
    ),
]


@pytest.mark.parametrize(("code", "row", "sentence"), REASONS)
def test_a_reason_s_sentence(code: str, row: dict[str, Any], sentence: str) -> None:
    assert WORDS.reason({"code": code, **CONTEXT, **row}) == sentence


POTS = {
    "purpose": "routine",
    "pots": 2,
    "of_pots": 5,
    "low": 50.0,
    "high": 50.0,
    "a": 75.0,
    "b": 85.0,
    "what": "M1",
}

FINDINGS: list[tuple[str, dict[str, Any], str]] = [
    (
        "outlier_ph",
        {"pots": 1, "a": 6.87, "low": 5.83, "high": 5.72, "b": 5.94, "grubbs_g": None},
        "1 pot lies apart, pH 6.87: without it the mean is 5.83 (5.72-5.94). It stays in the figure.",
    ),
    (
        "outlier_ph",
        {
            "pots": 1,
            "a": 6.87,
            "low": 5.83,
            "high": 5.72,
            "b": 5.94,
            "grubbs_g": 2.218,
            "grubbs_critical": 2.126,
            "is_grubbs_outlier": True,
        },
        (
            "1 pot lies apart, pH 6.87: without it the mean is 5.83 (5.72-5.94). It stays in the figure. "
            "Grubbs' test agrees: G 2.22, above its 5 % limit of 2.13."
        ),
    ),
    (
        "outlier_ph",
        {
            "pots": 1,
            "a": 6.32,
            "low": 5.83,
            "high": 5.72,
            "b": 5.94,
            "grubbs_g": 1.918,
            "grubbs_critical": 2.126,
            "is_grubbs_outlier": False,
        },
        (
            "1 pot lies apart, pH 6.32: without it the mean is 5.83 (5.72-5.94). It stays in the figure. "
            "Grubbs' test does not: G 1.92, not above its 5 % limit of 2.13."
        ),
    ),
    (
        "outlier_ec",
        {"pots": 2, "a": 5.0, "low": 2.0, "high": 1.9, "b": 2.1, "grubbs_g": None},
        (
            "2 pots lie apart, up to EC 5.00 mS/cm: without them the mean is 2.00 mS/cm (1.90-2.10). They stay in the "
            "figure."
        ),
    ),
    (
        "one_bench",
        {"pots": 5, "what": "3"},
        "All 5 pots came from bench 3, the lot stands on others too: pick from all over.",
    ),
    (
        "one_position",
        {"pots": 5, "what": "edge"},
        "All 5 pots came from one place (edge): pick from all over, the middle and the back too.",
    ),
    (
        "same_as_before",
        {"what": "2026-03-17"},
        "All 5 pots read as they did on 17.03.2026. Were they read anew?",
    ),
    ("too_fast", {"a": 8.0}, "By the time stamps 5 pots were read 8 s apart. Was each left to settle?"),
    (
        "entered_late",
        {"a": 9.0},
        "2 of 5 pots came 9 days after they were read. Were they written down that day?",
    ),
    (
        "poured_not_distilled",
        {"what": "tap"},
        (
            "2 of 5 pots poured with tap water whose EC is not written down: nobody can tell what it adds to the "
            "leachate."
        ),
    ),
    (
        "ec_below_water",
        {"a": 0.31, "b": 0.45, "what": "2026-03-31"},
        (
            "EC 0.31 mS/cm in the leachate, the source water had 0.45 mS/cm on 31.03.2026: check the meter, and what "
            "was poured."
        ),
    ),
    ("reading_corrected", {"pots": 1}, "1 reading replaced by a later version; both are kept."),
    (
        "sent_again",
        {"pots": 3, "a": 3.0, "what": "drop/r.csv"},
        (
            "drop/r.csv came again with 3 more readings of this sampling, and without 3 that it had before. All of "
            "them count. If it corrects them, number the pots, or send the file again with no more than half of its "
            "lines changed at a time."
        ),
    ),
    (
        "too_few_pots",
        {"pots": 3, "low": 5.0},
        "3 pots usable for pH, 5 needed: shown, but it does not count.",
    ),
    (
        "over_collected",
        {},
        "Over-collected: 2 of 5 pots, 75-85 mL instead of 50 mL. Too much leachate dilutes: EC reads low.",
    ),
    (
        "under_collected",
        {"a": 20.0, "b": 20.0, "high": 60.0},
        "Under-collected: 2 of 5 pots, 20 mL instead of 50-60 mL. Too little leachate makes EC read high.",
    ),
    (
        "volume_excludes_ec",
        {},
        "EC of 2 of 5 pots left out: leachate volume too far off. Their pH stays in.",
    ),
    (
        "no_temperature",
        {},
        (
            "EC of 2 of 5 pots left out: the meter does not compensate and no temperature was written down; "
            "at 15 °C EC reads about 20 % low."
        ),
    ),
    (
        "odd_temperature",
        {"low": 72.0, "high": 72.0},
        (
            "EC of 2 of 5 pots left out: the meter does not compensate, and 72.0 °C is no temperature of leachate. "
            "Check the cell and the column's unit."
        ),
    ),
    (
        "odd_temperature",
        {"low": -30.0, "high": 72.0},
        (
            "EC of 2 of 5 pots left out: the meter does not compensate, and -30.0 to 72.0 °C is no temperature of "
            "leachate. Check the cell and the column's unit."
        ),
    ),
    ("volume_not_recorded", {}, "Leachate volume not written down for 2 of 5 pots."),
    (
        "unequal_volumes",
        {"low": 40.0, "high": 62.0},
        "Unequal volumes, 40-62 mL: collect the same from each pot.",
    ),
    (
        "poured_off_recipe",
        {"a": 150.0, "b": 150.0, "low": 75.0},
        "Water poured off the recipe on 2 of 5 pots: 150 mL instead of 75 mL.",
    ),
    (
        "more_than_poured",
        {},
        "More leachate than water poured on 2 of 5 pots: an entry error, or the pots had not drained.",
    ),
    (
        "drain_time",
        {"a": 10.0, "b": 20.0, "low": 30.0, "high": 60.0},
        "Drain time of 2 of 5 pots 10-20 min instead of 30-60 min.",
    ),
    (
        "meter_in_doubt",
        {
            "doubted_meters": [
                {"meter_id": "M1", "failed_on": DAY},
                {"meter_id": "M2", "failed_on": date(2026, 3, 20)},
            ]
        },
        "Read with meter M1, whose check of 31.03.2026 failed, and meter M2, whose check of 20.03.2026 failed.",
    ),
    (
        "buffers_not_bracketing",
        {
            "meters_not_bracketed": [
                {
                    "meter_id": "M1",
                    "lowest_buffer": 7.0,
                    "highest_buffer": 10.01,
                    "lowest_ph": 5.75,
                    "highest_ph": 5.9,
                }
            ]
        },
        (
            "The buffers 7.00 and 10.01 do not bracket the readings 5.75 to 5.90 of meter M1 on this day: calibrate "
            "with 4 and 7."
        ),
    ),
    ("meter_not_calibrated", {}, "No accepted calibration of meter M1 on this day."),
    ("meter_not_calibrated", {"what": ""}, "No meter written down."),
    (
        "affected_in_routine",
        {"purpose": "affected", "pots": 1, "low": 5.0},
        (
            "1 pot marked as affected, kept apart from the routine figure; for a comparison read 5 affected and 5 "
            "healthy ones."
        ),
    ),
    (
        "affected_in_routine",
        {"purpose": "affected", "pots": 5, "low": 5.0},
        "5 pots marked as affected, kept apart from the routine figure.",
    ),
    (
        "too_few_pots",
        {"purpose": "affected", "pots": 3, "low": 5.0},
        "Affected plants: 3 pots usable for pH, 5 needed: shown, but it does not count.",
    ),
    (
        "uneven_ph",
        {"purpose": "healthy", "a": 0.41, "high": 0.3},
        "Healthy for comparison, uneven: SD 0.41 pH between pots (the policy allows 0.30).",
    ),
    (
        "volume_excludes_ec",
        {"purpose": "retest"},
        "Retest: EC of 2 of 5 pots left out: leachate volume too far off. Their pH stays in.",
    ),
    (
        "all_alike",
        {"purpose": "before_feed"},
        "Before feeding: all 5 pots read exactly alike. Was each pot read by itself?",
    ),
    (
        "all_alike",
        {"a": 5.8, "b": None},
        "All 5 pots read exactly alike, pH 5.8. Was each pot read by itself?",
    ),
    (
        "all_alike",
        {"a": None, "b": 2.65},
        "All 5 pots read exactly alike, EC 2.65 mS/cm. Was each pot read by itself?",
    ),
    ("all_alike", {}, "All 5 pots read exactly alike. Was each pot read by itself?"),
    ("uneven_ph", {"a": 0.41, "high": 0.3}, "Uneven: SD 0.41 pH between pots (the policy allows 0.30)."),
    (
        "uneven_ec",
        {"a": 0.72, "high": 0.6},
        "Uneven: SD 0.72 mS/cm between pots (the policy allows 0.60 mS/cm).",
    ),
]


@pytest.mark.parametrize(("rule", "row", "sentence"), FINDINGS)
def test_a_finding_s_sentence(rule: str, row: dict[str, Any], sentence: str) -> None:
    assert WORDS.finding({"rule": rule, **POTS, **row}) == sentence


def test_every_code_of_the_models_is_worded_here() -> None:
    reasons = sql_folder("judgement", "reasons.sql").read_text(encoding="utf-8")
    codes = set(re.findall(r"'([a-z_]+)'(?: end)? as code", reasons)) | {
        "clearly_out",
        "never_counted",
        "pair_clearly_out",
        "affected_unexplained",
        "treated",
        "retest_missed",
    }
    assert {code for code, _, _ in REASONS} == codes
    findings = "".join(
        sql_folder("judgement", f"{name}.sql").read_text(encoding="utf-8")
        for name in ("sampling_findings", "sampling_questions")
    )
    rules = set(re.findall(r"purpose, '([a-z_]+)'", findings)) - {"uneven_"} | {"uneven_ph", "uneven_ec"}
    rules |= {"outlier_ph", "outlier_ec"}
    assert {rule for rule, _, _ in FINDINGS} == rules


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (
            {"rule": "last_digits", "quantity": "ph", "n": 200, "a": 5.0, "b": 0.355},
            (
                "Of 200 pH readings of the last month 36 % end in 5, where one in ten would be expected. "
                "Are all digits of the meter written down?"
            ),
        ),
        (
            {"rule": "whole_ec", "n": 50, "a": 15.0},
            "15 of 50 EC readings of the last month are whole numbers. Are they rounded?",
        ),
        (
            {"rule": "scale_jump", "a": 1050.0, "b": 1.05, "c": 1000.0},
            (
                "The median EC of the last 14 days is 1050.00 mS/cm, before it was 1.05 mS/cm in the same lots: "
                "about 1000 times as much. Was a meter, its scale or the unit of the column changed?"
            ),
        ),
        (
            {"rule": "scale_jump", "a": 1.5, "b": 2.1, "c": 0.7},
            (
                "The median EC of the last 14 days is 1.50 mS/cm, before it was 2.10 mS/cm in the same lots: "
                "about 0.7 times. Was a meter, its scale or the unit of the column changed?"
            ),
        ),
        (
            {"rule": "front_of_bench", "n": 48, "a": 40.0, "b": 12.0},
            (
                "Of 48 pots of the last month whose row is written down 40 stood in the front row, where 12 would be "
                "expected by chance: take pots from the middle and the back too."
            ),
        ),
        (
            {"rule": "front_of_bench", "n": 26, "a": 20.0, "b": 26 / 3},
            (
                "Of 26 pots of the last month whose row is written down 20 stood in the front row, where 8.7 would be "
                "expected by chance: take pots from the middle and the back too."
            ),
        ),
    ],
)
def test_a_question_about_a_site(row: dict[str, Any], sentence: str) -> None:
    assert WORDS.question(row) == sentence


@pytest.mark.parametrize(
    ("last", "nights", "sentence"),
    [
        (None, None, "Hill has sent nothing yet; check that its exports reach the drop folder."),
        (
            DAY,
            4,
            (
                "Hill has sent nothing for 4 nights, the last files came on 31.03.2026; "
                "check the export and the drop folder."
            ),
        ),
    ],
)
def test_a_silent_site_s_sentence(last: date | None, nights: int | None, sentence: str) -> None:
    assert WORDS.silent("Hill", last, nights) == sentence


@pytest.mark.parametrize(
    ("cause", "why"),
    [
        ("lot_unknown", "lot H-9 is now in the lot list"),
        ("lot_held", "the line of lot H-9 in the lot list can now be used"),
        ("place_unclear", "the place now fits exactly one lot"),
        ("in_future", "the day has come"),
        ("method_missing", "the cause was mended"),
    ],
)
def test_a_release_s_sentence(cause: str, why: str) -> None:
    row = {"cause": cause, "lot_code": "H-9", "records": 5}
    assert WORDS.releases([row]) == [f"5 lines held before are taken up: {why}."]
    assert WORDS.releases([{**row, "records": 1}]) == [f"1 line held before is taken up: {why}."]


def test_lots_released_by_one_mend_are_told_in_one_sentence() -> None:
    rows = [{"cause": "columns_changed", "lot_code": lot, "records": 5} for lot in ("H-1", "H-2", "H-3")]
    assert WORDS.releases(rows) == ["15 lines held before are taken up: the cause was mended."]


def test_a_reading_anew_that_made_things_worse_is_no_mend() -> None:
    row = {"file": "drop/r.csv", "changed_lines": 0, "accepted_before": 1, "accepted_after": 0}
    worse = WORDS.reread({**row, "held_before": 0, "held_after": 1})
    assert worse == (
        "drop/r.csv was read again because the settings changed, and fewer of its lines can be used now: 0 lines in "
        "use, 1 before; 1 line held, 0 before. Look at what was changed in site.toml."
    )
    better = WORDS.reread(
        {**row, "accepted_before": 0, "accepted_after": 1, "held_before": 1, "held_after": 0}
    )
    assert "under the mended settings: 1 line in use, 0 before; 0 lines held, 1 before." in better


HELD = {
    "export_kind": "readings",
    "what": "H-9",
    "detail": None,
    "records": 1,
    "fitting_lots": None,
    "started_on": date(2026, 3, 2),
    "ends_on": date(2026, 5, 20),
    "file_mend": None,
}


@pytest.mark.parametrize(
    ("cause", "changes", "told"),
    [
        (
            "lot_unknown",
            {},
            (
                "1 line: lot H-9 is in no lot list.",
                (
                    "Send the lot list with H-9, or correct the code where the export is made; "
                    "the lines are then taken up by themselves."
                ),
            ),
        ),
        (
            "place_unclear",
            {"what": "house 3, fuchsia", "records": 2, "fitting_lots": 2},
            (
                "2 lines: the place “house 3, fuchsia” fits 2 lots on that day.",
                "Add the lot's code to the export, or correct house, bench or crop in the lot list.",
            ),
        ),
        (
            "place_unclear",
            {"what": "house 3"},
            (
                "1 line: the place “house 3” fits no lot on that day.",
                "Add the lot's code to the export, or correct house, bench or crop in the lot list.",
            ),
        ),
        (
            "in_future",
            {"detail": "sampled on 2026-06-01"},
            (
                "1 line dated in the future (sampled on 01.06.2026).",
                (
                    "Where the date is wrong, correct it, or the date format of the export in site.toml; else the "
                    "lines are taken up by themselves when their day has come."
                ),
            ),
        ),
        (
            "before_start",
            {"detail": "sampled on 2026-02-01", "records": 3},
            (
                (
                    "3 lines of lot H-9, for example sampled on 01.02.2026: "
                    "before the lot started on 02.03.2026."
                ),
                "Correct the date of the reading or the start in the lot list.",
            ),
        ),
        (
            "after_end",
            {"detail": "sampled on 2026-06-01"},
            (
                "1 line of lot H-9, sampled on 01.06.2026: after the lot ended on 20.05.2026.",
                "Correct the date of the reading or the end in the lot list.",
            ),
        ),
        (
            "columns_changed",
            {"what": "drop/r.csv", "detail": 'the header lacks "pH"', "records": 9, "file_mend": "mend it"},
            ('drop/r.csv: the whole file is held, 9 lines. The header lacks "pH".', "Mend it."),
        ),
        (
            "number_unreadable",
            {"detail": 'pH "5.8x" is not a number; write it like 5.8', "records": 2},
            (
                '2 lines: for example pH "5.8x" is not a number; write it like 5.8.',
                "Correct the cell where the export is made and send the file again.",
            ),
        ),
        (
            "ec_out_of_scale",
            {
                "detail": (
                    "EC 2600 mS/cm is above 20 mS/cm; it looks like µS/cm: check the unit of the column in "
                    "site.toml"
                )
            },
            (
                "1 line: EC 2600 mS/cm is above 20 mS/cm; it looks like µS/cm.",
                "Correct the cell, or the unit of the EC column in site.toml.",
            ),
        ),
    ],
)
def test_a_held_cause_s_sentence_and_mend(cause: str, changes: dict[str, Any], told: tuple[str, str]) -> None:
    assert WORDS.held({"cause": cause, **HELD, **changes}) == told


def test_another_language_quotes_what_a_held_cell_holds() -> None:
    words = Wording("%d/%m/%Y", language="es")
    row = {**HELD, "cause": "number_unreadable", "detail": 'pH "5.8x" is not a number; write it like 5.8'}
    assert words.held({**row, "records": 1})[0] == "1 línea: un número que no se puede leer («5.8x»)."
    several = "2 líneas: un número que no se puede leer (por ejemplo «5.8x»)."
    assert words.held({**row, "records": 2})[0] == several
    plain = {**row, "cause": "nothing_measured", "detail": "neither pH nor EC", "records": 1}
    assert "(" not in words.held(plain)[0]


def test_a_file_with_held_lines_takes_the_mend_of_its_own_cause() -> None:
    row = {
        "name": "drop/r.csv",
        "problem": "encoding",
        "problem_sentence": "it is not utf-8",
        "problem_mend": "set it",
    }
    assert explain_file(row) == "drop/r.csv: it is not utf-8; set it."
    assert (
        explain_file({**row, "problem_mend": None}) == "drop/r.csv: it is not utf-8; export the file again."
    )


@pytest.mark.parametrize(
    ("number", "word"),
    [(2, "2nd"), (3, "3rd"), (4, "4th"), (11, "11th"), (12, "12th"), (21, "21st"), (112, "112th")],
)
def test_ordinals(number: int, word: str) -> None:
    sentence = WORDS.reason({"code": "out", **CONTEXT, **OUT, "in_a_row": number})
    assert f", {word} high in a row since" in sentence


def test_the_group_reads_dates_in_its_own_style() -> None:
    words = Wording("%m/%d/%Y", "%d.%m.%Y")
    assert words.for_group(lambda one: one.day(DAY)) == "31.03.2026"
    assert words.day(DAY) == "03/31/2026"
    assert Wording("%d.%m.%Y", "%d.%m.%Y").for_group(lambda one: one.day(DAY)) is None
