"""`leachbook tables`: every table of a real night, and a dictionary that names each of its columns."""

from pathlib import Path

import openpyxl
import polars as pl
import pytest

from pipeline.tables.catalogue import TABLES, load_meanings
from tests.home import make_home, night, run_cli


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = make_home(tmp_path_factory.mktemp("tables") / "home")
    night(made)
    return made


def test_every_column_stands_in_the_dictionary_with_meaning_and_origin(home: Path) -> None:
    told = run_cli("tables", home, "--format", "parquet", "--json")
    assert told.code == 0, told.err
    folder = home / "out" / "tables" / "2026-04-06"
    dictionary = pl.read_parquet(folder / "dictionary.parquet")
    assert {one["table"] for one in told.json["tables"]} == set(TABLES)
    for name in TABLES:
        rows = dictionary.filter(pl.col("table") == name)
        assert rows["column"].to_list() == pl.read_parquet(folder / f"{name}.parquet").columns
        assert rows["meaning"].str.len_chars().gt(0).all()
        assert rows["origin"].str.contains("^(sql/|the sites' export of )").all()
    unit = dict(dictionary.filter(pl.col("table") == "readings").select("column", "unit").iter_rows())
    assert unit["ec_25_ms_cm"] == "mS/cm at 25 °C"
    assert unit["leachate_ml"] == "mL"


def test_what_a_site_wrote_and_what_is_worked_out_are_told_apart(home: Path) -> None:
    run_cli("tables", home, "--format", "parquet")
    dictionary = pl.read_parquet(home / "out" / "tables" / "2026-04-06" / "dictionary.parquet")
    origin = dict(dictionary.filter(pl.col("table") == "readings").select("column", "origin").iter_rows())
    assert origin["leachate_ml"] == "the sites' export of readings"
    assert origin["ec_25_ms_cm"] == "sql/samplings/usable_readings.sql"


def test_no_meaning_is_left_over_and_units_agree_with_the_names() -> None:
    meanings = load_meanings()
    for name, one in meanings.items():
        for ending, unit in (
            ("_ml", "mL"),
            ("_ms_cm", "mS/cm"),
            ("_mv", "mV"),
            ("_min", "min"),
            ("_on", "date"),
        ):
            if name.endswith(ending):
                assert one.unit.startswith(unit), name


def test_no_meaning_is_of_a_column_that_no_table_has(home: Path) -> None:
    run_cli("tables", home, "--format", "parquet")
    dictionary = pl.read_parquet(home / "out" / "tables" / "2026-04-06" / "dictionary.parquet")
    assert set(load_meanings()) == set(dictionary["column"])


def test_rows_stand_in_the_order_of_their_key_so_files_repeat(home: Path) -> None:
    def made() -> dict[str, bytes]:
        run_cli("tables", home, "--format", "csv")
        return {path.name: path.read_bytes() for path in (home / "out" / "tables").rglob("*.csv")}

    assert made() == made()


def test_a_workbook_has_a_sheet_for_each_table_with_units_in_its_headers(home: Path) -> None:
    told = run_cli("tables", home)
    assert told.code == 0, told.err
    book = openpyxl.load_workbook(home / "out" / "tables" / "2026-04-06" / "leachbook.xlsx")
    assert book.sheetnames == ["tables", "dictionary", *TABLES]
    assert "leachate_ml (mL)" in [cell.value for cell in book["readings"][1]]
    assert book["readings"].max_row == 11


def test_a_home_without_a_night_is_told_so(tmp_path: Path) -> None:
    told = run_cli("tables", make_home(tmp_path / "home"))
    assert (told.code, "no night has been run yet" in told.err) == (2, True)
