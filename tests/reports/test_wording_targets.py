"""What the policy counts a crop among and is not used: said in the document, on the page and by trace."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from pipeline.reports.wording import Wording
from tests.home import GOOD_PH, READINGS_HEADER, find_lot, make_home, night, pots, run_cli

ROW: dict[str, Any] = {
    "quantity": "ph",
    "ph_group": "iron-efficient",
    "unused_group": "iron-efficient",
    "unused_low": Decimal("6.2"),
    "unused_high": Decimal("6.8"),
}
POLICY = """[[policy]]
valid_from = 2026-01-01
[[policy.crops]]
crop = "petunia"
ph_group = "iron-efficient"
feeding_level = "heavy"
"""
NOT_USED = "a range published for the crop itself goes before it."
PH = (
    f"The policy counts this crop in the pH group iron-efficient. That group's range, 6.2-6.8, is not used: {NOT_USED} "
    "Action limits and options go by the pH group that is published for it, iron-inefficient."
)
EC = f"The policy counts this crop as a heavy feeder. That group's range, 2.6-4.6 mS/cm, is not used: {NOT_USED}"


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (
            {},
            (
                "The policy counts this crop in the pH group iron-efficient. That group's range, 6.2-6.8, is not used: "
                f"{NOT_USED} Action limits and options go by the group."
            ),
        ),
        ({"ph_group": "iron-inefficient"}, PH),
        (
            {"ph_group": "general", "unused_low": None, "unused_high": None},
            (
                "The policy counts this crop in the pH group iron-efficient. "
                "Action limits and options go by the pH group that is published for it, general."
            ),
        ),
        (
            {
                "quantity": "ec",
                "unused_group": "heavy",
                "unused_low": Decimal("2.6"),
                "unused_high": Decimal("4.6"),
            },
            EC,
        ),
        ({"unused_group": None}, None),
    ],
)
def test_a_group_that_is_not_used_in_words(changes: dict[str, Any], sentence: str | None) -> None:
    assert Wording("%d %b").unused_group(ROW | changes) == sentence


def test_whoever_looks_at_a_target_sees_that_the_policys_group_is_not_used(tmp_path: Path) -> None:
    readings = READINGS_HEADER + pots("H-1", "2026-04-02", GOOD_PH) + pots("H-2", "2026-04-02", GOOD_PH)
    home = make_home(tmp_path / "home", **{"readings_2026-04-02.csv": readings})
    (home / "policy.toml").write_text(POLICY)
    done = night(home, pages=True)
    petunia, poinsettia = (find_lot(done.summary, code) for code in ("H-1", "H-2"))
    assert petunia.target_ph is not None
    assert petunia.target_ph.unused_group is not None
    assert petunia.target_ph.unused_group.sentence == PH
    assert petunia.target_ec is not None
    assert petunia.target_ec.unused_group is not None
    assert (petunia.target_ec.unused_group.low, petunia.target_ec.unused_group.sentence) == (2.6, EC)
    assert poinsettia.target_ph is not None
    assert poinsettia.target_ph.unused_group is None
    page = (home / "out" / "latest" / "sites" / "hill.html").read_text("utf-8").replace("&#39;", "'")
    assert page.count(PH) == 1
    assert page.count(EC) == 1
    traced = run_cli("trace", home, "hill", "H-1")
    assert (traced.code, PH in traced.out, EC in traced.out) == (0, True, True)
    assert "The policy counts" not in run_cli("trace", home, "hill", "H-2").out
