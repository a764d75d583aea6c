"""How often containers are to be sampled: `routine_by = "container"` against the published table.

Sources, all read: NC State Univ., Horticulture Information Leaflet 590 (2000); UMass Extension, Greenhouse Updates,
24 Mar 2023; NC State Extension, pour-through for nursery crops. The first sampling and the fortnight have no
source: they are common practice, and marked so.
"""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from typing import Any, get_args

import polars as pl
import pytest

from pipeline.measures.reference_tables import load_sampling_frequency
from pipeline.settings.containers import CONTAINER_INTERVAL_DAYS, ContainerChange
from pipeline.settings.in_force import merge_policy
from pipeline.settings.policy import POLICY_CATALOGUE, PolicyEntry, PolicyPeriod
from pipeline.settings.words import ContainerClass
from tests.sql.bench import Bench

HIL_590 = "NC State Univ., Horticulture Information Leaflet 590 (2000)"
UMASS = 'UMass Extension, Greenhouse Updates, 24 Mar 2023, "Keep an Eye on Substrate pH and EC"'
NURSERY = "NC State Extension, Using the PourThru Procedure for Checking EC and pH for Nursery Crops"

# As printed: class, days of our interval, sources that print it and in which words.
PRINTED: list[tuple[ContainerClass, int, dict[str, str]]] = [
    ("plug", 3, {HIL_590: "2 to 3 times per week", UMASS: "2 to 3 times per week"}),
    ("cell_pack", 7, {HIL_590: "weekly"}),
    ("pot_4in", 7, {HIL_590: "weekly", UMASS: "weekly"}),
    ("pot_5_6in", 14, {HIL_590: "every two weeks", UMASS: "every two weeks"}),
    ("pot_6_5in_plus", 14, {HIL_590: "every two weeks", UMASS: "every two weeks"}),
    ("nursery", 7, {NURSERY: "weekly"}),
]
HALF = Fraction(1, 2)
TIMES_A_WEEK = {
    "2 to 3 times per week": (Fraction(2), Fraction(3)),
    "weekly": (Fraction(1), Fraction(1)),
    "every two weeks": (HALF, HALF),
}


def by_container(**changes: Any) -> dict[ContainerClass, int]:
    """Routine intervals in days of a group that goes by what is published."""
    period = PolicyPeriod(valid_from=date(2026, 1, 1), routine_by="container", **changes)
    containers = merge_policy([period], [])[-1].values.containers
    return {name: rule.routine_interval_days for name, rule in containers.items()}


def rows_of(container: ContainerClass) -> list[dict[str, Any]]:
    """Rows of the published table for a class that print how often."""
    fits = pl.col("container_classes").fill_null("").str.split(" ").list.contains(pl.lit(container))
    return load_sampling_frequency().filter(fits & pl.col("frequency_as_printed").is_not_null()).to_dicts()


def test_every_class_is_checked() -> None:
    assert [container for container, *_ in PRINTED] == list(get_args(ContainerClass))
    assert by_container() == CONTAINER_INTERVAL_DAYS == {name: days for name, days, _ in PRINTED}


@pytest.mark.parametrize(("container", "days", "printed"), PRINTED)
def test_the_interval_is_as_often_as_printed(
    container: ContainerClass, days: int, printed: dict[str, str]
) -> None:
    table = {row["source"]: row for row in rows_of(container)}
    for source, words in printed.items():
        row = table[source]
        assert (row["frequency_as_printed"], row["how_known"]) == (words, "read")
        assert row["source_url"].startswith("https://")
        assert row["interval_low_days"] <= days <= row["interval_high_days"]
        least, most = TIMES_A_WEEK[words]
        assert least <= Fraction(7, days) <= most


@pytest.mark.parametrize(("container", "days", "printed"), PRINTED)
def test_no_source_asks_for_more_often(container: ContainerClass, days: int, printed: dict[str, str]) -> None:
    assert printed
    assert all(days <= row["interval_high_days"] for row in rows_of(container))


def test_a_groups_own_interval_goes_before_the_published_one() -> None:
    own = {"pot_4in": ContainerChange(routine_interval_days=10)}
    assert by_container(containers=own) == {**CONTAINER_INTERVAL_DAYS, "pot_4in": 10}


@pytest.mark.parametrize(("container", "days", "printed"), PRINTED)
def test_dues_by_container(
    bench: Bench, container: ContainerClass, days: int, printed: dict[str, str]
) -> None:
    assert printed
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), routine_by="container")])
    bench.lots(f"container_class\n{container}")
    bench.readings("n_pots | ec_ms_cm\n5 | -")
    due = date.fromordinal(date(2026, 3, 30).toordinal() + days)
    assert bench.rows("dues", "why, due_on, interval_days", "why = 'routine'") == [("routine", due, days)]


# Common practice ------------------------------------------------------------------------------------


def entry(name: str) -> PolicyEntry:
    return next(one for one in POLICY_CATALOGUE if one.name == name)


@pytest.mark.parametrize(
    ("row", "words", "days"),
    [
        ("any crop, first test", "soon after potting", None),
        ("any crop, routine", "about every two weeks", 14),
    ],
)
def test_first_sampling_and_fortnight_have_no_source(row: str, words: str, days: int | None) -> None:
    found = load_sampling_frequency().row(by_predicate=pl.col("crop_or_container") == row, named=True)
    assert (found["frequency_as_printed"], found["interval_high_days"]) == (words, days)
    assert (found["source"], found["how_known"]) == ("common practice (no source)", "common practice")


@pytest.mark.parametrize("container", ["cell_pack", "pot_4in", "pot_5_6in", "pot_6_5in_plus", "nursery"])
def test_the_fortnight_is_marked_common_practice_in_the_policy(container: str) -> None:
    fortnight = entry(f"containers.{container}.routine_interval_days")
    assert (fortnight.default, fortnight.origin, fortnight.source) == (14, "C", None)


def test_the_first_sampling_is_customary_and_its_seven_days_are_our_own() -> None:
    first = entry("first_within_days")
    assert (first.default, first.origin, first.source) == (7, "H", None)
    assert "common practice: soon" in first.meaning
