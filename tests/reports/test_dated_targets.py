"""A target from a day on: what was read before is judged by the target of its day, and the sentence names both."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.home import LOTS_HEADER, READINGS_HEADER, make_home, night, only_site, pots


@pytest.mark.parametrize(
    ("valid_from", "target"),
    [("2026-04-03", "5.4-6.2 (of that day, now 5.4-6.4)"), ("2026-01-01", "5.4-6.4")],
)
def test_the_target_of_the_day_stands_beside_tonight_s(tmp_path: Path, valid_from: str, target: str) -> None:
    policy = (
        f"[[policy]]\nvalid_from = {valid_from}\n"
        '[[policy.targets]]\ncrop = "petunia"\nquantity = "ph"\nlow = 5.4\nhigh = 6.4\n'
    )
    lots = LOTS_HEADER + "H-1,1,petunia,pot_5_6in,2026-03-02,2026-05-20,800\n"
    readings = READINGS_HEADER + pots("H-1", "2026-04-02", ("6.9", "6.8", "6.9", "7.0", "6.9"))
    home = make_home(
        tmp_path / "home", policy=policy, **{"lots.csv": lots, "readings_2026-04-02.csv": readings}
    )
    (lot,) = only_site(night(home).summary).lots
    assert lot.reasons[0].code == "clearly_out"
    assert f" clearly out, target {target}, " in lot.reasons[0].sentence
