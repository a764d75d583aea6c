"""What a site's own lists say against each other: plantings without a lot, samplers without training, codes twice."""

from __future__ import annotations

from datetime import date, timedelta

from tests.oracle.fates import Received, SiteFacts, repeated_pots
from tests.oracle.fields import Typed
from tests.oracle.other_lines import lines_of
from tests.oracle.settings import fold

LOOKED_BACK = timedelta(days=28)


def newest(facts: SiteFacts, kind: str, key: str) -> dict[str, Typed]:
    """The last line on each lot or person."""
    return {fold(line.typed.text(key) or ""): line.typed for line in lines_of(facts, kind)}


def has_unlisted_lot(facts: SiteFacts, as_of: date) -> bool:
    """Planted by now, not yet shipped, and no line of the lot list names it."""
    return any(
        code not in facts.lot_lines
        and (typed.day("planted") or as_of) <= as_of
        and (typed.day("ships") or as_of) >= as_of
        for code, typed in newest(facts, "plantings", "lot").items()
    )


def has_untrained_sampler(facts: SiteFacts, as_of: date) -> bool:
    """A reading of the last four weeks by somebody whom the list of people has not, or who was trained later."""
    people = newest(facts, "people", "name")
    if not people:
        return False
    for reading in facts.readings:
        if reading.sampler is None or reading.sampled_on <= as_of - LOOKED_BACK:
            continue
        person = people.get(fold(reading.sampler))
        if person is None or (person.day("trained_on") or date.min) > reading.sampled_on:
            return True
    return False


def has_code_twice(facts: SiteFacts) -> bool:
    """The newest lot lists write one code in two ways, as in large and small letters."""
    lists: dict[int, Received] = {
        id(file.export): file
        for file in facts.files
        if file.export.kind == "lots" and file.read.file_problem is None
    }
    written = {
        code
        for file in lists.values()
        for typed in file.typed.values()
        if (code := typed.text("lot")) is not None
    }
    return len({fold(code) for code in written}) < len(written)


def has_gone_lot(facts: SiteFacts) -> bool:
    """A reading waits for a lot that a whole lot list had before and has no more."""
    gone, standing = set[str](), set[str]()
    for ref, fate in facts.fates.items():
        file = facts.files[ref.file_no]
        code = file.typed[ref.record_no].text("lot") if ref.record_no in file.typed else None
        if file.export.kind == "lots" and code is not None and fate.fate in ("withdrawn", "accepted", "held"):
            (gone if fate.fate == "withdrawn" else standing).add(fold(code))
    return any(
        fate.cause == "lot_unknown"
        and facts.files[ref.file_no].export.kind == "readings"
        and fold(fate.what or "") in gone - standing
        for ref, fate in facts.fates.items()
    )


def has_backward_lot(facts: SiteFacts) -> bool:
    """A lot's days in the lot list are the wrong way round."""
    return any(lot.ends_on is not None and lot.ends_on < lot.started_on for lot in facts.lots.values())


def has_repeated_pots(facts: SiteFacts, as_of: date) -> bool:
    """A sampling of tonight's files that no earlier file repeated has a pot's number twice."""
    known: set[tuple[object, ...]] = set()
    for file in facts.files:
        if file.export.kind != "readings" or file.export.numbers_pots is not None:
            continue
        new = {(file.export.files, *key) for key in repeated_pots(file)} - known
        if new and file.received_on == as_of:
            return True
        known |= new
    return False


def list_findings(facts: SiteFacts, as_of: date) -> list[tuple[str, str]]:
    """Rule and level; each once for a site."""
    rules = (
        ("lot_not_listed", "warn", has_unlisted_lot(facts, as_of)),
        ("sampler_not_trained", "note", has_untrained_sampler(facts, as_of)),
        ("lot_code_twice", "note", has_code_twice(facts)),
        ("lot_gone", "warn", has_gone_lot(facts)),
        ("lot_ends_first", "warn", has_backward_lot(facts)),
        ("pots_not_told_apart", "note", has_repeated_pots(facts, as_of)),
    )
    return [(rule, level) for rule, level, holds in rules if holds]
