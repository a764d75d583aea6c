from collections.abc import Iterator, Sequence
from typing import overload

import pytest

from pipeline.intake.records import Record, RecordSplitter, unlimited_fields


def take_all(lines: Sequence[str], width: int | None, delimiter: str = ";") -> list[Record]:
    splitter = RecordSplitter(lines, delimiter)
    records: list[Record] = []
    at = 0
    with unlimited_fields():
        while at < len(lines):
            records.append(splitter.take(at, width))
            at = records[-1].line_to
    return records


def outline(lines: Sequence[str], width: int | None = 2) -> list[tuple[int, int, str | None]]:
    return [(one.line_from, one.line_to, one.problem) for one in take_all(lines, width)]


@pytest.mark.parametrize(
    ("line", "cells"),
    [
        ("a;b\n", ["a", "b"]),
        (";\n", ["", ""]),
        ('"a;1";b\r\n', ["a;1", "b"]),
        ('"a ""x""";b', ['a "x"', "b"]),
        ('6" pot;b\n', ['6" pot', "b"]),
        ("a b ;\tb\n", ["a b ", "\tb"]),
    ],
)
def test_one_line_into_cells(line: str, cells: list[str]) -> None:
    (record,) = take_all([line], 2)
    assert (record.cells, record.problem) == (cells, None)


def test_quoted_line_ends_are_part_of_the_cell() -> None:
    (first, second) = take_all(['a;"b\n', "\r\n", 'c"\n', "d;e"], 2)
    assert (first.line_from, first.line_to, first.cells) == (1, 3, ["a", "b\n\r\nc"])
    assert first.text == 'a;"b\n\r\nc"'
    assert (second.line_from, second.cells) == (4, ["d", "e"])


def test_ragged_record_names_both_numbers() -> None:
    (record,) = take_all(["a;b;c\n"], 2)
    assert record.problem == "ragged"
    assert record.detail == (
        "3 cells stand here and the header has 2; make both agree, or put a cell that holds the delimiter in "
        "quotation marks"
    )


def test_zero_byte_is_a_problem_of_its_record_only() -> None:
    records = take_all(["a\0;b\n", "c;d\n"], 2)
    assert [one.problem for one in records] == ["nul_bytes", None]
    assert records[0].detail == "1 zero byte stands in this record, which no text has; export the file again"


def test_zero_byte_in_a_quoted_cell_over_two_lines() -> None:
    assert outline(['a;"b\n', '\0"\n']) == [(1, 2, "nul_bytes")]


def test_text_after_a_closing_quote_is_a_problem_of_one_line() -> None:
    records = take_all(['"a"x;b\n', "c;d\n"], 2)
    assert [(one.problem, one.cells) for one in records] == [("quoting", None), (None, ["c", "d"])]
    assert records[0].detail == (
        "text stands after a closing quotation mark; a quotation mark inside a cell is written twice and the "
        "cell put in quotation marks"
    )


def test_unclosed_quote_does_not_swallow_the_rest() -> None:
    assert outline(['a;"b\n', "c;d\n", "e;f\n"]) == [(1, 1, "quoting"), (2, 2, None), (3, 3, None)]


def test_unclosed_quote_that_meets_a_later_one_does_not_swallow_the_lines_between() -> None:
    lines = ['a;"b\n', "c;d\n", 'e;"f"\n']
    assert outline(lines) == [(1, 1, "quoting"), (2, 2, None), (3, 3, None)]


def test_quote_closed_by_an_inch_mark_further_down_does_not_make_readings_a_note() -> None:
    lines = ["a;1;fine\n", 'b;2;"stray\n', "c;3;fine\n", "d;4;fine\n", 'e;5;pot 6"\n']
    assert outline(lines, 3) == [
        (1, 1, None),
        (2, 2, "quoting"),
        (3, 3, None),
        (4, 4, None),
        (5, 5, None),
    ]
    assert take_all(lines, 3)[1].detail == (
        "a quotation mark is opened here and closed on line 5, but lines 3-5 inside it read like records of "
        "their own; a quotation mark inside a cell is written twice and the cell put in quotation marks"
    )


def has_figures(cells: Sequence[str]) -> bool:
    return sum(cell.strip().replace(".", "").isdigit() for cell in cells) >= 2


@pytest.mark.parametrize(
    ("lines", "swallowed"),
    [
        # readings that lack the blank note at their end
        (['a;1;5.8;"dry\n', "b;2;5.9\n", 'c;3;6.0"\n'], "lines 2-3 inside it read like records of their own"),
        # one with too many cells
        (['a;1;5.8;"dry\n', "b;2;5.9;x;y\n", 'end"\n'], "line 2 inside it reads like a record of its own"),
        # the one whose note closes the mark
        (['a;1;5.8;"dry\n', 'b;2;5.9;"\n'], "line 2 inside it reads like a record of its own"),
        (['a;1;5.8;"dry\r\n', "\r\n", 'b;2;5.9;"\r\n'], "line 3 inside it reads like a record of its own"),
    ],
)
def test_readings_of_another_width_are_not_swallowed_either(lines: list[str], swallowed: str) -> None:
    with unlimited_fields():
        record = RecordSplitter(lines, ";", has_figures).take(0, 4)
    assert (record.line_from, record.line_to, record.problem) == (1, 1, "quoting")
    assert f"is opened here and closed on line {len(lines)}, but {swallowed};" in (record.detail or "")


@pytest.mark.parametrize(
    "lines",
    [
        ['a;1;5.8;"dry\n', "\n", "seen again at 10; all well; 2 pots yellow\n", 'end"\n'],
        ['a;1;"dry\n', 'really";5.8\n'],
        ['"first\n', 'cell";1;5.8;6.0\n'],
    ],
)
def test_a_true_note_over_lines_is_one_record(lines: list[str]) -> None:
    with unlimited_fields():
        record = RecordSplitter(lines, ";", has_figures).take(0, 4)
    assert (record.line_to, record.problem) == (len(lines), None)


def test_record_over_lines_with_the_wrong_number_of_cells_is_not_believed() -> None:
    lines = ['a;"b\n', 'c";d\n']
    assert outline(lines, 2) == [(1, 1, "quoting"), (2, 2, None)]
    assert outline(lines, 3) == [(1, 2, None)]


def test_field_longer_than_the_csv_modules_limit() -> None:
    (record,) = take_all([f'"{"x" * 200_000}";b'], 2)
    assert record.problem is None


class CountedLines(Sequence[str]):
    """Counts how often a line is looked at."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = lines
        self.looks = 0

    @overload
    def __getitem__(self, index: int) -> str: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[str]: ...
    def __getitem__(self, index: int | slice) -> str | Sequence[str]:
        self.looks += 1 if isinstance(index, int) else len(self.lines[index])
        return self.lines[index]

    def __len__(self) -> int:
        return len(self.lines)

    def __iter__(self) -> Iterator[str]:
        return iter(self.lines)


@pytest.mark.parametrize("width", [2, 3, None])
@pytest.mark.parametrize("line", ['a";"c\n', 'a;"c\n', '"a;b\n', '"\n', 'x;"""y\n', 'a";"c";"d\n'])
def test_stray_quotes_are_read_in_linear_time(line: str, width: int | None) -> None:
    lines = CountedLines([line] * 3000)
    records = take_all(lines, width)
    assert sum(one.line_to - one.line_from + 1 for one in records) == 3000
    assert lines.looks <= 8 * 3000
