"""Decimal mark, mark of thousands and signs behind figures, from all figures of a file together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.adopt.columns import ColumnFacts
from pipeline.adopt.numerals import Marks, count_marks, read_figure, value_of
from pipeline.adopt.questions import Choice, Desk, Guess, Question

_OTHER = {".": ",", ",": "."}
_MARK_WORDS = {".": "point", ",": "comma"}
# Above this a figure with three digits behind its mark is no reading in the unit inside.
_MOST_MS = 25.0
# One other mark among so many is a slip of the hand, whose line is held.
_SLIPS = 20
_NO_THOUSANDS = "none"
_BUFFERS = ("found_", "left_", "mv_")


@dataclass(frozen=True, slots=True)
class NumberMarks:
    """What the export says about its numbers; None where the default does."""

    decimal: Guess
    thousands: Guess | None
    number_marks: Guess | None


def guess_marks(figures: Mapping[str, ColumnFacts], delimiter: str, desk: Desk) -> NumberMarks:
    """Decide from the columns that hold figures, by field."""
    total = count_marks(cell for column in figures.values() for cell in column.cells)
    decimal = _guess_decimal(total, figures, delimiter, desk)
    thousands = _guess_thousands(total, figures, decimal.value, desk)
    return NumberMarks(decimal, thousands, _guess_signs(figures, desk))


def _guess_decimal(total: Marks, figures: Mapping[str, ColumnFacts], delimiter: str, desk: Desk) -> Guess:
    seen = [mark for mark in (".", ",") if total.decimal[mark]]
    if len(seen) == 1:
        mark = seen[0]
        why = f"{_cells(total.decimal[mark])} can only have a decimal {_MARK_WORDS[mark]}"
        return desk.settle("decimal", Guess(mark, "certain", why), (".", ","))
    if len(seen) == 2:
        few, many = sorted(seen, key=lambda mark: total.decimal[mark])
        if total.decimal[few] * _SLIPS <= total.decimal[many]:
            why = f"{_cells(total.decimal[many])} have a {_MARK_WORDS[many]}, {total.decimal[few]} a {_MARK_WORDS[few]}"
            return desk.settle("decimal", Guess(many, "likely", why), (".", ","))
        text = "some cells have a decimal point and some a decimal comma: which one is right?"
        choices = [Choice(mark, f"{_cells(total.decimal[mark])} with a {_MARK_WORDS[mark]}") for mark in seen]
        choices.sort(key=lambda one: -total.decimal[one.value])
        return desk.ask(Question("decimal", text, tuple(choices)))
    if total.either:
        return _settle_either(total, figures, desk)
    if delimiter == ";":
        why = "no figure has a mark yet, and files with semicolons mostly write a comma"
        return desk.settle("decimal", Guess(",", "likely", why), (".", ","))
    why = "no figure has a mark yet, and a point is usual"
    return desk.settle("decimal", Guess(".", "likely", why), (".", ","))


def _settle_either(total: Marks, figures: Mapping[str, ColumnFacts], desk: Desk) -> Guess:
    """Figures like 1,234 only: what the fields can be decides, or somebody."""
    mark = max(total.either, key=lambda one: total.either[one])
    votes: Counter[str] = Counter()
    for field, column in figures.items():
        for cell in column.cells:
            figure = read_figure(cell)
            if figure is not None and figure.body.count(mark) == 1:
                votes[_meant(field, column, figure.body, mark)] += 1
    example = next(
        cell for column in figures.values() for cell in column.cells if mark in cell and read_figure(cell)
    )
    if votes["decimal"] and not votes["thousands"]:
        return desk.settle(
            "decimal", Guess(mark, "likely", f"{example} is too large without one"), (".", ",")
        )
    if votes["thousands"] and not votes["decimal"]:
        why = f"the {_MARK_WORDS[mark]} in {example} marks thousands, since the figure is too small without"
        return desk.settle("decimal", Guess(_OTHER[mark], "likely", why), (".", ","))
    text = (
        f"{example} can be read two ways and no cell tells which: is its {_MARK_WORDS[mark]} a decimal mark?"
    )
    whole = example.replace(mark, "")
    choices = (
        Choice(mark, f"{example} is {example.replace(mark, '.')}"),
        Choice(_OTHER[mark], f"{example} is {whole}"),
    )
    return desk.ask(Question("decimal", text, choices))


def _meant(field: str, column: ColumnFacts, body: str, mark: str) -> str:
    """Whether the mark can only be one of decimals or of thousands in this field; "either" where both can be."""
    small = value_of(body, mark)
    large = value_of(body.replace(mark, ""), ".")
    unit = column.unit[1] if column.unit else ""
    if small is None or large is None:
        return "either"
    if field == "plants":
        return "thousands"
    if field in ("ph", "ph_sd", "temperature", "slope", "offset", "drain") or field.startswith(_BUFFERS):
        return "decimal"
    if field in ("ec", "ec_sd", "ec_standard", "ec_found", "ec_left", "poured_ec", "target_ec"):
        if unit in ("mS/cm", "dS/m", "mmho/cm"):
            return "decimal" if small <= _MOST_MS < large else "either"
        if unit == "µS/cm" or unit.startswith("ppm"):
            return "thousands" if small < _MOST_MS else "either"
    return "either"


def _guess_thousands(
    total: Marks, figures: Mapping[str, ColumnFacts], decimal: str, desk: Desk
) -> Guess | None:
    counts = Counter({mark: count for mark, count in total.thousands.items() if mark != decimal})
    other = _OTHER[decimal]
    if total.either[other] and not counts[other] and (pair := _find_mixed(total, figures, decimal)):
        return _ask_thousands(pair, other, desk)
    counts[other] += total.either[other]
    mark, count = max(counts.items(), key=lambda one: one[1])
    if not count:
        return (
            desk.settle("thousands", Guess("", "likely", ""), ("", ".", ",", "'", " "))
            if "thousands" in desk.answers
            else None
        )
    why = f"{_cells(count)} with three digits behind it"
    return desk.settle("thousands", Guess(mark, "likely", why), ("", ".", ",", "'", " "))


def _find_mixed(total: Marks, figures: Mapping[str, ColumnFacts], decimal: str) -> tuple[str, str] | None:
    """A cell like 1,234 and one whose mark is the other one, where the file writes decimals with both; else None.

    A few slips of the hand do not count, unless both stand in one column with three digits behind.
    """
    other = _OTHER[decimal]
    by_column = [(column, count_marks(column.cells)) for column in figures.values()]
    open_cell = next(
        cell
        for column, marks in by_column
        if marks.either[other]
        for cell in column.cells
        if _is_open(cell, other)
    )
    for column, marks in by_column:
        if marks.either[other] and marks.either[decimal]:
            mine = next(cell for cell in column.cells if _is_open(cell, other))
            return mine, next(cell for cell in column.cells if _is_open(cell, decimal))
    if total.decimal[other] * _SLIPS <= total.decimal[decimal]:
        return None
    return open_cell, next(
        cell for column, _ in by_column for cell in column.cells if count_marks([cell]).decimal[other]
    )


def _is_open(cell: str, mark: str) -> bool:
    return bool(count_marks([cell]).either[mark])


def _ask_thousands(pair: tuple[str, str], mark: str, desk: Desk) -> Guess | None:
    example, beside = pair
    text = (
        f"{example} and {beside} stand in one file: does the {_MARK_WORDS[mark]} in {example} mark decimals or "
        "thousands?"
    )
    choices = (
        Choice(_NO_THOUSANDS, f"nobody knows, or both: lines with cells like {example} are held"),
        Choice(mark, f"thousands: {example} is {example.replace(mark, '')}"),
    )
    answer = desk.ask(Question("thousands", text, choices))
    return None if answer.value == _NO_THOUSANDS else answer


def _guess_signs(figures: Mapping[str, ColumnFacts], desk: Desk) -> Guess | None:
    signs: Counter[str] = Counter()
    example = ""
    for column in figures.values():
        for cell in column.cells:
            figure = read_figure(cell)
            if figure is not None and figure.mark:
                signs[figure.mark] += 1
                example = example or cell
    if not signs:
        return None
    marks = " ".join(sorted(signs))
    text = f'cells like "{example}" end with a sign: may it be left aside, or shall such lines be held?'
    choices = (
        Choice(marks, "the figure counts and the sign is left aside"),
        Choice("none", "the lines are held until somebody has looked at them"),
    )
    answer = desk.ask(Question("number_marks", text, choices))
    return None if answer.value == "none" else answer


def _cells(count: int) -> str:
    return "1 cell" if count == 1 else f"{count} cells"
