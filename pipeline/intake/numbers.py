"""One cell's text into an exact number: strict pattern first, then decimal arithmetic, rounded once.

What is understood: the export's decimal mark, its mark for thousands in strict groups of three, its number
marks behind the figure (left aside), a unit typed behind the figure where it can mean one unit only (it then
rules instead of the column's), and fractions such as ``1 1/2`` and ``2½`` in volumes and drain times.
Everything else is refused with a sentence; nothing is guessed.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType

from pipeline.intake.refused import Refused
from pipeline.units import SAME, UNITS, Conversion, Quantity, conversion, round_half_up, unit_in_cell

# Longer than any measurement; keeps a pasted page of digits out of the arithmetic.
_LONGEST = 40
_MARK_WORDS = {".": "point", ",": "comma"}
# Every blank that programs put between thousands or before a unit: plain, no-break, thin, narrow no-break.
BLANKS = " \u00a0\u2009\u202f"
_APOSTROPHES = "'\u2019"
_THOUSANDS = {".": ".", ",": ",", "'": _APOSTROPHES, " ": BLANKS}
_THOUSANDS_WORDS = {".": "a point", ",": "a comma", "'": "an apostrophe", " ": "a blank"}
_GLYPHS: Mapping[str, Fraction] = MappingProxyType(
    {
        "½": Fraction(1, 2),
        "¼": Fraction(1, 4),
        "¾": Fraction(3, 4),
        "⅓": Fraction(1, 3),
        "⅔": Fraction(2, 3),
        "⅛": Fraction(1, 8),
        "⅜": Fraction(3, 8),
        "⅝": Fraction(5, 8),
        "⅞": Fraction(7, 8),
    }
)
# Parts that jugs and spoons are divided into; 30/60 is more likely two figures than a half.
_DENOMINATORS = frozenset({2, 3, 4, 8, 16})
_FRACTION = re.compile(
    rf"(?:([0-9]{{1,4}})[{BLANKS}])?([0-9]{{1,2}})[/\u2044]([0-9]{{1,2}})"
    rf"|([0-9]{{1,4}})?[{BLANKS}]?([{''.join(_GLYPHS)}])"
)
# A figure of whatever form, and what stands behind it.
_FIGURE = re.compile(
    rf"([+-]?(?:[0-9.,/\u2044{_APOSTROPHES}{BLANKS}{''.join(_GLYPHS)}]*[0-9{''.join(_GLYPHS)}]))"
    rf"[{BLANKS}]*(.*)",
    re.DOTALL,
)
_BEYOND = re.compile(r"[<>≤≥]")
_ABOUT = re.compile(r"[~≈]|(?:ca|c|about|approx)[. ]", re.IGNORECASE)
_LONGEST_MARK = 3


@dataclass(frozen=True)
class NumberFormat:
    """How a column's numbers are written and how they are kept.

    `decimal` and `thousands` are the export's marks ("" for no thousands), `marks` what may stand behind a
    number and is left aside; `digits` before and `decimals` after the point are what the column keeps;
    `example` is a good value, written with a point.  `quantity` and `unit` say what the column is in;
    `own_unit` is the only unit of a field without a quantity (``min``); `fractions` whether ``1/2`` is a
    figure here.  `is_settable`: a site can say in site.toml how it writes numbers; it cannot for a sheet.
    `has_minus_zero`: whether -0 is a figure here, as an offset of -0.0 mV is; no pH is below 0.
    `has_negatives`: whether a figure here can be below 0; no volume, time, SD or concentration is.
    """

    decimal: str
    digits: int
    decimals: int
    example: str
    thousands: str = ""
    marks: tuple[str, ...] = ()
    quantity: Quantity | None = None
    unit: str | None = None
    own_unit: str | None = None
    fractions: bool = False
    is_settable: bool = True
    has_minus_zero: bool = True
    has_negatives: bool = True

    @property
    def conversion(self) -> Conversion:
        """From the column's unit into the unit inside."""
        return SAME if self.quantity is None else conversion(self.quantity, self.unit)

    @property
    def like(self) -> str:
        """The mend that most refusals end with."""
        return f"write it like {self.shown(self.example)}"

    def shown(self, number: str) -> str:
        """A number with a decimal point as this export would write it."""
        return number.replace(".", self.decimal)


def plain_pattern(form: NumberFormat) -> str:
    """The regular expression of a figure that needs no second look: no thousands, nothing behind it, no more
    digits than are kept.  Both Python and Polars understand it, and it holds for the whole cell."""
    mark = re.escape(form.decimal)
    sign = "[+-]?" if form.has_minus_zero and form.has_negatives else "[+]?"
    return (
        rf"^{sign}(?:[0-9]{{1,{form.digits}}}(?:{mark}[0-9]{{1,{form.decimals}}})?"
        rf"|{mark}[0-9]{{1,{form.decimals}}})$"
    )


def read_number(text: str, form: NumberFormat) -> Decimal | Refused:
    """The exact value in the unit inside, or the reason why not.

    A value in the unit inside that has more decimals than are kept is refused, because rounding would lose
    what was written; a value from another unit is rounded half up, once.
    """
    figure = _read_figure(text, form)
    if isinstance(figure, Refused):
        return figure
    written, to_inside = figure
    if written == 0 and text.startswith("-") and not form.has_minus_zero:
        return Refused(f"has a minus sign before nothing; {form.like}")
    if written < 0 and not form.has_negatives:
        return Refused(f"is below 0; {form.like}")
    value = to_inside.apply(written)
    kept = round_half_up(value, form.decimals)
    if to_inside.is_identity and Fraction(kept) != value:
        mended = _round_as_written(text, kept, form)
        return Refused(f"has more decimals than the {form.decimals} that are kept; round it to {mended}")
    if abs(kept) >= 10**form.digits:
        return Refused(f"is too large to be right; {form.like}")
    return kept


def _round_as_written(text: str, kept: Decimal, form: NumberFormat) -> str:
    """A figure rounded to what is kept, with what stood behind it: a spreadsheet that showed 5.9 may export
    5.8999999999999995, and whoever mends the cell should not have to work out what it was."""
    found = _FIGURE.fullmatch(text)
    behind = found[2] if found else ""
    blank = " " if behind[:1].isalpha() else ""
    return f"{form.shown(format(kept.normalize(), 'f'))}{blank}{behind}"


def read_whole(text: str, form: NumberFormat, least: int, most: int) -> int | Refused:
    """A whole number from `least` to `most`, or the reason why not.

    ``5.0`` is a whole number too, but ``5.000`` is not taken for one: it may be five thousand.
    """
    floor = f" of {least} or more" if least >= 0 else ""
    tail = "" if form.thousands else ", without a mark for thousands"
    refused = Refused(f"is not a whole number{floor}; write it like {max(least, 5)}{tail}")
    body = _without_marks(text, form.marks)
    if len(text) > _LONGEST or not body:
        return refused
    value = _plain_value(body, form)
    if value is None:
        return _other_thousands(body, form) or _undeclared_marks(body, form) or refused
    if body.rpartition(form.decimal)[2] == "000" and form.decimal in body:
        return Refused(f"may be thousands or a whole number with decimals; write it like {max(least, 5)}")
    if value.denominator == 1 and least <= value <= most:
        return int(value)
    if value.denominator == 1 and value > most:
        return Refused(f"is too large to be right; write it like {max(least, 5)}{tail}")
    return refused


def _read_figure(text: str, form: NumberFormat) -> tuple[Fraction, Conversion] | Refused:
    """The figure as it is written and the conversion that goes with the unit in which it is written."""
    if len(text) > _LONGEST:
        return Refused(f"is too long for a number; {form.like}")
    body = _without_marks(text, form.marks)
    found = _FIGURE.fullmatch(body)
    if found is None:
        return _no_figure(body, form)
    figure, behind = found[1], found[2]
    to_inside = _conversion_of(behind, form)
    if to_inside is None:
        return _not_a_unit(body, behind, form)
    value = _plain_value(figure, form)
    if value is None:
        fraction = _fraction_value(figure)
        if fraction is not None and form.fractions:
            value = fraction
        elif fraction is not None:
            return Refused(f"is a fraction, which only volumes and drain times may be; {form.like}")
    return _not_a_number(figure, form) if value is None else (value, to_inside)


def _without_marks(text: str, marks: tuple[str, ...]) -> str:
    """The cell without the declared marks at its end; nothing but marks is left as it is."""
    body = text
    shorter = True
    while shorter:
        shorter = False
        for mark in marks:
            if mark and body.endswith(mark) and len(body) > len(mark):
                body = body.removesuffix(mark).rstrip()
                shorter = True
    return body


@lru_cache
def _number_pattern(decimal: str, thousands: str) -> re.Pattern[str]:
    """Digits in one go or in strict groups of three; a group may not begin with 0, as a decimal would."""
    mark = re.escape(decimal)
    grouped = rf"|[1-9][0-9]{{0,2}}(?:[{re.escape(_THOUSANDS[thousands])}][0-9]{{3}})+" if thousands else ""
    return re.compile(rf"[+-]?(?:(?:[0-9]+{grouped})(?:{mark}[0-9]+)?|{mark}[0-9]+)")


def _plain_value(text: str, form: NumberFormat) -> Fraction | None:
    if not _number_pattern(form.decimal, form.thousands).fullmatch(text):
        return None
    for mark in _THOUSANDS.get(form.thousands, ""):
        text = text.replace(mark, "")
    return Fraction(text.replace(form.decimal, "."))


def _fraction_value(text: str) -> Fraction | None:
    """``1/2``, ``1 1/2``, ``½``, ``2½``: a proper fraction of the parts that jugs have, or None."""
    found = _FRACTION.fullmatch(text)
    if found is None:
        return None
    if found[5]:
        return int(found[4] or 0) + _GLYPHS[found[5]]
    above, below = int(found[2]), int(found[3])
    if below not in _DENOMINATORS or not 0 < above < below:
        return None
    return int(found[1] or 0) + Fraction(above, below)


def _conversion_of(behind: str, form: NumberFormat) -> Conversion | None:
    """The conversion that goes with what stands behind the figure; None where that is no unit."""
    if not behind:
        return form.conversion
    if form.quantity is None:
        return SAME if behind.removesuffix(".").casefold() == form.own_unit else None
    unit = unit_in_cell(form.quantity, behind, form.unit)
    return None if unit is None else conversion(form.quantity, unit)


def _no_figure(body: str, form: NumberFormat) -> Refused:
    """Why a cell that does not begin with a figure is none."""
    if _BEYOND.match(body):
        return Refused(
            "is beyond what the meter can read and no figure; measure again with a meter of that range, "
            "or leave the cell blank"
        )
    if _ABOUT.match(body):
        return Refused(
            f"is only about a figure; write what the meter showed, like {form.shown(form.example)}"
        )
    return Refused(f"is not a number; {form.like}")


def _not_a_unit(body: str, behind: str, form: NumberFormat) -> Refused:
    """Why what stands behind the figure cannot be understood."""
    marked = _undeclared_marks(body, form)
    if marked:
        return marked
    shown = " ".join(behind.split())
    if form.quantity is None or not behind[0].isalpha() or re.search(r"[0-9]", behind[1:2]):
        return Refused(f"is not a number; {form.like}")
    if form.quantity == "ec" and shown.casefold() == "ppm":
        return Refused(
            'has "ppm" behind the figure and does not say on which scale; write "ppm 500", "ppm 640" or '
            '"ppm 700" behind it, or the value in mS/cm'
        )
    if form.quantity == "volume" and shown.casefold().removesuffix(".") == "oz":
        return Refused('has "oz" behind the figure, which may be a weight; write "fl oz" or "mL" behind it')
    known = ", ".join(UNITS[form.quantity])
    return Refused(f'has "{shown}" behind the figure, which is no unit of this column; known are {known}')


def _undeclared_marks(body: str, form: NumberFormat) -> Refused | None:
    """A good figure with a sign behind it that the settings do not name."""
    found = _FIGURE.fullmatch(body)
    if found is None:
        return None
    figure, mark = found[1], found[2]
    is_mark = 0 < len(mark) <= _LONGEST_MARK and not any(
        letter.isalnum() or letter in "+-.,<>" or letter.isspace() for letter in mark
    )
    if not is_mark or _plain_value(figure, form) is None:
        return None
    if not form.is_settable:
        return Refused(f'has "{mark}" behind the figure; take it away')
    return Refused(
        f'has "{mark}" behind the figure; take it away, or write number_marks = ["{mark}"] in site.toml if it '
        "says nothing about the figure"
    )


def _not_a_number(text: str, form: NumberFormat) -> Refused:
    """Why a figure does not follow the export's marks."""
    other = "." if form.decimal == "," else ","
    by_thousands = _other_thousands(text, form)
    if by_thousands:
        return by_thousands
    if form.thousands and any(mark in text for mark in _THOUSANDS[form.thousands]):
        name = _THOUSANDS_WORDS[form.thousands]
        return Refused(
            f"has {name} where no thousands end; write three figures behind each mark for thousands, "
            f"and decimals like {form.shown(form.example)}"
        )
    if form.is_settable and _number_pattern(other, "").fullmatch(text):
        return Refused(
            f"has a decimal {_MARK_WORDS[other]} where this export writes a decimal "
            f"{_MARK_WORDS[form.decimal]}; {form.like}, or change decimal in site.toml"
        )
    return Refused(f"is not a number; {form.like}")


def _other_thousands(text: str, form: NumberFormat) -> Refused | None:
    """A figure that would be good with a mark for thousands that the export does not declare."""
    for mark in _THOUSANDS:
        if mark in (form.decimal, form.thousands):
            continue
        if not _number_pattern(form.decimal, mark).fullmatch(text):
            continue
        if not form.is_settable:
            return Refused(f"has {_THOUSANDS_WORDS[mark]} for thousands; write it without")
        if mark in _MARK_WORDS and form.decimal not in text and len(re.findall(re.escape(mark), text)) == 1:
            return Refused(
                f"has {_THOUSANDS_WORDS[mark]} that may stand for decimals or for thousands; {form.like}, "
                f'or set decimal or thousands to "{mark}" in site.toml'
            )
        return Refused(
            f"has {_THOUSANDS_WORDS[mark]} for thousands, which this export does not declare; write it "
            f'without, or set thousands = "{mark}" in site.toml'
        )
    return None
