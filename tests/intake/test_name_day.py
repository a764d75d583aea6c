"""The day in a file's name, in each way in which names write one."""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.intake.name_day import day_in_name
from tests.oracle.file_names import named_day

SECOND_OF_APRIL = date(2026, 4, 2)
GERMAN, AMERICAN, ISO = "%d.%m.%Y", "%m/%d/%Y", "%Y-%m-%d"


@pytest.mark.parametrize(
    "name",
    [
        "r_2026-04-02",
        "2026_04_02",
        "r 2026.04.02",
        "20260402",
        "2026-4-2",
        "r2026-04-02T0800",
        "12.2026-04-02",
    ],
)
@pytest.mark.parametrize("form", [GERMAN, AMERICAN, ISO])
def test_a_year_in_front_means_one_day(name: str, form: str) -> None:
    assert day_in_name(f"drop/{name}.csv", [form]) == SECOND_OF_APRIL


@pytest.mark.parametrize("name", ["Messwerte_02.04.2026", "02-04-2026", "02_04_2026", "2.4.2026", "02042026"])
def test_a_year_behind_is_read_as_the_export_writes_its_dates(name: str) -> None:
    assert day_in_name(f"drop/{name}.csv", [GERMAN]) == SECOND_OF_APRIL
    assert day_in_name(f"drop/{name}.csv", [AMERICAN]) == date(2026, 2, 4)
    # the export does not tell, its site does
    assert day_in_name(f"drop/{name}.csv", [ISO, "%d %B %Y"]) == SECOND_OF_APRIL
    assert day_in_name(f"drop/{name}.csv", [ISO]) is None


@pytest.mark.parametrize(
    ("name", "day"),
    [("31-12-2026", (12, 31)), ("12-31-2026", (12, 31)), ("20042026", (4, 20)), ("03.03.2026", (3, 3))],
)
def test_what_can_be_read_in_one_way_needs_no_format(name: str, day: tuple[int, int]) -> None:
    assert day_in_name(name, [ISO]) == date(2026, *day)


@pytest.mark.parametrize(
    "name", ["lots_20261399", "order_120260401", "r", "31.02.2026", "2026-04.02", "02.04.26"]
)
def test_a_number_that_is_no_day_says_nothing(name: str) -> None:
    assert day_in_name(name, [GERMAN]) is None


@pytest.mark.parametrize("form", [GERMAN, AMERICAN, ISO])
@pytest.mark.parametrize(
    "name", ["a 01.02.2026 b", "20260203_04.05.2026", "1.02.03.2026", "x-13.01.2026", "99.99.2026"]
)
def test_the_oracle_reads_the_same_day(name: str, form: str) -> None:
    is_month_first = {GERMAN: False, AMERICAN: True, ISO: None}[form]
    assert day_in_name(name, [form]) == named_day(name, is_month_first)
