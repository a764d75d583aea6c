import json
from datetime import date, time
from decimal import Decimal
from typing import Any

import polars as pl
import pytest

from pipeline.intake.translate import ROW_SCHEMAS, Translated
from pipeline.settings import FIELDS, Column, Grower
from tests.intake.samples import READING_COLUMNS, make_site, translate_text

LOT_COLUMNS = {"lot": "Lot", "crop": "Crop", "container": "Pot size", "started": "Potted"}


def one_reading(cells: dict[str, str], units: dict[str, str] | None = None, **changes: Any) -> Translated:
    """A file of one record whose columns are named like their fields."""
    columns = {
        name: Column(column=name, unit=(units or {}).get(name, {"ec": "mS/cm"}.get(name))) for name in cells
    }
    text = "\t".join(cells) + "\n" + "\t".join(cells.values()) + "\n"
    return translate_text(text, columns=columns, delimiter="\t", **changes)


def reading(**cells: str) -> Translated:
    return one_reading({"lot": "A1", "date": "2026-04-05", "ph": "5.8", **cells})


def problems(translated: Translated) -> list[tuple[str, str, str, str]]:
    return list(translated.problems.select("field", "cell", "code", "sentence").iter_rows())


def test_full_reading() -> None:
    cells = {
        "lot": " A1 ",
        "house": "H2",
        "bench": "3",
        "position": "middle",
        "crop": "petunia",
        "datetime": "2026-04-05 09:30",
        "purpose": "Before feed",
        "pot": "7",
        "n_pots": "6",
        "ph": "5,85",
        "ph_sd": "0,21",
        "ec": "1850",
        "ec_sd": "350",
        "poured": "2,5",
        "poured_with": "Distilled",
        "poured_ec": "4",
        "leachate": "1,7",
        "temperature": "68,5",
        "drain": "45",
        "condition": "Healthy",
        "sampler": "Kim",
        "meter": "M1",
        "method": "Pour Through",
        "note": 'wet, "cold"',
    }
    units = {
        "ec": "µS/cm",
        "ec_sd": "µS/cm",
        "poured": "fl oz",
        "poured_ec": "µS/cm",
        "leachate": "fl oz",
        "temperature": "°F",
    }
    text_cells = {**cells, "note": '"wet, ""cold"""'}
    translated = one_reading(
        text_cells, units, decimal=",", datetime_format="%Y-%m-%d %H:%M", ec_compensated=False
    )
    assert problems(translated) == []
    (row,) = translated.rows.iter_rows(named=True)
    assert json.loads(row.pop("cells")) == cells
    assert row == {
        "record_no": 2,
        "lot_code": "A1",
        "house": "H2",
        "bench": "3",
        "position": "middle",
        "crop": "petunia",
        "sampled_on": date(2026, 4, 5),
        "sampled_time": time(9, 30),
        "purpose": "before_feed",
        "pot": "7",
        "n_pots": 6,
        "ph": Decimal("5.850"),
        "ph_sd": Decimal("0.210"),
        "ec_ms_cm": Decimal("1.8500"),
        "ec_sd_ms_cm": Decimal("0.3500"),
        "poured_ml": Decimal("73.93"),
        "poured_with": "distilled",
        "poured_ec_ms_cm": Decimal("0.0040"),
        "leachate_ml": Decimal("50.28"),
        "temperature_c": Decimal("20.28"),
        "drain_min": Decimal("45.0"),
        "condition": "healthy",
        "sampler": "Kim",
        "meter_id": "M1",
        "method": "pour-through",
        "note": 'wet, "cold"',
        "ec_compensated": False,
        # of sheets only
        "due_why": None,
        "due_on": None,
        "is_purpose_blank": None,
    }


def test_defaults_of_a_reading() -> None:
    (row,) = reading().rows.iter_rows(named=True)
    assert (row["purpose"], row["n_pots"], row["method"], row["ec_compensated"]) == (
        "routine",
        1,
        "pour-through",
        True,
    )
    assert (row["ec_ms_cm"], row["sampled_time"], row["condition"]) == (None, None, None)


def test_lot() -> None:
    columns = {
        **LOT_COLUMNS,
        "start_kind": "How",
        "ends": "Ships",
        "plants": "Plants",
        "grower": "Grower",
        "feed_mode": "Feed",
    }
    text = (
        "Lot,Crop,Pot size,Potted,How,Ships,Plants,Grower,Feed\n"
        'A1,petunia,"6""",03/01/2026,Potted,05/10/2026,1200,ana ruiz,CRF\n'
        "A2,petunia,pot 4in,03/02/2026,,,,Somebody,periodic\n"
    )
    site = make_site(growers=(Grower(id="ana", name="Ana Ruiz", email="ana@example.com"),))
    values = {"container": {'6"': "pot_5_6in"}, "feed_mode": {"crf": "controlled_release"}}
    translated = translate_text(
        text, site=site, kind="lots", columns=columns, values=values, date_format="%m/%d/%Y"
    )
    assert problems(translated) == []
    assert translated.rows.select(
        "lot_code",
        "container_class",
        "started_on",
        "start_kind",
        "ends_on",
        "plants",
        "grower_id",
        "feed_mode",
    ).rows() == [
        (
            "A1",
            "pot_5_6in",
            date(2026, 3, 1),
            "potted",
            date(2026, 5, 10),
            1200,
            "ana",
            "controlled_release",
        ),
        ("A2", "pot_4in", date(2026, 3, 2), None, None, None, "Somebody", "periodic"),
    ]


def test_calibration() -> None:
    columns = {
        "meter": "Meter",
        "date": "Date",
        "time": "Time",
        "slope": "Slope",
        "offset": "Offset",
        "buffers": "Buffers",
        "ec_standard": Column(column="Standard", unit="µS/cm"),
        "ec_found": Column(column="Found", unit="µS/cm"),
        "passed": "OK",
    }
    text = (
        "Meter,Date,Time,Slope,Offset,Buffers,Standard,Found,OK\n"
        "M1,2026-04-05,7:45,98.5,-12.5,4.01 7.00,1413,1402,Yes\n"
        "M1,2026-04-06,07:45:30,,,,,,no\n"
    )
    translated = translate_text(text, kind="calibrations", columns=columns)
    assert problems(translated) == []
    told = [
        "meter_id",
        "calibrated_on",
        "calibrated_time",
        "slope_pct",
        "offset_mv",
        "buffers",
        "ec_standard_ms_cm",
        "ec_found_ms_cm",
        "passed",
    ]
    assert translated.rows.select(told).rows() == [
        (
            "M1",
            date(2026, 4, 5),
            time(7, 45),
            Decimal("98.50"),
            Decimal("-12.5"),
            "4.01 7.00",
            Decimal("1.4130"),
            Decimal("1.4020"),
            True,
        ),
        ("M1", date(2026, 4, 6), time(7, 45, 30), None, None, None, None, None, False),
    ]


@pytest.mark.parametrize("kind", sorted(ROW_SCHEMAS))
def test_every_field_that_settings_allow_lands_in_a_column(kind: str) -> None:
    known = FIELDS[kind].known
    text = ",".join(known) + "\n" + ",".join("1" for _ in known) + "\n"
    units = {"ec": "mS/cm", "ec_sd": "mS/cm", "poured": "mL", "leachate": "mL", "temperature": "°C"}
    columns = {name: Column(column=name, unit=units.get(name)) for name in known}
    rows = translate_text(text, kind=kind, columns=columns).rows
    assert dict(rows.schema) == ROW_SCHEMAS[kind]
    assert list(json.loads(rows["cells"][0])) == list(known)


def test_records_that_could_not_be_read_are_rows_without_values() -> None:
    translated = translate_text("Lot,Date,pH,EC\nA1,2026-04-05,5.8\n\nA1,2026-04-05,5.8,1.9\n")
    assert translated.rows["record_no"].to_list() == [2, 4]
    assert translated.rows.row(0)[1:] == (None,) * (translated.rows.width - 1)
    assert translated.rows["ec_ms_cm"].to_list() == [None, Decimal("1.9")]
    assert problems(translated) == []


def test_held_file_has_rows_without_values() -> None:
    translated = translate_text("Lot,Date,acidity,EC\nA1,2026-04-05,5.8,1.9\n")
    assert translated.rows["record_no"].to_list() == [2]
    assert translated.rows["cells"].to_list() == [None]


def test_empty_file_translates_to_no_rows() -> None:
    translated = translate_text("")
    assert (translated.rows.height, translated.problems.height) == (0, 0)
    assert dict(translated.rows.schema) == ROW_SCHEMAS["readings"]


@pytest.mark.parametrize(
    ("cells", "problem"),
    [
        (
            {"date": "2026-04-31"},
            (
                "date",
                "2026-04-31",
                "date_unreadable",
                'date "2026-04-31" is not a date; write it like 2026-04-25',
            ),
        ),
        (
            {"time": "9h30"},
            ("time", "9h30", "date_unreadable", 'time "9h30" is not a time; write it like 09:30'),
        ),
        (
            {"ph": "5,8x"},
            ("ph", "5,8x", "number_unreadable", 'ph "5,8x" is not a number; write it like 5.8'),
        ),
        (
            {"ph": "5.8055"},
            (
                "ph",
                "5.8055",
                "number_unreadable",
                'ph "5.8055" has more decimals than the 3 that are kept; round it to 5.806',
            ),
        ),
        (
            {"drain": "-45"},
            ("drain", "-45", "number_unreadable", 'drain "-45" is below 0; write it like 45'),
        ),
        (
            {"ph_sd": "-0.1"},
            ("ph_sd", "-0.1", "number_unreadable", 'ph_sd "-0.1" is below 0; write it like 0.2'),
        ),
        (
            {"n_pots": "100000"},
            (
                "n_pots",
                "100000",
                "number_unreadable",
                'n_pots "100000" is too large to be right; write it like 5, without a mark for thousands',
            ),
        ),
        (
            {"n_pots": "0"},
            (
                "n_pots",
                "0",
                "number_unreadable",
                'n_pots "0" is not a whole number of 1 or more; write it like 5, without a mark for thousands',
            ),
        ),
        (
            {"purpose": "check"},
            (
                "purpose",
                "check",
                "value_unknown",
                (
                    'purpose "check" is none of routine, affected, healthy, before_feed, after_feed, retest; '
                    "write one of them, or say what it means under [export.values.purpose] in site.toml"
                ),
            ),
        ),
        (
            {"date": " "},
            ("date", "", "missing", 'the column "date" is blank; write the date in it'),
        ),
        (
            {"lot": ""},
            (
                "lot",
                "",
                "missing",
                'the column "lot" is blank; write which lot was sampled, or the house that it stands in',
            ),
        ),
        (
            {"ph": "", "ec": ""},
            (
                "ph",
                "",
                "nothing_measured",
                "neither pH nor EC is given; enter what was measured, or take the line out",
            ),
        ),
    ],
)
def test_problem_of_a_reading(cells: dict[str, str], problem: tuple[str, str, str, str]) -> None:
    assert problems(reading(**cells)) == [problem]


def test_week_that_cannot_be_read() -> None:
    cells = {"lot": "A1", "year": "2025", "week": "53", "ph": "5.8"}
    assert problems(one_reading(cells)) == [
        (
            "week",
            "53",
            "week_unreadable",
            'week "53" is not a week of 2025; ISO weeks go from 1 to 52, in some years to 53',
        )
    ]


def test_week_and_year_stand_for_the_site_s_day() -> None:
    translated = one_reading({"lot": "A1", "year": "2026", "week": "14", "ph": "5.8"}, week_day="friday")
    assert translated.rows["sampled_on"].to_list() == [date(2026, 4, 3)]
    assert problems(translated) == []


def test_house_alone_is_a_place() -> None:
    cells = {"lot": "", "house": "H2", "date": "2026-04-05", "ph": "5.8"}
    assert problems(one_reading(cells)) == []


@pytest.mark.parametrize(
    ("text", "field", "sentence"),
    [
        (",petunia,plug,2026-03-01", "lot", 'the column "Lot" is blank; write the lot\'s code in it'),
        ("A1,,plug,2026-03-01", "crop", 'the column "Crop" is blank; write which crop the lot is'),
        (
            "A1,petunia,,2026-03-01",
            "container",
            (
                'the column "Pot size" is blank; write the lot\'s container size, because volumes and '
                "intervals hang on it"
            ),
        ),
        (
            "A1,petunia,plug,",
            "started",
            (
                'the column "Potted" is blank; write the day on which the lot was sown, stuck, potted or '
                "transplanted"
            ),
        ),
    ],
)
def test_what_a_lot_cannot_do_without(text: str, field: str, sentence: str) -> None:
    translated = translate_text(f"Lot,Crop,Pot size,Potted\n{text}\n", kind="lots", columns=LOT_COLUMNS)
    assert problems(translated) == [(field, "", "missing", sentence)]


def test_unknown_word_of_a_calibration() -> None:
    columns = {"meter": "Meter", "date": "Date", "passed": "OK"}
    translated = translate_text("Meter,Date,OK\nM1,2026-04-05,maybe\n", kind="calibrations", columns=columns)
    assert problems(translated)[0][2:] == (
        "value_unknown",
        (
            'OK "maybe" is neither yes nor no; write one of them, or say what it means under '
            "[export.values.passed] in site.toml"
        ),
    )
    assert translated.rows["passed"].to_list() == [None]


def test_own_words_are_matched_trimmed_and_without_case_and_others_stay() -> None:
    text = "Lot,Date,pH,EC,Crop\nA1,2026-04-05,5.8,1.9, PETUNIE \nA2,2026-04-05,5.8,1.9,Begonia\n"
    translated = translate_text(
        text, columns={**READING_COLUMNS, "crop": "Crop"}, values={"crop": {"Petunie": "petunia"}}
    )
    assert translated.rows["crop"].to_list() == ["petunia", "Begonia"]


def test_all_problems_of_a_record_are_told_in_record_order() -> None:
    text = "Lot,Date,pH,EC\nA1,2026-04-31,x,y\nA1,2026-04-05,5.8,1.9\nA1,2026-04-05,x,1.9\n"
    found = translate_text(text).problems
    assert found.select("record_no", "field").rows() == [(2, "date"), (2, "ph"), (2, "ec"), (4, "ph")]


def test_long_cells_and_line_ends_are_shortened_in_sentences() -> None:
    translated = translate_text('Lot,Date,pH,EC\nA1,2026-04-05,"a\n' + "b" * 100 + '",1.9\n')
    (found,) = problems(translated)
    assert found[1] == "a\n" + "b" * 100
    assert found[3] == f'pH "a {"b" * 57}…" is too long for a number; write it like 5.8'


def test_unreadable_number_of_pots_is_not_taken_for_one_without_saying_so() -> None:
    translated = reading(n_pots="many")
    assert [code for _, _, code, _ in problems(translated)] == ["number_unreadable"]


def test_site_without_a_method_leaves_it_open() -> None:
    translated = translate_text(
        "Lot,Date,pH,EC\nA1,2026-04-05,5.8,1.9\n", site=make_site(extraction_method=None)
    )
    assert translated.rows["method"].to_list() == [None]


def test_cells_are_kept_as_they_stand() -> None:
    translated = translate_text("Lot,Date,pH,EC,Else\n A1 ,2026-04-05,5.80,1.9,x\n")
    assert json.loads(translated.rows["cells"][0]) == {
        "lot": " A1 ",
        "date": "2026-04-05",
        "ph": "5.80",
        "ec": "1.9",
    }


def test_digits_are_never_changed_by_floats() -> None:
    texts = [f"{thousandths / 1000:.3f}" for thousandths in range(4000, 8000)]
    body = "".join(f"A1,2026-04-05,{text},1\n" for text in texts)
    rows = translate_text("Lot,Date,pH,EC\n" + body).rows
    assert rows["ph"].cast(pl.String).to_list() == texts


def test_marks_units_and_fractions_of_an_export() -> None:
    cells = {
        "lot": "A1",
        "date": "2026-04-05",
        "ph": "5,8*",
        "ec": "1.850 µS/cm",
        "leachate": "1 1/2",
        "n_pots": "1.000",
    }
    units = {"ec": "mS/cm", "leachate": "fl oz"}
    translated = one_reading(cells, units, decimal=",", thousands=".", number_marks=("*",))
    assert problems(translated) == []
    (row,) = translated.rows.iter_rows(named=True)
    assert (row["ph"], row["ec_ms_cm"], row["leachate_ml"], row["n_pots"]) == (
        Decimal("5.800"),
        Decimal("1.8500"),
        Decimal("44.36"),
        1000,
    )
    assert json.loads(row["cells"]) == cells


def test_odd_cells_among_plain_ones_keep_their_places() -> None:
    lines = ["5.8", "", "x", "5,9", "6.0 ", "<4", "+6.1", "5.8055", "5.80550"]
    body = "".join(f'A1,2026-04-05,"{ph}",1.9\n' for ph in lines)
    translated = translate_text("Lot,Date,pH,EC\n" + body)
    assert translated.rows["ph"].to_list() == [
        Decimal("5.8"), None, None, None, Decimal("6"), None, Decimal("6.1"), None, None,
    ]  # fmt: skip
    assert translated.problems.select("record_no", "cell").rows() == [
        (4, "x"), (5, "5,9"), (7, "<4"), (9, "5.8055"), (10, "5.80550"),
    ]  # fmt: skip


def test_day_number_of_a_spreadsheet() -> None:
    (found,) = problems(reading(date="46113"))
    assert found[3] == (
        'date "46113" looks like a spreadsheet\'s day number (46113 stands for 2026-04-01); format the column '
        "as a date and export it again, like 2026-04-25"
    )


def test_weeks_by_the_export_s_own_rule() -> None:
    cells = {"lot": "A1", "year": "2026", "week": "14", "ph": "5.8"}
    sunday: dict[str, Any] = {"week_rule": "first_full_week", "week_starts": "sunday"}
    assert one_reading(cells, **sunday).rows["sampled_on"].to_list() == [date(2026, 4, 8)]
    sunday["week_rule"] = "january_1"
    assert one_reading(cells, **sunday).rows["sampled_on"].to_list() == [date(2026, 4, 1)]


EXTRA = "Lot,Date,pH,EC,Weather,Note, Root  colour ,\n"


@pytest.mark.parametrize(
    ("line", "note"),
    [
        ("A1,2026-04-05,5.8,1.9,rain,wet,white,x", "wet; Weather: rain; Root colour: white; column 8: x"),
        ("A1,2026-04-05,5.8,1.9, rain ,,,", "Weather: rain"),
        ("A1,2026-04-05,5.8,1.9,,wet,, ", "wet"),
        ("A1,2026-04-05,5.8,1.9,,,,", None),
    ],
)
def test_extra_columns_are_kept_in_the_note(line: str, note: str | None) -> None:
    columns = {**READING_COLUMNS, "note": "Note"}
    translated = translate_text(EXTRA + line + "\n", columns=columns, extra_columns="note")
    assert translated.rows["note"].to_list() == [note]
    assert "rain" not in translated.rows["cells"][0]


def test_extra_columns_are_left_out_by_default() -> None:
    translated = translate_text(EXTRA + "A1,2026-04-05,5.8,1.9,rain,wet,white,x\n")
    assert translated.rows["note"].to_list() == [None]


def test_extra_columns_where_the_export_has_no_note() -> None:
    text = "Meter,Date,By\nM1,2026-04-05,Kim\nM1,2026-04-06,\n"
    columns = {"meter": "Meter", "date": "Date"}
    translated = translate_text(text, kind="calibrations", columns=columns, extra_columns="note")
    assert translated.rows["note"].to_list() == ["By: Kim", None]
    lots = translate_text(
        "Lot,Crop,Pot size,Potted,Tray\nA1,petunia,plug,2026-04-05,288\n",
        kind="lots",
        columns=LOT_COLUMNS,
        extra_columns="note",
    )
    assert lots.rows["note"].to_list() == ["Tray: 288"]
    assert translate_text(
        "Meter,Date,By\n", kind="calibrations", columns=columns, extra_columns="note"
    ).rows.is_empty()


BOTH = {"lot": "Lot", "date": "Date", "datetime": "T", "time": "At", "week": "Wk", "year": "Yr", "ph": "pH"}


@pytest.mark.parametrize(
    ("cells", "sentence"),
    [
        (
            "2026-04-01,2026-04-02 10:00,,,",
            'Date "2026-04-01" and T "2026-04-02 10:00" name different days; correct one of them',
        ),
        (
            "2026-04-01,,,20,2026",
            'Date "2026-04-01" and Wk "20" do not go together: the day is not in that week; correct one of them',
        ),
        (
            ",2026-04-01 10:00,,20,2026",
            'T "2026-04-01 10:00" and Wk "20" do not go together: the day is not in that week; correct one of them',
        ),
        (
            "2026-04-01,2026-04-01 10:00,09:00,,",
            'At "09:00" and T "2026-04-01 10:00" name different times; correct one of them',
        ),
        ("2026-04-01,2026-04-01 10:00:27,10:00,14,2026", None),
        ("2026-03-30,,,14,2026", None),
        ("2026-04-05,,,14,2026", None),
    ],
)
def test_cells_that_name_different_days_hold_the_line(cells: str, sentence: str | None) -> None:
    translated = translate_text(f"Lot,Date,T,At,Wk,Yr,pH\nA1,{cells},5.8\n", columns=BOTH)
    found = [(code, said) for _, _, code, said in problems(translated)]
    assert found == ([] if sentence is None else [("days_disagree", sentence)])


def test_days_of_a_week_by_another_rule_are_in_it() -> None:
    text = "Lot,Date,Wk,Yr,pH\nA1,2026-01-01,1,2026,5.8\nA1,2026-01-03,1,2026,5.8\nA1,2026-01-04,1,2026,5.8\n"
    columns = {name: BOTH[name] for name in ("lot", "date", "week", "year", "ph")}
    translated = translate_text(text, columns=columns, week_rule="january_1", week_starts="sunday")
    assert translated.problems["record_no"].to_list() == [4]
