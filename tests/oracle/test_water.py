"""Source water, feed and the site's lists on homes of a few lines, every expected figure worked by hand."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from tests.oracle import small_home
from tests.oracle.small_home import LOT_HEADER, READING_HEADER, only_site, pots, summary_of
from tests.oracle.water import read_borne

AS_OF = date(2026, 4, 6)
PETUNIA = "P,2,petunia,pot_4in,2026-01-12,2026-05-08,800\n"
PLUGS = "S,1,pansy,plug,2026-03-12,2026-05-08,9000\n"
CHECKS = """
[[export]]
kind = "feed_checks"
files = "drop/feed*.csv"
[export.columns]
date = "date"
place = "place"
house = "house"
injector = "injector"
ec = {column = "ec", unit = "mS/cm"}
alkalinity = {column = "alkalinity", unit = "meq/L"}
target_ec = {column = "asked", unit = "mS/cm"}
temperature = {column = "temperature", unit = "°C"}
"""
CHECK_HEADER = "date,place,house,injector,ec,alkalinity,asked,temperature\n"
LISTS = """
[[export]]
kind = "plantings"
files = "drop/planted*.csv"
[export.columns]
lot = "lot"
planted = "planted"
ships = "ships"

[[export]]
kind = "people"
files = "drop/people*.csv"
[export.columns]
name = "name"
trained_on = "trained"
"""


def site_with(home: Path, checks: str, lots: str = PETUNIA, extra: str = CHECKS) -> dict[str, Any]:
    files = {
        "lots.csv": LOT_HEADER + lots,
        "readings.csv": READING_HEADER + pots("P", "2026-03-31", [(5.8, 0.4, 30)] * 5),
        "feed.csv": CHECK_HEADER + checks,
    }
    return only_site(summary_of(home, [(AS_OF, files)], extra))


def rules(site: dict[str, Any]) -> list[tuple[str, str]]:
    return [(row["rule"], row["level"]) for row in site["findings"]]


@pytest.mark.parametrize(
    ("meq", "words", "found"),
    [
        # 4 inch: 80-120, acid above 150; plugs: 40-60. 2.4 x 50.04 = 120.096, as 120.10: over 120, and over 60.
        ("0.8", ["low"], [("alkalinity_outside", "note")]),  # 40.03: in range for plugs, low for pots
        ("1.6", ["high"], [("alkalinity_outside", "note")]),  # 80.06: in range for pots, high for plugs
        ("2.4", ["high"], [("alkalinity_outside", "note")]),
        ("3.0", ["acid", "high"], [("alkalinity_acid", "warn")]),  # 150.12: acid for pots, high for plugs
    ],
)
def test_water_is_judged_for_every_container(
    tmp_path: Path, meq: str, words: list[str], found: list[tuple[str, str]]
) -> None:
    site = site_with(tmp_path, f"2026-03-10,source water,,,0.30,{meq},,\n", PETUNIA + PLUGS)
    assert [row["words"] for row in site["water"]] == [words]
    assert rules(site) == found


def test_edges_belong_to_the_range() -> None:
    borne = read_borne(Path(__file__).parents[2] / "pipeline" / "reference")
    pot, general = borne["pot_4in"], borne[""]
    assert [pot.word(at) for at in map(Fraction, (79, 80, 120, 121, 150, 151))] == [
        "low",
        "in_range",
        "in_range",
        "high",
        "high",
        "acid",
    ]
    assert (general.word(Fraction(0)), general.word(Fraction(101))) == ("in_range", "high")
    assert "nursery" not in borne


@pytest.mark.parametrize(
    ("hose", "asked", "words"),
    [
        # Water 0.50, so 1.60 is what 2.10 asks of the feed; 10 % of it are 0.16.
        ("1.94", "2.10", ["as_set"]),
        ("1.93", "2.10", ["weak"]),
        ("2.26", "2.10", ["as_set"]),
        ("2.27", "2.10", ["strong"]),
        ("0.49", "2.10", ["below_water"]),
        ("0.49", "", ["below_water"]),
        ("1.94", "", []),
        ("0.90", "0.59", []),  # 0.09 asked of the feed: too little for a share
    ],
)
def test_feed_less_the_water(tmp_path: Path, hose: str, asked: str, words: list[str]) -> None:
    site = site_with(
        tmp_path, f"2026-03-10,source water,,,0.50,,,\n2026-03-11,hose end,1,D9,{hose},,{asked},\n"
    )
    water, feed = site["water"]
    assert (water["words"], water["ec_ms_cm"]) == ([], 0.5)
    assert (feed["spot"], feed["words"]) == ("D9", words)
    assert (feed["water_on"], feed["water_ec_ms_cm"]) == ("2026-03-10", 0.5)
    warned = [f"feed_{word}" for word in words if word != "as_set"]
    assert rules(site) == [(rule, "warn") for rule in warned]


def test_the_water_nearest_in_days_and_nothing_too_old(tmp_path: Path) -> None:
    # 60 days before 6 April is 5 February. The 20th lies two days from the 18th and the 22nd: the earlier one.
    site = site_with(
        tmp_path,
        "2026-02-04,source water,,,0.10,,,\n2026-02-05,hose end,2,,1.00,,,\n2026-02-04,hose end,3,,1.00,,,\n"
        "2026-03-18,source water,,,0.40,,,\n2026-03-22,source water,,,0.60,,,\n"
        "2026-03-20,hose end,1,D9,2.00,,,\n2026-03-19,hose end,1,d9,1.90,,,\n2026-03-20,tank,1,,5.00,,,\n",
    )
    assert [
        (row["checked_on"], row["place"], row["spot"], row["water_ec_ms_cm"]) for row in site["water"]
    ] == [
        ("2026-03-18", "source_water", None, None),
        ("2026-02-05", "hose_end", "2", 0.4),
        ("2026-03-20", "hose_end", "D9", 0.4),
    ]


def test_a_meter_that_does_not_compensate(tmp_path: Path) -> None:
    # 1.00 at 15 °C: 1 / (1 - 10 x 0.0191) = 1 / 0.809 = 1.23609, kept as 1.2361; the third has no temperature.
    extra = CHECKS.replace("[export.columns]", "ec_compensated = false\n[export.columns]")
    site = site_with(
        tmp_path,
        "2026-03-10,hose end,1,,1.00,,,15\n2026-03-10,hose end,2,,1.00,,,25\n2026-03-10,hose end,3,,1.00,,,\n",
        extra=extra,
    )
    assert [(row["spot"], row["ec_ms_cm"]) for row in site["water"]] == [("1", 1.2361), ("2", 1.0)]


@pytest.mark.parametrize(("water", "is_said"), [("0.40", False), ("0.41", True)])
def test_leachate_with_less_than_the_water(tmp_path: Path, water: str, is_said: bool) -> None:
    # The pots of 31 March have 0.40; the check of 1 April comes too late for them.
    site = site_with(tmp_path, f"2026-03-10,source water,,,{water},,,\n2026-04-01,source water,,,3.00,,,\n")
    (sampling,) = site["lots"][0]["samplings"]
    assert ({"rule": "ec_below_water", "level": "warn"} in sampling["findings"]) == is_said


@pytest.mark.parametrize(
    ("planted", "people", "found"),
    [
        ("p,2026-03-01,\n", "", []),
        ("X,2026-03-01,\n", "", [("lot_not_listed", "warn")]),
        ("X,2026-04-07,\nY,2026-03-01,2026-04-05\n", "", []),
        ("", "ann,2026-03-31\n", []),
        ("", "Ann,2026-04-01\n", [("sampler_not_trained", "note")]),
        ("", "Bob,2026-01-01\n", [("sampler_not_trained", "note")]),
        ("", "Ann,\n", []),
    ],
)
def test_lists_against_each_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, planted: str, people: str, found: list[tuple[str, str]]
) -> None:
    with_sampler = small_home.SITE.replace('meter = "meter"', 'meter = "meter"\nsampler = "by"', 1)
    monkeypatch.setattr(small_home, "SITE", with_sampler)
    lines = pots("P", "2026-03-31", [(5.8, 2.5, 30)] * 5).replace("M1\n", "M1,Ann\n")
    files = {"lots.csv": LOT_HEADER + PETUNIA, "readings.csv": READING_HEADER.strip() + ",by\n" + lines}
    files |= {"planted.csv": "lot,planted,ships\n" + planted} if planted else {}
    files |= {"people.csv": "name,trained\n" + people} if people else {}
    assert rules(only_site(summary_of(tmp_path, [(AS_OF, files)], LISTS))) == found


def test_a_code_that_is_written_in_two_ways(tmp_path: Path) -> None:
    lots = PETUNIA + PETUNIA.replace("P,", "p,", 1)
    assert rules(site_with(tmp_path, "2026-03-10,tank,,,5.00,,,\n", lots)) == [("lot_code_twice", "note")]
