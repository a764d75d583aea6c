"""The lots that stand on the as-of date, each with all that was judged of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from tests.oracle.attention import Reason, level_of, reasons_of, routine_interval, score_of
from tests.oracle.dues import Account, Due, dues_on
from tests.oracle.fates import Lot, Reading, SiteFacts
from tests.oracle.lot_account import account_of
from tests.oracle.lot_facts import changes_of
from tests.oracle.measures import Measures, measure_lot
from tests.oracle.other_lines import lines_of
from tests.oracle.samplings import Sampling, count_in_a_row, sample
from tests.oracle.settings import Home, SiteSettings, policy_on
from tests.oracle.targets import References
from tests.oracle.treatments import (
    Treatment,
    is_retest_excused,
    is_waited_for,
    last_treatment,
    treatments_of,
)
from tests.oracle.water import Borne, Waters, waters_of

PURPOSES = ("routine", "retest", "affected", "healthy", "before_feed", "after_feed")


@dataclass(frozen=True)
class Standing:
    """A lot on the as-of date with all that was judged."""

    site_id: str
    lot: Lot
    samplings: list[Sampling]
    measures: Measures
    reasons: list[Reason]
    level: str
    score: Fraction
    account: Account
    dues: list[Due]
    treatments: list[Treatment]


def all_samplings(
    home: Home, site: SiteSettings, facts: SiteFacts, references: References
) -> dict[str, list[Sampling]]:
    """Samplings of every lot, oldest first; a day is judged by the policy in force on it."""
    groups: dict[tuple[str, date, int], list[Reading]] = {}
    by_day: dict[date, list[Reading]] = {}
    for reading in facts.readings:
        key = (reading.lot, reading.sampled_on, PURPOSES.index(reading.purpose))
        groups.setdefault(key, []).append(reading)
        by_day.setdefault(reading.sampled_on, []).append(reading)
    calibrations = facts.calibrations if site.sends("calibrations") else None
    samplings: dict[str, list[Sampling]] = {code: [] for code in facts.lots}
    for code, day, purpose in sorted(groups):
        readings = groups[code, day, purpose]
        policy = policy_on(home, site, day)
        samplings[code].append(
            sample(
                facts.lot_on(code, day),
                day,
                PURPOSES[purpose],
                readings,
                by_day[day],
                calibrations,
                policy,
                references,
            )
        )
    done = treatments_of(facts)
    return {
        code: count_in_a_row(
            each,
            [
                each.sampled_on
                for each in samplings[code]
                if is_waited_for(done.get(code, []), each.sampled_on, lambda day: policy_on(home, site, day))
            ],
        )
        for code, each in samplings.items()
    }


def stand(
    home: Home,
    site: SiteSettings,
    facts: SiteFacts,
    samplings: dict[str, list[Sampling]],
    references: References,
    waters: Waters,
    as_of: date,
) -> list[Standing]:
    policy = policy_on(home, site, as_of)
    treatments = treatments_of(facts)
    standings: list[Standing] = []
    for code, lot in facts.lots.items():
        if not lot.stands_on(as_of):
            continue
        own = samplings[code]
        done = treatments.get(code, [])
        # What was read on the day of a treatment belongs before it.
        starts = changes_of(facts.lot_lines[code]) | {each.day + timedelta(days=1) for each in done}
        measures = measure_lot(
            lot,
            own,
            policy,
            references,
            as_of,
            routine_interval(lot, policy),
            starts,
            last_treatment(done, own, lambda day: policy_on(home, site, day)),
            waters.of(lot.container_class),
        )
        treated = measures.treatment
        is_excused = treated is not None and is_retest_excused(facts, code, treated.retest_due_on, as_of)
        reasons = reasons_of(lot, own, policy, as_of, measures, is_excused)
        account = account_of(home, site, facts, lot, own, done, as_of)
        standings.append(
            Standing(
                site.site_id,
                lot,
                own,
                measures,
                reasons,
                level_of(reasons),
                score_of(own, policy, reasons),
                account,
                dues_on(account, as_of),
                done,
            )
        )
    return standings


def site_waters(
    home: Home, site: SiteSettings, facts: SiteFacts, borne: dict[str, Borne], as_of: date
) -> Waters:
    """The site's water and feed, judged for the containers that stand there."""
    return waters_of(
        lines_of(facts, "feed_checks"),
        lambda day: policy_on(home, site, day),
        {lot.container_class for lot in facts.lots.values() if lot.stands_on(as_of)},
        borne,
        as_of,
    )
