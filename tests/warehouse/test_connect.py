"""A night works on a copy; what is published stands until it is replaced in one step."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from pipeline.errors import WarehouseError
from pipeline.warehouse.connect import night_copy, publish, reader, seal, warehouse_path


def run(home: Path, value: int) -> None:
    """A night that writes one value and is published."""
    with night_copy(home) as (connection, working):
        connection.execute("create or replace table told as select ? as value", [value])
        seal(connection, working)
        publish(working, home)


def told(home: Path) -> int:
    with reader(home) as connection:
        ((value,),) = connection.execute("from told").fetchall()
    return int(value)


def test_the_first_night_begins_with_an_empty_warehouse(tmp_path: Path) -> None:
    with night_copy(tmp_path) as (connection, _):
        assert connection.execute("show tables").fetchall() == []


def test_what_a_night_publishes_can_be_read(tmp_path: Path) -> None:
    run(tmp_path, 1)
    assert told(tmp_path) == 1


def test_the_next_night_begins_where_the_last_one_ended(tmp_path: Path) -> None:
    run(tmp_path, 1)
    with night_copy(tmp_path) as (connection, _):
        assert connection.execute("from told").fetchall() == [(1,)]


def test_a_night_that_does_not_publish_leaves_no_trace(tmp_path: Path) -> None:
    run(tmp_path, 1)
    before = warehouse_path(tmp_path).read_bytes()
    with night_copy(tmp_path) as (connection, _):
        connection.execute("update told set value = 2")
    assert warehouse_path(tmp_path).read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["warehouse.duckdb"]


def test_a_night_that_fails_leaves_no_trace(tmp_path: Path) -> None:
    run(tmp_path, 1)
    with pytest.raises(duckdb.CatalogException), night_copy(tmp_path) as (connection, _):
        connection.execute("update told set value = 2; from no_such_table")
    assert told(tmp_path) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["warehouse.duckdb"]


def test_yesterdays_warehouse_can_be_read_while_a_night_runs(tmp_path: Path) -> None:
    run(tmp_path, 1)
    with night_copy(tmp_path) as (connection, _):
        connection.execute("update told set value = 2")
        assert told(tmp_path) == 1


def test_nothing_is_left_beside_the_published_file(tmp_path: Path) -> None:
    run(tmp_path, 1)
    run(tmp_path, 2)
    assert told(tmp_path) == 2
    assert [path.name for path in tmp_path.iterdir()] == ["warehouse.duckdb"]


def test_the_copy_of_a_night_that_was_killed_is_not_taken_up(tmp_path: Path) -> None:
    with night_copy(tmp_path) as (_, working):
        pass
    working.write_bytes(b"half a file")
    run(tmp_path, 1)
    assert told(tmp_path) == 1


def test_a_reader_cannot_write(tmp_path: Path) -> None:
    run(tmp_path, 1)
    with reader(tmp_path) as connection, pytest.raises(duckdb.InvalidInputException):
        connection.execute("update told set value = 2")


def test_a_home_without_a_night_has_nothing_to_read(tmp_path: Path) -> None:
    with pytest.raises(WarehouseError) as raised, reader(tmp_path):
        pass
    assert str(raised.value) == (
        f"{tmp_path}/warehouse.duckdb: no night has been run yet; run `leachbook nightly {tmp_path}` first."
    )


def test_a_file_that_is_no_warehouse_is_named_and_kept(tmp_path: Path) -> None:
    warehouse_path(tmp_path).write_bytes(b"not a database" * 1000)
    with (
        pytest.raises(WarehouseError, match="cannot be read as a warehouse") as raised,
        night_copy(tmp_path),
    ):
        pass
    message = str(raised.value)
    assert message.startswith(f"{tmp_path}/warehouse.duckdb: ")
    assert message.endswith("which makes it anew from the archive.")
    assert "\n" not in message
    assert [path.name for path in tmp_path.iterdir()] == ["warehouse.duckdb"]
    with pytest.raises(WarehouseError), reader(tmp_path):
        pass


def test_a_folder_with_a_question_mark_is_refused_in_one_sentence(tmp_path: Path) -> None:
    home = tmp_path / "really?"
    home.mkdir()
    with pytest.raises(WarehouseError, match=r'"\?" in its name; rename the folder'), night_copy(home):
        pass
    run(tmp_path, 1)
    warehouse_path(tmp_path).rename(warehouse_path(home))
    with pytest.raises(WarehouseError, match=r'"\?" in its name; rename the folder'), reader(home):
        pass
