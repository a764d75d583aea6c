"""A crop that no published table has is said aloud, with the nearest name."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.home import LOTS_HEADER, make_home, night, only_site


@pytest.mark.parametrize(
    ("crop", "hint"),
    [
        ("zonal geranium", " Did you mean “geranium, zonal”?"),
        ("Petunie", " Did you mean “petunia”?"),
        ("xyzzy", ""),
    ],
)
def test_an_unknown_crop_is_a_finding_with_the_nearest_name(tmp_path: Path, crop: str, hint: str) -> None:
    lots = LOTS_HEADER + f"H-1,1,{crop},pot_5_6in,2026-03-02,2026-05-20,800\n"
    site = only_site(night(make_home(tmp_path / "home", **{"lots.csv": lots})).summary)
    (finding,) = [finding for finding in site.findings if finding.rule == "crop_unknown"]
    assert finding.sentence == (
        f"1 lot of “{crop}”: no published table has this crop.{hint} It is judged by the general pH range and not "
        "on EC; give it a name of the tables under [export.values.crop] in site.toml, or a target of your own in "
        "policy.toml."
    )


def test_known_crops_and_own_targets_are_no_finding(tmp_path: Path) -> None:
    lots = LOTS_HEADER + (
        "H-1,1,Petunia,pot_5_6in,2026-03-02,2026-05-20,800\nH-2,1,lavender,pot_5_6in,2026-03-02,2026-05-20,800\n"
    )
    policy = (
        "[[policy]]\nvalid_from = 2026-01-01\n"
        '[[policy.targets]]\ncrop = "Lavender"\nquantity = "ph"\nlow = 6.0\nhigh = 6.8\n'
    )
    home = make_home(tmp_path / "home", policy=policy, **{"lots.csv": lots})
    assert "crop_unknown" not in {finding.rule for finding in only_site(night(home).summary).findings}
