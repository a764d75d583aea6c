"""What growers customarily do, without a source: marked as such, and equal to the policy's defaults.

Nothing here is published; the tests hold the figures and their mark `common practice` in place.
"""

from __future__ import annotations

from decimal import Decimal

import polars as pl
import pytest

from pipeline.measures.reference_tables import load_container_volumes, load_sampling_frequency
from pipeline.settings.containers import CONTAINER_DEFAULTS
from pipeline.settings.policy import PolicyValues
from pipeline.settings.words import ContainerClass


def customary(container: ContainerClass) -> dict[str, object]:
    """The row in use for a container class."""
    fits = pl.col("container_classes").fill_null("").str.split(" ").list.contains(pl.lit(container))
    return load_container_volumes().row(by_predicate=pl.col("used") & fits, named=True)


# Common practice: 30 mL poured and collected for cell packs and 4 inch pots; 75 poured, 50 collected for 5 to
# 6 inch; 100 poured, 50 to 60 collected for 6.5 inch and larger; drained 30 to 60 minutes.
@pytest.mark.parametrize(
    ("container", "pour", "low", "high"),
    [
        ("cell_pack", 30, 30, 30),
        ("pot_4in", 30, 30, 30),
        ("pot_5_6in", 75, 50, 50),
        ("pot_6_5in_plus", 100, 50, 60),
    ],
)
def test_volumes(container: ContainerClass, pour: int, low: int, high: int) -> None:
    row = customary(container)
    assert row["how_known"] == "common practice"
    assert (row["pour_ml"], row["leachate_low_ml"], row["leachate_high_ml"]) == (
        Decimal(pour),
        Decimal(low),
        Decimal(high),
    )
    assert (row["drain_low_min"], row["drain_high_min"]) == (30, 60)


# Published (read): NC State Extension, pour-through for nursery crops, 1 gal containers: 120 mL for 50 mL,
# drained 30 min to 2 h.
def test_nursery_volume_is_published() -> None:
    row = customary("nursery")
    assert row["how_known"] == "read"
    assert (row["pour_ml"], row["leachate_low_ml"], row["drain_high_min"]) == (Decimal(120), Decimal(50), 120)


# Common practice: at least five pots or cell packs, about every two weeks. NC State HIL 590 prints five as
# well (read); for nursery containers it is three to five (NC State Extension, read).
def test_pot_counts_and_interval() -> None:
    frequency = load_sampling_frequency()
    routine = frequency.row(by_predicate=pl.col("crop_or_container") == "any crop, routine", named=True)
    assert routine["how_known"] == "common practice"
    assert (routine["interval_low_days"], routine["interval_high_days"]) == (14, 14)
    assert str(routine["minimum_sample"]).startswith("5 pots or cell packs")
    nursery = frequency.row(
        by_predicate=pl.col("crop_or_container") == "nursery containers, per irrigation zone", named=True
    )
    assert (nursery["minimum_sample"], nursery["how_known"]) == ("3 to 5 containers", "read")


@pytest.mark.parametrize("container", ["cell_pack", "pot_4in", "pot_5_6in", "pot_6_5in_plus", "nursery"])
def test_policy_defaults_are_the_rows_in_use(container: ContainerClass) -> None:
    row, rule = customary(container), CONTAINER_DEFAULTS[container]
    assert (rule.pour_ml, rule.leachate_low_ml, rule.leachate_high_ml) == (
        row["pour_ml"],
        row["leachate_low_ml"],
        row["leachate_high_ml"],
    )
    assert (rule.drain_low_min, rule.drain_high_min) == (row["drain_low_min"], row["drain_high_min"])


def test_policy_counts_five_pots_and_three_in_the_nursery() -> None:
    assert PolicyValues().min_usable_pots == 5
    pots = {container: rule.min_usable_pots for container, rule in CONTAINER_DEFAULTS.items()}
    assert pots == {
        "plug": 5, "cell_pack": 5, "pot_4in": 5, "pot_5_6in": 5, "pot_6_5in_plus": 5, "nursery": 3,
    }  # fmt: skip


# UMass, 24 Mar 2023, and NC State HIL 590 (read): plugs two to three times a week.
def test_plug_interval_lies_in_the_published_one() -> None:
    printed = load_sampling_frequency().filter(pl.col("container_classes") == "plug")
    assert printed["how_known"].to_list() == ["read", "read"]
    days = CONTAINER_DEFAULTS["plug"].routine_interval_days
    for low, high in printed.select("interval_low_days", "interval_high_days").iter_rows():
        assert low <= days <= high
