"""The sheet as CSV: its headers to the letter, one line a pot, nothing a spreadsheet would run or turn into a date."""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.programme.sheet import Sheet, SheetPot
from pipeline.programme.sheet_csv import (
    disarm,
    in_volume_unit,
    position_of,
    write_calibrations_csv,
    write_sheet_csv,
)
from tests.programme.sheets import make_benches, make_row, make_site, sheet_of

SHEET_HEADER = (
    "site,lot,house,bench,position,crop,purpose,due_why,due_on,pot,pour_ml,collect_ml,date,ph,ec_ms_cm,leachate_ml,"
    "temperature_c,condition,drain_start,drain_end,sampler,meter,note"
)
CALIBRATIONS_HEADER = (
    "meter,date,time,person,temperature_c,found_4,found_7,found_10,left_4,left_7,left_10,slope_pct,offset_mv,"
    "ec_standard_ms_cm,ec_found_ms_cm,ec_left_ms_cm,solution,solution_expires,note"
)


def read(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline=""), strict=True))


def lines_of(sheet: Sheet) -> list[dict[str, str]]:
    return read(write_sheet_csv(sheet, "hill"))


def test_the_header_is_what_the_intake_knows_a_sheet_by() -> None:
    data = write_sheet_csv(sheet_of(), "hill")
    assert data == f"\ufeff{SHEET_HEADER}\r\n".encode()


def test_the_header_of_calibrations_is_what_the_intake_knows_them_by() -> None:
    data = write_calibrations_csv(sheet_of(meters=()))
    assert data == f"\ufeff{CALIBRATIONS_HEADER}\r\n".encode()


@pytest.mark.parametrize(
    ("units", "changed"),
    [
        (
            {"volume_unit": "fl oz"},
            {
                "pour_ml": "pour_ml,pour_fl_oz",
                "collect_ml": "collect_ml,collect_fl_oz",
                "leachate_ml": "leachate_fl_oz",
            },
        ),
        ({"temperature_unit": "°F"}, {"temperature_c": "temperature_f"}),
    ],
)
def test_names_carry_the_units_in_which_the_site_writes(
    units: dict[str, Any], changed: dict[str, str]
) -> None:
    sheet = sheet_of(site=make_site(**units))
    for data, header in (
        (write_sheet_csv(sheet, "hill"), SHEET_HEADER),
        (write_calibrations_csv(sheet), CALIBRATIONS_HEADER),
    ):
        wanted = ",".join(changed.get(name, name) for name in header.split(","))
        assert data.decode("utf-8-sig").splitlines()[0] == wanted


def test_one_line_a_pot_with_everything_filled_in_up_to_the_date() -> None:
    first, *rest = lines_of(sheet_of(make_row("P-1")))
    assert len(rest) == 4
    position = first.pop("position")
    assert position.split(" ")[1] in ("edge", "inside")
    assert {name: cell for name, cell in first.items() if cell} == {
        "site": "hill",
        "lot": "P-1",
        "house": "House 1",
        "bench": "1",
        "crop": "petunia",
        "purpose": "routine",
        "due_why": "routine",
        "due_on": "2026-04-08",
        "pot": "1",
        "pour_ml": "75",
        "collect_ml": "50",
    }


def test_a_range_to_collect_is_written_as_one() -> None:
    (line, *_) = lines_of(
        sheet_of(make_row(leachate_low_ml=Decimal("50.00"), leachate_high_ml=Decimal("60.00")))
    )
    assert line["collect_ml"] == "50-60"


def test_fluid_ounces_are_to_a_tenth_and_stand_beside_millilitres() -> None:
    sheet = sheet_of(make_row(leachate_high_ml=Decimal(60)), site=make_site(volume_unit="fl oz"))
    (line, *_) = lines_of(sheet)
    # 75 mL, 50 mL and 60 mL over 29.5735 mL.
    assert (line["pour_ml"], line["pour_fl_oz"]) == ("75", "2.5")
    assert (line["collect_ml"], line["collect_fl_oz"]) == ("50-60", "1.7-2.0")


def test_pots_are_numbered_within_lot_and_purpose() -> None:
    lines = lines_of(sheet_of(make_row(why="symptoms", purposes="affected,healthy", pots=6)))
    assert [(line["purpose"], line["pot"]) for line in lines] == [
        *(("affected", str(number)) for number in (1, 2, 3)),
        *(("healthy", str(number)) for number in (1, 2, 3)),
    ]
    assert [bool(line["position"]) for line in lines] == [False] * 3 + [True] * 3


def test_lines_stand_in_walking_order() -> None:
    rows = [make_row("A", house="House 10"), make_row("B", house="House 2")]
    assert list(dict.fromkeys(line["lot"] for line in lines_of(sheet_of(*rows)))) == ["B", "A"]


def test_a_drawn_place_tells_its_own_bench() -> None:
    sheet = sheet_of(make_row(bench=None, house="house 1", pots=10))
    assert {(line["house"], line["bench"]) for line in lines_of(sheet)} == {
        ("House 1", "1"),
        ("House 1", "2"),
    }


def test_each_meter_has_a_line_with_its_name() -> None:
    lines = read(write_calibrations_csv(sheet_of(meters=["M2", "M1"])))
    assert [{name: cell for name, cell in line.items() if cell} for line in lines] == [
        {"meter": "M1"},
        {"meter": "M2"},
    ]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "  =1", " \t=1"])
def test_what_a_spreadsheet_would_run_is_disarmed(text: str) -> None:
    assert disarm(text) == f"'{text}"


@pytest.mark.parametrize("text", ["", "A=1", "P-101", "geranium, zonal", "1", "'=1", "Ä"])
def test_other_text_is_left_alone(text: str) -> None:
    assert disarm(text) == text


@settings(deadline=None)
@given(
    st.fixed_dictionaries(
        {
            name: st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1)
            for name in ("lot_id", "house", "bench", "crop")
        }
    )
)
def test_any_text_of_an_export_comes_out_as_one_cell_that_nothing_runs(facts: dict[str, Any]) -> None:
    row = make_row() | facts
    sheet = sheet_of(row, site=make_site(make_benches("House 1")), meters=[facts["lot_id"]])
    for line in (*lines_of(sheet), *read(write_calibrations_csv(sheet))):
        assert None not in line
        assert all(
            cell.lstrip(" ")[:1] not in ("=", "+", "-", "@", "\t", "\r", "\n") or not cell
            for cell in line.values()
        )
    assert {line["lot"].removeprefix("'") for line in lines_of(sheet)} == {facts["lot_id"].removeprefix("'")}


@pytest.mark.parametrize(
    ("pot", "wanted"),
    [
        (SheetPot(pot=1), ""),
        (SheetPot(pot=1, house="1", bench="1", place=17), "17"),
        (SheetPot(pot=1, house="1", bench="1", row=2, column=7, zone="edge"), "2-7 edge"),
    ],
)
def test_a_place_is_no_date(pot: SheetPot, wanted: str) -> None:
    assert position_of(pot) == wanted


@pytest.mark.parametrize(
    ("value", "unit", "wanted"),
    [(50.0, "mL", "50"), (62.5, "mL", "62.5"), (100.0, "fl oz", "3.4"), (30.0, "fl oz", "1.0")],
)
def test_volumes_in_the_site_s_unit(value: float, unit: str, wanted: str) -> None:
    assert f"{in_volume_unit(value, unit):f}" == wanted
