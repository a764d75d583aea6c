"""Which published names a crop's name may have meant."""

from __future__ import annotations

import pytest

from pipeline.measures.crop_names import near_crops

PUBLISHED = (
    "geranium, ivy",
    "geranium, seed",
    "geranium, zonal",
    "impatiens",
    "New Guinea impatiens",
    "poinsettia",
)


@pytest.mark.parametrize(
    ("crop", "names"),
    [
        ("zonal geranium", ["geranium, zonal"]),
        ("Poinsettia Red Comet", ["poinsettia"]),
        # the longest name that stands in it, not each that does
        ("Impatiens New Guinea mix", ["New Guinea impatiens"]),
        # a name that several crops share is no name of the first of them
        ("Geranium", ["geranium, ivy", "geranium, seed", "geranium, zonal"]),
        ("poinsetia", ["poinsettia"]),
        ("xyzzy", []),
        ("", []),
    ],
)
def test_names_that_may_have_been_meant(crop: str, names: list[str]) -> None:
    assert near_crops(crop, PUBLISHED) == names
