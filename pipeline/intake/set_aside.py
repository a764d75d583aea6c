"""Which lines of an export are no data, and which only look so: comments, totals, the row of units.

A line is set aside only where nothing of a record is in it. What begins like a comment or a total and yet has the
cells of a record is held, so that a pot called ``#1`` or a lot called ``Mean`` is never lost without a word.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from typing import Final, Literal

from pipeline.intake.days import DEFAULT_MOMENT_FORMATS, names_week, read_moment
from pipeline.intake.decode import FileProblem
from pipeline.intake.header import place_of
from pipeline.intake.named_units import unit_named
from pipeline.settings import Export
from pipeline.settings.sheet import SheetExport
from pipeline.settings.words import FIELDS
from pipeline.units import UNITS

IN_DOUBT: Final = "looks_like_data"

DATES: Final = frozenset(
    {"date", "started", "ends", "valid_from", "solution_expires", "from", "until", "entered_on"}
    | {"planted", "ships", "trained_on"}
)
DAYS: Final = DATES | {"datetime", "week"}
FIGURES: Final = frozenset(
    {
        "n_pots",
        "ph",
        "ph_sd",
        "ec",
        "ec_sd",
        "poured",
        "poured_ec",
        "leachate",
        "temperature",
        "drain",
        "plants",
    }
    | {"slope", "offset", "ec_standard", "ec_found", "ec_left", "mv_4", "mv_7", "mv_10", "target_ec"}
    | {f"{when}_{buffer}" for when in ("found", "left") for buffer in (4, 7, 10)}
    | {"alkalinity", "nitrogen"}
)
# What says of what a record is: at least one of these is needed in each kind of export.
_NAMES: Final = frozenset({"lot", "house", "meter", "place", "name"})

# A figure in whatever form, with no second figure behind it: 5.8, <0,1, 1 1/2, 2.1 mS; but neither 0-14 nor 1:2.
_FIGURE = re.compile(
    r"[<>≤≥~≈+-]?\s*(?:[0-9]+(?:[.,'’\s/][0-9]+)*[½¼¾]?|[.,][0-9]+|[½¼¾])(?:\s*[^0-9\s][^0-9]*)?"
)
# A day in whatever order, so that a total word beside a day that is written wrongly is not lost either.
_DAY = re.compile(r"[0-9]{1,4}[./-][0-9]{1,2}[./-][0-9]{1,4}(?:[ T].*)?|[0-9]{8}")
# How a row of units writes a form of dates (yyyy-mm-dd, TT.MM.JJJJ), and what has a unit that is no quantity of ours.
_DAY_HINT = re.compile(r"([adhjmty])\1*(?:[./: -]([adhjmsty])\2*)+", re.IGNORECASE)
_OTHER_UNITS: Final = frozenset(
    {
        "-",
        "–",
        "%",
        "mv",
        "ph",
        "ppm",
        "oz",
        "min",
        "s",
        "h",
        "n",
        "no",
        "no.",
        "nr",
        "nr.",
        "stk",
        "pcs",
        "l",
        "g",
    }
    | {"mg/l", "g/l", "units", "unit", "einheit", "eenheid", "unidad", "unité"}
)

# What is measured of a pot, and what is seen of it without a meter; of a meter check anything but the meter's name.
_MEASURED_OF_POT: Final = ("ph", "ec")
_SEEN_OF_POT: Final = ("leachate", "temperature", "condition")
_NOTHING_COLLECTED = re.compile(r"0+(?:[.,]0+)?")

Kind = Literal["data", "total", "doubt", "not_filled_in", "noted_only"]


class SetAside:
    """The rules of one export under one header."""

    def __init__(self, export: Export, header: Sequence[str]) -> None:
        self.export = export
        self._width = len(header)
        at = {name: place_of(header, column) for name, column in export.columns.items()}
        self._at = {name: place for name, place in at.items() if place is not None}
        self._totals = frozenset(word.strip().casefold() for word in export.total_words)
        self._needed = FIELDS[export.kind].one_of

    def is_total_word(self, cell: str) -> bool:
        """Whether a cell is one of the export's total words, alone or as a grand total."""
        word = " ".join(cell.strip().rstrip(":").casefold().split())
        return bool(word) and (word in self._totals or word.removeprefix("grand ") in self._totals)

    def judge(self, cells: Sequence[str]) -> Kind:
        """A line whose first filled cell is a total word: a total, a record, or neither for certain.

        A total has no day, or nothing that says whose it is. Where the word stands in the column of a name (a lot
        called Mean), the line is a record; elsewhere only total words that the export states itself make it a total.

        A line of a sheet whose boxes are blank is no data: not filled in, or with nothing but a note.
        """
        if isinstance(self.export, SheetExport):
            return self._judge_boxes(cells)
        first = next((at for at, cell in enumerate(cells) if cell.strip()), None)
        if first is None or not self.is_total_word(cells[first]):
            return "data"
        if not self._is_record(cells):
            return "total"
        if any(self._at.get(name) == first for name in _NAMES):
            return "data"
        return "total" if "total_words" in self.export.model_fields_set else "doubt"

    def _judge_boxes(self, cells: Sequence[str]) -> Kind:
        """What of a line of a sheet is filled in.

        Day, sampler, meter and drain time are written for many pots at once and say nothing of one. A volume or a
        condition without a reading is data that lacks something, so that it is held; a note alone says why there is
        none, also beside a volume of 0.
        """
        if not self._at:
            return "data"
        if self.export.kind != "readings":
            names = (name for name in self.export.columns if name != "meter")
            return "data" if any(self._cell(cells, name) for name in names) else "not_filled_in"
        if any(self._cell(cells, name) for name in _MEASURED_OF_POT):
            return "data"
        seen = [name for name in _SEEN_OF_POT if self._cell(cells, name)]
        is_dry = seen == ["leachate"] and _NOTHING_COLLECTED.fullmatch(self._cell(cells, "leachate"))
        if seen and not is_dry:
            return "data"
        return "noted_only" if is_dry or self._cell(cells, "note") else "not_filled_in"

    def is_doubtful_comment(self, line: str) -> bool:
        """Whether a line that begins with the comment mark has what a record has.

        As wide as the header it needs one figure or day in its column and another cell; otherwise two of them, or all
        that its kind needs, a day among it.
        """
        text = line.lstrip().removeprefix(self.export.comment_prefix).lstrip()
        try:
            # Not strict: a quotation mark left open does not matter here.
            cells = next(csv.reader((text.rstrip("\r\n"),), delimiter=self.export.delimiter), [])
        except csv.Error:
            cells = text.split(self.export.delimiter)
        filled = sum(1 for cell in cells if cell.strip())
        if filled < 2 or (self.is_total_word(cells[0]) and not self._is_record(cells)):
            return False
        is_as_wide = len(cells) == self._width and self._count_values(cells) >= 1
        return is_as_wide or self.reads_like_record(cells)

    def reads_like_record(self, cells: Sequence[str]) -> bool:
        """Whether two figures or days stand in their columns, or all that the kind needs, a day among it."""
        return self._count_values(cells) >= 2 or self._has_all_needed(cells)

    def judge_units_row(self, cells: Sequence[str], line: int) -> FileProblem | None:
        """Say why the row below the header is no row of units, or None. A blank row loses nothing."""
        filled = [cell.strip() for cell in cells if cell.strip()]
        if not filled:
            return None
        if self._count_values(cells):
            what = "holds figures or days, so it looks like data"
        elif not any(_is_unit(cell) for cell in filled):
            what = "names no unit"
        else:
            return None
        sentence = f"the row of units should stand on line {line}, and that line {what}"
        mend = "take units_row out of this export in site.toml, or export the row of units again"
        return FileProblem("units_changed", sentence, mend)

    def names_units_alone(self, cells: Sequence[str]) -> bool:
        """Whether a line has a unit in every cell that is not blank, and at least one."""
        filled = [cell.strip() for cell in cells if cell.strip()]
        return bool(filled) and all(map(_is_unit, filled)) and not self._count_values(cells)

    def _count_values(self, cells: Sequence[str]) -> int:
        figures = sum(bool(_FIGURE.fullmatch(self._cell(cells, name))) for name in FIGURES)
        return figures + sum(self._is_day(cells, name) for name in DAYS)

    def _is_record(self, cells: Sequence[str]) -> bool:
        """Whether a day and a name are there; in kinds that need no day, all that they need."""
        if not any(set(group) & DAYS for group in self._needed):
            return all(any(self._cell(cells, name) for name in group) for group in self._needed)
        names = (group for group in self._needed if set(group) & _NAMES)
        return any(self._is_day(cells, name) for name in DAYS) and all(
            any(self._cell(cells, name) for name in group) for group in names
        )

    def _has_all_needed(self, cells: Sequence[str]) -> bool:
        """Whether each needed field is there and can be one; only for kinds that need a day, prose seldom holds one."""
        return any(set(group) & DAYS for group in self._needed) and all(
            any(self._may_be(cells, name) for name in group) for group in self._needed
        )

    def _may_be(self, cells: Sequence[str], name: str) -> bool:
        if name in DAYS:
            return self._is_day(cells, name)
        text = self._cell(cells, name)
        return bool(_FIGURE.fullmatch(text) if name in FIGURES else text)

    def _cell(self, cells: Sequence[str], name: str) -> str:
        at = self._at.get(name)
        return "" if at is None or at >= len(cells) else cells[at].strip()

    def _is_day(self, cells: Sequence[str], name: str) -> bool:
        text, export = self._cell(cells, name), self.export
        if not text:
            return False
        if name == "week":
            return names_week(text, self._cell(cells, "year"))
        formats: tuple[str, ...] = (export.date_format,)
        if name == "datetime":
            formats = DEFAULT_MOMENT_FORMATS if export.datetime_format is None else (export.datetime_format,)
        # No zone matters here: only whether it is a day at all.
        return bool(_DAY.fullmatch(text)) or read_moment(text, formats, "UTC") is not None


def _is_unit(cell: str) -> bool:
    bare = cell.strip("()[]").strip()
    is_bracketed = cell[0] + cell[-1] in ("()", "[]")
    is_known = any(unit_named(quantity, bare, None) for quantity in UNITS)
    return is_bracketed or is_known or bare.casefold() in _OTHER_UNITS or bool(_DAY_HINT.fullmatch(bare))


def explain_comment(prefix: str) -> str:
    """Why a line that begins with the comment mark is held."""
    return (
        f'looks like a record although it begins with "{prefix}"; set comment_prefix = "" for this export in site.toml '
        "if such lines count, or take the line out of the file"
    )


def explain_total(cell: str) -> str:
    """Why a line that begins with a total word is held."""
    return (
        f'begins with "{cell}" like a total, and has a day and a name like a record; write total_words for this export '
        "into site.toml, with the word if it marks totals and without it if not"
    )
