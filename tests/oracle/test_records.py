"""The oracle's reading of files: no line is lost, and each has the right kind."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.oracle.records import read_file
from tests.oracle.settings import Export

EXPORT = Export(
    kind="lots", files="drop/*.csv", columns={"lot": ("Lot", None), "crop": ("Crop", None)}, title_lines=1
)


def kinds(text: str) -> list[tuple[int, int, str, str | None]]:
    return [
        (record.line_from, record.line_to, record.kind, record.problem)
        for record in read_file(text.encode(), EXPORT).records
    ]


def test_every_kind_of_record() -> None:
    text = 'Sheet\n\nLot,Crop\n# seen\nA,pansy\nB,"two\nlines"\nC\nD,"x"y\nLot,Crop\nTotal,2\nE,a\x00b\n,\n'
    assert kinds(text) == [
        (1, 1, "title", None),
        (2, 2, "blank", None),
        (3, 3, "header", None),
        (4, 4, "comment", None),
        (5, 5, "data", None),
        (6, 7, "data", None),
        (8, 8, "data", "ragged"),
        (9, 9, "data", "quoting"),
        (10, 10, "header", None),
        (11, 11, "total", None),
        (12, 12, "data", "nul_bytes"),
        (13, 13, "blank", None),
    ]


def test_an_open_quote_costs_one_line() -> None:
    assert kinds('t\nLot,Crop\nA,"pansy\nB,vinca\n')[2:] == [(3, 3, "data", "quoting"), (4, 4, "data", None)]


def test_doubled_quotes_and_line_ends() -> None:
    read = read_file(b't\r\nLot,Crop\r\nA,"say ""hi"""\r\nB,x', EXPORT)
    assert [record.cells for record in read.records[2:]] == [("A", 'say "hi"'), ("B", "x")]
    assert read.lines == 4


@pytest.mark.parametrize(
    ("data", "problem"),
    [
        (b"", "empty_file"),
        (b"t\nLot,Crop\nA,pansy\n", None),
        (b"t\nLot,Crop\n\nTotal,1\n", "header_only"),
        (b"t\nLot;Crop\nA;pansy\n", "delimiter"),
        (b"t\nLot,Plant\nA,pansy\n", "columns_changed"),
        (b"t\nLot,Crop,Crop\nA,pansy,x\n", "columns_changed"),
        (b"t\nLot,Crop\nA,\xff\n", "encoding"),
        (b"\xef\xbb\xbft\nLot,Crop\nA,pansy", None),
    ],
)
def test_file_problems(data: bytes, problem: str | None) -> None:
    assert read_file(data, EXPORT).file_problem == problem


@given(st.text(alphabet='aA,;"\n\r #t\x00ü', max_size=60), st.sampled_from(["utf-8", "cp1252"]))
def test_every_physical_line_is_in_exactly_one_record(text: str, encoding: str) -> None:
    read = read_file(text.encode(), Export(kind="lots", files="x", columns=EXPORT.columns, encoding=encoding))
    covered = [line for record in read.records for line in range(record.line_from, record.line_to + 1)]
    assert covered == list(range(1, read.lines + 1))


def test_a_separator_line_stands_above_the_titles_and_units_below_the_header() -> None:
    export = Export("readings", "*", {"lot": ("Lot", None)}, delimiter=";", title_lines=1, units_row=True)
    read = read_file(b"sep=;\nReadings\nLot;EC\n;mS/cm\nA1;2\n", export)
    assert [record.kind for record in read.records] == ["separator", "title", "header", "units", "data"]
    assert read.file_problem is None
    for line in (b'"sep=;"', b"sep=;;;;", b'"SEP=;";;'):
        again = read_file(line + b"\nReadings\nLot;EC\n;mS/cm\nA1;2\n", export)
        assert (again.records[0].kind, again.file_problem) == ("separator", None)
    assert read_file(b"sep=,\nReadings\nLot;EC\n;mS/cm\nA1;2\n", export).file_problem == "delimiter"
