"""One night of a site with all kinds of exports, and the oracle's word on every figure of it."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.home import DAY, SITE, make_home, night
from tests.oracle.compare import compare
from tests.oracle.fates import DropFile, Night
from tests.oracle.small_home import REFERENCE
from tests.oracle.summary import compute

READINGS_TOO = 'note = "Note"\nsampler = "By"\ndrain = "Min"\npoured_with = "Water"\n'
LOTS_TOO = 'plants = "Plants"\nfeed_mode = "Feed"\nsubstrate = "Mix"\nvalid_from = "From"\n'
MORE = """
[[export]]
kind = "treatments"
files = "drop/done*.csv"
[export.columns]
lot = "Lot"
house = "House"
date = "Date"
what = "What"

[[export]]
kind = "feed_checks"
files = "drop/feed*.csv"
ec_compensated = false
time_format = "%H:%M"
[export.columns]
date = "Date"
time = "Time"
place = "Place"
house = "House"
injector = "Injector"
ec = {column = "EC", unit = "mS/cm"}
temperature = {column = "T", unit = "°C"}
alkalinity = {column = "Alkalinity", unit = "meq/L"}
target_ec = {column = "Asked", unit = "mS/cm"}

[[export]]
kind = "plantings"
files = "drop/planted*.csv"
[export.columns]
lot = "Lot"
ships = "Ships"

[[export]]
kind = "people"
files = "drop/people*.csv"
[export.columns]
name = "Name"
trained_on = "Trained"
"""
POLICY = """
[[policy]]
valid_from = 2026-01-01
wait_leaching_days = 5
[[policy]]
valid_from = 2026-03-20
wait_leaching_days = 1
feed_tolerance_share = 0.08
finding_levels = {feed_weak = "note", drain_time = "off"}
[[policy.crops]]
crop = "Glow vine"
ph_group = "iron-inefficient"
feeding_level = "light"
[[policy.targets]]
crop = "petunia"
quantity = "ph"
low = 5.7
high = 5.8
stage = "finishing"
[[policy.targets]]
crop = "petunia"
quantity = "ph"
low = 5.3
high = 5.7
stage = "active"
[[policy.targets]]
crop = "petunia"
quantity = "ec"
low = 0.2
high = 0.4
stage = "finishing"
"""
FILES = {
    "lots.csv": """Lot,House,Crop,Container,Potted,Ships,Plants,Feed,Mix,From
H-1,1,petunia,pot_5_6in,2026-01-02,2026-05-20,800,constant,Peat,
H-5,5,petunia,pot_4in,2026-01-02,2026-04-15,300,constant,Peat,
H-6,6,glow vine,pot_4in,2026-01-02,2026-05-20,300,constant,Peat,
H-2,1,petunia,plug,2026-01-02,2026-05-20,400,,bark,
H-2,2,petunia,plug,2026-01-02,2026-05-20,400,constant,Bark ,2026-03-01
H-2,2,petunia,plug,2026-01-02,2026-05-20,400,periodic,bark,2026-03-12
H-3,3,pansy,nursery,2026-01-02,2026-05-20,200,,,
""",
    "done.csv": """Lot,House,Date,What
,1,2026-03-17,leaching
h-1,,2026-03-17,iron drench
H-3,,2026-04-03,lime drench
H-2,,2026-03-26,leaching
""",
    "feed.csv": """Date,Time,Place,House,Injector,EC,T,Alkalinity,Asked
2026-02-05,,Source water,,Well 1,0.80,20,2.6,
2026-03-10,09:00,source water,,,0.50,15,,
2026-03-10,08:00,source water,,,0.90,25,3.2,
2026-03-20,,hose end,1,D9,1.20,25,,2.10
2026-03-12,,hose end,1,d9,2.00,25,,2.10
2026-03-12,,hose end,D9,,2.05,25,,2.10
2026-03-14,,hose end,2,D14,0.40,25,,
2026-03-14,,hose end,3,,1.90,,,2.10
2026-04-07,,hose end,3,,1.90,25,,2.10
""",
    "planted.csv": "Lot,Ships\nh-2,\nX-1,2026-05-01\nX-2,2026-04-01\n",
    "people.csv": "Name,Trained\nann,2026-03-20\n",
}


# Grubbs' test speaks of the pH of the last one and is silent about its EC.
EIGHT_POTS = [
    f"H-3,2026-04-01,affected,{pot},{ph},{ec},50,M1,,Ann,40,\n"
    for pot, (ph, ec) in enumerate(
        zip(
            ("5.50", "5.52", "5.54", "5.56", "5.58", "5.60", "5.62", "6.40"),
            ("1.50", "1.55", "1.60", "1.65", "1.70", "1.75", "1.80", "1.95"),
            strict=True,
        ),
        1,
    )
]


def readings() -> str:
    """pH of H-1 climbs, and falls by half a unit after the treatment; H-2 is low on EC."""
    # H-5 is active in February and finishing from 26 March on: EC 0.60 is low, then high
    header = "Lot,Date,Purpose,Pot,pH,EC (mS/cm),Leachate (mL),Meter,Note,By,Min,Water\n"
    plan: list[tuple[str, str, str, int, str]] = [
        *(("H-1", f"2026-02-{day:02}", "routine", 560 + day, "2.40") for day in (3, 10, 17, 24)),
        ("H-1", "2026-03-10", "routine", 600, "2.40"),
        ("H-1", "2026-03-17", "retest", 610, "2.40"),
        ("H-1", "2026-03-23", "routine", 560, "2.40"),
        ("H-1", "2026-03-24", "routine", 550, "2.40"),
        *(("H-2", f"2026-03-{day:02}", "routine", 540 + 4 * day, "0.60") for day in (3, 10, 17, 24, 31)),
        ("H-5", "2026-02-10", "routine", 570, "0.60"),
        ("H-6", "2026-03-10", "routine", 610, "0.90"),
        ("H-6", "2026-03-24", "routine", 660, "0.40"),
        ("H-5", "2026-03-24", "routine", 570, "0.60"),
        ("H-5", "2026-03-31", "routine", 570, "0.60"),
        *(("H-3", f"2026-03-{day:02}", "routine", 540 + 3 * day, "1.60") for day in (3, 10, 17, 24, 31)),
    ]
    water = {"H-1": "distilled", "H-2": "tap", "H-3": "", "H-5": "", "H-6": ""}
    ml = {"H-1": 50, "H-2": 30, "H-3": 50, "H-5": 30, "H-6": 30}
    return (
        header
        + "".join(
            f"{lot},{day},{purpose},{pot},{(centi + 3 * (pot % 3)) / 100},{ec},{ml[lot]},M1,,Ann,{28 + pot},"
            f"{water[lot]}\n"
            for lot, day, purpose, centi, ec in plan
            for pot in range(1, 7)
        )
        + "".join(EIGHT_POTS)
    )


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], dict[str, Any]]:
    """What the night wrote, and the oracle's own."""
    site = SITE.replace('note = "Note"\n', READINGS_TOO, 1).replace('plants = "Plants"\n', LOTS_TOO, 1)
    files = {
        **FILES,
        "meters.csv": "Meter,Date,Slope (%),Offset (mV)\n",
        "readings_2026-04-02.csv": readings(),
    }
    home = make_home(tmp_path_factory.mktemp("home"), site=site + MORE, policy=POLICY, **files)
    night(home)
    ours = json.loads((home / "out" / DAY.isoformat() / "summary.json").read_text(encoding="utf-8"))
    drops = [DropFile(f"drop/{name}", text.encode()) for name, text in files.items()]
    return ours, compute(home, [Night(DAY, {"hill": drops})], REFERENCE)


def test_a_night_and_the_oracle_agree(both: tuple[dict[str, Any], dict[str, Any]]) -> None:
    assert compare(*both) == []


def test_grubbs_is_told_from_seven_pots_on(both: tuple[dict[str, Any], dict[str, Any]]) -> None:
    (site,) = both[0]["sites"]
    (lot,) = [lot for lot in site["lots"] if lot["lot_id"] == "H-3"]
    sampling = lot["samplings"][-1]
    assert (sampling["ph"]["grubbs_beyond"], sampling["ec"]["grubbs_beyond"]) == (True, False)
    # Two-sided 5 % point of eight, as ASTM E178 prints it (from memory).
    assert sampling["ph"]["grubbs_critical"] == pytest.approx(2.126, abs=0.001)
    (told,) = [one["sentence"] for one in sampling["findings"] if one["rule"] == "outlier_ph"]
    assert told.startswith("Affected plants: 1 pot lies apart, pH 6.40")
    # mean 45.32 / 8 = 5.665, sum of squares .6286, SD .29967; (6.40 - 5.665) / .29967 = 2.4527
    assert told.endswith("Grubbs' test agrees: G 2.45, above its 5 % limit of 2.13.")
    earlier = lot["samplings"][0]["ph"]
    assert earlier["n"] == 6
    assert [earlier[name] for name in ("grubbs_g", "grubbs_critical", "grubbs_beyond")] == [None] * 3


def test_a_crop_without_a_range_of_its_own_takes_its_groups(
    both: tuple[dict[str, Any], dict[str, Any]],
) -> None:
    (site,) = both[0]["sites"]
    (lot,) = [lot for lot in site["lots"] if lot["lot_id"] == "H-6"]
    assert [(lot[name]["low"], lot[name]["high"]) for name in ("target_ph", "target_ec")] == [
        (5.4, 5.8),
        (1.0, 2.6),
    ]
    assert lot["target_ec"]["source"]["text"].startswith("feeding level light by the policy; NC State")
    # pH 6.60 is above 6.4, at which sources act for iron-inefficient crops.
    assert lot["level"] == "act"
    assert "crop_unknown" not in [one["rule"] for one in site["findings"]]


def test_a_target_for_a_stage_judges_that_stage(both: tuple[dict[str, Any], dict[str, Any]]) -> None:
    (site,) = both[0]["sites"]
    (lot,) = [lot for lot in site["lots"] if lot["lot_id"] == "H-5"]
    assert (lot["stage"], lot["target_ec"]["source"]["stage"]) == ("finishing", "finishing")
    assert (lot["target_ph"]["low"], lot["target_ph"]["high"]) == (5.7, 5.8)
    assert [one["ec"]["side"] for one in lot["samplings"]] == ["low", "low", "high"]
    # 0.2 mS/cm above 0.4 is 0.4 of a step; 1.5 while finishing; the first in a row
    assert lot["score"] == pytest.approx(0.4 * 1.5 * 2)


def test_there_is_something_to_agree_on(both: tuple[dict[str, Any], dict[str, Any]]) -> None:
    (site,) = both[0]["sites"]
    rules = {row["rule"] for row in site["findings"]}
    assert rules >= {
        "alkalinity_acid",
        "feed_weak",
        "feed_below_water",
        "lot_not_listed",
        "sampler_not_trained",
    }
    # D9 is an injector, whatever its case, and a house as well; the third house's check has no temperature
    hoses = [(row["spot"], row["words"]) for row in site["water"] if row["place"] == "hose_end"]
    assert hoses == [("D14", ["below_water"]), ("D9", ["as_set"]), ("D9", ["weak"])]
    codes = {row["code"] for lot in site["lots"] for row in lot["reasons"]}
    assert codes >= {"treated", "treatment_result", "alkaline_water"}
    said = {
        (row["rule"], one["sampled_on"])
        for lot in site["lots"]
        for one in lot["samplings"]
        for row in one["findings"]
    }
    assert {rule for rule, _ in said} >= {"poured_not_distilled", "ec_below_water", "drain_time"}
    # switched off from the 20th on
    assert max(day for rule, day in said if rule == "drain_time") == "2026-03-17"
