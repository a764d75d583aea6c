"""EC that is out although its pots lean the other way: the bound stands in the document, the sentence and the table."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.reports.formats import Voice, load_phrases
from pipeline.reports.view import describe_figures
from tests.home import GOOD_PH, READINGS_HEADER, make_home, night, only_site


@pytest.mark.parametrize(
    ("ec", "leachate", "figure", "shown"),
    [
        ("5.06", 80, "EC at least 5.06 mS/cm (5 pots, too much leachate dilutes)", "≥\u202f5.06"),
        ("0.62", 20, "EC at most 0.62 mS/cm (5 pots, too little leachate makes EC read high)", "≤\u202f0.62"),
    ],
)
def test_a_biased_ec_has_its_figure(tmp_path: Path, ec: str, leachate: int, figure: str, shown: str) -> None:
    lines = "".join(
        f"H-1,2026-04-02,routine,{pot},{ph},{ec},{leachate},M1,\n" for pot, ph in enumerate(GOOD_PH, 1)
    )
    home = make_home(tmp_path / "home", **{"readings_2026-04-02.csv": READINGS_HEADER + lines})
    (lot,) = [one for one in only_site(night(home).summary).lots if one.lot_id == "H-1"]
    (reason,) = [one for one in lot.reasons if one.code == "out"]
    assert reason.sentence.startswith(f"{figure} on 2026-04-02: out, target ")
    figures = lot.samplings[-1].ec
    assert (figures.mean, figures.bound_pots, figures.at_least) == (None, 5, True)
    assert figures.bound == pytest.approx(float(ec))
    assert describe_figures(figures, 2, Voice(load_phrases("en"), "%Y-%m-%d")).mean == shown
