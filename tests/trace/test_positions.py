"""The front row of a site step by step: counts, what chance gives, and its p, as worked out anew from the text."""

from __future__ import annotations

import re

import pytest
from scipy import stats

from pipeline.settings.benches import Bench as MappedBench
from pipeline.trace import trace_site, write_site_trace
from pipeline.trace.site import SiteTrace
from tests.sql.bench import Bench, settings_of, site

NORTH = site().model_copy(
    update={
        "benches": (
            MappedBench(house="House 1", name="1", rows=4, columns=20),
            MappedBench(house="House 1", name="2", rows=2, columns=20),
        )
    }
)


def trace(bench: Bench, positions: str) -> SiteTrace:
    bench.use(NORTH)
    bench.lots("lot_code | house | bench\nA | House 1 | 1\nB | House 1 | 2")
    bench.readings("lot_code | position\n" + positions)
    bench.build_traced()
    return trace_site(bench.connection, settings_of(NORTH), "north")


def test_the_chance_can_be_worked_out_from_the_text(bench: Bench) -> None:
    steps = trace(bench, "A | 1-1\n" * 9 + "A | 3-1\n" * 3 + "B | 1-1\n" * 10).front_row
    assert steps[:3] == [
        "benches of 2 rows: 10 pots, 10 in front, by chance 10 / 2 = 5.0000",
        "benches of 4 rows: 12 pots, 9 in front, by chance 12 / 4 = 3.0000",
        "since 2026-03-30 together 22 pots, 19 in front, 8.0000 to be expected by chance",
    ]
    least, p = re.findall(
        r"chance of (\d+) or more in front, by .*: (\S+); told below 0.01: beyond chance", steps[3]
    )[0]
    shares = [
        1 / int(rows) for pots, rows in re.findall(r"B\((\d+), 1/(\d+)\)", steps[3]) for _ in range(int(pots))
    ]
    assert len(shares) == 22
    assert float(p) == pytest.approx(stats.poisson_binom.sf(int(least) - 1, shares), rel=0.05)
    (stored,) = bench.select("front_rows", "p")
    assert float(p) == pytest.approx(stored[0], rel=0.05)


def test_what_chance_may_have_is_said_so(bench: Bench) -> None:
    steps = trace(bench, "A | 1-1\n" * 6 + "A | 3-1\n" * 14).front_row
    assert steps[-1].endswith("by B(20, 1/4): 0.38; told below 0.01: as chance may have it")


def test_too_few_pots_are_said_so(bench: Bench) -> None:
    assert trace(bench, "A | 1-1\n" * 5).front_row[-1] == "fewer than 20 pots: not judged"


def test_without_recorded_rows_there_is_nothing_to_tell(bench: Bench) -> None:
    found = trace(bench, "A | edge\nA | -")
    assert found.front_row == []
    assert "mapped bench" not in "\n".join(write_site_trace(found))


def test_it_is_on_the_terminal(bench: Bench) -> None:
    told = write_site_trace(trace(bench, "A | 1-1\n" * 20))
    assert "Pots of the last weeks whose row on a mapped bench is written down" in told
    assert "      benches of 4 rows: 20 pots, 20 in front, by chance 20 / 4 = 5.0000" in told
