"""Odd cells, read by the intake and by the slow second computation: the same value, or held by both."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.settings import Column
from tests.examples import examples
from tests.intake.samples import translate_text
from tests.oracle import fields as oracle
from tests.oracle.settings import Export as OracleExport

PIECES = st.sampled_from(
    ["1", "5", "0", "12", "234", "000", "8", ".", ",", "'", "’", " ", "\u00a0", "\u202f", "+", "-", "*", "#",
     "1/2", "3/16", "½", "⅓", "/", "mS", "mS/cm", "µS/cm", "\u03bcS", "ppm", " ppm 700", "ml", " fl oz", "oz",
     "°C", "ºF", "F", "min", "%", "mV", "e3", "<", "~", "nan", "_"]
)  # fmt: skip
CELLS = st.lists(PIECES, min_size=1, max_size=5).map("".join).map(str.strip).filter(bool)
MARKS = st.sampled_from([".", ","]).flatmap(
    lambda decimal: st.tuples(
        st.just(decimal), st.sampled_from([mark for mark in ("", ".", ",", "'", " ") if mark != decimal])
    )
)
NUMBERS = st.sampled_from(
    [("ph", None, "ph"), ("ec", "mS/cm", "ec_ms_cm"), ("ec", "µS/cm", "ec_ms_cm"),
     ("ec", "ppm 640", "ec_ms_cm"), ("poured", "mL", "poured_ml"), ("poured", "fl oz", "poured_ml"),
     ("temperature", "°C", "temperature_c"), ("temperature", "°F", "temperature_c"),
     ("drain", None, "drain_min"), ("n_pots", None, "n_pots")]
)  # fmt: skip


@settings(max_examples=examples(100), deadline=None)
@given(st.lists(CELLS, min_size=1, max_size=30), MARKS, st.sampled_from([(), ("*",), ("*", "#*")]), NUMBERS)
def test_numbers(
    cells: list[str], written: tuple[str, str], marks: tuple[str, ...], column: tuple[str, str | None, str]
) -> None:
    name, unit, lands_in = column
    dialect: dict[str, Any] = {"decimal": written[0], "thousands": written[1], "number_marks": marks}
    columns = {"lot": "Lot", "date": "Date", name: Column(column="It", unit=unit)}
    text = "Lot\tDate\tIt\n" + "".join(f"A1\t2026-04-05\t{cell}\n" for cell in cells)
    translated = translate_text(text, delimiter="\t", columns=columns, comment_prefix="", **dialect)
    held = set(translated.problems.filter(field=name)["record_no"])
    ours = [
        None if record in held else Fraction(value)
        for record, value in translated.rows.select("record_no", lands_in).iter_rows()
    ]
    export = OracleExport("readings", "*", {name: ("It", unit)}, **dialect)
    assert ours == [oracle.read_number(name, cell, unit, export) for cell in cells]


WEEKS = st.lists(
    st.sampled_from(
        ["1", "9", "14", "53", "54", "0", "2026", "2028", "2027", "-", "/", " ", "W", "KW ", "."]
    ),
    min_size=1,
    max_size=4,
).map(lambda parts: "".join(parts).strip())


@settings(max_examples=examples(100), deadline=None)
@given(
    st.lists(st.tuples(WEEKS, st.sampled_from(["", "2026", "2027", "26"])), min_size=1, max_size=20),
    st.sampled_from(["iso", "january_1", "first_full_week"]),
    st.sampled_from(oracle.WEEK_DAYS),
    st.sampled_from(oracle.WEEK_DAYS),
)
def test_weeks(cells: list[tuple[str, str]], rule: str, starts: str, day: str) -> None:
    ways: dict[str, Any] = {
        "week_rule": rule,
        "week_starts": "monday" if rule == "iso" else starts,
        "week_day": day,
    }
    columns = {"lot": "Lot", "ph": "pH", "week": "Week", "year": "Year"}
    text = "Lot,pH,Week,Year\n" + "".join(f"A1,5.8,{week},{year}\n" for week, year in cells)
    rows = translate_text(text, columns=columns, **ways).rows
    export = OracleExport("readings", "*", {}, **ways)
    assert rows["sampled_on"].to_list() == [
        oracle.read_week(year, week, export) if week else None for week, year in cells
    ]
