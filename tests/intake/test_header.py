from decimal import Decimal

import pytest

from pipeline.intake.header import count_known, find_column, judge_header, judge_units, nearest_header
from pipeline.intake.read import read_records
from pipeline.intake.translate import translate
from pipeline.settings import Column
from tests.intake.samples import READING_COLUMNS, READING_HEADER, make_export, make_site, read_text

WANTED = ["Lot", "Date", "pH", "EC"]


def judge(
    text: str, delimiter: str = ";", line: int = 1, earlier: str | None = None, column_order: str = "fixed"
) -> tuple[str, str, str] | None:
    export = make_export(delimiter=delimiter, column_order=column_order)
    before = None if earlier is None else earlier.split(delimiter)
    problem = judge_header(text.split(delimiter), text, line, WANTED, export, before)
    return None if problem is None else (problem.code, problem.sentence, problem.mend)


@pytest.mark.parametrize(
    "text", ["Lot;Date;pH;EC", " LOT ;date;PH;ec;Note", "EC;pH;Date;Lot", "Lot;Date;pH;EC;;"]
)
def test_order_case_blanks_and_further_columns_do_not_matter(text: str) -> None:
    assert judge(text) is None


def test_header_with_a_line_end_in_it() -> None:
    assert find_column(["Lot", "EC\n(mS/cm)"], "ec (mS/cm)") == 1
    assert find_column(["Lot"], "EC") is None


def test_renamed_column_is_named_with_the_nearest_header() -> None:
    code, sentence, mend = judge("Lot;Date;pH-Wert;EC", line=3) or ("", "", "")
    assert code == "columns_changed"
    assert sentence == 'the header on line 3 has no column "pH" (the nearest header is "pH-Wert")'
    assert mend == (
        "name the columns as they are now under [export.columns] in site.toml, the older names as "
        "other_names, or restore the old header"
    )


def test_missing_and_doubled_columns_are_named_at_once() -> None:
    _, sentence, _ = judge("Lot;Date;EC;Note;EC") or ("", "", "")
    assert sentence == (
        'the header on line 1 has no column "pH" (no header looks like it), '
        'and the column "EC" 2 times (columns 3 and 5)'
    )


@pytest.mark.parametrize(
    ("text", "named", "value"),
    [
        ("Lot,Date,pH,EC", 'a comma ","', ","),
        ("Lot\tDate\tpH\tEC", "a tab", "\\t"),
        ("Lot|Date|pH|EC", 'a bar "|"', "|"),
        ('"Lot","Date","pH","EC"', 'a comma ","', ","),
    ],
)
def test_wrong_delimiter_is_told_from_changed_columns(text: str, named: str, value: str) -> None:
    code, sentence, mend = judge(text) or ("", "", "")
    assert code == "delimiter"
    assert sentence == (
        f'the header on line 1 is not divided by a semicolon ";"; {named} would divide it into 4 of the 4 '
        "columns that are looked for"
    )
    assert mend == f'set delimiter = "{value}" in site.toml, or export the file as before'


def test_unknown_header_is_no_matter_of_the_delimiter() -> None:
    code, _, _ = judge("Alpha,Beta;Gamma") or ("", "", "")
    assert code == "columns_changed"


@pytest.mark.parametrize(
    ("name", "candidates", "nearest"),
    [
        ("Leachate mL", ["Note", "Leachate ml collected"], "Leachate ml collected"),
        ("pH", ["Phone", "pH value"], "pH value"),
        ("Date", ["Datum"], "Datum"),
        ("pH", ["Phosphor", "pH-Wert"], "pH-Wert"),
        ("EC", ["Lot", "LF"], "LF"),
        ("EC (mS/cm)", ["Leitf. [mS/cm]", "Becken"], "Leitf. [mS/cm]"),
        ("LF", ["Elf", "EC"], "EC"),
        ("EC", ["Elf", "Ecke"], "Ecke"),
        ("pH", ["Remarks"], None),
        ("pH", [], None),
    ],
)
def test_nearest_header(name: str, candidates: list[str], nearest: str | None) -> None:
    assert nearest_header(name, candidates) == nearest


def test_known_columns_are_counted_once() -> None:
    assert count_known(["lot", "Lot", "ph"], WANTED) == 2


def test_moved_columns_are_named() -> None:
    code, sentence, mend = judge("Lot;Date;EC;pH", earlier="Lot;Date;pH;EC") or ("", "", "")
    assert code == "columns_moved"
    assert sentence == (
        'the header on line 1 has its columns in another order than before: "EC" stands where "pH" was'
    )
    assert 'column_order = "any"' in mend
    assert "count as new lines" in mend


@pytest.mark.parametrize(
    ("text", "column_order"),
    [
        ("Lot;Date;pH;EC", "fixed"),
        ("Lot;Note;Date;pH;EC", "fixed"),  # what is not mapped may stand anywhere
        ("lot;DATE;ph;ec", "fixed"),
        ("EC;pH;Date;Lot", "any"),
    ],
)
def test_columns_that_did_not_move_or_may(text: str, column_order: str) -> None:
    assert judge(text, earlier="Lot;Date;pH;EC;Note", column_order=column_order) is None


def test_a_renamed_column_is_known_by_its_place() -> None:
    code, sentence, _ = judge("Lot;Date;Wert 3;EC", earlier="Lot;Date;pH;EC") or ("", "", "")
    assert code == "columns_changed"
    assert sentence == 'the header on line 1 has no column "pH" ("Wert 3" stands in its place)'


def test_a_row_of_units_that_contradicts_the_settings() -> None:
    problem = judge_units(["", "", "", "µS/cm"], WANTED, 2, make_export())
    assert problem is not None
    assert problem.code == "units_changed"
    assert problem.sentence == (
        'the row of units on line 2 has "µS/cm" under "EC", and the settings say mS/cm'
    )


def test_a_bare_ppm_is_no_other_scale_of_the_settings_but_no_millisiemens() -> None:
    ppm = {"ec": Column(column="EC", unit="ppm 700")}
    assert judge_units(["", "", "", "ppm"], WANTED, 2, make_export(columns=ppm)) is None
    problem = judge_units(["", "", "", "ppm"], WANTED, 2, make_export())
    assert problem is not None
    assert problem.code == "units_changed"


@pytest.mark.parametrize("unit", ["", "mS/cm", "(dS/m)", "[mS/cm]", "whatever", "ms"])
def test_a_row_of_units_that_agrees_or_says_nothing(unit: str) -> None:
    assert judge_units(["", "", "", unit], WANTED, 2, make_export()) is None


def test_a_row_of_units_that_is_too_short_says_nothing() -> None:
    assert judge_units([""], WANTED, 2, make_export()) is None


OTHER_NAMES = {
    **READING_COLUMNS,
    "leachate": Column(column="Drenaje (ml)", unit="mL", other_names=("Lixiviado (ml)",)),
}


@pytest.mark.parametrize("header", ["Drenaje (ml)", "lixiviado  (ML)"])
def test_a_column_is_found_by_each_of_its_names(header: str) -> None:
    text = f"{READING_HEADER},{header}\nA1,2026-04-05,5.8,2.1,48\n"
    for is_quick in (True, False):
        export = make_export(columns=OTHER_NAMES)
        result = read_records(text.encode(), export, is_quick=is_quick)
        assert result.file_problem is None
        assert list(result.extra) == []
        translated = translate(result, export, make_site())
        assert translated.rows["leachate_ml"].to_list() == [Decimal("48.00")]


def test_two_names_of_one_column_in_one_header_hold_the_file() -> None:
    text = f"{READING_HEADER},Drenaje (ml),Lixiviado (ml)\nA1,2026-04-05,5.8,2.1,48,50\n"
    problem = read_text(text, columns=OTHER_NAMES).file_problem
    assert problem is not None
    assert problem.sentence == (
        'the header on line 1 has "Drenaje (ml)" and "Lixiviado (ml)", which are names of one column (leachate)'
    )


def test_a_missing_column_is_still_missing_by_all_its_names() -> None:
    problem = read_text(f"{READING_HEADER}\nA1,2026-04-05,5.8,2.1\n", columns=OTHER_NAMES).file_problem
    assert problem is not None
    assert 'no column "Drenaje (ml)"' in problem.sentence


@pytest.mark.parametrize(
    ("header", "unit", "is_wrong", "is_held"),
    [
        ("EC (mS/cm)", "µS/cm", False, True),
        ("EC [µS/cm]", "mS/cm", False, True),
        ("EC (mS/cm)", "mS/cm", False, False),
        ("EC (dS/m)", "mS/cm", False, False),
        ("EC (at 25 °C)", "µS/cm", False, False),
        ("EC", "µS/cm", False, False),
        ("EC (mS/cm)", "µS/cm", True, False),
        ("EC (S/m)", "mS/cm", False, True),
        ("EC mS/m", "mS/cm", False, True),
        ("EC mS/m", "mS/m", False, False),
        ("ec_us_cm", "mS/cm", False, True),
        ("LF/µS", "mS/cm", False, True),
        ("EC mS cm-1", "mS/cm", False, False),
        ("EC (CF)", "mS/cm", False, True),
        ("EC (CF)", "mS/cm", True, False),
        ("EC (g/L)", "ppm 700", False, True),
        ("EC mS/cm @25°C", "mS/cm", False, False),
        ("EC (leachate)", "mS/cm", False, False),
        ("EC (min)", "mS/cm", False, False),
    ],
)
def test_a_header_that_names_another_unit_holds_the_file(
    header: str, unit: str, is_wrong: bool, is_held: bool
) -> None:
    ec = Column(column=header, unit=unit, header_unit_is_wrong=is_wrong)
    text = f"Lot,Date,pH,{header}\nA1,2026-04-05,5.8,2.1\n"
    problem = read_text(text, columns={**READING_COLUMNS, "ec": ec}).file_problem
    assert (problem is not None and problem.code == "units_changed") == is_held
    if problem is not None and is_held:
        assert problem.sentence == (
            f'the header on line 1 says "{header}", and the settings say that ec is in {unit}'
        )


@pytest.mark.parametrize(
    ("field", "header", "unit", "is_held"),
    [
        ("leachate", "Drain (cl)", "mL", True),
        ("leachate", "Drain (cl)", "cL", False),
        ("leachate", "Drain l", "mL", True),
        ("leachate", "Drain (gal)", "mL", True),
        ("leachate", "Drain l / m²", "mL", True),
        ("leachate", "Drain (cc)", "mL", False),
        ("leachate", "Drain ml/Topf", "mL", False),
        ("leachate", "Leachate in pot", "mL", False),
        ("temperature", "Temp (K)", "°C", True),
        ("temperature", "TEMP_F", "°C", True),
        ("temperature", "Temp of house", "°C", False),
        ("drain", "Drain time (h)", None, True),
        ("drain", "Drain time (min)", None, False),
        ("ph", "pH (Topf)", None, False),
    ],
)
def test_units_of_other_columns_that_contradict_the_settings(
    field: str, header: str, unit: str | None, is_held: bool
) -> None:
    columns = {**READING_COLUMNS, field: Column(column=header, unit=unit)}
    problem = read_text(f"Lot,Date,EC,pH,{header}\nA1,2026-04-05,2.1,5.8,5\n", columns=columns).file_problem
    if field == "ph":
        problem = read_text(f"Lot,Date,EC,{header}\nA1,2026-04-05,2.1,5.8\n", columns=columns).file_problem
    assert (problem is not None and problem.code == "units_changed") == is_held


def test_a_unit_that_nobody_knows_is_said() -> None:
    columns = {**READING_COLUMNS, "ec": Column(column="EC (CF)", unit="mS/cm")}
    problem = read_text("Lot,Date,pH,EC (CF)\nA1,2026-04-05,5.8,21\n", columns=columns).file_problem
    assert problem is not None
    assert problem.sentence == 'the header on line 1 says "EC (CF)", and the settings say that ec is in mS/cm'
    assert problem.mend == (
        "CF is no unit that is known for it: export the column in one of mS/cm, dS/m, mmho/cm, µS/cm, S/m, mS/m, µS/m, "
        "ppm 500, ppm 640, ppm 700 and set the unit of ec under [export.columns] in site.toml, or add "
        "header_unit_is_wrong = true there if the header is wrong"
    )


@pytest.mark.parametrize("unit", ["S/m", "(mS/m)", "CF", "cl"])
def test_a_row_of_units_with_another_unit(unit: str) -> None:
    text = f"Lot,Date,pH,EC\n(-),(d),(-),{unit}\nA1,2026-04-05,5.8,185\n"
    problem = read_text(text, units_row=True).file_problem
    assert (problem is not None and problem.code == "units_changed") == (unit != "cl")
    wrong = {**READING_COLUMNS, "ec": Column(column="EC", unit="mS/cm", header_unit_is_wrong=True)}
    assert read_text(text, units_row=True, columns=wrong).file_problem is None


@pytest.mark.parametrize(
    ("below", "is_held"),
    [
        (",,,µS/cm", True),
        ("(-),(d),(-),S/m", True),
        # what it says is what the settings say: it is a line without a day, and waits alone
        (",,,mS/cm", False),
        # a line of a lot is none of units
        ("A9,,,µS/cm", False),
        (",,,", False),
    ],
)
def test_a_row_of_units_that_nobody_declared_and_that_contradicts_holds_the_file(
    below: str, is_held: bool
) -> None:
    text = f"Lot,Date,pH,EC\n{below}\nA1,2026-04-05,5.8,1.85\n"
    problem = read_text(text).file_problem
    assert (problem is not None and problem.code == "units_changed") == is_held
    if is_held:
        assert problem is not None
        assert problem.sentence.startswith('the row of units on line 2 has "')


def test_data_in_the_place_of_the_header_are_called_so() -> None:
    assert judge("A-1;2026-04-02;5.8;2.0", line=3) == (
        "columns_changed",
        'the file has no header: line 3, where it should stand, holds data (like "2026-04-02")',
        (
            "export the file again with its header, or write the line of column names above it "
            '("Lot", "Date", "pH", "EC")'
        ),
    )


@pytest.mark.parametrize("text", ["House;2026;Weather;Hand", "A;b;c;d", "Lot;2026-04-02;5.8;2.0"])
def test_other_headers_are_not(text: str) -> None:
    found = judge(text)
    assert found is not None
    assert "no header:" not in found[1]
