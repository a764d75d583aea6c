"""Choosing among published ranges: the order of preference, one rule at a time."""

from __future__ import annotations

from decimal import Decimal
from random import Random

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from pipeline.measures.reference_tables import load_crop_targets
from pipeline.measures.targets import choose_targets, list_published_ranges, other_ranges

SOURCE_ORDER = ("Second Source", "First Source")

# Example times vary with what else the machine does; only results are judged.
UNHURRIED = settings(deadline=None)


def rows(*given_rows: dict[str, object]) -> pl.DataFrame:
    """Rows of `crop_targets` that name only what a test is about."""
    filled = [
        {
            "row_no": number,
            "crop": "petunia",
            "ph_low": None,
            "ph_high": None,
            "ec_low_ms_cm": None,
            "ec_high_ms_cm": None,
            "ph_group": None,
            "source": "some source",
            "source_url": None,
            "how_known": "read",
            **row,
        }
        for number, row in enumerate(given_rows, start=1)
    ]
    text, ph, ec = pl.String, pl.Decimal(6, 3), pl.Decimal(9, 4)
    return pl.DataFrame(
        filled,
        schema={
            "row_no": pl.Int32, "crop": text, "ph_low": ph, "ph_high": ph, "ec_low_ms_cm": ec,
            "ec_high_ms_cm": ec, "ph_group": text, "source": text, "source_url": text, "how_known": text,
        },
    )  # fmt: skip


def ph(low: str, high: str, **more: object) -> dict[str, object]:
    return {"ph_low": Decimal(low), "ph_high": Decimal(high), **more}


def ec(low: str, high: str, **more: object) -> dict[str, object]:
    return {"ec_low_ms_cm": Decimal(low), "ec_high_ms_cm": Decimal(high), **more}


def chosen_rows(table: pl.DataFrame) -> dict[str, int]:
    """Row number chosen for each quantity of the only crop."""
    chosen = choose_targets(table, SOURCE_ORDER)
    return dict(zip(chosen["quantity"], chosen["row_no"], strict=True))


def test_table_order_decides_between_read_rows() -> None:
    assert chosen_rows(rows(ph("5.5", "6.0"), ph("5.4", "6.2"))) == {"ph": 1}


def test_read_comes_before_memory() -> None:
    assert chosen_rows(rows(ph("5.5", "6.0", how_known="memory"), ph("5.4", "6.2"))) == {"ph": 2}


def test_a_named_source_comes_before_others_even_from_memory() -> None:
    table = rows(ph("5.5", "6.0"), ph("5.4", "6.2", source="First Source, 2023", how_known="memory"))
    assert chosen_rows(table) == {"ph": 2}


def test_named_sources_come_in_the_order_of_the_policy() -> None:
    table = rows(ph("5.5", "6.0", source="first source"), ph("5.4", "6.2", source="SECOND SOURCE, on pH"))
    assert chosen_rows(table) == {"ph": 2}


def test_a_row_that_gives_both_comes_before_a_named_source() -> None:
    table = rows(ph("5.5", "6.0", source="Second Source"), ph("5.4", "6.2") | ec("2.5", "4.5"))
    assert chosen_rows(table) == {"ph": 2, "ec": 2}


def test_quantities_are_chosen_each_for_itself() -> None:
    table = rows(ph("5.5", "6.0"), ec("1.0", "2.6", how_known="memory"))
    assert chosen_rows(table) == {"ph": 1, "ec": 2}


def test_crop_names_differ_in_case_and_outer_blanks_only() -> None:
    table = rows(ph("5.5", "6.0"), ph("5.4", "6.2", crop=" Petunia ", source="First Source"))
    chosen = choose_targets(table, SOURCE_ORDER)
    assert chosen.select("crop_key", "row_no").rows() == [("petunia", 2)]


def test_the_group_is_that_of_the_chosen_ph_row_and_stands_on_both_rows() -> None:
    table = rows(
        ph("5.5", "6.0", ph_group="iron-inefficient"),
        ph("5.8", "6.2", ph_group="general", source="First Source"),
        ec("2.0", "3.5"),
    )
    chosen = choose_targets(table, SOURCE_ORDER)
    assert chosen.select("quantity", "ph_group").rows() == [("ec", "general"), ("ph", "general")]


def test_a_chosen_row_without_group_takes_that_of_the_next() -> None:
    table = rows(ph("5.8", "6.5", source="First Source"), ph("6.0", "6.6", ph_group="iron-efficient"))
    assert choose_targets(table, SOURCE_ORDER)["ph_group"].to_list() == ["iron-efficient"]


def test_a_crop_that_no_row_puts_in_a_group_has_none() -> None:
    assert choose_targets(rows(ph("5.8", "6.5")), SOURCE_ORDER)["ph_group"].to_list() == [None]


def test_other_ranges_are_all_but_the_chosen_in_table_order() -> None:
    table = rows(
        ph("5.5", "6.0"), ec("2.0", "3.5"), ph("5.4", "6.2", source="First Source"), ph("5.3", "5.8"),
    )  # fmt: skip
    others = other_ranges(table, choose_targets(table, SOURCE_ORDER))
    assert others.select("quantity", "row_no").rows() == [("ph", 1), ("ph", 4)]


def test_other_ranges_keep_a_second_row_with_the_same_edges() -> None:
    table = rows(ph("5.4", "6.2"), ph("5.4", "6.2", source="another"))
    others = other_ranges(table, choose_targets(table, ()))
    assert others["source"].to_list() == ["another"]


def test_no_rows_no_targets() -> None:
    empty = rows()
    chosen = choose_targets(empty, SOURCE_ORDER)
    assert chosen.height == 0
    assert other_ranges(empty, chosen).height == 0


@UNHURRIED
@given(st.randoms(use_true_random=False))
def test_the_order_of_lines_in_the_file_changes_nothing(random: Random) -> None:
    targets = load_crop_targets()
    numbers = list(range(targets.height))
    random.shuffle(numbers)
    assert_frame_equal(choose_targets(targets[numbers], SOURCE_ORDER), choose_targets(targets, SOURCE_ORDER))


def test_chosen_and_others_are_all_published_ranges() -> None:
    targets = load_crop_targets()
    chosen = choose_targets(targets, SOURCE_ORDER)
    everything = pl.concat([chosen, other_ranges(targets, chosen)]).select(
        "quantity", "row_no", "low", "high"
    )
    published = list_published_ranges(targets).select("quantity", "row_no", "low", "high")
    assert_frame_equal(everything, published, check_row_order=False)
    assert not chosen.select("crop_key", "quantity").is_duplicated().any()
