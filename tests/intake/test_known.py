"""Equal lines of two files: numbered, found, and only where their texts mean the same."""

from __future__ import annotations

from collections import Counter

import polars as pl
from hypothesis import given
from hypothesis import settings as examples_of
from hypothesis import strategies as st

from pipeline.intake.known import KNOWN_SCHEMA, add_content, find_known, lay_out, no_lines, number_equal_texts
from pipeline.intake.read import read_records
from tests.intake.samples import make_export

LINES = st.lists(st.tuples(st.sampled_from(["data", "blank", "header"]), st.sampled_from("abc")), max_size=12)


def records_of(lines: list[tuple[str, str]]) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "record_no": range(1, len(lines) + 1),
            "kind": [kind for kind, _ in lines],
            "text": [text for _, text in lines],
        },
        schema={"record_no": pl.Int64, "kind": pl.String, "text": pl.String},
    )


def known_of(layout: str, file_id: int, texts: list[tuple[str, int]]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {"layout": layout, "text": text, "nth": nth, "file_id": file_id, "record_no": number}
            for number, (text, nth) in enumerate(texts, 1)
        ],
        schema=KNOWN_SCHEMA,
    )


def found(
    records: pl.DataFrame, known: pl.DataFrame, *, layout: str = "x", file_id: int = 9
) -> list[tuple[int, ...]]:
    numbered = number_equal_texts(records)
    return (
        find_known(numbered, layout, known, file_id).select("record_no", "file_id", "first_record_no").rows()
    )


@examples_of(deadline=None)
@given(lines=LINES)
def test_equal_data_texts_are_numbered_in_their_order(lines: list[tuple[str, str]]) -> None:
    counts: Counter[str] = Counter()
    expected: list[int | None] = []
    for kind, text in lines:
        counts[text] += kind == "data"
        expected.append(counts[text] if kind == "data" else None)
    numbered = number_equal_texts(records_of(lines))
    assert numbered["nth"].to_list() == expected
    assert numbered["record_no"].to_list() == list(range(1, len(lines) + 1))


def test_the_second_of_two_equal_lines_is_known_only_where_two_were_seen() -> None:
    twice = records_of([("data", "a"), ("data", "b"), ("data", "a")])
    assert found(twice, known_of("x", 1, [("a", 1)])) == [(1, 1, 1)]
    assert found(twice, known_of("x", 1, [("a", 1), ("a", 2)])) == [(1, 1, 1), (3, 1, 2)]


def test_a_line_is_known_from_where_it_stood_first() -> None:
    known = pl.concat([known_of("x", 4, [("a", 1)]), known_of("x", 2, [("b", 1), ("a", 1)])])
    assert found(records_of([("data", "a")]), known) == [(1, 2, 2)]


def test_lines_of_another_layout_or_of_later_files_are_not_known() -> None:
    line = records_of([("data", "a")])
    assert found(line, known_of("y", 1, [("a", 1)])) == []
    assert found(line, known_of("x", 9, [("a", 1)])) == []
    assert found(line, known_of("x", 8, [("a", 1)])) == [(1, 8, 1)]
    assert found(line, no_lines()) == []


def test_lines_that_are_not_data_are_never_known() -> None:
    assert found(records_of([("header", "a"), ("blank", "a")]), known_of("x", 1, [("a", 1)])) == []


def test_a_layout_is_what_stands_in_the_columns_that_are_read() -> None:
    export = make_export(columns={"lot": "Lot", "ph": "pH"})
    noted = make_export(columns={"lot": "Lot", "ph": "pH"}, extra_columns="note")
    assert lay_out(["LOT ", "pH", "Weather"], export) == lay_out(["Lot", "ph", "Mood"], export)
    assert lay_out(["Lot", "pH", "Weather"], export) != lay_out(["pH", "Lot", "Weather"], export)
    assert lay_out(["Lot", "pH", "Weather"], export) != lay_out(["Lot", "pH"], export)
    # where other columns go into the note, their headers do, too
    assert lay_out(["Lot", "pH", "Weather"], noted) != lay_out(["Lot", "pH", "Mood"], noted)


def contents(data: str, **options: object) -> list[str | None]:
    """What each record of a file with the columns lot, date, pH and an unmapped one says, where its text does not."""
    export = make_export(columns={"lot": "Lot", "date": "Date", "ph": "pH"}, **options)
    records = add_content(read_records(data.encode(), export), export)
    return records.filter(pl.col("kind") == "data")["content"].to_list()


def test_a_line_says_its_cells_however_they_are_quoted() -> None:
    header = "Lot,Date,pH\n"
    assert contents(f"{header}A-1,2026-04-01,5.8\n") == [None]
    assert contents(f'{header}"A-1",2026-04-01, 5.8 \n') == ["A-1,2026-04-01,5.8"]
    # a delimiter inside a cell is none between two
    assert contents(f'{header}"A,1",2026-04-01,5.8\n') == [None]
    assert contents(f'{header}"A ""1""",2026-04-01,5.8\n"B ""2""","2026-04-01",5.8\n') == [
        None,
        '"B ""2""",2026-04-01,5.8',
    ]


def test_a_column_that_is_not_read_says_nothing_unless_it_is_noted() -> None:
    data = "Lot,Weather,Date,pH\nA-1,sun,2026-04-01,5.8\n"
    assert contents(data) == ["A-1,2026-04-01,5.8"]
    assert contents(data, extra_columns="note") == [None]


def test_a_line_without_cells_says_nothing_that_another_could_say() -> None:
    data = "Lot,Weather,Date,pH\nA-1,sun,2026-04-01,5.8\nA-1,2026-04-01,5.8\n"
    whole, broken = contents(data)
    assert (whole, broken) == ("A-1,2026-04-01,5.8", "\x1fA-1,2026-04-01,5.8")


def test_lines_that_say_the_same_are_counted_together() -> None:
    export = make_export(columns={"lot": "Lot", "date": "Date", "ph": "pH"})
    data = b'Lot,Date,pH\nA,2026-04-01,5.8\n"A",2026-04-01,5.8\nB,2026-04-01,5.8\n'
    numbered = number_equal_texts(add_content(read_records(data, export), export))
    assert numbered["nth"].to_list() == [None, 1, 2, 1]
