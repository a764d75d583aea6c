"""The oracle's own summary: the same shape as the product's, as far as numbers, dates and states go."""

from __future__ import annotations

from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path
from typing import Any

from tests.oracle.attention import LEVELS, last_counting, rank_key
from tests.oracle.contrasts import crop_contrasts
from tests.oracle.fates import Lot, Night, facts_on
from tests.oracle.lot_part import iso
from tests.oracle.samplings import QUANTITIES
from tests.oracle.series import counted
from tests.oracle.settings import Home, policy_on, read_home
from tests.oracle.site_part import site_part
from tests.oracle.standing import Standing, all_samplings, site_waters, stand
from tests.oracle.targets import read_references
from tests.oracle.water import read_borne


def crops_part(home: Home, standings: list[Standing], as_of: date) -> list[dict[str, Any]]:
    """Last counting means of the last four weeks, site against site; the first site by name gives the step."""
    if not home.sites:
        return []
    means: list[tuple[str, Lot, str, Fraction]] = []
    for standing in standings:
        last = last_counting(standing.samplings)
        if last is None or last.sampled_on < as_of - timedelta(days=28):
            continue
        for quantity in QUANTITIES:
            means += [
                (standing.site_id, standing.lot, quantity, mean) for _, mean in counted([last], quantity)
            ]
    policy = policy_on(home, min(home.sites, key=lambda site: site.site_id), as_of)
    return crop_contrasts(means, {"ph": policy["step_ph"], "ec": policy["step_ec_ms_cm"]})


def compute(home_folder: Path, nights: list[Night], reference_folder: Path) -> dict[str, Any]:
    """The summary of the last of the nights, from the settings, the files of every night and the published
    tables.
    """
    home = read_home(home_folder)
    references = read_references(reference_folder)
    borne = read_borne(reference_folder)
    as_of = nights[-1].as_of
    facts = {site.site_id: facts_on(home, site, nights) for site in home.sites}
    before = {site.site_id: facts_on(home, site, nights[:-1]) for site in home.sites} if nights[:-1] else {}
    samplings = {
        site.site_id: all_samplings(home, site, facts[site.site_id], references) for site in home.sites
    }
    waters = {site.site_id: site_waters(home, site, facts[site.site_id], borne, as_of) for site in home.sites}
    standings = [
        standing
        for site in home.sites
        for standing in stand(
            home,
            site,
            facts[site.site_id],
            samplings[site.site_id],
            references,
            waters[site.site_id],
            as_of,
        )
    ]
    standings.sort(key=lambda each: rank_key(each.level, each.score, each.lot, each.site_id, as_of))
    ranked = list(enumerate(standings, start=1))
    tonight = [file for each in facts.values() for file in each.files if file.received_on == as_of]
    return {
        "group_name": home.name,
        "language": home.language,
        "paper": home.paper,
        "date_format": home.date_format,
        "night": {
            "as_of": iso(as_of),
            "new_files": len(tonight),
            "new_records": sum(len(file.read.records) for file in tonight),
        },
        "lots_by_level": {
            level: sum(1 for standing in standings if standing.level == level) for level in LEVELS
        },
        "crop_contrasts": crops_part(home, standings, as_of),
        "sites": [
            site_part(
                home,
                site,
                facts[site.site_id],
                before.get(site.site_id),
                samplings[site.site_id],
                ranked,
                references,
                waters[site.site_id],
                as_of,
            )
            for site in home.sites
        ],
    }
