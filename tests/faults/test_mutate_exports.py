"""A sample of the script beside it, and that its checks see what they are there for."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from datetime import timedelta
from fractions import Fraction
from pathlib import Path

import pytest

from pipeline.warehouse.connect import night_copy
from tests.faults import mutate_exports
from tests.faults.mutate_exports import (
    DAY,
    Found,
    Spoiled,
    Tally,
    _has_reading,
    check_nights,
    fetch_nights,
    judge_batch,
    load_exports,
    make_base,
    run,
    run_night,
)
from tests.faults.source_cells import NotUnderstood, count_lines, read_figure, split


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home of this module's own, since nights leave a working copy in it for a while."""
    return make_base(tmp_path_factory.mktemp("spoiled") / "home")


def test_two_hundred_spoiled_files_balance_and_say_what_their_cells_say(base: Path) -> None:
    tally = run(base, 200, batch=200)
    assert tally.told == []
    assert tally.files == 200
    # Enough came through for the comparison to mean something, and enough was held.
    assert tally.values > 5000
    assert min(tally.fates[fate] for fate in ("accepted", "held", "repeated", "not_data")) > 50


def a_file(end: bytes = b"") -> Spoiled:
    export = next(one for one in load_exports() if one.site["id"] == "north-range")
    return Spoiled(export, "drop/readings_x.csv", export.files[-1][1] + end)


@pytest.fixture(scope="module")
def found(base: Path) -> Found:
    """What the warehouse says of a whole file and of the same with one line more on the next night."""
    with night_copy(base) as (connection, _):
        run_night(base, connection, [a_file()], DAY)
        run_night(base, connection, [a_file(b"\n")], DAY + timedelta(days=1))
        return fetch_nights(connection)


def seen(found: Found) -> Tally:
    tally = Tally()
    check_nights(found, [a_file(), a_file(b"\n")], tally)
    return tally


def test_whole_files_have_no_fault(found: Found) -> None:
    tally = seen(found)
    assert (tally.faults, tally.fates["accepted"] > 10, tally.fates["repeated"] > 10) == ({}, True, True)


def _without_last_fate(found: Found) -> None:
    found["record_fates"].pop()


def _longer(found: Found) -> None:
    found["records"][-1]["line_to"] += 1


def _called_total(found: Found) -> None:
    next(one for one in reversed(found["records"]) if one["kind"] == "data")["kind"] = "total"


def _exchanged(found: Found) -> None:
    first, second = found["reading_lines"][0], found["reading_lines"][5]
    first["ph"], second["ph"] = second["ph"], first["ph"]


def _same_as_another(found: Found) -> None:
    first, second, *_ = [one for one in found["records"] if one["same_as_file_id"] is not None][::9]
    first["same_as_record_no"] = second["same_as_record_no"]


def _accepted_with_a_problem(found: Found) -> None:
    line = found["reading_lines"][0]
    found["record_problems"].append({"file_id": line["file_id"], "record_no": line["record_no"]})


@pytest.mark.parametrize(
    ("plant", "kind"),
    [
        (_without_last_fate, "unbalanced"),
        (_longer, "unbalanced"),
        (_called_total, "lost"),
        (_exchanged, "differs"),
        (_same_as_another, "differs"),
        (_accepted_with_a_problem, "accepted wrongly"),
    ],
)
def test_the_checks_see_a_planted_fault(found: Found, plant: Callable[[Found], None], kind: str) -> None:
    planted = deepcopy(found)
    plant(planted)
    assert kind in seen(planted).faults


def _broken(_: Spoiled) -> None:
    raise ZeroDivisionError


def test_a_traceback_is_told_with_its_file(base: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mutate_exports, "_collected", _broken)
    tally = Tally()
    judge_batch(base, [a_file(), a_file(b"\n")], tally)
    assert tally.faults == {"traceback": 2}
    assert "ZeroDivisionError" in tally.told[0]


@pytest.mark.parametrize(
    ("data", "encoding", "lines"),
    [
        (b"", "utf-8", 0),
        (b"\xef\xbb\xbf", "utf-8", 0),
        (b"a\r\nb\rc\nd", "cp1252", 4),
        (b"a\n\r\n", "utf-8", 2),
        ("a\r\nb".encode("utf-16"), "utf-16", 2),
        ("a\u0a0d\n".encode("utf-16-be"), "utf-16", 1),
        (b"a\0\n\0x", "utf-16", 2),
    ],
)
def test_lines_are_counted_on_the_bytes(data: bytes, encoding: str, lines: int) -> None:
    assert count_lines(data, encoding) == lines


def test_lines_are_split_where_they_are_counted() -> None:
    assert split(b"\xef\xbb\xbfa\r\nb\rc\n\nd", "utf-8-sig") == ["a\r\n", "b\r", "c\n", "\n", "d"]


EXPORT = {"decimal": ",", "columns": {"ec": {"column": "LF", "unit": "µS/cm"}, "ph": "pH", "poured": "mL"}}


@pytest.mark.parametrize(
    ("name", "cell", "value"),
    [
        ("ec", "1850", Fraction("1.85")),
        ("ec", "1,85 mS", Fraction("1.85")),
        ("ec", "925 ppm 500", Fraction("1.85")),
        ("ph", "5,8", Fraction("5.8")),
        ("poured", "1 1/2", Fraction("1.5")),
        ("poured", "2½", Fraction("2.5")),
    ],
)
def test_a_figure_is_read_by_its_own_words(name: str, cell: str, value: Fraction) -> None:
    assert read_figure(name, cell, EXPORT) == value


@pytest.mark.parametrize(
    ("name", "cell"),
    [("ec", "925 ppm"), ("ph", "5.8"), ("ph", "5,8 mS"), ("ph", "5,80001"), ("ph", "1/2"), ("ec", "")],
)
def test_what_is_not_understood_is_no_figure(name: str, cell: str) -> None:
    with pytest.raises(NotUnderstood):
        read_figure(name, cell, EXPORT)


@pytest.mark.parametrize(
    ("kind", "text", "is_lost"),
    [
        ("comment", "#A1,2026-04-05,5.8", True),
        ("comment", "# seen 2026-04-05", False),
        ("total", "Mean,2026-04-05,5.8", True),
        ("total", "Mean,,5.8", False),
        ("units", "A1,2026-04-05,5.8", True),
        ("data", "A1,2026-04-05,5.8", False),
    ],
)
def test_a_reading_that_was_set_aside_is_seen(kind: str, text: str, is_lost: bool) -> None:
    export = {"columns": {"lot": "Lot", "date": "Date", "ph": "pH"}}
    found = _has_reading({"kind": kind, "text": text}, "Lot,Date,pH", export)
    assert (found is not None) == is_lost
