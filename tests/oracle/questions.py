"""Remarks that are worded as questions: where pots were picked, figures that may have been copied, digits, scales."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta
from fractions import Fraction

from tests.oracle.fates import Reading, Ref, SiteFacts, numbered
from tests.oracle.figures import median_of
from tests.oracle.positions import is_front_of_bench
from tests.oracle.samplings import Pot, Sampling
from tests.oracle.settings import Policy, fold

CHI_SQUARE_9_AT_0_1_PERCENT = Fraction("27.877")
FACTORS = (Fraction(1000), Fraction(1, 1000), Fraction(2), Fraction(1, 2), Fraction(7, 10), Fraction(10, 7))


def follows(sampling: Sampling) -> str:
    """Routine samplings and retests follow each other; other purposes are compared among themselves."""
    return "routine" if sampling.is_followed else sampling.purpose


def pairs(sampling: Sampling) -> Counter[tuple[Fraction | None, Fraction | None]]:
    return Counter((pot.reading.ph, pot.reading.ec_ms_cm) for pot in sampling.pots)


def is_same_as_before(sampling: Sampling, own: Sequence[Sampling]) -> bool:
    """Each pot by itself, enough of them, not all alike, and the same pairs as at the sampling before."""
    earlier = [
        other
        for other in own
        if follows(other) == follows(sampling)
        and (other.sampled_on, other.purpose) < (sampling.sampled_on, sampling.purpose)
    ]
    if not earlier:
        return False
    before = max(earlier, key=lambda other: (other.sampled_on, other.purpose))
    mine = pairs(sampling)
    single = all(pot.reading.n_pots == 1 for pot in sampling.pots)
    return single and len(sampling.pots) >= sampling.min_pots and len(mine) > 1 and mine == pairs(before)


def of_one(pots: Sequence[Pot], places: Sequence[str | None], least: int) -> bool:
    """Every pot has a place written down, and it is one and the same."""
    return len(pots) >= least and None not in places and len({(place or "").lower() for place in places}) == 1


def is_too_fast(sampling: Sampling) -> bool:
    times = [pot.reading.at for pot in sampling.pots]
    if len(times) < 5 or None in times or len(set(times)) == 1:
        return False
    seconds = [at.hour * 3600 + at.minute * 60 + at.second for at in times if at is not None]
    return max(seconds) - min(seconds) < sampling.policy["pace_seconds"] * (len(seconds) - 1)


def came_late(reading: Reading, sampling: Sampling, facts: SiteFacts) -> bool:
    first = min(file.received_on for file in facts.files)
    days = (reading.received_on - reading.sampled_on).days
    return days > sampling.policy["late_entry_days"] and reading.sampled_on >= first


def corrected(sampling: Sampling, facts: SiteFacts) -> bool:
    """A reading of this lot, day and purpose gave way to a later version."""
    for ref, fate in facts.fates.items():
        if fate.fate != "superseded" or is_other(ref, facts):
            continue
        typed = facts.files[ref.file_no].typed.get(ref.record_no)
        if typed is None or typed.problem is not None or typed.text("lot") is None:
            continue
        purpose = typed.text("purpose") or "routine"
        if purpose == "routine" and typed.text("condition") == "affected":
            purpose = "affected"
        if (fold(typed.text("lot") or ""), typed.day("date"), purpose) == (
            fold(sampling.lot.code),
            sampling.sampled_on,
            sampling.purpose,
        ):
            return True
    return False


def was_sent_again(sampling: Sampling, facts: SiteFacts) -> bool:
    """A later increment of one name brought a reading, and one that an earlier one had is no more in any file after."""
    spans = []
    for pot in sampling.pots:
        ref = pot.reading.ref
        if ref is None or facts.files[ref.file_no].export.mode != "increment":
            continue
        export = facts.files[ref.file_no].export
        said = numbered(facts.files[ref.file_no])[ref.record_no]
        stands = [
            number
            for number, file in enumerate(facts.files)
            if file.export is export and file.read.file_problem is None and said in numbered(file).values()
        ]
        spans.append((export.files, min(stands), max(stands)))
    return any(
        one == other and last < first and facts.files[last].name == facts.files[first].name
        for one, _, last in spans
        for other, first, _ in spans
    )


def is_other(ref: Ref, facts: SiteFacts) -> bool:
    return facts.files[ref.file_no].export.kind != "readings" or ref not in facts.keyed


def questions_of(sampling: Sampling, own: Sequence[Sampling], facts: SiteFacts) -> list[tuple[str, str]]:
    """Rule and level."""
    pots, readings = sampling.pots, [pot.reading for pot in sampling.pots]
    benches = {(pot.reading.bench or "").lower() for one in own for pot in one.pots if pot.reading.bench}
    rules = (
        (
            "one_bench",
            "note",
            len(benches) > 1 and of_one(pots, [reading.bench for reading in readings], sampling.min_pots),
        ),
        ("one_position", "note", of_one(pots, [reading.place for reading in readings], sampling.min_pots)),
        ("same_as_before", "warn", is_same_as_before(sampling, own)),
        ("too_fast", "warn", is_too_fast(sampling)),
        ("entered_late", "note", any(came_late(reading, sampling, facts) for reading in readings)),
        ("reading_corrected", "note", corrected(sampling, facts)),
        ("sent_again", "warn", was_sent_again(sampling, facts)),
    )
    return [(rule, level) for rule, level, holds in rules if holds]


def prefers_digits(texts: Sequence[str]) -> bool:
    """Chi-square of the last digits of cells with two decimals, from 100 of them on."""
    digits = [text[-1] for text in texts if has_two_decimals(text)]
    if len(digits) < 100:
        return False
    expected = Fraction(len(digits), 10)
    counts = Counter(digits)
    chi_square = sum((counts[digit] - expected) ** 2 / expected for digit in "0123456789")
    return chi_square > CHI_SQUARE_9_AT_0_1_PERCENT


def has_two_decimals(text: str) -> bool:
    whole, mark, decimals = text[:-3], text[-3:-2], text[-2:]
    return (
        bool(whole)
        and mark in (".", ",")
        and all(letter in "0123456789" for letter in whole + decimals)
        and bool(mark)
    )


def site_questions(
    facts: SiteFacts, samplings: Sequence[Sampling], policy: Policy, as_of: date
) -> list[tuple[str, str]]:
    pots = [pot for sampling in samplings for pot in sampling.pots if pot.reading.n_pots == 1]
    month = [
        pot for pot in pots if pot.reading.sampled_on > as_of - timedelta(days=int(policy["question_days"]))
    ]
    columns = ([pot.reading.ph_text for pot in month], [pot.reading.ec_text for pot in month])
    found = [
        ("last_digits", "note")
        for texts in columns
        if prefers_digits([text for text in texts if text is not None])
    ]
    measured = [pot.reading.ec_ms_cm for pot in month if pot.reading.ec_ms_cm is not None]
    whole = sum(1 for value in measured if value.denominator == 1)
    if len(measured) >= 50 and whole >= Fraction(3, 10) * len(measured):
        found.append(("whole_ec", "note"))
    if has_jumped(samplings, policy, as_of):
        found.append(("scale_jump", "warn"))
    if is_front_of_bench(pots, facts, policy, as_of):
        found.append(("front_of_bench", "warn"))
    return found


def has_jumped(samplings: Sequence[Sampling], policy: Policy, as_of: date) -> bool:
    longest = max(int(policy["question_days"]), 56)
    now: dict[str, list[Fraction]] = {}
    before: dict[str, list[Fraction]] = {}
    for sampling in samplings:
        if sampling.sampled_on <= as_of - timedelta(days=longest):
            continue
        span = now if sampling.sampled_on > as_of - timedelta(days=14) else before
        read = [pot.ec_ms_cm for pot in sampling.pots if pot.reading.n_pots == 1 and pot.ec_ms_cm is not None]
        span.setdefault(fold(sampling.lot.code), []).extend(read)
    medians = {lot: (median_of(now.get(lot, [])), median_of(before[lot])) for lot in before}
    own = {lot: new / old for lot, (new, old) in medians.items() if new is not None and old}
    pooled = [[ec for lot in own for ec in span[lot]] for span in (now, before)]
    if any(len(read) < 15 for read in pooled):
        return False
    ratios = [_median(pooled[0]) / _median(pooled[1]), _median(list(own.values()))]
    return any(all(abs(ratio / factor - 1) <= Fraction(1, 10) for ratio in ratios) for factor in FACTORS)


def _median(values: list[Fraction]) -> Fraction:
    middle = median_of(values)
    assert middle is not None
    return middle
