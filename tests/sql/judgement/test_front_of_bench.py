"""Pots from the front row: what of a position is read, which pots count, and when a site is told."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from scipy import stats

from pipeline.settings import PolicyPeriod, SiteSettings
from pipeline.settings.benches import Bench as MappedBench
from pipeline.warehouse.statements import fetch
from tests.sql.bench import Bench, site

MAP = (
    MappedBench(house="House 1", name="1", rows=4, columns=20),
    MappedBench(house="House 1", name="2", rows=3, columns=10),
    MappedBench(house="House 1", name="3", rows=2, columns=10),
    MappedBench(house="House 1", name="4", rows=1, columns=60),
    MappedBench(house="House 1", name="5", places=60),
)


def mapped(site_id: str = "north", **changes: Any) -> SiteSettings:
    return site(site_id).model_copy(update={"benches": MAP, **changes})


def load(
    bench: Bench, positions: list[str], *, on_bench: str = "1", day: str = "2026-03-30", **same: str
) -> None:
    """Readings at these positions of a lot on one bench."""
    bench.lots(f"lot_code | house | bench\nA | House 1 | {on_bench}")
    bench.readings("position\n" + "\n".join(positions), same={"sampled_on": day, **same})


def counted(bench: Bench) -> list[tuple[Any, ...]]:
    bench.build("usable_readings")
    return fetch(bench.connection, "measures/recorded_rows").select("parts", "pots", "in_front").rows()


def told(bench: Bench, columns: str = "rule, level, n, a, b") -> list[tuple[Any, ...]]:
    bench.measure()
    return bench.rows("site_questions", columns)


@pytest.mark.parametrize(
    ("position", "found"),
    [
        pytest.param("1-7", [(4, 1, 1)], id="row and column"),
        pytest.param("4-20", [(4, 1, 0)], id="the last place"),
        pytest.param("1-7 edge", [(4, 1, 1)], id="as a sheet has it"),
        pytest.param("2-7 inside", [(4, 1, 0)], id="as a sheet has it, inside"),
        pytest.param("01 / 07", [(4, 1, 1)], id="stroke and zeros"),
        pytest.param("2:7", [(4, 1, 0)], id="colon"),
        pytest.param("R1 C7", [(4, 1, 1)], id="R and C"),
        pytest.param("r2c7", [(4, 1, 0)], id="without blanks"),
        pytest.param("Row 1, place 7", [(4, 1, 1)], id="in words"),
        pytest.param("row 3", [(4, 1, 0)], id="row alone"),
        pytest.param("Fila 1 columna 7", [(4, 1, 1)], id="in Spanish"),
        pytest.param("Reihe 1 Platz 7", [(4, 1, 1)], id="in German"),
        pytest.param("front", [(3, 1, 1)], id="front: one part of three"),
        pytest.param("Mitte", [(3, 1, 0)], id="middle in German"),
        pytest.param("atrás", [(3, 1, 0)], id="back in Spanish"),
        pytest.param("5-7", [], id="no such row"),
        pytest.param("1-21", [], id="no such column"),
        pytest.param("0-7", [], id="rows begin with 1"),
        pytest.param("17", [], id="a number alone is a place"),
        pytest.param("edge", [], id="an edge may be any"),
        pytest.param("1-7-3", [], id="three numbers"),
        pytest.param("7-Feb", [], id="what a spreadsheet made of it"),
        pytest.param("-", [], id="not written down"),
    ],
)
def test_what_a_position_says(bench: Bench, position: str, found: list[tuple[int, int, int]]) -> None:
    bench.use(mapped())
    load(bench, [position])
    assert counted(bench) == found


@pytest.mark.parametrize(
    ("on_bench", "position", "found"),
    [
        pytest.param("2", "front", [(3, 1, 1)], id="three rows: a part is a row"),
        pytest.param("3", "front", [(2, 1, 1)], id="two rows: front or back"),
        pytest.param("3", "middle", [], id="two rows have no middle"),
        pytest.param("4", "1-7", [], id="one row cannot be preferred"),
        pytest.param("5", "1-7", [], id="a bench without rows"),
        pytest.param("9", "1-7", [], id="not on the map"),
        pytest.param("1, 2", "1-7", [], id="which of two is not written down"),
    ],
)
def test_benches(bench: Bench, on_bench: str, position: str, found: list[tuple[int, int, int]]) -> None:
    bench.use(mapped())
    load(bench, [position], on_bench=on_bench)
    assert counted(bench) == found


def test_the_bench_of_the_reading_goes_before_that_of_the_lot(bench: Bench) -> None:
    bench.use(mapped())
    bench.lots("lot_code | house | bench\nA | House 1 | 1, 2")
    bench.readings("position | bench\n1-7 | 2")
    assert counted(bench) == [(3, 1, 1)]


def test_a_lot_that_moved_is_counted_where_it_stood(bench: Bench) -> None:
    bench.use(mapped())
    bench.lots("house | bench | valid_from\nHouse 1 | 2 | -\nHouse 1 | 1 | 2026-03-28")
    bench.readings("position | sampled_on\n1-7 | 2026-03-23\n1-7 | 2026-03-30")
    assert counted(bench) == [(3, 1, 1), (4, 1, 1)]


@pytest.mark.parametrize(
    ("same", "found"),
    [
        pytest.param({"purpose": "affected"}, [], id="picked for what they are"),
        pytest.param({"purpose": "healthy"}, [], id="picked beside them"),
        pytest.param({"condition": "affected"}, [], id="affected among routine pots"),
        pytest.param({"purpose": "retest"}, [(4, 1, 1)], id="retest"),
        pytest.param({"purpose": "before_feed"}, [(4, 1, 1)], id="before feeding"),
        pytest.param({"n_pots": "5"}, [], id="a line for several pots has no row"),
        pytest.param({"day": "2026-03-08"}, [(4, 1, 1)], id="30 days, the first"),
        pytest.param({"day": "2026-03-07"}, [], id="the day before"),
    ],
)
def test_which_pots_count(bench: Bench, same: dict[str, str], found: list[tuple[int, int, int]]) -> None:
    bench.use(mapped())
    load(bench, ["1-7"], **same)
    assert counted(bench) == found


def test_forty_of_forty_eight_from_the_front(bench: Bench) -> None:
    bench.use(mapped())
    load(bench, ["1-7"] * 40 + ["3-7"] * 8)
    assert told(bench) == [("front_of_bench", "warn", 48, 40.0, 12.0)]
    [(p,)] = bench.select("site_questions", "c")
    assert p == pytest.approx(stats.binomtest(40, 48, 0.25, alternative="greater").pvalue, abs=1e-9)
    assert bench.select("front_rows", "first_on, reason") == [(date(2026, 3, 30), None)]


@pytest.mark.parametrize(
    ("in_front", "is_told"),
    [
        # binomial, 20 pots, chance 1/4: 0.0139 for 10 or more, 0.0039 for 11 or more
        pytest.param(10, False, id="as chance may have it"),
        pytest.param(11, True, id="beyond chance"),
    ],
)
def test_where_chance_ends(bench: Bench, in_front: int, *, is_told: bool) -> None:
    bench.use(mapped())
    load(bench, ["1-7"] * in_front + ["2-7"] * (20 - in_front))
    assert bool(told(bench)) == is_told


def test_nineteen_pots_are_too_few(bench: Bench) -> None:
    bench.use(mapped())
    load(bench, ["1-7"] * 19)
    assert told(bench) == []
    assert bench.select("front_rows", "pots, in_front, p, reason") == [(19, 19, None, "too_few")]


def test_pots_from_the_back_are_no_finding(bench: Bench) -> None:
    bench.use(mapped())
    load(bench, ["4-7"] * 40)
    assert told(bench) == []


def test_benches_with_different_rows_are_judged_together(bench: Bench) -> None:
    bench.use(mapped())
    bench.lots("lot_code | house | bench\nA | House 1 | 1\nB | House 1 | 3")
    bench.readings("lot_code | position\n" + "A | 1-1\n" * 8 + "A | 2-1\n" * 4 + "B | 1-1\n" * 8)
    assert told(bench) == [("front_of_bench", "warn", 20, 16.0, 7.0)]
    shares = [0.25] * 12 + [0.5] * 8
    [(p,)] = bench.select("front_rows", "p")
    assert p == pytest.approx(stats.poisson_binom.sf(15, shares), abs=1e-9)


def test_each_site_by_its_own_map(bench: Bench) -> None:
    bench.use(mapped(), mapped("south", benches=()))
    for site_id in ("north", "south"):
        bench.lots("lot_code | house | bench\nA | House 1 | 1", site_id=site_id)
        bench.readings("position\n" + "1-7\n" * 30, site_id=site_id)
    assert told(bench, "site_id, rule") == [("north", "front_of_bench")]


def test_the_policy_sets_the_level(bench: Bench) -> None:
    period = PolicyPeriod(valid_from=date(2026, 1, 1), finding_levels={"front_of_bench": "note"})
    bench.use(mapped(), policy=[period])
    load(bench, ["1-7"] * 30)
    assert told(bench, "rule, level") == [("front_of_bench", "note")]


def test_the_policy_silences_it(bench: Bench) -> None:
    period = PolicyPeriod(valid_from=date(2026, 1, 1), finding_levels={"front_of_bench": "off"})
    bench.use(mapped(), policy=[period])
    load(bench, ["1-7"] * 30)
    assert told(bench) == []
