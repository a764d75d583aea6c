"""Which rules have a remark on a site or its files; the product's sentences are not checked here."""

from __future__ import annotations

from datetime import date
from difflib import SequenceMatcher

from tests.oracle.fates import Lot, Received, SiteFacts, newer_before
from tests.oracle.findings import with_levels
from tests.oracle.lists import list_findings
from tests.oracle.questions import site_questions
from tests.oracle.records import HEADER_ONLY
from tests.oracle.samplings import Sampling, stage_on
from tests.oracle.settings import Policy, fold
from tests.oracle.standing import Standing
from tests.oracle.targets import References, target_of
from tests.oracle.water import Waters, water_findings


def new_columns(facts: SiteFacts, as_of: date) -> list[tuple[str, str]]:
    """One note an export that has columns tonight which no field maps and which it never had before."""
    seen: dict[tuple[int, str], date] = {}
    for file in facts.files:
        if file.read.file_problem is not None or file.read.header is None:
            continue
        mapped = {fold(column) for column, _ in file.export.columns.values()}
        for title in file.read.header:
            if title and fold(title) not in mapped:
                seen.setdefault((id(file.export), title), file.received_on)
    exports = {export for (export, _), day in seen.items() if day == as_of}
    return [("new_columns", "note")] * len(exports)


def older_files(facts: SiteFacts, as_of: date) -> list[tuple[str, str]]:
    """One note for each whole history of tonight that is older than one that came before it."""
    files = list(enumerate(facts.files))
    return [
        ("older_file", "note")
        for _, file in files
        if file.received_on == as_of
        and newer_before(file, [one for one in files if one[1].export is file.export])
    ]


def is_silent(facts: SiteFacts, policy: Policy, as_of: date) -> bool:
    """Nothing new for so many nights, or nothing ever."""
    if not facts.files:
        return True
    last = max(file.received_on for file in facts.files)
    return (as_of - last).days >= policy["silent_after_nights"]


def is_empty_increment(file: Received) -> bool:
    """Nothing was added since the last file: usual. A whole list with nothing in it is a mistake."""
    return file.read.file_problem == HEADER_ONLY and file.export.mode == "increment"


def quiet_site(facts: SiteFacts, policy: Policy, as_of: date) -> list[tuple[str, str]]:
    """A site that has gone quiet."""
    return [("site_silent", "warn")] if is_silent(facts, policy, as_of) else []


def held_files(facts: SiteFacts, as_of: date) -> list[tuple[str, str]]:
    """The files of the night that are held whole."""
    return [
        (file.read.file_problem, "note" if is_empty_increment(file) else "hold")
        for file in facts.files
        if file.received_on == as_of and file.read.file_problem is not None
    ]


def unknown_crops(
    lots: list[Lot], policy: Policy, references: References, as_of: date
) -> list[tuple[str, str]]:
    """A crop of standing lots that no published row has and for which nobody set a target: one finding a crop."""
    unknown = {
        lot.crop
        for lot in lots
        if not any(fold(row.crop) == fold(lot.crop) for row in references.rows)
        and all(
            target is None or target.basis == "general"
            for quantity in ("ph", "ec")
            for target in [target_of(lot, quantity, policy, references, stage_on(lot, as_of, policy))]
        )
    }
    return [("crop_unknown", "warn")] * len(unknown)


def misspelt_crops(lots: list[Lot], policy: Policy, references: References) -> list[tuple[str, str]]:
    """A crop of the policy that nobody has, like one of a standing lot: eight tenths of their letters in common."""
    named = {
        *(crop for crop, *_ in policy.site_targets),
        *(crop for crop, *_ in policy.group_targets),
        *(crop for crop, _ in policy.crop_groups),
        *policy.problem_crops,
        *policy.paired_crops,
    }
    grown = {fold(lot.crop) for lot in lots}
    known = grown | {fold(row.crop) for row in references.rows}
    return [
        ("policy_crop_unknown", "warn")
        for crop in {fold(one) for one in named} - known
        if any(SequenceMatcher(None, one, crop).ratio() >= 0.8 for one in grown)
    ]


def all_site_findings(
    facts: SiteFacts,
    samplings: dict[str, list[Sampling]],
    standings: list[Standing],
    waters: Waters,
    policy: Policy,
    references: References,
    as_of: date,
) -> list[tuple[str, str]]:
    """Rule and level; those of files that are held are not the policy's to set."""
    everything = [one for own in samplings.values() for one in own]
    standing = [standing.lot for standing in standings]
    settable = [
        *quiet_site(facts, policy, as_of),
        *new_columns(facts, as_of),
        *unknown_crops(standing, policy, references, as_of),
        *misspelt_crops(standing, policy, references),
        *older_files(facts, as_of),
        *site_questions(facts, everything, policy, as_of),
        *water_findings(waters),
        *list_findings(facts, as_of),
    ]
    return [
        *held_files(facts, as_of),
        *with_levels(settable, policy),
    ]
