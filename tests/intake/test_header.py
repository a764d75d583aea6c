import pytest

from pipeline.intake.header import count_known, find_column, judge_header, judge_units, nearest_header
from pipeline.settings import Column
from tests.intake.samples import make_export

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
        "name the columns as they are now under [export.columns] in site.toml, or restore the old header"
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
