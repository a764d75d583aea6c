"""One cell's text into an exact number: strict pattern first, then decimal arithmetic, rounded once."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from pipeline.intake.refused import Refused
from pipeline.units import SAME, Conversion, round_half_up

_PATTERNS = {
    ".": re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)"),
    ",": re.compile(r"[+-]?(?:[0-9]+(?:,[0-9]+)?|,[0-9]+)"),
}
_MARK_WORDS = {".": "point", ",": "comma"}
# Longer than any measurement; keeps a pasted page of digits out of the arithmetic.
_LONGEST = 40


@dataclass(frozen=True)
class NumberFormat:
    """How a column's numbers are written and how they are kept.

    `decimal` is the export's decimal mark; `digits` before and `decimals` after the point are what the
    column keeps; `example` is a good value, written with a point.
    """

    decimal: str
    digits: int
    decimals: int
    example: str
    conversion: Conversion = SAME

    def shown(self, number: str) -> str:
        """A number with a decimal point as this export would write it."""
        return number.replace(".", self.decimal)


def read_number(text: str, form: NumberFormat) -> Decimal | Refused:
    """The exact value in the unit inside, or the reason why not.

    No exponent, no thousands mark;
    a decimal point in an export with decimal commas is not guessed at.  A value in the unit inside that has
    more decimals than are kept is refused, because rounding would lose what was written; a value from
    another unit is rounded half up, once.
    """
    like = f"write it like {form.shown(form.example)}"
    if len(text) > _LONGEST:
        return Refused(f"is too long for a number; {like}")
    if not _PATTERNS[form.decimal].fullmatch(text):
        return _not_a_number(text, form)
    value = form.conversion.apply(Fraction(text.replace(",", ".")))
    kept = round_half_up(value, form.decimals)
    if form.conversion.is_identity and Fraction(kept) != value:
        return Refused(f"has more decimals than the {form.decimals} that are kept; round it, {like}")
    if abs(kept) >= 10**form.digits:
        return Refused(f"is too large to be right; {like}")
    return kept


def read_whole(text: str, decimal: str, least: int, most: int) -> int | Refused:
    """A whole number from `least` to `most`, or the reason why not; ``5.0`` is a whole number too."""
    if len(text) <= _LONGEST and _PATTERNS[decimal].fullmatch(text):
        value = Fraction(text.replace(",", "."))
        if value.denominator == 1 and least <= value <= most:
            return int(value)
    floor = f" of {least} or more" if least >= 0 else ""
    return Refused(
        f"is not a whole number{floor}; write it like {max(least, 5)}, without a mark for thousands"
    )


def _not_a_number(text: str, form: NumberFormat) -> Refused:
    other = "." if form.decimal == "," else ","
    like = f"write it like {form.shown(form.example)}"
    if _PATTERNS[other].fullmatch(text):
        return Refused(
            f"has a decimal {_MARK_WORDS[other]} where this export writes a decimal "
            f"{_MARK_WORDS[form.decimal]}; {like}, or change decimal in site.toml"
        )
    return Refused(f"is not a number; {like}")
