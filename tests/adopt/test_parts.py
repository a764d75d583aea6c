"""The small parts: units in headers, figures, days, names of files, words in cells."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from pipeline.adopt import dictionary
from pipeline.adopt.block import quote
from pipeline.adopt.cell_guess import guess_words, published_crops
from pipeline.adopt.columns import split_unit
from pipeline.adopt.file_guess import guess_pattern, has_date
from pipeline.adopt.moments import day_formats, moment_formats, time_formats
from pipeline.adopt.numerals import count_marks, read_figure, value_of
from pipeline.settings.words import FIELDS, KINDS, WORDS_BY_FIELD
from pipeline.units import UNITS

FOLDER = Path(dictionary.__file__).parent


@pytest.mark.parametrize(
    ("header", "words", "unit"),
    [
        ("LF (µS/cm)", "lf", ("ec", "µS/cm")),
        ("EC_RAW_MS", "ec raw", ("ec", "mS/cm")),
        ("TEMP_C", "temp", ("temperature", "°C")),
        ("IN_ML", "in", ("volume", "mL")),
        ("Poured (fl oz)", "poured", ("volume", "fl oz")),
        ("Collected mL", "collected", ("volume", "mL")),
        ("EC, dS/m", "ec", ("ec", "dS/m")),
        ("EC ppm 700", "ec", ("ec", "ppm 700")),
        ("TDS (ppm)", "tds", ("ec", "ppm")),
        ("Nº maceta", "no maceta", None),
        ("pH", "ph", None),
        ("C", "c", None),
        ("EC mS/cm @25°C", "ec 25 c", ("ec", "mS/cm")),
        ("pH (-)", "ph", None),
        ("Drain %", "drain", ("none", "%")),
        ("SampleDate", "sample date", None),
        ("Avg TDS (ppm)", "avg tds", ("ec", "ppm")),
    ],
)
def test_a_header_without_its_unit(header: str, words: str, unit: tuple[str, str] | None) -> None:
    assert split_unit(header) == (words, unit)


@pytest.mark.parametrize(
    ("cell", "body", "mark"),
    [
        ("5,8", "5,8", None),
        ("5.8*", "5.8", "*"),
        ("<0.1", "0.1", None),
        ("2.1 mS", "2.1", None),
        ("1 234,5", "1 234,5", None),
    ],
)
def test_a_figure_in_a_cell(cell: str, body: str, mark: str | None) -> None:
    figure = read_figure(cell)
    assert figure is not None
    assert (figure.body, figure.mark) == (body, mark)


@pytest.mark.parametrize("cell", ["", "M1", "Haus 2", "n/a", "4.01/7.00", "2026-04-03"])
def test_what_is_no_figure(cell: str) -> None:
    assert read_figure(cell) is None


def test_marks_are_counted_by_what_they_can_be() -> None:
    marks = count_marks(["5,8", "1.234,5", "1.234", "1'234", "0.125", "1,234,567"])
    assert dict(marks.decimal) == {",": 2, ".": 1}
    assert dict(marks.either) == {".": 1}
    assert dict(marks.thousands) == {".": 1, "'": 1, ",": 1}
    assert value_of("1.234,5", ",") == 1234.5


def test_one_day_above_twelve_tells_day_from_month() -> None:
    assert day_formats(["03/04/2026", "04/04/2026"]) == ["%d/%m/%Y", "%m/%d/%Y"]
    assert day_formats(["03/04/2026", "25/03/2026"]) == ["%d/%m/%Y"]
    assert day_formats(["3-Apr-26"]) == ["%d-%b-%y"]
    assert day_formats(["A-12", "A-13"]) == []
    assert day_formats(["5.8", "6.1"]) == []


def test_days_with_times() -> None:
    assert moment_formats(["2026-04-03T08:15:00Z"]) == ["%Y-%m-%dT%H:%M:%S%z"]
    assert moment_formats(["13.04.2026 08:15"]) == ["%d.%m.%Y %H:%M"]
    assert moment_formats(["4/13/2026 8:15 AM", "4/3/2026 1:15 PM"]) == ["%m/%d/%Y %I:%M %p"]
    assert time_formats(["08:15", "9:30"]) == ["%H:%M"]
    assert time_formats(["5.8", "6.1"]) == []


@pytest.mark.parametrize(
    ("name", "pattern"),
    [
        ("readings_2026-04-01.csv", "drop/readings_*.csv"),
        ("Messwerte.csv", "drop/Messwerte.csv"),
        ("log20260401_0815.tsv", "drop/log*.tsv"),
        ("06.04.2026 Proben.csv", "drop/* Proben.csv"),
        ("2026-04-01.csv", "drop/[0-9]*.csv"),
        ("Messwerte KW14.csv", "drop/Messwerte KW*.csv"),
        ("House 3.csv", "drop/House 3.csv"),
        ("a[1]*.csv", "drop/a?1??.csv"),
    ],
)
def test_the_pattern_of_a_name(name: str, pattern: str) -> None:
    assert guess_pattern(name).value == pattern


def test_a_dated_name() -> None:
    assert has_date("readings_2026-04-01.csv")
    assert not has_date("Partien.csv")


@pytest.mark.parametrize(
    ("field", "cell", "word"),
    [
        ("container", "4.5 in", "pot_4in"),
        ("container", "Topf 13 cm", "pot_5_6in"),
        ("container", "10 in basket", "pot_6_5in_plus"),
        ("container", "Sechserpack", "cell_pack"),
        ("container", "Plug 288", "plug"),
        ("container", "#1 nursery", "nursery"),
        ("container", "blue one", None),
        ("crop", "Zonal geranium", "geranium, zonal"),
        ("crop", "Stiefmütterchen", "pansy"),
        ("crop", "Petunias", "petunia"),
        ("crop", "Quendelkraut", None),
        ("passed", "nee", "no"),
        ("passed", "sí", "yes"),
        ("condition", "amarilla", "affected"),
        ("method", "Gießprobe", "pour-through"),
    ],
)
def test_a_word_in_a_cell(field: str, cell: str, word: str | None) -> None:
    found = guess_words(field, [cell], ())
    assert [(one.cell, one.word) for one in found] == [(cell, word)]


@pytest.mark.parametrize(
    ("field", "cell"),
    [("crop", "Petunia"), ("container", "Pot 4in"), ("passed", "Y"), ("start_kind", "SOWN")],
)
def test_a_word_that_is_ours_needs_no_line(field: str, cell: str) -> None:
    assert guess_words(field, [cell], ()) == []


def _rows(name: str) -> list[dict[str, str]]:
    with (FOLDER / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_every_field_that_has_words_has_them_in_five_languages() -> None:
    languages: dict[tuple[str, str], set[str]] = {}
    for row in _rows("headers.csv"):
        languages.setdefault((row["kind"], row["field"]), set()).add(row["language"])
    assert {frozenset(one) for one in languages.values()} == {frozenset(("en", "es", "de", "nl", "fr"))}


def test_what_a_kind_cannot_do_without_has_words() -> None:
    for kind in KINDS:
        known = {word.field for word in dictionary.header_words()[kind]}
        assert {field for group in FIELDS[kind].one_of for field in group} <= known


def test_the_tables_name_only_what_is_there() -> None:
    for row in _rows("headers.csv"):
        kinds = FIELDS if row["kind"] == "*" else [row["kind"]]
        assert row["field"] == "other" or any(row["field"] in FIELDS[kind].known for kind in kinds)
    for row in _rows("cell_words.csv"):
        assert row["field"] in ("total", "position") or row["word"] in WORDS_BY_FIELD[row["field"]]
    assert {row["crop"] for row in _rows("crop_words.csv")} <= set(published_crops())
    for row in _rows("unit_words.csv"):
        assert row["quantity"] == "none" or row["unit"] in (*UNITS[row["quantity"]], "ppm", "mmol")  # type: ignore[index]


def test_no_header_word_stands_for_two_figures() -> None:
    """Words that other fields share are told apart by the cells; figures are not."""
    figures = {
        "ph",
        "ph_sd",
        "ec",
        "ec_sd",
        "poured",
        "leachate",
        "temperature",
        "n_pots",
        "ec_standard",
        "ec_found",
        "alkalinity",
        "nitrogen",
        "target_ec",
    }
    for kind, words in dictionary.header_words().items():
        seen: dict[tuple[str, ...], str] = {}
        for word in words:
            if word.field in figures:
                assert seen.setdefault(word.words, word.field) == word.field, (kind, word)


@pytest.mark.parametrize("text", ['a "b" \\ c', "tab\there", "line\nend", "\x7f\x01", "µS/cm 🌱"])
def test_any_text_is_a_string_of_toml(text: str) -> None:
    import tomllib

    assert tomllib.loads(f"key = {quote(text)}") == {"key": text}
