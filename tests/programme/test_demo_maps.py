"""The demo's maps fit its lots: each finds its benches, and pots can be drawn for it."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from pipeline.programme.draw import BenchMap, draw_places
from pipeline.programme.lot_benches import find_lot_benches
from pipeline.settings import SiteSettings, load_settings

DEMO = Path(__file__).parents[2] / "demo_sites"
SITES = {site.id: site for site in load_settings(DEMO).sites}
with (DEMO / "plan" / "lots.csv").open(encoding="utf-8", newline="") as plan:
    LOTS = list(csv.DictReader(plan))


def walk(site: SiteSettings) -> list[BenchMap]:
    return [
        BenchMap(walk_no, one.house, one.name, one.rows, one.columns, one.size)
        for walk_no, one in enumerate(site.benches, start=1)
    ]


@pytest.mark.parametrize("lot", LOTS, ids=[lot["lot"] for lot in LOTS])
def test_every_lot_stands_on_mapped_benches_with_places_for_its_pots(lot: dict[str, str]) -> None:
    found = find_lot_benches(walk(SITES[lot["site"]]), lot["house"], lot["bench"] or None)
    assert [one.bench for one in found] == ([lot["bench"]] if lot["bench"] else ["left", "right"])
    pots = draw_places(found, int(lot["pots"]), key=lot["lot"])
    assert len(set(pots)) == int(lot["pots"])


@pytest.mark.parametrize("site_id", SITES)
def test_a_map_has_no_bench_on_which_no_lot_stands(site_id: str) -> None:
    own = [lot for lot in LOTS if lot["site"] == site_id]
    benches = walk(SITES[site_id])
    used = {one for lot in own for one in find_lot_benches(benches, lot["house"], lot["bench"] or None)}
    assert used == set(benches)


def test_only_lots_that_are_fed_now_and_then_have_feed_days() -> None:
    named = {lot for site in SITES.values() for feeding in site.feedings for lot in feeding.lots}
    assert named == {lot["lot"] for lot in LOTS if lot["feed_mode"] == "periodic"}
    houses = {lot["lot"]: lot["house"] for lot in LOTS}
    for site in SITES.values():
        for feeding in site.feedings:
            assert {houses[lot] for lot in feeding.lots} == {feeding.house}
