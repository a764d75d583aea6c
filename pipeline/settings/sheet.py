"""The filled-in sampling sheet and its calibration boxes: exports that every site has without describing them.

They stand beside the [[export]] tables of a site.toml, which count from 1, under the numbers 0 and -1. `read_export` is
the one place that turns the number of an export into the export, so that a file of either sort is read the same way in
a night, in a replay from the archive, and by whoever traces or verifies it.

Which of the sheet's columns a file has, and its dialect, are found from the file's own bytes (see intake.sheet_files):
what stands here is what all of them share.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final, Literal

from pipeline.settings.models import Column, Export, SiteSettings

SHEET_READINGS: Final = 0
SHEET_CALIBRATIONS: Final = -1

# What each column of the sheet holds, by our fields; the names of the columns are the same in every language.
# What is `asked` to pour and to collect is never what was done, so no figure is made of it; a site that measures in
# fluid ounces has it in both units.
_READING_COLUMNS: Final[Mapping[str, tuple[tuple[str, str | None], ...]]] = MappingProxyType(
    {
        "site": (("site", None),),
        "lot": (("lot", None),),
        "house": (("house", None),),
        "bench": (("bench", None),),
        "position": (("position", None),),
        "crop": (("crop", None),),
        "purpose": (("purpose", None),),
        "due_why": (("due_why", None),),
        "due_on": (("due_on", None),),
        "pot": (("pot", None),),
        "pour_asked_ml": (("pour_ml", None),),
        "pour_asked_fl_oz": (("pour_fl_oz", None),),
        "collect_asked_ml": (("collect_ml", None),),
        "collect_asked_fl_oz": (("collect_fl_oz", None),),
        "date": (("date", None),),
        "ph": (("ph", None),),
        "ec": (("ec_ms_cm", "mS/cm"),),
        "leachate": (("leachate_ml", "mL"), ("leachate_fl_oz", "fl oz")),
        "temperature": (("temperature_c", "°C"), ("temperature_f", "°F")),
        "condition": (("condition", None),),
        "drain_start": (("drain_start", None),),
        "drain_end": (("drain_end", None),),
        "sampler": (("sampler", None),),
        "meter": (("meter", None),),
        "note": (("note", None),),
    }
)
_BESIDE: Final = frozenset({"pour_asked_fl_oz", "collect_asked_fl_oz"})
_CALIBRATION_COLUMNS: Final[Mapping[str, tuple[tuple[str, str | None], ...]]] = MappingProxyType(
    {
        "meter": (("meter", None),),
        "date": (("date", None),),
        "time": (("time", None),),
        "person": (("person", None),),
        "temperature": (("temperature_c", "°C"), ("temperature_f", "°F")),
        **{
            f"{when}_{buffer}": ((f"{when}_{buffer}", None),)
            for when in ("found", "left")
            for buffer in (4, 7, 10)
        },
        "slope": (("slope_pct", None),),
        "offset": (("offset_mv", None),),
        "ec_standard": (("ec_standard_ms_cm", "mS/cm"),),
        "ec_found": (("ec_found_ms_cm", "mS/cm"),),
        "ec_left": (("ec_left_ms_cm", "mS/cm"),),
        "solution": (("solution", None),),
        "solution_expires": (("solution_expires", None),),
        "note": (("note", None),),
    }
)
_COLUMNS: Final = {SHEET_READINGS: _READING_COLUMNS, SHEET_CALIBRATIONS: _CALIBRATION_COLUMNS}

# Columns that together no other table has: a file with all of them is ours, whatever was taken out of the rest of it.
SHEET_MARKS: Final[Mapping[int, frozenset[str]]] = MappingProxyType(
    {
        SHEET_READINGS: frozenset(
            {"site", "lot", "purpose", "due_why", "due_on", "pot", "date", "ph", "ec_ms_cm"}
        ),
        SHEET_CALIBRATIONS: frozenset(
            {"meter", "date", "found_4", "found_7", "left_4", "left_7", "slope_pct", "offset_mv"}
            | {"ec_standard_ms_cm", "ec_found_ms_cm"}
        ),
    }
)

# What people write into the box for the plant's condition.
_CONDITION_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "h": "healthy",
        "ok": "healthy",
        "sana": "healthy",
        "sano": "healthy",
        "a": "affected",
        "afectada": "affected",
        "afectado": "affected",
    }
)
_DAY_OR_MONTH = re.compile(r"%-?([demYyGC])")

DayOrder = Literal["day_first", "month_first"]


class SheetExport(Export):
    """The sheet as an export. Decimals may have a point or a comma, cell by cell.

    `day_order`: how the site writes a date such as 03/04/2026, None where its date_format does not say it.
    """

    day_order: DayOrder | None = None


def read_export(site: SiteSettings, number: int, header: Sequence[str] | None = None) -> Export:
    """The export of a site with this number: one of site.toml from 1 on, or the sheet's (0 and -1).

    `header`: that of the file, by which the sheet's columns have their units; without it those of a site that
    measures in mL and °C. Raises IndexError where the site has no such export.
    """
    if number in _COLUMNS:
        return _sheet_export(number, header, order_of_days(site.date_format), _words_of_condition(site))
    if number < 1:
        raise IndexError(number)
    return site.exports[number - 1]


def columns_of(site: SiteSettings, number: int, header: Sequence[str] | None = None) -> Mapping[str, Column]:
    """Columns of the export that brought a file; none where site.toml has fewer exports by now."""
    try:
        return read_export(site, number, header).columns
    except IndexError:
        return {}


def is_sheet(number: int) -> bool:
    """Whether the number is that of an export that every site has."""
    return number in _COLUMNS


def order_of_days(date_format: str) -> DayOrder | None:
    """Whether a site's date_format puts the day or the month first; None where it says neither in figures."""
    directives = ["d" if one == "e" else one for one in _DAY_OR_MONTH.findall(date_format)]
    if "d" not in directives or "m" not in directives:
        return None
    if directives[0] not in "dm":
        return None
    return "day_first" if directives.index("d") < directives.index("m") else "month_first"


def _words_of_condition(site: SiteSettings) -> dict[str, str]:
    """What the site's own readings call healthy and affected, where they agree, and the sheet's words before them."""
    words: dict[str, str] = {}
    split: set[str] = set()
    for export in site.exports:
        if export.kind == "readings":
            for word, meaning in export.values.get("condition", {}).items():
                if words.setdefault(word.casefold(), meaning) != meaning:
                    split.add(word.casefold())
    return {word: meaning for word, meaning in words.items() if word not in split} | dict(_CONDITION_WORDS)


def _sheet_export(
    number: int, header: Sequence[str] | None, order: DayOrder | None, condition: Mapping[str, str]
) -> SheetExport:
    columns = {}
    for field, names in _COLUMNS[number].items():
        found = _named(names, header)
        if found is not None and (header is not None or field not in _BESIDE):
            columns[field] = Column(column=found[0], unit=found[1])
    return SheetExport(
        kind="readings" if number == SHEET_READINGS else "calibrations",
        files="drop/*",
        column_order="any",
        # Nothing on a sheet is a comment or a total, and a lot may have any name.
        comment_prefix="",
        total_words=(),
        numbers_pots=True if number == SHEET_READINGS else None,
        columns=columns,
        values={"condition": dict(condition)} if number == SHEET_READINGS else {},
        day_order=order,
    )


def _named(
    names: Sequence[tuple[str, str | None]], header: Sequence[str] | None
) -> tuple[str, str | None] | None:
    """The first of a column's names that the header has; without a header the first of all."""
    if header is None:
        return names[0]
    there = {_key(name) for name in header}
    return next((one for one in names if one[0] in there), None)


def _key(name: str) -> str:
    """A header as intake.header compares it."""
    return " ".join(name.split()).casefold()
