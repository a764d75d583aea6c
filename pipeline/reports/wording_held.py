"""Sentences for held lines: what they wait for, and what would release them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

Row = Mapping[str, Any]
WriteDay = Callable[[date], str]
Told = tuple[str, str]
_ISO_DAY = re.compile(r"\d{4}-\d\d-\d\d")
FILE_PROBLEMS = (
    "empty_file",
    "header_only",
    "encoding",
    "delimiter",
    "columns_changed",
    "columns_moved",
    "units_changed",
)

_MENDS = {
    "date_unreadable": "Correct the cell, or the date format of the export in site.toml.",
    "days_disagree": "Correct the cell that is wrong where the export is made and send the file again.",
    "number_unreadable": "Correct the cell where the export is made and send the file again.",
    "value_unknown": "Correct the cell, or give the word a meaning under [export.values] in site.toml.",
    "week_unreadable": "Write year and week number, for example 2026 and 14.",
    "missing": "Fill in the empty cell where the export is made and send the file again.",
    "nothing_measured": "Fill in pH or EC, or take the line out.",
    "ragged": "Give the line as many cells as the header has; a delimiter inside a text needs quotes.",
    "nul_bytes": "Export the file again as plain text.",
    "looks_like_data": "Say in site.toml what such lines are (comment_prefix, total_words), or take the line out.",
    "quoting": "Close the quotation mark in the line, or double it inside a text.",
    "ph_ec_swapped": "Exchange the columns ph and ec under [export.columns] in site.toml, or mend the export.",
    "ph_out_of_scale": "Correct the cell; pH lies between 0 and 14.",
    "ec_out_of_scale": "Correct the cell, or the unit of the EC column in site.toml.",
    "other_site": "Drop the sheet at the site that it is of.",
    "sheet_day": "Write the date like 2026-04-07 and drop the sheet again, or set date_format in site.toml.",
    "sheet_word": "Write one of these words and drop the sheet again.",
    "drain_backwards": "Correct one of the two times, or leave both blank; a drain time does not go over midnight.",
    "until_before_from": "Correct the first or the last day of the excuse.",
    "method_missing": "Write the site's extraction_method into site.toml; EC means nothing without it.",
}


def explain_held(row: Row, day: WriteDay) -> Told:
    """Sentence and mend for one row of the relation `held_causes`; `day` writes a date the site's way."""
    return _HELD.get(row["cause"], _cell)(row, day)


def is_harmless(row: Row) -> bool:
    """A file of new lines may well have none; a file that should be the whole list may not."""
    return bool(row["problem"] == "header_only" and row["mode"] == "increment")


def explain_file(row: Row) -> str:
    """One sentence on a file of tonight with a problem of its own (a row of the query `files_tonight`)."""
    mend = row["problem_mend"] or "export the file again"
    if row["problem"] == "header_only" and not is_harmless(row):
        mend = "send the whole list again, what it held before still counts"
    return f"{row['name']}: {row['problem_sentence']}; {mend}."


def _lines(row: Row) -> str:
    return "1 line" if row["records"] == 1 else f"{row['records']} lines"


def _unknown(row: Row, _: WriteDay) -> Told:
    mend = (
        f"Send the lot list with {row['what']}, or correct the code where the export is made; "
        "the lines are then taken up by themselves."
    )
    return f"{_lines(row)}: lot {row['what']} is in no lot list.", mend


def _lot(row: Row, _: WriteDay) -> Told:
    return (
        f"{_lines(row)}: lot {row['what']} stands in the lot list on a line that cannot be used.",
        f"Mend the line of lot {row['what']} in the lot list; the lines are then taken up by themselves.",
    )


def _place(row: Row, _: WriteDay) -> Told:
    found = "no lot" if not row["fitting_lots"] else f"{row['fitting_lots']} lots"
    return (
        f"{_lines(row)}: the place “{row['what']}” fits {found} on that day.",
        "Add the lot's code to the export, or correct house, bench or crop in the lot list.",
    )


def _when(row: Row, day: WriteDay) -> str:
    """The day of the first of the lines, the site's way; the models write it ISO 8601."""
    when = _ISO_DAY.sub(lambda found: day(date.fromisoformat(found[0])), row["detail"])
    return when if row["records"] == 1 else f"for example {when}"


def _future(row: Row, day: WriteDay) -> Told:
    return (
        f"{_lines(row)} dated in the future ({_when(row, day)}).",
        "Correct the date, or the date format of the export in site.toml.",
    )


def _noun(row: Row) -> str:
    return {"treatments": "treatment", "exemptions": "excuse"}.get(row["export_kind"], "reading")


def _before(row: Row, day: WriteDay) -> Told:
    return (
        f"{_lines(row)} of lot {row['what']}, {_when(row, day)}: before the lot started on {day(row['started_on'])}.",
        f"Correct the date of the {_noun(row)} or the start in the lot list.",
    )


def _after(row: Row, day: WriteDay) -> Told:
    return (
        f"{_lines(row)} of lot {row['what']}, {_when(row, day)}: after the lot ended on {day(row['ends_on'])}.",
        f"Correct the date of the {_noun(row)} or the end in the lot list.",
    )


def _site_removed(row: Row, _: WriteDay) -> Told:
    return (
        f"{_lines(row)}: no site.toml has the site {row['what']} any more.",
        f"Bring back the site.toml of {row['what']}; the lines are then taken up by themselves.",
    )


def _file(row: Row, _: WriteDay) -> Told:
    return (
        f"{row['what']}: the whole file is held, {_lines(row)}. {_sentence(row['detail'])}",
        _sentence(row["file_mend"] or "export the file again"),
    )


def _cell(row: Row, _: WriteDay) -> Told:
    first = " " if row["records"] == 1 else " for example "
    detail = (row["detail"] or row["cause"]).rstrip(".")
    if row["cause"] in _MENDS:
        # Advice inside the detail is the mend's to give.
        detail = detail.partition(": check ")[0]
    mend = _MENDS.get(row["cause"], "Correct the line where the export is made and send the file again.")
    return f"{_lines(row)}:{first}{detail}.", mend


def _sentence(clause: str) -> str:
    """A clause as a sentence of its own."""
    return clause[:1].upper() + clause[1:].rstrip(".") + "."


_HELD: dict[str, Callable[[Row, WriteDay], Told]] = {
    "site_removed": _site_removed,
    "lot_unknown": _unknown,
    "lot_held": _lot,
    "place_unclear": _place,
    "in_future": _future,
    "before_start": _before,
    "after_end": _after,
    **dict.fromkeys(FILE_PROBLEMS, _file),
}
