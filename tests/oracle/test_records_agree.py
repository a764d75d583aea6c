"""The product's records and the oracle's are the same lines of the same kind, whatever quotation marks do to them."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.intake.read import read_records
from pipeline.settings import Export
from tests.examples import examples
from tests.oracle import settings as oracle
from tests.oracle.records import read_file

HEADER = "Lot,Date,Pot,pH,Note\n"
COLUMNS = {"lot": "Lot", "date": "Date", "pot": "Pot", "ph": "pH", "note": "Note"}
PRODUCT = Export.model_validate({"kind": "readings", "files": "drop/*.csv", "columns": COLUMNS})
ORACLE = oracle.Export(
    kind="readings", files="drop/*.csv", columns={name: (title, None) for name, title in COLUMNS.items()}
)
PIECES = st.sampled_from(
    ["H-1", "2026-04-02", "5.8", "2", "dry", ",", ",", ",", '"', '""', "\n", "\r\n", " "]
)
ROWS = st.sampled_from(
    [
        "H-1,2026-04-02,1,5.8,",
        "H-1,2026-04-02,2,5.9",
        'H-1,2026-04-02,3,6.0,"dry',
        'H-1,2026-04-02,4,"6.1,dry',
        '"',
        'all well"',
        'H-1,2026-04-02,5,6.2,"',
        '"H-1,2026-04-02,6,6.3,',
        "seen again, all well",
        "",
    ]
)
BODIES = st.one_of(
    st.lists(PIECES, max_size=40).map("".join),
    st.lists(ROWS, max_size=8).map(lambda rows: "".join(f"{row}\n" for row in rows)),
)


def outlines(body: str, header: str = HEADER) -> tuple[list[tuple[object, ...]], list[tuple[object, ...]]]:
    data = (header + body).encode()
    names = ("line_from", "line_to", "kind", "problem")
    found = read_records(data, PRODUCT)
    wanted = read_file(data, ORACLE)
    problem = wanted.file_problem
    return (
        [tuple(row) for row in found.records.select(names).iter_rows()],
        [
            (one.line_from, one.line_to, one.kind, one.problem if problem is None else problem)
            if one.kind == "data"
            else (one.line_from, one.line_to, one.kind, None)
            for one in wanted.records
        ],
    )


@settings(max_examples=examples(300), deadline=None)
@given(BODIES)
def test_records_are_the_same(body: str) -> None:
    found, wanted = outlines(body)
    assert found == wanted


@pytest.mark.parametrize(
    ("body", "lines"),
    [
        ('H-1,2026-04-02,1,5.8,"dry\nH-1,2026-04-02,2,5.9\nend"\n', [(2, 2), (3, 3), (4, 4)]),
        ('H-1,2026-04-02,1,5.8,"dry\nbut alive, at 5\nend"\n', [(2, 4)]),
    ],
)
def test_readings_inside_a_note_are_told_from_prose(body: str, lines: list[tuple[int, int]]) -> None:
    found, wanted = outlines(body)
    assert found == wanted
    assert [one[:2] for one in found[1:]] == lines


@pytest.mark.parametrize(
    ("first", "kind"),
    [
        ("H-1,2026-04-02,1,5.8,dry\n", "data"),
        ("H-1,2026-04-02 08:15,one,5,\n", "data"),
        ("H-1,2026-04-02,one,high,\n", "header"),
        ("Plant,2025,2026,acid,Remark\n", "data"),
        ("Lot,2025,2026,acid,Remark\n", "header"),
    ],
)
def test_data_in_the_place_of_the_header_are_data(first: str, kind: str) -> None:
    found, wanted = outlines("H-1,2026-04-02,2,5.9,\n" * 2, first)
    assert found == wanted
    assert [one[2] for one in found] == [kind, "data", "data"]
    assert {one[3] for one in found if one[2] == "data"} == {"columns_changed"}
