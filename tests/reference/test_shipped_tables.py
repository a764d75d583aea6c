"""The shipped tables: every value has a source, edges are ordered, crops consistent, options careful."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal

import polars as pl
import pytest

from pipeline.assets import reference_folder
from pipeline.measures.electrodes import BUFFER_TEMPERATURES_C, BUFFERS
from pipeline.measures.reference_tables import (
    HOW_KNOWN,
    OPTION_KINDS,
    TABLES,
    load_action_thresholds,
    load_alkalinity_targets,
    load_buffers_by_temperature,
    load_container_volumes,
    load_corrective_options,
    load_crop_targets,
    load_ec_bands,
    load_general_targets,
    load_group_targets,
    load_meter_limits,
    load_sampling_frequency,
    load_table,
)
from pipeline.settings.containers import CONTAINER_DEFAULTS
from pipeline.settings.policy import PolicyValues

LOADERS: dict[str, Callable[[], pl.DataFrame]] = {
    "crop_targets": load_crop_targets,
    "general_targets": load_general_targets,
    "group_targets": load_group_targets,
    "ec_bands": load_ec_bands,
    "container_volumes": load_container_volumes,
    "sampling_frequency": load_sampling_frequency,
    "corrective_options": load_corrective_options,
    "action_thresholds": load_action_thresholds,
    "meter_limits": load_meter_limits,
    "buffers_by_temperature": load_buffers_by_temperature,
    "alkalinity_targets": load_alkalinity_targets,
}

# Read, but where it can be found again is not known.
READ_WITHOUT_ADDRESS = {
    "Cornell Univ. greenhouse pour-through guideline (steps seen as quoted on a hobby growers' forum)",
    "Florida lecture slides on water quality",
    "JIS Z 8802 (confirmed 2011) as tabulated by HORIBA, Reference solutions",
    "Foxboro instruction MI 611-211, October 2005, Table 7 (American buffers)",
}

EDGES = [
    ("crop_targets", "ph_low", "ph_high"),
    ("crop_targets", "ec_low_ms_cm", "ec_high_ms_cm"),
    ("general_targets", "low", "high"),
    ("group_targets", "low", "high"),
    ("ec_bands", "low_ms_cm", "high_ms_cm"),
    ("container_volumes", "leachate_low_ml", "leachate_high_ml"),
    ("container_volumes", "drain_low_min", "drain_high_min"),
    ("sampling_frequency", "interval_low_days", "interval_high_days"),
    ("action_thresholds", "edge", "edge_high"),
    ("meter_limits", "low", "high"),
    ("alkalinity_targets", "low_mg_l", "high_mg_l"),
    ("alkalinity_targets", "high_mg_l", "acid_above_mg_l"),
]


def test_each_file_has_a_loader_and_each_loader_a_file() -> None:
    files = {path.stem for path in reference_folder().glob("*.csv")}
    assert files == set(TABLES) == set(LOADERS)


@pytest.mark.parametrize("name", TABLES)
def test_each_table_loads_with_its_rows(name: str) -> None:
    table = LOADERS[name]()
    assert table.height > 0
    assert table.height == len((reference_folder(f"{name}.csv")).read_text(encoding="utf-8").splitlines()) - 1


@pytest.mark.parametrize("name", TABLES)
def test_rows_are_counted_from_one(name: str) -> None:
    table = load_table(name)
    assert table["row_no"].to_list() == list(range(1, table.height + 1))


@pytest.mark.parametrize("name", TABLES)
def test_no_value_without_source(name: str) -> None:
    table = load_table(name)
    assert table["source"].str.strip_chars().str.len_chars().min() != 0
    assert set(table["how_known"]) <= set(HOW_KNOWN)
    without_address = table.filter(pl.col("source_url").is_null() & (pl.col("how_known") == "read"))
    assert set(without_address["source"]) <= READ_WITHOUT_ADDRESS
    assert table["source_url"].drop_nulls().str.contains(r"^https?://\S+$").all()


@pytest.mark.parametrize("name", TABLES)
def test_common_practice_claims_no_source(name: str) -> None:
    table = load_table(name)
    customary = table.filter(pl.col("how_known") == "common practice")
    assert set(customary["source"]) <= {"common practice (no source)"}
    assert customary["source_url"].null_count() == customary.height
    others = table.filter(pl.col("how_known") != "common practice")
    assert not others["source"].str.starts_with("common practice").any()


@pytest.mark.parametrize("name", TABLES)
def test_nothing_points_outside_of_the_project(name: str) -> None:
    text = reference_folder(f"{name}.csv").read_text(encoding="utf-8")
    assert not re.search(r"(?<![\w.:/])(/\w+/|\.\./)", text)


@pytest.mark.parametrize(("name", "low", "high"), EDGES)
def test_edges_are_ordered(name: str, low: str, high: str) -> None:
    table = load_table(name).filter(pl.col(low).is_not_null() & pl.col(high).is_not_null())
    assert table.height > 0
    assert (table[low] <= table[high]).all()


@pytest.mark.parametrize(("low", "high"), [("ph_low", "ph_high"), ("ec_low_ms_cm", "ec_high_ms_cm")])
def test_crop_ranges_have_both_edges_or_none(low: str, high: str) -> None:
    targets = load_crop_targets()
    assert (targets[low].is_null() == targets[high].is_null()).all()
    assert (targets[low] < targets[high]).drop_nulls().all()


def test_each_crop_row_gives_a_range() -> None:
    targets = load_crop_targets()
    assert not (targets["ph_low"].is_null() & targets["ec_low_ms_cm"].is_null()).any()


def test_ranges_are_plausible() -> None:
    targets = load_crop_targets()
    assert targets["ph_low"].drop_nulls().is_between(Decimal("5.0"), Decimal("6.5")).all()
    assert targets["ph_high"].drop_nulls().is_between(Decimal("5.5"), Decimal("7.0")).all()
    assert targets["ec_high_ms_cm"].drop_nulls().is_between(Decimal("0.5"), Decimal("5.0")).all()


@pytest.mark.parametrize("column", ["crop", "latin_name"])
def test_a_crop_is_written_one_way(column: str) -> None:
    per_crop = load_crop_targets().group_by("crop_key").agg(pl.col(column).n_unique())
    assert per_crop[column].max() == 1


# Sources differ about these two; every other crop is in one pH group at most.
def test_ph_groups_of_a_crop_agree() -> None:
    grouped = load_crop_targets().filter(pl.col("ph_group").is_not_null())
    several = grouped.group_by("crop_key").agg(pl.col("ph_group").n_unique()).filter(pl.col("ph_group") > 1)
    assert set(several["crop_key"]) == {"bracteantha (strawflower)", "torenia"}


def test_feeding_levels_of_a_crop_agree_and_stand_where_ec_stands() -> None:
    levels = load_crop_targets().filter(pl.col("feeding_level").is_not_null())
    assert levels["ec_low_ms_cm"].null_count() == 0
    assert levels.group_by("crop_key").agg(pl.col("feeding_level").n_unique())["feeding_level"].max() == 1


def test_a_source_has_one_row_a_crop_and_quantity() -> None:
    targets = load_crop_targets()
    assert not targets.select("crop_key", "source", "ph_low", "ec_low_ms_cm").is_duplicated().any()


def test_bands_follow_one_another() -> None:
    for _, bands in load_ec_bands().group_by("method", "used", maintain_order=True):
        assert bands["band_no"].to_list() == [1, 2, 3, 4, 5, 6]
        assert bands["low_ms_cm"][0] == 0
        assert bands["high_ms_cm"].is_null().to_list() == [False] * 5 + [True]
        gaps = bands["low_ms_cm"][1:] - bands["high_ms_cm"][:-1]
        assert gaps.is_between(Decimal(0), Decimal("0.1")).all()


def test_one_general_range_is_used() -> None:
    assert load_general_targets().filter("used").height == 1


def test_each_container_class_has_one_volume_in_use_but_the_plug() -> None:
    used = load_container_volumes().filter("used")["container_classes"].str.split(" ").explode()
    assert sorted(used) == sorted(set(CONTAINER_DEFAULTS) - {"plug"})


@pytest.mark.parametrize("name", ["action_thresholds", "meter_limits"])
def test_policy_defaults_are_the_figures_of_the_tables(name: str) -> None:
    defaults = PolicyValues()
    columns = {"action_thresholds": [("policy_name", "edge")]}.get(
        name, [("policy_low", "low"), ("policy_high", "high")]
    )
    for named, figure in columns:
        rows = load_table(name).filter(pl.col(named).is_not_null())
        assert rows.height > 0
        for policy_name, value in rows.select(named, figure).iter_rows():
            assert getattr(defaults, policy_name) == value


def test_a_threshold_between_two_edges_has_both() -> None:
    thresholds = load_action_thresholds()
    assert ((thresholds["comparison"] == "between") == thresholds["edge_high"].is_not_null()).all()


SIDES = [("ph", "low"), ("ph", "high"), ("ec", "low"), ("ec", "high")]


def options(quantity: str, side: str) -> pl.DataFrame:
    return load_corrective_options().filter((pl.col("quantity") == quantity) & (pl.col("side") == side))


@pytest.mark.parametrize(("quantity", "side"), SIDES)
def test_each_side_begins_with_what_harms_nobody(quantity: str, side: str) -> None:
    kinds = options(quantity, side).filter(pl.col("ph_group").is_null())["kind"].to_list()
    assert kinds[:4] == ["meter", "feed", "injector", "roots"]
    assert kinds[4] == "fertilizer"


@pytest.mark.parametrize(("quantity", "side"), SIDES)
def test_options_are_mild_first(quantity: str, side: str) -> None:
    ranks = [OPTION_KINDS.index(kind) for kind in options(quantity, side)["kind"]]
    assert ranks == sorted(ranks)


def test_each_option_has_cautions() -> None:
    assert (load_corrective_options()["cautions"].str.len_chars() >= 20).all()


def test_what_goes_on_plants_is_tried_on_a_few_first_and_leaves_the_word_to_others() -> None:
    drenches = load_corrective_options().filter(pl.col("kind") == "drench")
    assert drenches.height > 0
    for cautions in drenches["cautions"]:
        assert re.search(r"on a few plants", cautions)
        assert "local rules" in cautions


def test_no_drench_after_a_single_sampling() -> None:
    drenches = load_corrective_options().filter(pl.col("kind") == "drench")
    assert drenches["needs_in_a_row"].min() == 2


def test_more_feed_is_never_an_answer_to_one_reading() -> None:
    more_feed = options("ec", "low").filter(pl.col("kind").is_in(["fertilizer", "drench"]))
    assert more_feed.height > 0
    assert (more_feed["needs_in_a_row"] >= 2).all()
    assert more_feed["cautions"].str.contains("Never from a single reading").all()
    first_steps = options("ec", "low").filter(pl.col("needs_in_a_row") == 1)
    assert not first_steps["text"].str.contains(r"(?i)\b(raise|increase|more)\b").any()


# A rate is a number with a dose unit; the mild steps have none.
def test_rates_stand_only_where_a_publication_gives_them() -> None:
    rate = r"\d\s*(lb|oz|qt|gal|g/L|ppm N|mg/L iron)"
    with_rate = load_corrective_options().filter(pl.col("text").str.contains(rate))
    assert with_rate.height > 0
    assert set(with_rate["kind"]) <= {"fertilizer", "drench"}
    assert "common practice" not in set(with_rate["how_known"])


def test_what_is_from_memory_says_so_where_it_gives_a_figure() -> None:
    remembered = load_corrective_options().filter(
        (pl.col("how_known") == "memory") & pl.col("text").str.contains(r"\d")
    )
    assert remembered.height > 0
    assert remembered["text"].str.starts_with("From memory").all()


def test_the_page_describes_each_file() -> None:
    readme = reference_folder("README.md").read_text(encoding="utf-8")
    assert {name for name in TABLES if f"`{name}.csv`" in readme} == set(TABLES)


def test_buffers_are_those_that_the_electrode_measures_use() -> None:
    table = load_buffers_by_temperature()
    for name, (source, values) in BUFFERS.items():
        rows = table.filter(pl.col("buffer") == Decimal(name)).sort("temperature_c")
        assert rows["temperature_c"].to_list() == [int(degrees) for degrees in BUFFER_TEMPERATURES_C]
        assert [float(value) for value in rows["ph"]] == list(values)
        assert set(rows["source"]) == {source}
    assert table["buffer"].n_unique() == len(BUFFERS)


def test_a_buffer_is_named_by_its_value_at_25_degrees() -> None:
    at_25 = load_buffers_by_temperature().filter(pl.col("temperature_c") == 25)
    assert (at_25["buffer"] == at_25["ph"]).all()
