"""Published cases of readings against the targets that the tool chooses."""

from __future__ import annotations

from decimal import Decimal

import polars as pl
import pytest

from pipeline.measures.reference_tables import load_action_thresholds, load_crop_targets, load_general_targets
from pipeline.measures.targets import choose_targets, list_published_ranges, other_ranges

SOURCE_ORDER = ("UMass Extension, Greenhouse Updates, 24 Mar 2023",)


def target(crop: str, quantity: str) -> dict[str, object]:
    chosen = choose_targets(load_crop_targets(), SOURCE_ORDER)
    return chosen.row(
        by_predicate=(pl.col("crop_key") == crop) & (pl.col("quantity") == quantity), named=True
    )


def side(reading: str, crop: str, quantity: str) -> str:
    """Low, in range or high; edges belong to the range."""
    edges = target(crop, quantity)
    value = Decimal(reading)
    low, high = Decimal(str(edges["low"])), Decimal(str(edges["high"]))
    if value < low:
        return "low"
    return "high" if value > high else "in range"


# Greenhouse Management, "The case of the curious pH drop" (read): poinsettia at pH 4.8 to 4.9, targets
# 5.8-6.2 and 2.5-4.5 mS/cm by pour-through. The EC of 3.0 is an example inside that range (computed).
def test_poinsettia_at_ph_4_9_and_ec_3_0_is_low_in_ph_and_in_range_in_ec() -> None:
    assert side("4.9", "poinsettia", "ph") == "low"
    assert side("3.0", "poinsettia", "ec") == "in range"
    for quantity, low, high in (("ph", "5.8", "6.2"), ("ec", "2.5", "4.5")):
        chosen = target("poinsettia", quantity)
        assert (chosen["low"], chosen["high"], chosen["how_known"]) == (Decimal(low), Decimal(high), "read")
        assert "curious pH drop" in str(chosen["source"])


def test_one_row_that_gives_both_quantities_serves_both() -> None:
    assert target("poinsettia", "ph")["row_no"] == target("poinsettia", "ec")["row_no"]


# UMass Extension, Greenhouse Updates, 10 Apr 2023 (read): zonal geraniums at pH 5.5, wanted 6.0 to 6.5.
def test_zonal_geranium_at_ph_5_5_is_low_by_every_published_range() -> None:
    assert side("5.5", "geranium, zonal", "ph") == "low"
    ranges = list_published_ranges(load_crop_targets())
    lows = ranges.filter((pl.col("crop_key") == "geranium, zonal") & (pl.col("quantity") == "ph"))["low"]
    assert lows.len() == 6
    assert all(Decimal("5.5") < low for low in lows)


# Six sources (read) and one from memory; the highest edge printed is 6.2.
def test_petunia_at_ph_6_4_is_above_every_published_range() -> None:
    assert side("6.4", "petunia", "ph") == "high"
    targets = load_crop_targets()
    others = other_ranges(targets, choose_targets(targets, SOURCE_ORDER))
    highs = others.filter((pl.col("crop_key") == "petunia") & (pl.col("quantity") == "ph"))["high"]
    assert highs.len() == 6
    assert all(high < Decimal("6.4") for high in highs)


# UMass Extension, Greenhouse Updates, 24 Mar 2023 (read): the three groups with their members.
UMASS_GROUPS = {
    ("iron-inefficient", "5.4", "6.2"): {
        "petunia", "calibrachoa", "pansy", "nemesia", "bacopa", "dianthus", "snapdragon", "verbena", "vinca",
    },
    ("general", "6.0", "6.4"): {"impatiens", "geranium, ivy", "poinsettia", "chrysanthemum"},
    ("iron-efficient", "6.0", "6.6"): {
        "geranium, seed", "geranium, zonal", "marigold", "new guinea impatiens", "lisianthus",
    },
}  # fmt: skip


def test_umass_groups_as_printed() -> None:
    umass = load_crop_targets().filter(pl.col("source").str.starts_with(SOURCE_ORDER[0]))
    found: dict[tuple[str, str, str], set[str]] = {}
    for crop, group, low, high in umass.select("crop_key", "ph_group", "ph_low", "ph_high").iter_rows():
        found.setdefault((group, f"{low:.1f}", f"{high:.1f}"), set()).add(crop)
    assert found == UMASS_GROUPS


# Sources that differ (all read): each crop keeps every range.
@pytest.mark.parametrize(
    ("crop", "printed"),
    [
        ("petunia", {"5.4-6.2", "5.4-5.8", "5.3-5.8", "5.5-6.0", "5.5-5.8"}),
        ("calibrachoa", {"5.4-6.2", "5.4-5.8", "5.3-5.8", "5.5-6.0", "5.5-5.8"}),
        ("geranium, zonal", {"6.0-6.6", "6.0-6.5", "5.8-6.5"}),
        ("impatiens", {"6.0-6.4", "5.8-6.5", "5.8-6.2"}),
        ("poinsettia", {"6.0-6.4", "5.8-6.2"}),
    ],
)
def test_ranges_of_sources_that_differ(crop: str, printed: set[str]) -> None:
    rows = load_crop_targets().filter(
        (pl.col("crop_key") == crop) & (pl.col("how_known") == "read") & pl.col("ph_low").is_not_null()
    )
    assert {f"{low:.1f}-{high:.1f}" for low, high in rows.select("ph_low", "ph_high").iter_rows()} == printed


# NC State Univ., HIL 590 (2000), feeding levels (memory); 2.5-4.5 for poinsettia: the teaching column (read).
def test_feeding_levels_as_printed() -> None:
    printed = {
        ("light", "1.0", "2.6"),
        ("medium", "2.0", "3.5"),
        ("heavy", "2.6", "4.6"),
        ("heavy", "2.5", "4.5"),
    }
    rows = load_crop_targets().filter(pl.col("feeding_level").is_not_null())
    found = rows.select("feeding_level", "ec_low_ms_cm", "ec_high_ms_cm").unique()
    assert {(level, f"{low:.1f}", f"{high:.1f}") for level, low, high in found.iter_rows()} == printed


# Michigan State Univ. Extension (read): 5.4 to 6.2 for most greenhouse plants; the tool's general range.
def test_the_general_range_in_use() -> None:
    used = load_general_targets().filter("used")
    assert used.select("low", "high", "how_known").rows() == [(Decimal("5.4"), Decimal("6.2"), "read")]
    assert used["source"].item().startswith("Michigan State Univ. Extension")


# Univ. of Florida IFAS training pages, Michigan State Univ. Extension, e-GRO Alert, UMass Table 2 (all read).
def test_action_thresholds_in_use() -> None:
    used = load_action_thresholds().filter(pl.col("policy_name").is_not_null())
    assert {name: (how, edge, known) for name, how, edge, known in used.select(
        "policy_name", "comparison", "edge", "how_known"
    ).iter_rows()} == {
        "ph_action_high_iron_inefficient": ("above", Decimal("6.4"), "read"),
        "ph_action_low_iron_efficient": ("below", Decimal("5.5"), "read"),
        "ph_action_low_other": ("below", Decimal("5.4"), "read"),
        "ec_act_ms_cm": ("at_or_above", Decimal("6.6"), "read"),
    }  # fmt: skip
