"""Every figure, date and state in the demo's two summaries, computed a second time from the CSV files."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from tests.oracle.compare import compare
from tests.oracle.nights import demo_nights
from tests.oracle.summary import compute

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo_sites"
REFERENCE = ROOT / "pipeline" / "reference"
NIGHTS = (date(2026, 4, 2), date(2026, 4, 6))


@pytest.mark.parametrize("how_many", [1, 2])
def test_the_oracle_agrees_with_the_summary(demo_home: Path, how_many: int) -> None:
    as_of = NIGHTS[how_many - 1].isoformat()
    summary = json.loads((demo_home / "out" / as_of / "summary.json").read_text(encoding="utf-8"))
    oracle = compute(DEMO, demo_nights(DEMO, *NIGHTS)[:how_many], REFERENCE)
    assert compare(summary, oracle) == []


def test_the_demo_gives_the_oracle_something_to_compare() -> None:
    oracle = compute(DEMO, demo_nights(DEMO, *NIGHTS), REFERENCE)
    lots = [lot for site in oracle["sites"] for lot in site["lots"]]
    samplings = [sampling for lot in lots for sampling in lot["samplings"]]
    assert len(oracle["sites"]) == 4
    assert len(lots) > 40
    assert len(samplings) > 200
    assert {lot["level"] for lot in lots} == {"act", "no_reading", "watch", "ok"}
    assert {sampling["proper"] for sampling in samplings} == {"yes", "no", "not_shown"}
    assert {sampling["ec"]["not_judged_why"] for sampling in samplings} >= {None, "volume"}
    assert any(sampling["ph"]["sd_assumed"] for sampling in samplings)
    assert sum(site["released_tonight"] for site in oracle["sites"]) > 0
