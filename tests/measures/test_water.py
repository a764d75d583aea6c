"""Water and feed: what is missing is said, and nothing is subtracted in silence."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.measures.water import alkalinity_targets, check_feeds, judge_alkalinity


def feed(hose: float | None, water: float | None, expected: float | None) -> dict[str, object]:
    names = ("hose_ec_ms_cm", "water_ec_ms_cm", "expected_ec_ms_cm")
    frame = pl.DataFrame(
        {name: [value] for name, value in zip(names, (hose, water, expected), strict=True)},
        schema=dict.fromkeys(names, pl.Float64),
    )
    return dict(check_feeds(frame).row(0, named=True))


@pytest.mark.parametrize(
    ("hose", "word"), [(1.7, "as_set"), (1.55, "as_set"), (1.54, "weak"), (1.85, "as_set"), (1.86, "strong")]
)
def test_feed_against_what_it_should_give(hose: float, word: str) -> None:
    found = feed(hose, 0.2, 1.5)
    assert found["word"] == word
    assert found["added_ec_ms_cm"] == pytest.approx(hose - 0.2)
    assert found["share"] == pytest.approx((hose - 0.2) / 1.5)


@pytest.mark.parametrize(
    ("hose", "water", "expected", "reason"),
    [
        (None, 0.2, 1.5, "not_measured"),
        (1.7, None, 1.5, "not_measured"),
        (1.7, 0.2, None, "not_measured"),
        (0.1, 0.2, 1.5, "below_water"),
        (0.3, 0.2, 0.0, "no_feed"),
    ],
)
def test_why_a_feed_is_not_judged(
    hose: float | None, water: float | None, expected: float | None, reason: str
) -> None:
    found = feed(hose, water, expected)
    assert (found["reason"], found["word"], found["share"]) == (reason, None, None)


def test_water_of_each_class() -> None:
    waters = pl.DataFrame(
        {
            "container_class": ["plug", "plug", "nursery", "nursery", "cell_pack", "pot_4in"],
            "alkalinity_mg_l": [39.0, 60.0, 20.0, 151.0, 101.0, None],
        }
    )
    found = judge_alkalinity(waters)
    assert found["word"].to_list() == ["low", "in_range", "in_range", "acid", "high", None]
    assert found.columns == [
        "container_class",
        "alkalinity_mg_l",
        "low",
        "high",
        "acid_above",
        "source",
        "word",
    ]


def test_every_target_has_a_source_and_one_of_a_class_is_used() -> None:
    table = alkalinity_targets()
    assert table["source"].null_count() == 0
    used = table.filter(pl.col("is_used"))["container_class"]
    assert used.n_unique() == used.len() == table["container_class"].n_unique()
