"""Files of a night in the order in which they rule, and one file from bytes to what the warehouse loads."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.intake.collect import CollectedFile
from pipeline.receive import order_files, receive
from pipeline.settings import load_settings, resolve_policy
from pipeline.warehouse.load import NewFile
from tests.home import GOOD_PH, LOTS_HEADER, READINGS_HEADER, make_home, pots
from tests.intake.samples import make_export, make_site


def a_file(
    name: str, changed: str = "2026-04-06T03:00:00.5", data: bytes = b"", kind: str = "readings"
) -> CollectedFile:
    return CollectedFile(
        site_id="hill",
        kind=kind,
        export_no={"readings": 1, "lots": 2, "calibrations": 3}[kind],
        name=f"drop/{name}",
        sha256=hashlib.sha256(data).hexdigest(),
        size=len(data),
        modified_at=datetime.fromisoformat(changed).replace(tzinfo=UTC),
        data=data,
    )


@pytest.mark.parametrize(
    "names",
    [
        ["readings_2026-03-31.csv", "readings_2026-04-01.csv"],
        ["20260331_b.csv", "20260401_a.csv"],
        ["readings_20260331.csv", "readings_2026-04-01.csv"],
        ["a_2026-04-01.csv", "b_2026-04-01.csv"],
        # a number that is no day says nothing
        ["lots_2026-04-05.csv", "lots_20261399.csv"],
        ["order_120260401.csv", "a_2026-04-07.csv"],
    ],
)
def test_the_later_day_in_the_name_rules(names: list[str]) -> None:
    ordered = order_files([a_file(name) for name in reversed(names)])
    assert [one.name for one in ordered] == [f"drop/{name}" for name in names]


def test_the_day_in_the_name_goes_before_the_time_of_change() -> None:
    old = a_file("readings_2026-03-31.csv", "2026-04-06T03:00:00")
    new = a_file("readings_2026-04-01.csv", "2026-04-01T03:00:00")
    assert order_files([new, old]) == [old, new]


def test_without_a_day_in_the_name_the_time_of_change_rules() -> None:
    early, late = a_file("b.csv", "2026-04-05T03:00:00"), a_file("a.csv", "2026-04-05T04:00:00")
    assert order_files([late, early]) == [early, late]


def received(tmp_path: Path, data: bytes, kind: str = "readings") -> NewFile:
    home = tmp_path / "home"
    site = load_settings(home if home.exists() else make_home(home)).sites[0]
    file = a_file("x.csv", data=data, kind=kind)
    settings = load_settings(home)
    return receive(file, site.exports[file.export_no - 1], site, resolve_policy(settings, site))


def test_a_good_file_has_records_rows_and_no_problem(tmp_path: Path) -> None:
    new = received(tmp_path, (READINGS_HEADER + pots("H-1", "2026-04-02", GOOD_PH)).encode())
    assert (new.facts.lines, new.records.height, new.rows.height, new.problems.height) == (6, 6, 5, 0)
    assert new.facts.problem is None
    assert new.facts.modified_at.microsecond == 0
    assert (new.facts.mode, new.facts.numbers_pots, new.facts.export_no) == ("increment", True, 1)


def test_each_problem_is_told_once_with_its_place(tmp_path: Path) -> None:
    body = (
        "H-1,2026-04-02,routine,1,5.8x,2.00,50,M1,\n"  # a cell
        "H-1,2026-04-02,routine,2,5.8,2.00\n"  # a line
        "H-1,2026-04-02,routine,3,15,2.00,50,M1,\n"  # a figure
    )
    new = received(tmp_path, (READINGS_HEADER + body).encode())
    problems = new.problems.sort("record_no").select("record_no", "code", "field", "cell").rows()
    assert problems == [
        (2, "number_unreadable", "ph", "5.8x"),
        (3, "ragged", None, None),
        (4, "ph_out_of_scale", None, None),
    ]
    assert all(sentence and not sentence.endswith(".") for sentence in new.problems["sentence"])


def test_a_problem_of_the_whole_file_is_not_repeated_for_each_line(tmp_path: Path) -> None:
    text = READINGS_HEADER.replace("pH", "Acid") + pots("H-1", "2026-04-02", GOOD_PH)
    new = received(tmp_path, text.encode())
    assert (new.facts.problem, new.problems.height) == ("columns_changed", 0)
    assert new.facts.problem_mend
    assert new.records.height == 6


def test_lots_are_received_as_lots(tmp_path: Path) -> None:
    new = received(tmp_path, (LOTS_HEADER + "H-1,1,petunia,pot_5_6in,,,\n").encode(), "lots")
    assert new.problems.select("code", "field").rows() == [("missing", "started")]


@pytest.fixture(scope="module")
def any_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("any")


# On a busy machine a file may take longer than Hypothesis allows by itself.
@settings(deadline=None)
@given(data=st.binary(max_size=400) | st.text(alphabet='H-1,"\n;.5\r é', max_size=200).map(str.encode))
def test_any_bytes_end_in_records_that_cover_every_line(any_home: Path, data: bytes) -> None:
    new = received(any_home, READINGS_HEADER.encode() + data)
    spans = new.records.select("line_from", "line_to").rows()
    covered = [line for first, last in spans for line in range(first, last + 1)]
    assert covered == list(range(1, new.facts.lines + 1))
    assert new.rows["record_no"].is_in(new.records["record_no"].to_list()).all()
    assert new.problems["record_no"].is_in(new.records["record_no"].to_list()).all()


def test_a_day_in_front_of_its_month_rules_where_the_export_writes_it_so() -> None:
    later, earlier = a_file("r_02.04.2026.csv", "2026-04-03T03:00:00"), a_file("r_01.05.2026.csv")
    export = make_export(columns={"lot": "Lot", "date": "Date", "ph": "pH"}, date_format="%m/%d/%Y")
    site = make_site(exports=(export,))
    assert order_files([later, earlier], site) == [earlier, later]
    german = export.model_copy(update={"date_format": "%d.%m.%Y"})
    assert order_files([earlier, later], site.model_copy(update={"exports": (german,)})) == [later, earlier]
