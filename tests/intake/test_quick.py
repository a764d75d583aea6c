"""The quick reader: equal to the careful one wherever it answers, and it answers for clean files."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from pipeline.assets import demo_folder
from pipeline.intake.decode import decode
from pipeline.intake.quick import read_quickly
from pipeline.intake.read import ReadResult, read_records
from pipeline.settings import Export, load_settings
from tests.examples import examples
from tests.intake.samples import READING_HEADER, make_export

LIMITS = settings(
    max_examples=examples(400),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
HEADER = ["Lot", "Date", "pH", "EC"]
GOOD = "A1,2026-04-05,5.8,1.9"


def assert_same(quick: ReadResult, careful: ReadResult) -> None:
    assert_frame_equal(quick.records, careful.records)
    assert_frame_equal(quick.cells, careful.cells)
    assert (quick.header, quick.lines, quick.file_problem, quick.extra) == (
        careful.header,
        careful.lines,
        careful.file_problem,
        careful.extra,
    )


def read_twice(data: bytes, export: Export) -> ReadResult:
    careful = read_records(data, export, is_quick=False)
    assert_same(read_records(data, export), careful)
    return careful


def answers(body: str, **changes: object) -> bool:
    return read_quickly(body, HEADER, make_export(**changes)) is not None


@pytest.mark.parametrize(
    "body",
    [
        f"{GOOD}\n{GOOD}\n",
        f"{GOOD}\r\n{GOOD}\r\n",
        GOOD,
        "",
        f"\n;;\n# said\n{GOOD}\n,,,\nTotal,,,\n",
        '"A ""1""",2026-04-05,"5.8","1,9"\n',
        f"{READING_HEADER}\n{GOOD}\n",
        "A1,,,\n",
    ],
)
def test_clean_bodies_are_answered(body: str) -> None:
    if ";;" not in body:
        assert answers(body)
    read_twice(f"{READING_HEADER}\n{body}".encode(), make_export())


@pytest.mark.parametrize(
    "body",
    [
        "A1,2026-04-05,5.8\n",  # ragged
        f"{GOOD},x\n",
        f"{GOOD}\nA1,2026-04-05,5.8,1.9,\n",
        f"{GOOD}\nA1,2026-04-05,5.8,1.9,",
        '"A1,2026-04-05,5.8,1.9\n',  # never closed
        '"A\n1",2026-04-05,5.8,1.9\n',  # a line end inside a cell
        '"A"1,2026-04-05,5.8,1.9\n',
        'A"1,2026-04-05,5.8,1.9\n',
        f"{GOOD}\r{GOOD}\n",
        f"{GOOD}\r\n{GOOD}\n",  # two kinds of line end
        f"{GOOD}\0\n",
        f"{GOOD}\x1f\n",
        f"\ufeff{GOOD}\n",
    ],
)
def test_anything_else_is_left_to_the_careful_reader(body: str) -> None:
    assert not answers(body)
    read_twice(f"{READING_HEADER}\n{body}".encode(), make_export())


def test_a_clean_file_is_really_read_quickly(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise AssertionError("the careful reader was asked")

    monkeypatch.setattr("pipeline.intake.read._read_carefully", refuse)
    assert read_records(f"{READING_HEADER}\n{GOOD}\n".encode(), make_export()).cells.height == 1


def demo_exports() -> Iterable[tuple[str, Path, Export]]:
    home = demo_folder()
    for site in load_settings(home).sites:
        for folder in (site.folder, home / "second_night" / site.id):
            for number, export in enumerate(site.exports):
                for path in sorted(folder.glob(export.files)):
                    yield f"{site.id} {number} {path.name}", path, export


@pytest.mark.parametrize(
    ("path", "export"), [pytest.param(path, export, id=name) for name, path, export in demo_exports()]
)
def test_the_demo_reads_the_same_both_ways(path: Path, export: Export) -> None:
    read_twice(path.read_bytes(), export)


EXPORTS = st.builds(
    make_export,
    encoding=st.sampled_from(["utf-8", "utf-16", "cp1252"]),
    delimiter=st.sampled_from([",", ";", "\t", "|"]),
    title_lines=st.integers(0, 2),
    comment_prefix=st.sampled_from(["#", "", "//", " "]),
    total_words=st.sampled_from([("total", "mean"), ("Straße",), ("1",), ()]),
    units_row=st.booleans(),
)
CELLS = st.sampled_from(
    ["", " ", "A1", "Total", "total:", "TOTAL :", "STRASSE", "straße", "1", "5.8", '"5,8"', '"a ""b"" c"', '""',
     "#", "# x", "#1", "2026-04-05", "Grand total", "mean", "//", "\xa0", "\x85", "\u2028", "\x1c", "é", '"', '"open',
     "x" * 50, "Lot", "Date", "pH", "EC"]
)  # fmt: skip


@st.composite
def tables(draw: st.DrawFn) -> tuple[bytes, Export]:
    export = draw(EXPORTS)
    mark = export.delimiter
    width = draw(st.sampled_from([4, 4, 4, 5]))
    header = ["Lot", "Date", "pH", "EC", "Note"][:width]
    clean = st.lists(CELLS.filter(lambda cell: cell.count('"') != 1), min_size=width, max_size=width)
    rows = draw(st.lists(clean | clean | clean | st.lists(CELLS, max_size=6), max_size=12))
    above = ["a title"] * export.title_lines + draw(st.sampled_from([[], [], [""], ["# above"]]))
    separator = draw(st.sampled_from([[], [], [f"sep={mark}"], ["sep=;"]]))
    lines = [*separator, *above, mark.join(header), *(mark.join(row) for row in rows)]
    end = draw(st.sampled_from(["\n", "\r\n", "\n", "\r"]))
    text = end.join(lines) + draw(st.sampled_from(["", end]))
    return text.encode(export.encoding, "replace"), export


@LIMITS
@given(tables())
def test_whatever_the_file_both_readers_read_the_same(written: tuple[bytes, Export]) -> None:
    data, export = written
    result = read_twice(data, export)
    lines = decode(data, export.encoding)[0]
    assert result.records.height <= max(1, lines.count("\n") + lines.count("\r") + 1)
