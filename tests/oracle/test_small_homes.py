"""The whole oracle on homes of a few lines, every expected figure worked by hand beside it."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from tests.oracle.small_home import (
    CALIBRATIONS,
    LOT_HEADER,
    READING_HEADER,
    lot_named,
    only_site,
    pots,
    summary_of,
)

AS_OF = date(2026, 4, 6)
# Zonal geranium: pH 6.0-6.6, iron-efficient, no EC target. Petunia: pH 5.4-6.2, EC 2.0-3.5. 4 inch: 30 mL, 5 pots.
GERANIUM = 'G,1,"geranium, zonal",pot_4in,2026-01-12,2026-05-08,1200\n'
PETUNIA = "P,2,petunia,pot_4in,2026-01-12,2026-05-08,800\n"


def night(
    home: Path,
    lots: str,
    readings: str,
    site_extra: str = "",
    policy: str = "",
    more: dict[str, str] | None = None,
) -> dict[str, Any]:
    files = {
        "lots_2026-04-01.csv": LOT_HEADER + lots,
        "readings_2026-04-01.csv": READING_HEADER + readings,
        **(more or {}),
    }
    return summary_of(home, [(AS_OF, files)], site_extra, policy)


def reasons(lot: dict[str, Any]) -> list[tuple[str, str, str | None, str | None]]:
    return [(row["code"], row["level"], row["quantity"], row["side"]) for row in lot["reasons"]]


def test_geranium_clearly_low(tmp_path: Path) -> None:
    # 5.3 5.3 5.4 5.5 5.5: mean 27.0 / 5 = 5.4; squares .01 .01 0 .01 .01, variance .04 / 4 = .01, SD .1;
    # half width 2.776445 * .1 / sqrt(5) = .124166, so 5.275834 to 5.524166, all below 6.0; 0.6 beyond the edge.
    values: list[Any] = [(5.3, 2.5, 30), (5.3, 2.5, 30), (5.4, 2.5, 30), (5.5, 2.5, 30), (5.5, 2.5, 30)]
    summary = night(tmp_path, GERANIUM, pots("G", "2026-03-31", values))
    lot = lot_named(summary, "G")
    figures = lot["samplings"][0]["ph"]
    assert figures["mean"] == 5.4
    assert figures["sd"] == pytest.approx(0.1)
    assert (figures["ci_low"], figures["ci_high"]) == pytest.approx((5.275834, 5.524166), abs=1e-6)
    assert (figures["side"], figures["verdict"], figures["in_a_row"]) == ("low", "clearly_out", 1)
    assert (figures["pots_in_range"], figures["inside_another_range"]) == (0, False)
    assert lot["samplings"][0]["ec"]["not_judged_why"] == "no_target"
    assert lot["level"] == "act"
    assert reasons(lot) == [("clearly_out", "act", "ph", "low")]
    # 0.6 / 0.2 = 3 steps, times 1 + 1 in a row.
    assert lot["score"] == pytest.approx(6.0)
    # A retest 7 days after 31 March is tomorrow.
    assert lot["due"] == {
        "state": "due_this_week",
        "due_on": "2026-04-07",
        "purpose": "retest",
        "days_overdue": None,
        "pots": 5,
        "rule": "after_out",
        "rule_on": "2026-04-07",
        "caused_on": "2026-03-31",
        "retest_due_on": None,
        "excused_until": None,
        "excuse_reason": None,
        "excused_by": None,
        "excused_late": False,
    }
    assert lot["days_to_end"] == 32
    assert summary["lots_by_level"] == {"act": 1, "no_reading": 0, "watch": 0, "ok": 0}


def test_below_the_target_but_inside_another_published_range(tmp_path: Path) -> None:
    # 5.9 lies below 6.0-6.6 and inside 5.8-6.5, which another source prints: out at most.
    # SD 0 makes the interval a point: wholly beyond, but only 0.1, so not clearly in any case.
    lot = lot_named(night(tmp_path, GERANIUM, pots("G", "2026-03-31", [(5.9, 2.5, 30)] * 5)), "G")
    figures = lot["samplings"][0]["ph"]
    assert (figures["side"], figures["verdict"], figures["inside_another_range"]) == ("low", "out", True)
    assert reasons(lot) == [("out", "watch", "ph", "low")]


def test_the_action_threshold_of_iron_inefficient_crops(tmp_path: Path) -> None:
    # Petunia at 6.41 of 5.4-6.2: 0.21 above; scattered pots make the interval reach below 6.2, but 6.4 is crossed.
    # 6.01 6.21 6.41 6.61 6.81: SD sqrt((.16 + .04 + 0 + .04 + .16) / 4) = .316, half width .393; and uneven (0.30).
    values: list[Any] = [(6.01, 2.5, 30), (6.21, 2.5, 30), (6.41, 2.5, 30), (6.61, 2.5, 30), (6.81, 2.5, 30)]
    lot = lot_named(night(tmp_path, PETUNIA, pots("P", "2026-03-31", values)), "P")
    assert lot["samplings"][0]["ph"]["verdict"] == "clearly_out"
    assert reasons(lot) == [("clearly_out", "act", "ph", "high"), ("uneven", "watch", "ph", None)]


def test_on_the_edge_is_in_range_and_close_to_it(tmp_path: Path) -> None:
    # 6.1 6.15 6.2 6.25 6.3: mean 6.2, the edge, which belongs to the range; the interval reaches over it.
    values: list[Any] = [(6.1, 2.5, 30), (6.15, 2.5, 30), (6.2, 2.5, 30), (6.25, 2.5, 30), (6.3, 2.5, 30)]
    lot = lot_named(night(tmp_path, PETUNIA, pots("P", "2026-03-31", values)), "P")
    assert lot["samplings"][0]["ph"]["side"] == "in_range"
    assert lot["samplings"][0]["ph"]["pots_in_range"] == 3
    assert reasons(lot) == [("close_to_limit", "watch", "ph", "high")]
    assert lot["score"] == 0


def test_seven_equal_pots_on_the_edge_are_in_range_and_close_to_it(tmp_path: Path) -> None:
    # The mean of seven times 5.4 is 5.4, whatever binary fractions make of it; pots all alike have the policy's spread.
    lot = lot_named(night(tmp_path, PETUNIA, pots("P", "2026-03-31", [(5.4, 2.5, 30)] * 7)), "P")
    assert (lot["samplings"][0]["ph"]["side"], lot["samplings"][0]["ph"]["verdict"]) == (
        "in_range",
        "close_to_limit",
    )
    assert (lot["level"], [finding["rule"] for finding in lot["samplings"][0]["findings"]]) == (
        "watch",
        ["all_alike"],
    )


def test_a_day_is_judged_by_the_policy_in_force_on_it(tmp_path: Path) -> None:
    # From 20 March another source comes first: petunia 5.5-6.0 instead of 5.4-6.2. 6.1 is in range before, above after.
    policy = """
[[policy]]
valid_from = 2026-03-20
target_source_order = ["New England Greenhouse Update"]
"""
    same: list[Any] = [(6.1, 2.5, 30)] * 5
    readings = pots("P", "2026-03-19", same) + pots("P", "2026-03-20", same)
    lot = lot_named(night(tmp_path, PETUNIA, readings, policy=policy), "P")
    assert [sampling["ph"]["side"] for sampling in lot["samplings"]] == ["in_range", "high"]
    assert [sampling["ph"]["pots_in_range"] for sampling in lot["samplings"]] == [5, 0]
    assert (lot["target_ph"]["low"], lot["target_ph"]["high"]) == (5.5, 6.0)


def test_low_ec_of_affected_plants_is_no_reason_to_act_in_a_young_lot(tmp_path: Path) -> None:
    young = "P,2,petunia,pot_4in,2026-03-25,,800\n"
    readings = pots("P", "2026-03-31", [(5.8, 1.0, 30)] * 5, purpose="affected")
    lot = lot_named(night(tmp_path, young, readings), "P")
    assert lot["samplings"][0]["ec"]["verdict"] == "clearly_out"
    assert reasons(lot) == [
        ("no_reading", "no_reading", None, None),
        ("affected_plants", "watch", None, None),
    ]


def test_in_a_row(tmp_path: Path) -> None:
    # Petunia EC 4.05 of 2.0-3.5: beyond by the margin (3.5 + 15 % = 4.025). Then three pots only, then healthy plants
    # for comparison, then 4.05 again: 2nd in a row.
    wide: list[Any] = [(5.8, ec, 30) for ec in (3.35, 3.7, 4.05, 4.4, 4.75)]
    # SD sqrt((.49 + .1225) * 2 / 4) = .553, half width .687, down to 3.363: not clearly out.
    readings = (
        pots("P", "2026-03-10", wide)
        + pots("P", "2026-03-17", wide[:3])
        + pots("P", "2026-03-24", [(5.8, 2.5, 30)] * 5, purpose="healthy")
        + pots("P", "2026-03-31", wide)
    )
    lot = lot_named(night(tmp_path, PETUNIA, readings), "P")
    assert [sampling["ec"]["in_a_row"] for sampling in lot["samplings"]] == [1, 0, 0, 2]
    assert [sampling["ec"]["verdict"] for sampling in lot["samplings"]] == ["out", None, "in_range", "out"]
    assert lot["samplings"][1]["ec"]["not_judged_why"] == "too_few_pots"
    assert reasons(lot) == [("in_a_row", "act", "ec", "high")]
    # (4.05 - 3.5) / 0.5 = 1.1 steps, times 1 + 2.
    assert lot["score"] == pytest.approx(3.3)


def test_one_in_range_ends_the_row(tmp_path: Path) -> None:
    high: list[Any] = [(5.8, 3.9, 30)] * 5
    readings = (
        pots("P", "2026-03-10", high)
        + pots("P", "2026-03-17", [(5.8, 3.0, 30)] * 5)
        + pots("P", "2026-03-31", high, purpose="retest")
    )
    lot = lot_named(night(tmp_path, PETUNIA, readings), "P")
    assert [sampling["ec"]["in_a_row"] for sampling in lot["samplings"]] == [1, 0, 1]


def test_over_collected_and_still_above_is_at_least_high(tmp_path: Path) -> None:
    # 30 mL: over from 36.01 mL, excluded from 42.01 mL. Two pots at 43 mL leave 3 usable for EC: not judged by them.
    # All five are normal or over-collected, mean (4 + 4 + 4 + 3.6 + 3.6) / 5 = 3.84 > 3.5: high, at least.
    values: list[Any] = [(5.8, 4, 30), (5.8, 4, 36), (5.8, 4, 37), (5.8, 3.6, 43), (5.8, 3.6, 43)]
    lot = lot_named(night(tmp_path, PETUNIA, pots("P", "2026-03-31", values)), "P")
    sampling = lot["samplings"][0]
    assert (sampling["counts"], sampling["proper"], sampling["pots_over_collected"]) == (True, "no", 3)
    assert sampling["leachate_median_ml"] == 37
    assert [pot["why_not_ec"] for pot in sampling["pots"]] == [None] * 3 + ["over_collected"] * 2
    assert (sampling["ec"]["n"], sampling["ec"]["side"], sampling["ec"]["verdict"]) == (3, "high", "out")
    assert sampling["ec"]["at_least"]
    # (3.84 - 3.5) / 0.5 = 0.68, times 2
    assert lot["score"] == pytest.approx(1.36)
    assert reasons(lot) == [("out", "watch", "ec", "high")]


def test_over_collected_and_in_range_is_not_judged(tmp_path: Path) -> None:
    lot = lot_named(night(tmp_path, PETUNIA, pots("P", "2026-03-31", [(5.8, 3.0, 60)] * 5)), "P")
    assert lot["samplings"][0]["ec"]["not_judged_why"] == "volume"
    assert lot["samplings"][0]["ec"]["mean"] is None
    assert reasons(lot) == [("ec_not_judged", "watch", "ec", None)]


def test_a_summary_line_and_an_affected_pot(tmp_path: Path) -> None:
    # One line for 5 pots: interval 5.8 -+ 1.959964 * 0.2 / sqrt(5) = 0.175305. The affected pot is kept apart.
    readings = "P,,2026-03-31,routine,1,5,5.8,2.5,30,,M1\nP,,2026-03-31,routine,2,1,6.9,2.5,30,affected,M1\n"
    lot = lot_named(night(tmp_path, PETUNIA, readings), "P")
    routine, affected = lot["samplings"]
    assert (routine["purpose"], routine["n_pots"], routine["counts"]) == ("routine", 5, True)
    assert routine["ph"]["ci_low"] == pytest.approx(5.8 - 0.175305, abs=1e-6)
    assert routine["ph"]["sd_assumed"]
    assert (affected["purpose"], affected["counts"]) == ("affected", False)
    assert [finding["rule"] for finding in affected["findings"]] == ["affected_in_routine"]
    assert reasons(lot) == [("affected_plants", "watch", None, None)]


def test_low_ec_only_matters_while_a_lot_is_active(tmp_path: Path) -> None:
    # Ends 20 April: finishing from 31 March (20 April less 21 days is 30 March). EC 1.0 of 2.0: clearly out, a note.
    finishing = "P,2,petunia,pot_4in,2026-01-12,2026-04-20,800\n"
    readings = pots("P", "2026-03-31", [(5.8, 1.0, 30)] * 5)
    lot = lot_named(night(tmp_path, finishing, readings), "P")
    assert lot["stage"] == "finishing"
    assert reasons(lot) == [("out", "note", "ec", "low")]
    assert (lot["level"], lot["score"]) == ("ok", 0)
    # 14 days after, not 7.
    assert (lot["due"]["due_on"], lot["due"]["purpose"]) == ("2026-04-14", "routine")


@pytest.mark.parametrize(("ec", "level"), [(1.5, "watch"), (1.2, "watch"), (1.19, "act")])
def test_low_ec_of_an_active_lot_acts_below_six_tenths_of_the_edge(
    tmp_path: Path, ec: float, level: str
) -> None:
    # 0.6 * 2.0 = 1.2
    lot = lot_named(night(tmp_path, PETUNIA, pots("P", "2026-03-24", [(5.8, ec, 30)] * 5)), "P")
    assert lot["level"] == level


def test_the_states_of_dues(tmp_path: Path) -> None:
    lots = (
        "NEVER,1,pansy,cell_pack,2026-03-20,,10\n"  # first due 27 March: 10 days ago
        "NEW,1,pansy,cell_pack,2026-03-30,,10\n"  # first due today
        "LATE,1,pansy,cell_pack,2026-01-10,,10\n"  # 20 March + 14 = 3 April, 3 days ago; 17 > 16 days: no reading
        "GRACE,1,pansy,cell_pack,2026-01-10,,10\n"  # 21 March + 14 = 4 April; 16 days are within interval and grace
        "SHIPS,1,pansy,cell_pack,2026-01-10,2026-04-10,10\n"  # 1 April + 14 = 15 April, after its end
        "PLUG,1,pansy,plug,2026-01-10,,10\n"  # 2 April + 3 = 5 April; 4 days are over 3 without grace
        "GONE,1,pansy,cell_pack,2026-01-10,2026-04-05,10\n"
        "COMING,1,pansy,cell_pack,2026-04-07,,10\n"
    )
    fine: list[Any] = [(5.8, 1.5, 30)] * 5
    readings = (
        pots("LATE", "2026-03-20", fine)
        + pots("GRACE", "2026-03-21", fine)
        + pots("SHIPS", "2026-04-01", fine)
        + pots("PLUG", "2026-04-02", fine)
    )
    site = only_site(night(tmp_path, lots, readings))
    found = {
        lot["lot_id"]: (lot["level"], lot["due"]["state"], lot["due"]["days_overdue"]) for lot in site["lots"]
    }
    assert found == {
        "NEVER": ("no_reading", "never_sampled", 10),
        "NEW": ("ok", "due_this_week", None),
        "LATE": ("no_reading", "overdue", 3),
        "GRACE": ("ok", "overdue", 2),
        "SHIPS": ("ok", "ships_first", None),
        "PLUG": ("no_reading", "overdue", 1),
    }
    # On time are NEW and SHIPS; pots for all but SHIPS.
    assert (site["lots_ended"], site["lots_on_time"], site["pots_due"]) == (1, 2, 25)
    # Level first; equal scores and plants; unknown ends after known ones; then by code.
    assert [lot["lot_id"] for lot in site["lots"]] == ["LATE", "NEVER", "PLUG", "SHIPS", "GRACE", "NEW"]


def test_meters(tmp_path: Path) -> None:
    # M1 fails on 2 April (slope 84): in doubt from then on, and so are the 5 readings of 3 April.
    meters = "meter,date,slope,offset\nM1,2026-03-31,97,0\nM1,2026-04-02,84,0\nM2,2026-03-24,96,-30.1\n"
    bad: list[Any] = [(7.0, 2.5, 30)] * 5
    readings = (
        pots("P", "2026-03-24", [(5.8, 2.5, 30)] * 5, meter="M3")
        + pots("P", "2026-03-31", [(5.8, 2.5, 30)] * 5)
        + pots("P", "2026-04-03", bad)
    )
    site = only_site(night(tmp_path, PETUNIA, readings, CALIBRATIONS, more={"meters_2026-04-01.csv": meters}))
    lot = site["lots"][0]
    assert [sampling["proper"] for sampling in lot["samplings"]] == ["no", "yes", "no"]
    assert [sampling["meter_in_doubt"] for sampling in lot["samplings"]] == [False, False, True]
    # pH 7.0 would be act; on a meter in doubt it is watch.
    assert lot["level"] == "watch"
    assert reasons(lot) == [
        ("out", "watch", "ph", "high"),
        ("meter_in_doubt", "watch", None, None),
        ("surprising", "note", "ph", "high"),
    ]
    found = {
        meter["meter_id"]: (
            meter["last_accepted"],
            meter["in_doubt"],
            meter["readings_in_doubt"],
            meter["days_used_without_calibration"],
        )
        for meter in site["meters"]
    }
    assert found == {
        "M1": (False, True, 5, ["2026-04-03"]),
        "M2": (False, True, 0, []),
        "M3": (None, False, 0, ["2026-03-24"]),
    }
    assert site["quality_28_days"] == {"samplings": 3, "counting": 3, "proper": 1, "not_shown": 0}


def test_without_calibrations_proper_cannot_be_shown(tmp_path: Path) -> None:
    lot = lot_named(night(tmp_path, PETUNIA, pots("P", "2026-03-31", [(5.8, 2.5, 24)] * 5)), "P")
    # 24 mL is 80 % of 30, still within the tolerance.
    assert (lot["samplings"][0]["proper"], lot["samplings"][0]["meter_calibrated"]) == ("not_shown", None)


def test_every_reason_to_hold_a_record(tmp_path: Path) -> None:
    lots = PETUNIA + "X,9,pansy,cell_pack,2026-01-01,2026-03-01,\nY,2,petunia,pot_4in,2026-01-12,,\n"
    lots += "Z,3,pansy,no such class,2026-01-01,,\n"
    readings = (
        "Q,,2026-03-31,routine,1,,5.8,2.5,30,,M1\n"  # lot unknown
        ",2,2026-03-31,routine,2,,5.8,2.5,30,,M1\n"  # two lots stand in house 2
        ",9,2026-02-01,routine,3,,5.8,2.5,30,,M1\n"  # one stood in house 9: accepted
        "X,,2026-03-02,routine,4,,5.8,2.5,30,,M1\n"  # the day after its end
        "p,,2026-01-11,routine,5,,5.8,2.5,30,,M1\n"  # the day before its start
        "P,,2026-04-07,routine,6,,5.8,2.5,30,,M1\n"  # tomorrow
        "P,,2026-03-31,routine,7,,58,2.5,30,,M1\n"
        "P,,2026-03-31,routine,8,,5.8,2500,30,,M1\n"
        "P,,2026-03-31,routine,9,,5.8O,2.5,30,,M1\n"
        "P,,31.03.2026,routine,10,,5.8,2.5,30,,M1\n"
        "P,,2026-03-31,rotten,11,,5.8,2.5,30,,M1\n"
        "P,,2026-03-31,routine,12,,,,30,,M1\n"
        ",,2026-03-31,routine,13,,5.8,2.5,30,,M1\n"
        "P,,2026-03-31,routine,14,,5.8,2.5\n"
        "Z,,2026-03-31,routine,15,,5.8,2.5,30,,M1\n"
        "P,,2026-03-31,routine,16,,5.8,2.5,30,,M1\n"  # accepted
    )
    site = only_site(night(tmp_path, lots, readings))
    assert {(row["cause"], row["what"]): row["records"] for row in site["held"]} == {
        ("lot_unknown", "Q"): 1,
        ("lot_held", "Z"): 1,
        ("place_unclear", None): 1,
        ("after_end", "X"): 1,
        ("before_start", "P"): 1,
        ("in_future", None): 1,
        ("ph_out_of_scale", None): 1,
        ("ec_out_of_scale", None): 1,
        ("number_unreadable", None): 1,
        ("date_unreadable", None): 1,
        ("value_unknown", None): 2,
        ("nothing_measured", None): 1,
        ("missing", None): 1,
        ("ragged", None): 1,
    }
    # 16 lines of readings and 4 of lots, 2 headers: 5 accepted (lots P, X, Y, readings 3 and 16).
    assert site["lines"] == {
        "lines": 22,
        "records": 22,
        "accepted": 5,
        "held": 15,
        "repeated": 0,
        "superseded": 0,
        "withdrawn": 0,
        "not_data": 2,
    }


def test_two_nights(tmp_path: Path) -> None:
    first, second = date(2026, 4, 2), AS_OF
    lots_before = LOT_HEADER + PETUNIA + "OLD,5,pansy,cell_pack,2026-01-01,,1\n"
    lots_after = LOT_HEADER + PETUNIA.replace("800", "700") + GERANIUM
    readings = pots("P", "2026-03-31", [(5.8, 2.5, 30)] * 5)
    late = pots("G", "2026-03-31", [(6.2, 2.5, 30)] * 5)
    # One line sent again as it was, one with another pH for the same pot.
    again = pots("P", "2026-03-31", [(5.8, 2.5, 30), (5.9, 2.5, 30)])
    before = {
        "lots.csv": lots_before,
        "readings_2026-04-01.csv": READING_HEADER + readings + late,
    }
    after = {**before, "lots.csv": lots_after, "readings_2026-04-05.csv": READING_HEADER + again}
    summary = summary_of(tmp_path, [(first, before), (second, after)])
    site = only_site(summary)
    # Lots: P 800 superseded, OLD withdrawn, P 700 and G accepted. Readings: 10 of the first file, of which pot 2 of P
    # superseded; of the second one repeated and one accepted.
    assert site["lines"] == {
        "lines": 3 + 3 + 11 + 3,
        "records": 20,
        "accepted": 2 + 9 + 1,
        "held": 0,
        "repeated": 1,
        "superseded": 2,
        "withdrawn": 1,
        "not_data": 4,
    }
    assert site["released_tonight"] == 5
    assert (summary["night"]["new_files"], summary["night"]["new_records"]) == (2, 6)
    assert lot_named(summary, "P")["plants"] == 700
    # (4 * 5.8 + 5.9) / 5
    assert lot_named(summary, "P")["samplings"][0]["ph"]["mean"] == pytest.approx(5.82)


def test_a_night_without_files_is_silent(tmp_path: Path) -> None:
    files = {"lots.csv": LOT_HEADER + PETUNIA}
    site = only_site(summary_of(tmp_path, [(date(2026, 4, 2), files), (date(2026, 4, 5), files)]))
    assert (site["nights_silent"], site["is_silent"], site["files_tonight"]) == (3, True, [])


def test_equal_lines_without_pot_numbers_are_different_pots(tmp_path: Path) -> None:
    # Three equal lines in the first file; two of them again in the next, which are repeats.
    line = "P,,2026-03-31,routine,,,5.8,2.5,30,,M1\n"
    files = {
        "lots.csv": LOT_HEADER + PETUNIA,
        "readings_2026-04-01.csv": READING_HEADER + line * 3,
        "readings_2026-04-02.csv": READING_HEADER + line * 2,
    }
    lines = only_site(summary_of(tmp_path, [(AS_OF, files)]))["lines"]
    assert (lines["accepted"], lines["repeated"]) == (4, 2)
