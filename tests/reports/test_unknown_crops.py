"""A crop that no published table has is said aloud, with the nearest name."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from tests.home import DAY, GOOD_PH, LOTS_HEADER, READINGS_HEADER, make_home, night, only_site, pots


@pytest.mark.parametrize(
    ("crop", "hint"),
    [
        ("zonal geranium", " Did you mean “geranium, zonal”?"),
        ("Petunie", " Did you mean “petunia”?"),
        ("Geranium", " Did you mean “geranium, cutting; geranium, ivy; geranium, seed; geranium, zonal”?"),
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


SITE_RULES = (
    ("site_silent", "warn"),
    ("crop_unknown", "warn"),
)


@pytest.mark.parametrize("level", ["warn", "note", "off"])
def test_the_policy_sets_the_level_of_what_is_said_of_a_site(tmp_path: Path, level: str) -> None:
    lots = LOTS_HEADER + "H-1,1,xyzzy,pot_5_6in,2026-03-02,2026-05-20,800\n"
    levels = ", ".join(f'{rule} = "{level}"' for rule, _ in SITE_RULES)
    policy = f"[[policy]]\nvalid_from = 2026-01-01\nfinding_levels = {{ {levels} }}\n"
    readings = READINGS_HEADER + pots("H-1", "2026-04-02", GOOD_PH)
    files = {"lots.csv": lots, "readings_2026-04-02.csv": readings}
    home = make_home(tmp_path / "home", policy=policy, **files)
    night(home)
    result = night(home, DAY + timedelta(days=9))
    found = [(one.rule, one.level) for one in only_site(result.summary).findings]
    assert found == ([] if level == "off" else [(rule, level) for rule, _ in SITE_RULES])
    assert only_site(result.summary).is_silent
    assert result.needs_somebody == (level == "warn")


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


@pytest.mark.parametrize(
    ("crop", "is_told"),
    [
        ("petunya", True),
        ("Petunia", False),
        # a published name that nobody grows here, and a crop of one's own that is out of season
        ("poinsettia", False),
        ("sweet corn", False),
    ],
)
@pytest.mark.parametrize("place", ["problem_crops", "targets"])
def test_a_crop_of_the_policy_with_a_slip_in_it_is_told(
    tmp_path: Path, crop: str, is_told: bool, place: str
) -> None:
    policy = "[[policy]]\nvalid_from = 2026-01-01\n" + (
        f'problem_crops = ["{crop}"]\n'
        if place == "problem_crops"
        else f'[[policy.targets]]\ncrop = "{crop}"\nquantity = "ph"\nlow = 5.4\nhigh = 6.0\n'
    )
    lots = LOTS_HEADER + "H-1,1,Petunia,pot_5_6in,2026-03-02,2026-05-20,800\n"
    site = only_site(night(make_home(tmp_path / "home", policy=policy, **{"lots.csv": lots})).summary)
    told = [finding.sentence for finding in site.findings if finding.rule == "policy_crop_unknown"]
    sentence = (
        f"The policy names the crop “{crop}”, which no lot here and no published table has: what it sets for it does "
        "nothing. Did you mean “petunia”?"
    )
    assert told == ([sentence] if is_told else [])
