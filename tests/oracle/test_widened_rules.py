"""Extraction methods, meters that were found wrong too late, buffers, exchanged columns, empty lists: by hand."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from tests.oracle import small_home
from tests.oracle.compare import compare_held
from tests.oracle.meter_checks import buffers_in
from tests.oracle.samplings import is_bracketed
from tests.oracle.small_home import (
    LOT_HEADER,
    READING_HEADER,
    WITH_BUFFERS,
    lot_named,
    only_site,
    pots,
    summary_of,
)

AS_OF = date(2026, 4, 6)
DAY = "2026-03-31"
# Petunia: published EC 2.0-3.5, pH 5.4-6.2. Zonal geranium: no published EC. 4 inch: 30 mL, 5 pots.
PETUNIA = "P,2,petunia,pot_4in,2026-01-12,2026-05-08,800\n"
GERANIUM = 'G,1,"geranium, zonal",pot_4in,2026-01-12,2026-05-08,1200\n'
METER_HEADER = "meter,date,slope,offset,buffers\n"
OWN_EC = """
[[policy]]
valid_from = 2026-01-01
[[policy.targets]]
crop = "petunia"
quantity = "ec"
low = 1.0
high = 2.0
"""
SME, DILUTION, POUR = "saturated media extract", "1:2 dilution", "pour-through"


def alike(ph: float | str, ec: float | str, count: int = 5) -> list[Any]:
    return [(ph, ec, 30)] * count


def night(
    home: Path, lots: str, readings: str, meters: str | None = None, policy: str = ""
) -> dict[str, Any]:
    files = {"lots_2026-04-01.csv": LOT_HEADER + lots, "readings_2026-04-01.csv": READING_HEADER + readings}
    if meters is not None:
        files["meters_2026-04-01.csv"] = METER_HEADER + meters
    return summary_of(home, [(AS_OF, files)], "" if meters is None else WITH_BUFFERS, policy)


def by_method(
    home: Path,
    monkeypatch: pytest.MonkeyPatch,
    lots: str,
    lines: list[tuple[str, float, str]],
    policy: str = "",
) -> dict[str, Any]:
    """One line a pot of 31 March at pH 5.8: lot, EC, method."""
    # The first `meter` column is the readings'.
    with_method = small_home.SITE.replace('meter = "meter"', 'meter = "meter"\nmethod = "method"', 1)
    monkeypatch.setattr(small_home, "SITE", with_method)
    text = "".join(
        f"{lot},,{DAY},routine,{no},,5.8,{ec},30,,M1,{method}\n" for no, (lot, ec, method) in enumerate(lines)
    )
    files = {
        "lots_2026-04-01.csv": LOT_HEADER + lots,
        "readings_2026-04-01.csv": READING_HEADER.replace("\n", ",method\n") + text,
    }
    return summary_of(home, [(AS_OF, files)], policy=policy)


def act_on_ec(lot: dict[str, Any]) -> bool:
    return any(
        (row["code"], row["level"], row["side"]) == ("ec_extreme", "act", "high") for row in lot["reasons"]
    )


@pytest.mark.parametrize(
    ("ec", "method", "why", "acts"),
    [
        # The published range is of the pour-through. SME acts above 5.0, 1:2 above 1.8, pour-through from 6.6.
        (3.0, POUR, None, False),
        (6.59, POUR, None, False),
        (6.6, POUR, None, True),
        (3.0, SME, "other_method", False),
        (5.0, SME, "other_method", False),
        (5.01, SME, "other_method", True),
        (1.8, DILUTION, "other_method", False),
        (1.81, DILUTION, "other_method", True),
    ],
)
def test_a_published_ec_range_is_of_the_pour_through(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ec: float, method: str, why: str | None, acts: bool
) -> None:
    lot = lot_named(by_method(tmp_path, monkeypatch, PETUNIA, [("P", ec, method)] * 5), "P")
    figures = lot["samplings"][0]["ec"]
    assert (figures["not_judged_why"], figures["side"] is None) == (why, why is not None)
    assert figures["mean"] == ec
    assert act_on_ec(lot) == acts


def test_a_crop_without_published_ec_acts_by_its_method_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot = lot_named(by_method(tmp_path, monkeypatch, GERANIUM, [("G", 5.1, SME)] * 5), "G")
    assert lot["samplings"][0]["ec"]["not_judged_why"] == "no_target"
    assert act_on_ec(lot)


def test_a_plug_without_its_own_range_does_not_act_on_ec(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plug = PETUNIA.replace("pot_4in", "plug")
    lot = lot_named(by_method(tmp_path, monkeypatch, plug, [("P", 9.0, SME)] * 5), "P")
    assert lot["samplings"][0]["ec"]["not_judged_why"] == "no_target"
    assert not act_on_ec(lot)


def test_an_own_range_judges_whatever_the_method(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # 1.9 of 1.0-2.0 is in range, and above 1.8 all the same.
    summary = by_method(tmp_path, monkeypatch, PETUNIA, [("P", 1.9, DILUTION)] * 5, OWN_EC)
    lot = lot_named(summary, "P")
    assert lot["samplings"][0]["ec"]["side"] == "in_range"
    assert act_on_ec(lot)


def test_several_methods_in_one_sampling(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = [("P", 7.0, POUR)] * 4 + [("P", 7.0, SME)]
    lot = lot_named(by_method(tmp_path, monkeypatch, PETUNIA, lines), "P")
    figures = lot["samplings"][0]["ec"]
    assert (figures["not_judged_why"], figures["band"]) == ("other_method", None)
    assert not act_on_ec(lot)


def test_too_few_pots_come_before_the_method(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lot = lot_named(by_method(tmp_path, monkeypatch, PETUNIA, [("P", 7.0, SME)] * 4), "P")
    assert lot["samplings"][0]["ec"]["not_judged_why"] == "too_few_pots"


def test_a_failed_check_reaches_back_to_the_last_good_one(tmp_path: Path) -> None:
    # Good on the 20th and the 26th, failed on 2 April. The 20th is followed by a good check; the 26th by a failed
    # one, but has its own; the 31st lies between good and failed; 3 April after it.
    readings = "".join(
        pots("P", day, alike(5.8, 2.5)) for day in ("2026-03-20", "2026-03-26", DAY, "2026-04-03")
    )
    meters = "M1,2026-03-20,97,0,\nM1,2026-03-26,97,0,\nM1,2026-04-02,84,0,\n"
    site = only_site(night(tmp_path, PETUNIA, readings, meters))
    samplings = site["lots"][0]["samplings"]
    assert [sampling["meter_in_doubt"] for sampling in samplings] == [False, False, True, True]
    assert [sampling["proper"] for sampling in samplings] == ["yes", "yes", "no", "no"]
    # From the day of the last good check, the 26th: 5 of the 31st and 5 of 3 April.
    assert site["meters"][0]["readings_in_doubt"] == 10


def test_a_mended_meter_leaves_old_samplings_in_doubt_and_counts_none(tmp_path: Path) -> None:
    readings = pots("P", "2026-03-27", alike(5.8, 2.5)) + pots("P", DAY, alike(5.8, 2.5))
    meters = "M1,2026-03-28,84,0,\nM1,2026-03-30,97,0,\n"
    site = only_site(night(tmp_path, PETUNIA, readings, meters))
    assert [one["meter_in_doubt"] for one in site["lots"][0]["samplings"]] == [True, False]
    assert (site["meters"][0]["in_doubt"], site["meters"][0]["readings_in_doubt"]) == (False, 0)


def test_a_good_check_that_failed_again_the_same_day(tmp_path: Path) -> None:
    meters = f"M1,{DAY},97,0,\nM1,{DAY},84,0,\n"
    site = only_site(night(tmp_path, PETUNIA, pots("P", DAY, alike(5.8, 2.5)), meters))
    sampling = site["lots"][0]["samplings"][0]
    # Calibrated that day, and in doubt all the same: never proper.
    assert (sampling["meter_calibrated"], sampling["meter_in_doubt"], sampling["proper"]) == (
        True,
        True,
        "no",
    )
    # The day of the last good check counts.
    assert site["meters"][0]["readings_in_doubt"] == 5


@pytest.mark.parametrize(
    ("cell", "numbers"),
    [
        ("4,01; 7,01", ["4.01", "7.01"]),
        ("pH 4 and 7.00", ["4", "7.00"]),
        ("4,7", ["4", "7"]),
        ("4,7,10", ["4", "7", "10"]),
        ("4,01,7,00", ["4.01", "7.00"]),
        ("4,10", ["4", "10"]),
        ("as usual", []),
        (None, []),
        ("6,9", None),
        ("4.7", None),
        ("2-point 4/7", None),
        ("4801/7.00", None),
    ],
)
def test_buffers_are_the_numbers_in_the_cell(cell: str | None, numbers: list[str] | None) -> None:
    assert buffers_in(cell) == (None if numbers is None else [Fraction(number) for number in numbers])


def test_buffers_bracket_when_they_reach_the_readings() -> None:
    four, seven, six = Fraction(4), Fraction(7), Fraction(6)
    assert is_bracketed([four, seven], [seven, four])
    assert not is_bracketed([four, seven], [four, six])
    assert not is_bracketed([four, seven], [six, seven])
    assert is_bracketed([four], [])
    assert is_bracketed([], [seven])


@pytest.mark.parametrize(("buffers", "calibrated"), [("4.01 7.01", False), ("4.01 10.01", True), ("", True)])
def test_buffers_must_bracket_all_that_the_meter_read_that_day(
    tmp_path: Path, buffers: str, calibrated: bool
) -> None:
    # The petunias at 5.8 lie between 4.01 and 7.01, but the same meter read 7.2 in the geraniums that day.
    readings = pots("P", DAY, alike(5.8, 2.5)) + pots("G", DAY, alike(7.2, 2.5))
    site = only_site(night(tmp_path, PETUNIA + GERANIUM, readings, f"M1,{DAY},97,0,{buffers}\n"))
    for lot in site["lots"]:
        assert lot["samplings"][0]["meter_calibrated"] is calibrated
        assert lot["samplings"][0]["proper"] == ("yes" if calibrated else "no")
        assert lot["samplings"][0]["meter_in_doubt"] is False


@pytest.mark.parametrize(
    ("ph", "ec", "meters", "wanted"),
    [
        # 7.2 is clearly above 6.2; 1.19 is below 0.6 * 2.0 = 1.2, 1.5 only clearly below 2.0.
        (7.2, 2.5, None, [("act", "ph", "high")]),
        (7.2, 2.5, "M1,2026-04-02,84,0,\n", [("watch", "ph", "high")]),
        (5.8, 1.19, None, [("act", "ec", "low")]),
        (5.8, 1.5, None, [("watch", "ec", "low")]),
        (5.8, 1.19, "M1,2026-04-02,84,0,\n", [("watch", "ec", "low")]),
    ],
)
def test_affected_plants_clearly_out(
    tmp_path: Path, ph: float, ec: float, meters: str | None, wanted: list[tuple[str, str, str]]
) -> None:
    lot = lot_named(night(tmp_path, PETUNIA, pots("P", DAY, alike(ph, ec), "affected"), meters), "P")
    found = [
        (row["level"], row["quantity"], row["side"])
        for row in lot["reasons"]
        if row["code"] == "affected_clearly_out"
    ]
    assert found == wanted


def causes(site: dict[str, Any]) -> dict[str, int]:
    return {row["cause"]: row["records"] for row in site["held"]}


def test_ph_and_ec_exchanged_in_a_whole_file(tmp_path: Path) -> None:
    # pH column 2.4 2.4 2.5 2.5 6.0 58, median 2.5; EC column 2.0 5.8 5.8 5.8 5.9 5.9, median 5.8.
    # Lot and date come first, an odd cell is no readable record, the one with pH 58 waits for the columns.
    values: list[Any] = [(2.5, 5.8, 30), (2.4, 5.9, 30), (6.0, 2.0, 30), (58, 5.8, 30), ("2.5x", 5.8, 30)]
    readings = pots("P", DAY, values) + pots("Q", DAY, [(2.4, 5.9, 30)])
    readings += pots("P", "2026-01-11", [(2.5, 5.8, 30)])
    site = only_site(night(tmp_path, PETUNIA, readings))
    assert causes(site) == {
        "ph_ec_swapped": 4,
        "number_unreadable": 1,
        "lot_unknown": 1,
        "before_start": 1,
    }


@pytest.mark.parametrize(
    ("values", "swapped"),
    [
        (alike(3.4, 4.0, 3), True),
        (alike(3.4, 9.0, 3), True),
        (alike(3.5, 5.0, 3), False),
        (alike(3.4, 3.9, 3), False),
        (alike(3.4, 9.1, 3), False),
        (alike(3.4, 5.0, 2), False),
        # 3.4 3.4 3.6 3.6: median 3.5
        (alike(3.4, 5.0, 2) + alike(3.6, 5.0, 2), False),
        # Three with both and four with a good pH alone: median pH 6.0
        (alike(2.5, 5.8, 3) + alike(6.0, "", 4), False),
    ],
)
def test_when_columns_count_as_exchanged(tmp_path: Path, values: list[Any], swapped: bool) -> None:
    site = only_site(night(tmp_path, PETUNIA, pots("P", DAY, values)))
    assert causes(site) == ({"ph_ec_swapped": len(values)} if swapped else {})


def test_an_empty_list_is_held_and_withdraws_nothing(tmp_path: Path) -> None:
    before = {
        "lots.csv": LOT_HEADER + PETUNIA,
        "readings_2026-04-01.csv": READING_HEADER + pots("P", DAY, alike(5.8, 2.5)),
    }
    after = {**before, "lots.csv": LOT_HEADER, "readings_2026-04-05.csv": READING_HEADER}
    site = only_site(summary_of(tmp_path, [(date(2026, 4, 2), before), (AS_OF, after)]))
    # Increments add nothing on many a night; a whole list without a lot is a mistake.
    assert site["findings"] == [
        {"rule": "header_only", "level": "hold"},
        {"rule": "header_only", "level": "note"},
    ]
    assert (site["lines"]["accepted"], site["lines"]["withdrawn"], site["lines"]["held"]) == (6, 0, 0)


def test_a_site_that_never_sent_anything_is_silent(tmp_path: Path) -> None:
    site = only_site(summary_of(tmp_path, [(AS_OF, {})]))
    assert (site["is_silent"], site["nights_silent"], site["last_received_on"]) == (True, None, None)
    assert site["findings"] == [{"rule": "site_silent", "level": "warn"}]


def test_one_cause_may_come_in_several_entries() -> None:
    def entry(records: int) -> dict[str, Any]:
        return {"cause": "number_unreadable", "what": None, "records": records, "examples": []}

    assert compare_held([entry(2), entry(1)], [{**entry(3), "may_show": []}], "held") == []
    assert compare_held([entry(2), entry(2)], [{**entry(3), "may_show": []}], "held") != []
