"""Sheets that come back: known by their header, read in whatever dialect a spreadsheet saved them."""

from __future__ import annotations

import csv
from datetime import date, time
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from pipeline.intake.collect import collect
from pipeline.intake.read import read_records
from pipeline.intake.sheet_files import HEAD_BYTES, find_sheet, fit_sheet
from pipeline.receive import digest_reading
from pipeline.settings import PolicyInForce, SiteSettings
from pipeline.settings.models import Column, Grower
from pipeline.settings.sheet import (
    SHEET_CALIBRATIONS,
    SHEET_READINGS,
    columns_of,
    order_of_days,
    read_export,
)
from tests.intake.filled_sheets import (
    CALIBRATION_COLUMNS,
    CALIBRATIONS_HEADER,
    FILLED,
    HEADER,
    PRINTED,
    SHEET_COLUMNS,
    kinds,
    one_line,
    read_sheet,
    template,
    write,
)
from tests.intake.samples import READING_COLUMNS, make_export, make_site, translate_text

DIALECTS = [
    ("utf-8-sig", ",", csv.QUOTE_MINIMAL),
    ("utf-8", ";", csv.QUOTE_MINIMAL),
    ("cp1252", ";", csv.QUOTE_ALL),
    ("utf-16", "\t", csv.QUOTE_MINIMAL),
    ("utf-16", ";", csv.QUOTE_ALL),
    ("utf-8", "\t", csv.QUOTE_ALL),
]


# Known by its header


def test_the_writer_and_the_reader_have_one_header() -> None:
    assert ",".join(SHEET_COLUMNS) == HEADER
    assert ",".join(CALIBRATION_COLUMNS) == CALIBRATIONS_HEADER
    for number, header in ((SHEET_READINGS, SHEET_COLUMNS), (SHEET_CALIBRATIONS, CALIBRATION_COLUMNS)):
        assert [column.column for column in template(number).columns.values()] == list(header)


@pytest.mark.parametrize(("encoding", "delimiter", "quoting"), DIALECTS)
def test_the_header_is_known_however_it_is_saved(encoding: str, delimiter: str, quoting: int) -> None:
    data = write([{**FILLED, "note": "Größe"}], encoding=encoding, delimiter=delimiter, quoting=quoting)
    found = find_sheet(data)
    assert found is not None
    assert (found.number, found.header, found.delimiter) == (SHEET_READINGS, SHEET_COLUMNS, delimiter)
    assert found.encoding == encoding


@pytest.mark.parametrize(
    "data",
    [
        b"\n \r\n" + HEADER.encode() + b"\n",
        b"sep=;\r\n" + HEADER.replace(",", ";").encode(),
        b'"sep=;";;;\r\n' + HEADER.replace(",", ";").encode(),
        HEADER.upper().encode(),
        (HEADER + ",seen by,\n").encode(),
        HEADER.replace("position,crop,", "").encode(),
        HEADER.replace("leachate_ml", "leachate_fl_oz").replace("temperature_c", "temperature_f").encode(),
        # the file ends within the head, or the header's line does
        HEADER.encode(),
        HEADER.encode() + b"\n" + b"x" * 2 * HEAD_BYTES,
    ],
)
def test_blank_lines_more_columns_and_fewer_leave_it_ours(data: bytes) -> None:
    found = find_sheet(data)
    assert found is not None
    assert found.number == SHEET_READINGS
    # the first bytes alone say the same
    head = find_sheet(data[: HEAD_BYTES + 1])
    assert head is not None
    assert head.number == found.number


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\xff\xfe",
        b"PK\x03\x04" + HEADER.encode(),
        b"Lot,Date,pH,EC\n" + HEADER.encode(),
        HEADER.replace("due_why", "why").encode(),
        (HEADER + ",pot").encode(),
        HEADER.replace(",", "|").encode(),
        b" " * HEAD_BYTES + b"\n" + HEADER.encode(),
        HEADER.encode("utf-16-be"),
    ],
)
def test_other_files_are_not_ours(data: bytes) -> None:
    assert find_sheet(data) is None


def test_a_calibrations_sheet_is_known_too() -> None:
    found = find_sheet(CALIBRATIONS_HEADER.replace(",", ";").encode("utf-16"))
    assert found is not None
    assert found.number == SHEET_CALIBRATIONS


def test_the_number_of_an_export_is_turned_into_it_in_one_place() -> None:
    own = {"kind": "lots", "files": "drop/lots*.csv", "columns": {"lot": "Lot"}}
    site = SiteSettings.model_validate({**make_site().model_dump(exclude={"exports"}), "exports": [own]})
    assert read_export(site, 1).kind == "lots"
    assert (read_export(site, 0).kind, read_export(site, -1).kind) == ("readings", "calibrations")
    for number in (-2, 2):
        with pytest.raises(IndexError):
            read_export(site, number)
        assert columns_of(site, number) == {}


def test_units_are_those_of_the_file_not_of_the_site() -> None:
    header = (
        HEADER.replace("leachate_ml", "leachate_fl_oz").replace("temperature_c", "temperature_f").split(",")
    )
    columns = columns_of(make_site(), SHEET_READINGS, header)
    assert (columns["leachate"].unit, columns["temperature"].unit, columns["ec"].unit) == (
        "fl oz",
        "°F",
        "mS/cm",
    )
    row, problems = one_line(leachate_ml="", leachate_fl_oz="1.7", temperature_c="", temperature_f="68")
    # both columns are there: the first rules, and the other is not read
    assert (row["leachate_ml"], problems) == (None, [])
    american = [name for name in header if name != "position"]
    _, translated = read_sheet(write([{**FILLED, "leachate_fl_oz": "1.7", "temperature_f": "68"}], american))
    assert translated.rows.select("leachate_ml", "temperature_c").row(0) == (
        Decimal("50.28"),
        Decimal("20.00"),
    )


# What is taken from the drop folder


def drop_folder(tmp_path: Path, **files: bytes) -> SiteSettings:
    (tmp_path / "drop" / "old").mkdir(parents=True)
    for name, data in files.items():
        (tmp_path / "drop" / name.replace("__", "/")).write_bytes(data)
    export = {"kind": "readings", "files": "drop/*.csv", "columns": READING_COLUMNS}
    return make_site(tmp_path, exports=[export])


def test_a_sheet_is_taken_by_no_pattern_of_the_site(tmp_path: Path) -> None:
    sheet, checks = write([FILLED]), write([{"meter": "M1"}], CALIBRATION_COLUMNS)
    site = drop_folder(
        tmp_path,
        **{"any.csv": sheet, "week 14.txt": sheet, "checks": checks, "own.csv": b"Lot,Date,pH,EC\n"},
        **{".hidden": sheet, "old__week 13.csv": sheet},
    )
    found = collect(site, set())
    assert [(one.name, one.kind, one.export_no) for one in found.files] == [
        ("drop/any.csv", "readings", 0),
        ("drop/checks", "calibrations", -1),
        ("drop/own.csv", "readings", 1),
        ("drop/week 14.txt", "readings", 0),
    ]
    assert found.unclaimed == ["drop/old/week 13.csv"]
    assert found.troubles == []
    seen = {(one.kind, one.name, one.sha256) for one in found.files}
    assert collect(site, seen).files == []


def test_a_file_that_stops_being_a_sheet_while_it_is_looked_at_waits(tmp_path: Path) -> None:
    site = drop_folder(tmp_path, sheet=write([FILLED]))
    found = collect(site, set(), read_bytes=lambda _: b"x" * len(write([FILLED])))
    assert ([one.code for one in found.troubles], found.files) == (["changing"], [])


def test_a_link_out_of_the_folder_is_not_opened(tmp_path: Path) -> None:
    site = drop_folder(tmp_path / "site")
    (tmp_path / "secret").write_bytes(write([FILLED]))
    (tmp_path / "site" / "drop" / "sheet").symlink_to(tmp_path / "secret")
    assert collect(site, set()).files == []


# What is filled in


def boxes(**cells: str) -> dict[str, str]:
    return {**PRINTED, **cells}


@pytest.mark.parametrize(
    ("cells", "kind"),
    [
        ({}, "not_filled_in"),
        # written for the whole page at once
        ({"date": "2026-04-07", "sampler": "Ann", "meter": "M1", "drain_start": "8:00"}, "not_filled_in"),
        ({"note": "pot dry"}, "noted_only"),
        ({"leachate_ml": "0", "note": "nothing came"}, "noted_only"),
        ({"leachate_ml": "0,0"}, "noted_only"),
        ({"leachate_ml": "52"}, "data"),
        ({"leachate_ml": "0", "condition": "affected"}, "data"),
        ({"condition": "affected"}, "data"),
        ({"temperature_c": "21"}, "data"),
        ({"ph": "5.8"}, "data"),
        ({"ec_ms_cm": "-"}, "data"),
    ],
)
def test_boxes(cells: dict[str, str], kind: str) -> None:
    assert kinds(write([boxes(**cells)])) == [kind]


def test_what_was_seen_of_a_pot_without_a_reading_is_held() -> None:
    result, translated = read_sheet(write([boxes(date="2026-04-07", condition="affected")]))
    assert result.file_problem is None
    assert translated.problems["code"].to_list() == ["nothing_measured"]


def test_a_blank_sheet_holds_nothing_and_says_so() -> None:
    result, _ = read_sheet(write([boxes(), boxes(pot="2")]))
    assert result.file_problem is not None
    assert result.file_problem.code == "header_only"
    assert result.file_problem.sentence == "a sheet in which no pH and no EC is filled in (3 lines)"


def test_a_meter_that_was_not_checked_is_not_filled_in() -> None:
    rows = [{"meter": "M1"}, {"meter": "M2", "date": "2026-04-07", "slope_pct": "98,1"}, {}]
    data = write(rows, CALIBRATION_COLUMNS)
    assert kinds(data) == ["not_filled_in", "data", "blank"]
    _, translated = read_sheet(data)
    assert translated.rows.select("meter_id", "calibrated_on", "slope_pct").rows() == [
        ("M2", date(2026, 4, 7), Decimal("98.10"))
    ]


def test_blank_cells_that_a_spreadsheet_leaves_out_at_the_end_are_blank() -> None:
    line = ",".join([*(FILLED.get(name, "") for name in SHEET_COLUMNS[:16])])
    result, translated = read_sheet(f"{HEADER}\r\n{line}\r\n".encode())
    assert result.records["problem"].to_list() == [None, None]
    assert (translated.rows["ph"].to_list(), translated.rows["note"].to_list()) == (
        [Decimal("5.800")],
        [None],
    )


def test_a_line_in_which_the_file_breaks_off_is_held() -> None:
    line = ",".join([*(FILLED.get(name, "") for name in SHEET_COLUMNS[:16])])
    result, _ = read_sheet(f"{HEADER}\r\n{line}".encode())
    assert result.records["problem"].to_list() == [None, "ragged"]


def test_two_sheets_put_behind_each_other_are_read_to_their_end() -> None:
    twice = write([FILLED]) + write([{**FILLED, "pot": "2"}], encoding="utf-8")
    result, translated = read_sheet(twice)
    assert result.records["kind"].to_list() == ["header", "data", "header", "data"]
    assert translated.rows["pot"].to_list() == ["1", "2"]


def test_names_that_look_like_comments_totals_or_formulas_are_names() -> None:
    rows = [{**FILLED, "site": "", "lot": lot} for lot in ("#1", "Total", "Mean", "'-12", "'=A1")]
    result, translated = read_sheet(write(rows))
    assert set(result.records["kind"].to_list()[1:]) == {"data"}
    assert translated.rows["lot_code"].to_list() == ["#1", "Total", "Mean", "-12", "=A1"]


# Cells


def test_a_whole_line() -> None:
    row, problems = one_line(
        temperature_c="21,5",
        condition="H",
        drain_start="8:05",
        drain_end="08.50",
        sampler="Ann",
        meter="M1",
        note="wet; cold",
        pot="1.0",
    )
    assert problems == []
    expected = {
        "lot_code": "A1",
        "house": "H1",
        "bench": "B2",
        "position": "2-7 edge",
        "crop": "petunia",
        "sampled_on": date(2026, 4, 7),
        "purpose": "routine",
        "is_purpose_blank": False,
        "due_why": "routine",
        "due_on": date(2026, 4, 6),
        "pot": "1",
        "n_pots": 1,
        "ph": Decimal("5.800"),
        "ec_ms_cm": Decimal("1.9500"),
        "leachate_ml": Decimal("52.00"),
        "temperature_c": Decimal("21.50"),
        "condition": "healthy",
        "drain_min": Decimal("45.0"),
        "sampler": "Ann",
        "meter_id": "M1",
        "note": "wet; cold",
        # what the sheet asks for is not what was done
        "poured_ml": None,
    }
    assert {name: row[name] for name in expected} == expected


@pytest.mark.parametrize(
    ("words", "condition"),
    [("healthy", "healthy"), ("h", "healthy"), ("OK", "healthy"), ("Sana", "healthy"), ("", None)]
    + [(word, "affected") for word in ("affected", "A", "afectada", "Afectado")],
)
def test_conditions(words: str, condition: str | None) -> None:
    row, problems = one_line(condition=words)
    assert (row["condition"], problems) == (condition, [])


@pytest.mark.parametrize(
    ("words", "condition"),
    [
        ("Gesund", "healthy"),
        ("gelb", "affected"),
        # the sheet's own words go before those of an export
        ("h", "healthy"),
        # what two exports mean differently is no word here
        ("schlapp", None),
    ],
)
def test_what_a_site_s_readings_call_healthy_is_known_on_the_sheet_too(
    words: str, condition: str | None
) -> None:
    exports = (
        make_export(values={"condition": {"gesund": "healthy", "h": "affected", "schlapp": "affected"}}),
        make_export(values={"condition": {"gelb": "affected", "schlapp": "healthy"}}),
    )
    row, problems = one_line(make_site(exports=exports), condition=words)
    assert (row["condition"], len(problems)) == (condition, 0 if condition else 1)


@pytest.mark.parametrize(
    ("cells", "code", "sentence"),
    [
        (
            {"condition": "so so"},
            "sheet_word",
            'condition "so so" is none of healthy, affected; write one of them',
        ),
        (
            {"site": "south"},
            "other_site",
            'site "south" is another site than this one, north; drop the sheet at its own site',
        ),
        (
            {"drain_start": "8:50", "drain_end": "8:05"},
            "drain_backwards",
            'drain_end "8:05" is before drain_start "8:50"; correct one of the two, or leave both blank',
        ),
        (
            {"drain_end": "quarter past"},
            "date_unreadable",
            'drain_end "quarter past" is not a time of day; write it like 08:05',
        ),
        ({"ph": "5.8*"}, "number_unreadable", 'ph "5.8*" has "*" behind the figure; take it away'),
        (
            {"leachate_ml": "1,250"},
            "number_unreadable",
            'leachate_ml "1,250" has a comma that may stand for decimals or for thousands; write it like 50 or 50.5',
        ),
        (
            {"ec_ms_cm": "1 950"},
            "number_unreadable",
            'ec_ms_cm "1 950" has a blank for thousands; write it without',
        ),
        ({"ec_ms_cm": "1,9,5"}, "number_unreadable", 'ec_ms_cm "1,9,5" is not a number; write it like 1.85'),
        ({"date": ""}, "missing", 'the column "date" is blank; write the date in it'),
    ],
)
def test_what_cannot_be_used_says_what_to_write(cells: dict[str, str], code: str, sentence: str) -> None:
    _, problems = one_line(**cells)
    assert problems == [(code, sentence)]


@pytest.mark.parametrize("site", ["north", "NORTH", "North", ""])
def test_a_line_may_name_its_site_or_none(site: str) -> None:
    assert one_line(site=site)[1] == []


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("5.8", "5.8"),
        ("5,8", "5.8"),
        (",8", "0.8"),
        ("+5,80", "5.8"),
        ("5", "5"),
        ("1,413 mS/cm", "1.413"),
        ("1950 µS/cm", "1.95"),
        ("1950,0 µS/cm", "1.95"),
    ],
)
def test_decimals_have_a_point_or_a_comma(text: str, expected: str) -> None:
    row, problems = one_line(ec_ms_cm=text)
    assert (row["ec_ms_cm"], problems) == (Decimal(expected), [])


@pytest.mark.parametrize(
    ("text", "ml"), [("0,250", "0.25"), ("52,5", "52.5"), ("50.5", "50.5"), ("1/2", "0.5")]
)
def test_volumes(text: str, ml: str) -> None:
    row, problems = one_line(leachate_ml=text)
    assert (row["leachate_ml"], problems) == (Decimal(ml), [])


CLOCKS = [("8:05", time(8, 5)), ("08.05", time(8, 5)), ("8:05 am", time(8, 5)), ("8:05 PM", time(20, 5))]
CLOCKS += [
    ("12:05 a.m.", time(0, 5)),
    ("12:05pm", time(12, 5)),
    ("08:05:00", time(8, 5)),
    ("8h05", time(8, 5)),
]


@pytest.mark.parametrize(("text", "clock"), CLOCKS)
def test_times_of_day(text: str, clock: time) -> None:
    _, translated = read_sheet(
        write([{"meter": "M1", "date": "2026-04-07", "time": text}], CALIBRATION_COLUMNS)
    )
    assert (translated.rows["calibrated_time"].to_list(), translated.problems.height) == ([clock], 0)


@pytest.mark.parametrize("text", ["8.5", "24:00", "8:60", "13:05 pm", "0:05 am", "805", "0.3368"])
def test_what_is_no_time_of_day(text: str) -> None:
    assert one_line(drain_start=text)[1][0][0] == "date_unreadable"


def test_one_time_alone_is_no_drain_time() -> None:
    row, problems = one_line(drain_start="8:05")
    assert (row["drain_min"], problems) == (None, [])


# Dates


SAME_DAY = [
    "2026-04-07",
    "2026-4-7",
    "2026/04/07",
    "2026-04-07 00:00:00",
    "07.04.2026",
    "7.4.2026",
    "7-Apr-26",
]
SAME_DAY += ["7. April 2026", "07 abr 2026", "7-abr-26"]


@pytest.mark.parametrize("text", SAME_DAY)
@pytest.mark.parametrize("form", ["%Y-%m-%d", "%a %d %b", "%d/%m/%Y"])
def test_days_that_can_be_no_other(text: str, form: str) -> None:
    row, problems = one_line(make_site(date_format=form), date=text)
    assert (row["sampled_on"], problems) == (date(2026, 4, 7), [])


@pytest.mark.parametrize(
    ("form", "text", "day"),
    [
        ("%d/%m/%Y", "03/04/2026", date(2026, 4, 3)),
        ("%-d/%-m/%y", "3/4/26", date(2026, 4, 3)),
        ("%m/%d/%Y", "03/04/2026", date(2026, 3, 4)),
        ("%m/%d/%Y", "3-4-2026", date(2026, 3, 4)),
        # a site that writes the month first does so with points as well
        ("%m/%d/%Y", "04.07.2026", date(2026, 4, 7)),
        ("%Y-%m-%d", "25/04/2026", date(2026, 4, 25)),
        ("%Y-%m-%d", "04/25/2026", date(2026, 4, 25)),
        ("%Y-%m-%d", "04/04/2026", date(2026, 4, 4)),
    ],
)
def test_the_sites_own_date_format_orders_days_and_months(form: str, text: str, day: date) -> None:
    row, problems = one_line(make_site(date_format=form), due_on=text)
    assert (row["due_on"], problems) == (day, [])


@pytest.mark.parametrize(
    ("form", "text", "why"),
    [
        (
            "%Y-%m-%d",
            "03/04/2026",
            (
                "may be 2026-04-03 as well as 2026-03-04; write it like 2026-04-03, or set date_format in site.toml "
                "to how the site writes dates"
            ),
        ),
        ("%d/%m/%Y", "04/25/2026", "is not a date; write it like 2026-04-25"),
        (
            "%Y-%m-%d",
            "07.04.26",
            "has a year of two digits; write it like 2026-04-25, or change date_format in site.toml",
        ),
        ("%Y-%m-%d", "2026-02-30", "is not a date; write it like 2026-04-25"),
        ("%Y-%m-%d", "7-Apr", "is not a date; write it like 2026-04-25"),
        (
            "%Y-%m-%d",
            "46119",
            (
                "looks like a spreadsheet's day number (46119 stands for 2026-04-07); format the column as a date and "
                "export it again, like 2026-04-25"
            ),
        ),
    ],
)
def test_days_that_could_be_two_or_none_are_held(form: str, text: str, why: str) -> None:
    assert one_line(make_site(date_format=form), date=text)[1] == [("sheet_day", f'date "{text}" {why}')]


@pytest.mark.parametrize(
    ("form", "order"),
    [
        ("%d.%m.%Y", "day_first"),
        ("%a %-d/%-m", "day_first"),
        ("%m/%d", "month_first"),
        ("%e.%m.", "day_first"),
        ("%Y-%m-%d", None),
        ("%d %b %Y", None),
        ("%G-W%V", None),
    ],
)
def test_what_a_date_format_says_of_the_order(form: str, order: str | None) -> None:
    assert order_of_days(form) == order


def test_a_new_date_format_has_sheets_read_again() -> None:
    policy: list[PolicyInForce] = []
    before, same, after = (
        digest_reading(template(SHEET_READINGS, site), site, policy)
        for site in (make_site(), make_site(volume_unit="fl oz"), make_site(date_format="%d/%m/%Y"))
    )
    assert before == same != after


def test_who_a_line_names_has_it_read_again_and_where_mail_goes_has_not() -> None:
    policy: list[PolicyInForce] = []
    naming = make_export(columns={**READING_COLUMNS, "grower": Column(column="Grower")})
    wilf = Grower(name="Wilf", email="wilf@example.org", id="wa")

    def digests(*growers: Grower) -> list[str]:
        site = make_site(growers=growers)
        return [digest_reading(export, site, policy) for export in (naming, template(SHEET_READINGS, site))]

    before = digests(wilf)
    assert digests(wilf.model_copy(update={"email": "w@example.com", "houses": ("House 1",)})) == before
    renamed = digests(wilf.model_copy(update={"name": "Wilfred"}))
    joined = digests(wilf, Grower(name="Ines", email="ines@example.org", id="if"))
    for after in (renamed, joined):
        assert after[0] != before[0]
        assert after[1] == before[1]


# Any sheet in any dialect


CELL = st.text(st.characters(codec="cp1252", exclude_categories=["Cc", "Cs", "Zl", "Zp"]), max_size=12)
DECIMAL = st.decimals(0, 14, places=2)


@st.composite
def filled_rows(draw: st.DrawFn) -> dict[str, Any]:
    return {
        "lot": draw(CELL.filter(lambda text: bool(text.strip()))),
        "bench": draw(CELL),
        "position": draw(CELL),
        "pot": str(draw(st.integers(1, 99))),
        "date": draw(st.dates(date(2000, 1, 1), date(2099, 12, 31))),
        "due_on": draw(st.dates(date(2000, 1, 1), date(2099, 12, 31))),
        "ph": draw(DECIMAL),
        "ec_ms_cm": draw(DECIMAL),
        "leachate_ml": draw(st.none() | st.decimals(0, 99, places=1)),
        "condition": draw(st.sampled_from(["", "healthy", "affected"])),
        "sampler": draw(CELL),
        "note": draw(CELL),
    }


def expected_text(text: str) -> str | None:
    return text.strip() or None


@settings(deadline=None)
@given(
    rows=st.lists(filled_rows(), min_size=1, max_size=4),
    dialect=st.sampled_from(DIALECTS),
    mark=st.sampled_from([".", ","]),
    day=st.sampled_from(["%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y"]),
    blank=st.integers(0, 3),
    line_end=st.sampled_from(["\n", "\r\n"]),
)
def test_any_sheet_in_any_dialect_is_the_same_table(
    rows: list[dict[str, Any]],
    dialect: tuple[str, str, int],
    mark: str,
    day: str,
    blank: int,
    line_end: str,
) -> None:
    """Written as a spreadsheet would, read back as what was meant: values, names and the due."""
    encoding, delimiter, quoting = dialect
    texts = [text for row in rows for text in row.values() if isinstance(text, str)]
    # An apostrophe before a sign is the sheet's own.
    assume(not any(text.strip().startswith("'") for text in texts))
    written = [
        {
            **PRINTED,
            **{name: text for name, text in row.items() if isinstance(text, str)},
            **{
                name: f"{value}".replace(".", mark)
                for name, value in row.items()
                if isinstance(value, Decimal)
            },
            **{name: f"{value:{day}}" for name, value in row.items() if isinstance(value, date)},
        }
        for row in rows
    ]
    data = write(
        [*written, *[PRINTED] * blank],
        encoding=encoding,
        delimiter=delimiter,
        quoting=quoting,
        line_end=line_end,
    )
    result, translated = read_sheet(data, make_site(date_format="%d/%m/%Y"))
    assert result.file_problem is None
    assert (result.records["kind"] == "not_filled_in").sum() == blank
    assert translated.problems.to_dicts() == []
    assert translated.rows.select(
        *("lot_code", "bench", "position", "pot", "sampled_on", "due_on", "ph", "ec_ms_cm", "leachate_ml"),
        *("condition", "sampler", "note"),
    ).rows() == [
        (
            *(expected_text(row[name]) for name in ("lot", "bench", "position")),
            row["pot"],
            row["date"],
            row["due_on"],
            row["ph"],
            row["ec_ms_cm"],
            row["leachate_ml"],
            *(expected_text(row[name]) for name in ("condition", "sampler", "note")),
        )
        for row in rows
    ]


@settings(deadline=None)
@given(data=st.binary(max_size=400), cut=st.integers(0, 400))
def test_any_bytes_below_our_header_are_read_without_a_traceback(data: bytes, cut: int) -> None:
    whole = (HEADER.encode() + b"\n" + data)[: len(HEADER) + 1 + cut]
    site = make_site()
    found = find_sheet(whole)
    assert found is not None
    result = read_records(whole, fit_sheet(read_export(site, found.number), site, whole))
    covered = [
        number
        for start, end in result.records.select("line_from", "line_to").iter_rows()
        for number in range(start, end + 1)
    ]
    assert covered == list(range(1, result.lines + 1))


# Drain times in exports of a site's own


def test_any_export_may_say_from_when_to_when_pots_drained() -> None:
    columns = {**READING_COLUMNS, "drain": "Min", "drain_start": "From", "drain_end": "To"}
    lines = [
        "A1,2026-04-05,5.8,1.9,,8:05 am,08.50",
        "A1,2026-04-05,5.8,1.9,30,8:05,8:50",
        "A1,2026-04-05,5.8,1.9,,8:05,",
    ]
    text = "\n".join(["Lot,Date,pH,EC,Min,From,To", *lines]) + "\n"
    translated = translate_text(text, columns=columns)
    assert translated.problems.is_empty()
    # minutes that are written rule
    assert translated.rows["drain_min"].to_list() == [Decimal("45.0"), Decimal("30.0"), None]
    assert translated.rows["is_purpose_blank"].to_list() == [None, None, None]
