"""Alkalinity: units and what a container bears, as printed."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.measures.water import alkalinity_targets, caco3_mg_l, judge_alkalinity


# Florida lecture slides (read): 1 to 5 meq/L are 50 to 250 mg/L CaCO3, to the nearest ten; exactly 50.04 a meq/L.
@pytest.mark.parametrize(("meq_l", "printed"), [(1, 50), (2, 100), (3, 150), (4, 200), (5, 250)])
def test_units(meq_l: float, printed: float) -> None:
    found = pl.DataFrame({"x": [meq_l]}).select(caco3_mg_l(pl.col("x"))).item()
    assert found == pytest.approx(printed, abs=0.5)


# Greenhouse Management (read): plugs 0.75 to 1.25 meq/L are about 40 to 60, packs 1.7 to 2.0 meq/L 85 to 100.
@pytest.mark.parametrize(
    ("container", "low_meq_l", "high_meq_l", "tolerance"),
    [("plug", 0.75, 1.25, 3.0), ("cell_pack", 1.7, 2.0, 0.5)],
)
def test_targets_in_both_units(container: str, low_meq_l: float, high_meq_l: float, tolerance: float) -> None:
    row = alkalinity_targets().row(
        by_predicate=(pl.col("container_class") == container) & pl.col("is_used"), named=True
    )
    assert row["low"] == pytest.approx(50.04 * low_meq_l, abs=tolerance)
    assert row["high"] == pytest.approx(50.04 * high_meq_l, abs=tolerance)


# Greenhouse Grower (read): container crops 80 to 120, acid above 150. Edges belong to the range.
@pytest.mark.parametrize(
    ("mg_l", "word"),
    [
        (79.9, "low"),
        (80.0, "in_range"),
        (120.0, "in_range"),
        (121.0, "high"),
        (150.0, "high"),
        (150.1, "acid"),
    ],
)
def test_container_crops(mg_l: float, word: str) -> None:
    water = pl.DataFrame({"container_class": ["pot_5_6in"], "alkalinity_mg_l": [mg_l]})
    assert judge_alkalinity(water)["word"].to_list() == [word]
