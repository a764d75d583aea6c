"""A night's files into the tables of facts, and the night's own row."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from decimal import Decimal

import duckdb
import polars as pl
import pytest

from pipeline.intake.read import read_records
from pipeline.intake.translate import translate
from pipeline.settings import Column, Export, SiteSettings
from pipeline.warehouse.connect import Connection
from pipeline.warehouse.load import (
    FileFacts,
    NewFile,
    NightRow,
    Trouble,
    finish_night,
    last_night,
    load_files,
    load_troubles,
    seen_files,
    start_night,
)
from pipeline.warehouse.migrate import migrate
from tests.sql.bench import AS_OF, site

READINGS = Export(
    kind="readings",
    files="drop/readings*.csv",
    columns={
        "lot": Column(column="Lot"),
        "date": Column(column="Date"),
        "ph": Column(column="pH"),
        "ec": Column(column="EC", unit="µS/cm"),
    },
)
LOTS = Export(
    kind="lots",
    files="drop/lots*.csv",
    mode="cumulative",
    columns={
        "lot": Column(column="Lot"),
        "crop": Column(column="Crop"),
        "container": Column(column="Container"),
        "started": Column(column="Potted"),
    },
)
CALIBRATIONS = Export(
    kind="calibrations",
    files="drop/meters*.csv",
    columns={"meter": Column(column="Meter"), "date": Column(column="Date"), "slope": Column(column="Slope")},
)
NORTH: SiteSettings = site().model_copy(update={"extraction_method": "pour-through"})


@pytest.fixture
def connection() -> Iterator[Connection]:
    with duckdb.connect(":memory:") as opened:
        migrate(opened)
        yield opened


def new_file(
    text: str, export: Export = READINGS, *, name: str = "drop/a.csv", sha256: str = "abc"
) -> NewFile:
    """A file read and translated as a night does it."""
    read = read_records(text.encode(), export)
    translated = translate(read, export, NORTH)
    problem = read.file_problem
    facts = FileFacts(
        site_id="north",
        kind=export.kind,
        export_no=1,
        mode=export.mode,
        numbers_pots=export.numbers_pots,
        name=name,
        sha256=sha256,
        size_bytes=len(text),
        modified_at=datetime(2026, 4, 5, 21, 30, tzinfo=UTC),
        lines=read.lines,
        problem=None if problem is None else problem.code,
        problem_sentence=None if problem is None else problem.sentence,
        problem_mend=None if problem is None else problem.mend,
    )
    problems = translated.problems.select("record_no", "code", "field", "cell", "sentence")
    return NewFile(facts, read.records, translated.rows, problems)


def load(connection: Connection, *files: NewFile) -> int:
    return load_files(connection, start_night(connection, AS_OF, "1", "s"), AS_OF, files)


def rows(connection: Connection, query: str) -> list[tuple[object, ...]]:
    return connection.execute(query).fetchall()


def test_records_lines_and_typed_values_of_a_file(connection: Connection) -> None:
    loaded = load(connection, new_file("Lot,Date,pH,EC\nA,2026-03-30,5.9,2500\n"))
    assert loaded == 2
    assert rows(connection, "select file_id, record_no, line_from, line_to, kind, text from records") == [
        (1, 1, 1, 1, "header", "Lot,Date,pH,EC"),
        (1, 2, 2, 2, "data", "A,2026-03-30,5.9,2500"),
    ]
    assert rows(
        connection, "select file_id, record_no, lot_code, sampled_on, ph, ec_ms_cm from reading_lines"
    ) == [(1, 2, "A", date(2026, 3, 30), Decimal("5.900"), Decimal("2.5000"))]


def test_cells_as_they_stood_are_kept_with_the_record(connection: Connection) -> None:
    load(connection, new_file("Lot,Date,pH,EC\nA,2026-03-30,5.9,2500\n"))
    assert rows(connection, "select cells::json ->> 'ec' from records order by record_no") == [
        (None,),
        ("2500",),
    ]


def test_a_files_facts(connection: Connection) -> None:
    load(connection, new_file("Lot,Date,pH,EC\nA,2026-03-30,5.9,2500\n"))
    (row,) = connection.table("files").pl().iter_rows(named=True)
    assert row == {
        "file_id": 1,
        "night_no": 1,
        "site_id": "north",
        "kind": "readings",
        "export_no": 1,
        "mode": "increment",
        "numbers_pots": None,
        "name": "drop/a.csv",
        "sha256": "abc",
        "size_bytes": 37,
        "modified_at": datetime(2026, 4, 5, 21, 30),
        "received_on": AS_OF,
        "lines": 2,
        "problem": None,
        "problem_sentence": None,
        "problem_mend": None,
        "reading_digest": "",
        "header": None,
        "extra_columns": None,
        "layout": None,
    }


def test_problems_are_numbered_within_their_record(connection: Connection) -> None:
    load(connection, new_file("Lot,Date,pH,EC\nA,30.3.26,x,2500\nA,2026-03-30,6.0,y\n"))
    assert rows(
        connection, "select record_no, problem_no, code, field, cell from record_problems order by all"
    ) == [
        (2, 1, "date_unreadable", "date", "30.3.26"),
        (2, 2, "number_unreadable", "ph", "x"),
        (3, 1, "number_unreadable", "ec", "y"),
    ]


def test_each_kind_has_its_table(connection: Connection) -> None:
    load(
        connection,
        new_file("Lot,Crop,Container,Potted\nA,petunia,plug,2026-02-02\n", LOTS),
        new_file("Meter,Date,Slope\nM1,2026-03-30,98.5\n", CALIBRATIONS),
        new_file("Lot,Date,pH,EC\nA,2026-03-30,5.9,2500\n"),
    )
    assert rows(connection, "select file_id, lot_code, container_class from lot_lines") == [(1, "A", "plug")]
    assert rows(connection, "select file_id, meter_id, slope_pct from calibration_lines") == [
        (2, "M1", Decimal("98.50"))
    ]
    assert rows(connection, "select file_id from reading_lines") == [(3,)]


def test_a_file_held_whole_is_loaded_with_its_reason(connection: Connection) -> None:
    load(connection, new_file("Lot,Day,pH,EC\nA,2026-03-30,5.9,2500\n"))
    assert rows(
        connection, "select problem, problem_sentence is not null, problem_mend is not null from files"
    ) == [("columns_changed", True, True)]
    assert rows(connection, "select count(*) from records") == [(2,)]


@pytest.mark.parametrize("text", ["", "Lot,Date,pH,EC\n"])
def test_a_file_without_data_is_loaded(connection: Connection, text: str) -> None:
    load(connection, new_file(text))
    assert rows(connection, "select lines from files") == [(text.count("\n"),)]
    assert rows(connection, "select count(*) from reading_lines") == [(0,)]


def test_files_are_numbered_on_from_the_night_before(connection: Connection) -> None:
    text = "Lot,Date,pH,EC\nA,2026-03-30,5.9,2500\n"
    load(connection, new_file(text), new_file(text, name="drop/b.csv"))
    load(connection, new_file(text, name="drop/c.csv"))
    assert rows(connection, "select file_id, night_no, name from files order by file_id") == [
        (1, 1, "drop/a.csv"),
        (2, 1, "drop/b.csv"),
        (3, 2, "drop/c.csv"),
    ]


def test_a_night_without_files_loads_nothing(connection: Connection) -> None:
    assert load(connection) == 0


def test_files_that_need_no_work_again(connection: Connection) -> None:
    assert seen_files(connection) == set()
    load(connection, new_file("Lot,Date,pH,EC\n", name="drop/a.csv", sha256="123"))
    assert seen_files(connection) == {("north", "readings", 1, "drop/a.csv", "123")}


def test_troubles_are_written_down_with_the_night(connection: Connection) -> None:
    load_troubles(connection, 7, [Trouble("north", "drop/x", "unclaimed", "nobody takes x", "take it away")])
    assert rows(connection, "from file_troubles") == [
        (7, "north", "drop/x", "unclaimed", "nobody takes x", "take it away")
    ]


# Nights --------------------------------------------------------------------------------------------


def test_before_the_first_night_there_is_none(connection: Connection) -> None:
    assert last_night(connection) is None


def test_nights_are_numbered_and_the_run_is_the_newest(connection: Connection) -> None:
    assert start_night(connection, date(2026, 4, 5), "1", "s") == 1
    assert start_night(connection, date(2026, 4, 6), "1", "s") == 2
    assert rows(connection, "from run") == [(2, date(2026, 4, 6))]


def test_a_night_that_was_not_finished_is_not_the_last(connection: Connection) -> None:
    first = start_night(connection, date(2026, 4, 5), "1.0", "settings")
    finish_night(connection, first, "facts", files=2, records=30)
    start_night(connection, date(2026, 4, 6), "1.0", "settings")
    assert last_night(connection) == NightRow(1, date(2026, 4, 5), "1.0", "settings", "facts", 2, 30)


def test_the_last_night_is_the_newest_of_two_on_one_day(connection: Connection) -> None:
    for digest in ("one", "two"):
        finish_night(connection, start_night(connection, AS_OF, "1", "s"), digest, files=0, records=0)
    last = last_night(connection)
    assert last is not None
    assert (last.night_no, last.facts_digest) == (2, "two")


def test_loading_is_all_or_nothing(connection: Connection) -> None:
    good = new_file("Lot,Date,pH,EC\nA,2026-03-30,5.9,2500\n")
    broken = NewFile(
        good.facts, good.records, good.rows.with_columns(no_such_column=pl.lit(1)), good.problems
    )
    with pytest.raises(duckdb.Error):
        load(connection, broken)
    connection.rollback()
    assert rows(connection, "select count(*) from files") == [(0,)]
