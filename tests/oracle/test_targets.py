"""The oracle's targets and bands against the published tables."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest

from tests.oracle.fates import Lot
from tests.oracle.settings import Home, Policy, SiteSettings, policy_on
from tests.oracle.small_home import REFERENCE
from tests.oracle.targets import band_of, ph_group_of, read_references, target_of

REFERENCES = read_references(REFERENCE)
SITE = SiteSettings("one", "one", "One", "en", "a4", "%Y", None, "UTC", (), (), ())
DAY = date(2026, 4, 1)


def policy(*tables: dict[str, object]) -> Policy:
    return policy_on(Home("Small", "en", "a4", "%Y", tables, ()), SITE, DAY)


def a_lot(crop: str, container: str = "pot_4in", feed: str = "constant") -> Lot:
    return Lot("A", None, None, crop, None, container, 1, date(2026, 1, 1), None, None, feed)


def edges(
    crop: str, quantity: str, container: str = "pot_4in", feed: str = "constant"
) -> tuple[float, float] | None:
    found = target_of(a_lot(crop, container, feed), quantity, policy(), REFERENCES)
    return None if found is None else (float(found.low), float(found.high))


@pytest.mark.parametrize(
    ("crop", "quantity", "low", "high"),
    [
        (
            "poinsettia",
            "ph",
            5.8,
            6.2,
        ),  # the row that gives both, although the preferred source prints 6.0-6.4
        ("poinsettia", "ec", 2.5, 4.5),
        ("Petunia ", "ph", 5.4, 6.2),  # the preferred source
        ("petunia", "ec", 2.0, 3.5),  # from memory, the only one
        ("geranium, zonal", "ph", 6.0, 6.6),
        ("no such crop", "ph", 5.4, 6.2),  # the general range
    ],
)
def test_published_targets(crop: str, quantity: str, low: float, high: float) -> None:
    assert edges(crop, quantity) == (low, high)


@pytest.mark.parametrize(
    ("crop", "container", "feed"),
    [
        ("petunia", "plug", "constant"),
        ("petunia", "nursery", "constant"),
        ("petunia", "pot_4in", "controlled_release"),
        ("geranium, zonal", "pot_4in", "constant"),
        ("no such crop", "pot_4in", "constant"),
    ],
)
def test_lots_without_an_ec_target(crop: str, container: str, feed: str) -> None:
    assert edges(crop, "ec", container, feed) is None


def test_a_groups_own_target_serves_plugs_too() -> None:
    own = policy(
        {
            "valid_from": DAY,
            "targets": [{"crop": "Petunia", "quantity": "ec", "low": Fraction(1), "high": Fraction(2)}],
        }
    )
    found = target_of(a_lot("petunia", "plug"), "ec", own, REFERENCES)
    assert found is not None
    assert (found.low, found.high) == (Fraction(1), Fraction(2))
    assert found.basis == "group"
    assert found.others == ((Fraction(2), Fraction("3.5")),)


def test_ph_groups() -> None:
    assert ph_group_of(REFERENCES, "petunia", policy()) == "iron-inefficient"
    assert ph_group_of(REFERENCES, "geranium, zonal", policy()) == "iron-efficient"
    assert ph_group_of(REFERENCES, "no such crop", policy()) is None


@pytest.mark.parametrize(
    ("mean", "method", "band"),
    [
        ("2.6", "pour-through", "low"),
        ("2.6", "1:2 dilution", "extreme"),
        ("2.6", "saturated media extract", "normal"),
        ("0", "pour-through", "very low"),
        ("1.0", "pour-through", "very low"),
        ("6.5", "pour-through", "high"),
        ("6.55", "pour-through", "high"),
        ("6.6", "pour-through", "very high"),
        ("7.8", "pour-through", "very high"),
        ("7.81", "pour-through", "extreme"),
    ],
)
def test_bands(mean: str, method: str, band: str) -> None:
    assert band_of(Fraction(mean), method, REFERENCES) == band


def test_policy_tables_change_only_what_they_list() -> None:
    found = policy(
        {
            "valid_from": date(2026, 1, 1),
            "uneven_ph_sd": Fraction("0.4"),
            "containers": {"plug": {"pour_ml": 20}},
        },
        {"valid_from": date(2026, 2, 1), "min_usable_pots": 6},
        {"valid_from": date(2026, 4, 2), "uneven_ph_sd": Fraction("0.9")},
    )
    assert found["uneven_ph_sd"] == Fraction("0.4")
    assert found["uneven_ec_sd_ms_cm"] == Fraction("0.6")
    assert found.containers["plug"]["pour_ml"] == 20
    assert found.containers["plug"]["leachate_low_ml"] == 30
    # The group's own number of pots holds for every class.
    assert {float(each["min_usable_pots"]) for each in found.containers.values()} == {6.0}
