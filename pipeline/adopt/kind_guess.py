"""What kind of file it is: the kind whose fields take most of its columns and which lacks least."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from pipeline.adopt.cell_guess import known_share
from pipeline.adopt.columns import TELLING_FIELDS, ColumnFacts, Match, map_columns, missing_groups
from pipeline.adopt.questions import Choice, Desk, Guess, Question
from pipeline.settings.words import FIELDS, KINDS

_TOO_CLOSE = 0.9
# Half of a field that a kind cannot do without is missing where none of its cells is a known word.
_UNKNOWN_WORDS = 0.5
_KIND_WHY: Mapping[str, str] = {
    "readings": "pH and EC of leachate",
    "lots": "which crops stand where, and in what",
    "calibrations": "checks of meters",
    "treatments": "what was done to mend a pH or an EC",
    "feed_checks": "pH and EC of source water and feed",
    "exemptions": "lots that need not be sampled for a while, and why",
    "plantings": "what is planted and when it ships",
    "people": "who samples, and who was trained when",
}


def guess_kind(
    columns: Sequence[ColumnFacts], given: str | None, desk: Desk, can_be: Callable[[str], bool]
) -> Guess:
    """The kind, as given or as the columns say; asked where two are close or too little speaks for the first.

    `can_be` says whether columns are at hand for all that a kind cannot do without: one that has them is
    proposed before one as close that has not.
    """
    if given is not None:
        return Guess(given, "certain", "you said so")
    mapped = {kind: map_columns(columns, kind) for kind in KINDS}
    scores = {kind: _score(kind, mapped[kind]) for kind in KINDS}
    order = sorted(scores, key=lambda kind: -scores[kind])
    first, second = order[:2]
    if not scores[first] or scores[second] > _TOO_CLOSE * scores[first] or _is_thin(first, mapped, columns):
        text = "its headers fit more than one kind of file: what does it hold?"
        if scores[second] <= _TOO_CLOSE * scores[first]:
            text = "too little tells what it is: what does it hold?"
        close = _TOO_CLOSE * scores[first]
        order.sort(key=lambda kind: scores[kind] < close or not can_be(kind))
        return desk.ask(
            Question("kind", text, tuple(Choice(kind, _KIND_WHY[kind]) for kind in order), order[0])
        )
    lacking = missing_groups(first, [match.field for match in mapped[first]])
    strange = _strange_fields(mapped[first])
    why = f"{len(mapped[first])} of its {len(columns)} columns are those of {first}"
    if strange:
        why += f", though no word in {' and '.join(strange)} is known"
    return desk.settle("kind", Guess(first, "likely" if lacking or strange else "certain", why), KINDS)


def _score(kind: str, matches: Sequence[Match]) -> float:
    groups = len(FIELDS[kind].one_of)
    lacking = float(len(missing_groups(kind, [match.field for match in matches])))
    lacking += _UNKNOWN_WORDS * len(_strange_fields(matches))
    return sum(match.score for match in matches) * (1 - lacking / (groups + 1))


def _strange_fields(matches: Sequence[Match]) -> list[str]:
    """The fields that live by their words and whose cells have none that is known."""
    return [
        match.field
        for match in matches
        if match.field in TELLING_FIELDS and known_share(match.field, match.column.cells) == 0
    ]


def _is_thin(kind: str, mapped: Mapping[str, Sequence[Match]], columns: Sequence[ColumnFacts]) -> bool:
    """Whether the kind could still be another: names alone make no list of people, and pots make a list of lots."""
    fields = {match.field for match in mapped[kind]}
    if kind == "people":
        return not fields & {"role", "trained_on", "trained_by", "until"}
    if kind == "plantings":
        taken = {match.column.at for match in mapped[kind]}
        return any(
            column.at not in taken and known_share("container", column.cells) >= 0.5 for column in columns
        )
    return False
