"""Sentences for held lines: what they wait for, and what would release them.

What exactly is wrong with a cell or a file is written down in English when it is read, since it is a fact of the
archive. Other languages say what kind of mistake it is, and quote what the cell holds.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date
from typing import Any, Final

from pipeline.languages import ENGLISH, Speech
from pipeline.reports.wording_figures import lines as count_lines
from pipeline.reports.wording_rereads import ENGLISH_ISO

Row = Mapping[str, Any]
Told = tuple[str, str]
_ISO_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_QUOTED = re.compile(r"\"([^\"]{1,60})\"")
FILE_PROBLEMS = (
    "empty_file",
    "header_only",
    "encoding",
    "delimiter",
    "columns_changed",
    "columns_moved",
    "units_changed",
)

MENDS: Final = {
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


FILE_WORDS: Final = {
    "empty_file": "the file is empty",
    "header_only": "the file has a header and no line below it",
    "encoding": "the file is not in the encoding that site.toml names",
    "delimiter": "the file has another delimiter than site.toml names",
    "columns_changed": "its header lacks a column that site.toml names, or has one twice",
    "columns_moved": "its columns stand in another order",
    "units_changed": "it names another unit than site.toml",
}
CELL_WORDS: Final = {
    "date_unreadable": "a date that cannot be read",
    "days_disagree": "date, time and week of the line do not go together",
    "number_unreadable": "a number that cannot be read",
    "value_unknown": "a word without a meaning in the settings",
    "week_unreadable": "year and week do not name a week",
    "missing": "a cell that is needed is empty",
    "nothing_measured": "neither pH nor EC",
    "ragged": "more or fewer cells than the header",
    "nul_bytes": "bytes that are no text",
    "looks_like_data": "looks like a reading, but begins like a comment or a total",
    "quoting": "a quotation mark that is not closed",
    "ph_ec_swapped": "pH and EC seem to be exchanged in the whole file",
    "ph_out_of_scale": "a pH outside 0 to 14",
    "ec_out_of_scale": "an EC that cannot be in mS/cm",
    "other_site": "a sheet of another site",
    "sheet_day": "a date on the sheet that can be read in two ways, or not at all",
    "sheet_word": "a word on the sheet that its column does not know",
    "drain_backwards": "drain time that ends before it begins",
    "until_before_from": "an excuse that ends before it begins",
    "method_missing": "the extraction method is not known",
}
TROUBLE_WORDS: Final = {
    "claimed_twice": "two [[export]] of site.toml claim the file",
    "linked_folder": "the folder is a link, and links to folders are not followed",
    "no_drop_folder": "the folder is not there",
    "unreadable_folder": "the folder cannot be read",
    "bad_name": "the file's name is not utf-8",
    "not_a_file": "it is a pipe or a device, not a file",
    "changing": "the file changed while it was read; the next night takes it",
    "settling": "the file was changed just before the night; the next night takes it",
    "dangling_link": "the link leads nowhere",
    "gone": "the file was gone when it was to be read",
    "looping_link": "the link leads to itself",
    "leaves_folder": "the link leads out of the site's folder",
    "directory": "a folder stands where a file should be",
    "unreadable": "the file cannot be read",
    "unclaimed": "no [[export]] of site.toml takes this file",
}
OTHER_TROUBLE: Final = "the file could not be taken"
OTHER_FILE: Final = "the file cannot be used"
OTHER_CELL: Final = "a line that cannot be used"
OTHER_MEND: Final = "Correct the line where the export is made and send the file again."


def explain_held(row: Row, w: Speech) -> Told:
    """Sentence and mend for one row of the relation `held_causes`."""
    return _HELD.get(row["cause"], _cell)(row, w)


def is_harmless(row: Row) -> bool:
    """A file of new lines may well have none; a file that should be the whole list may not."""
    return bool(row["problem"] == "header_only" and row["mode"] == "increment")


def explain_file(row: Row, w: Speech = ENGLISH_ISO) -> str:
    """One sentence on a file of tonight with a problem of its own (a row of the query `files_tonight`)."""
    mend = row["problem_mend"] or w("export the file again")
    if row["problem"] == "header_only" and not is_harmless(row):
        mend = w("send the whole list again, what it held before still counts")
    elif w.tongue.language != ENGLISH:
        mend = w("look at the file and at its [[export]] in site.toml")
    return f"{row['name']}: {_problem(row['problem'], row['problem_sentence'], w)}; {mend}."


def explain_trouble(row: Row, w: Speech) -> str:
    """One sentence on a file or folder that the night could not take (a row of the query `troubles`)."""
    if w.tongue.language == ENGLISH:
        return f"{row['sentence']} {row['mend']}"
    return f"{row['name']}: {w(TROUBLE_WORDS.get(row['code'], OTHER_TROUBLE))}."


def _problem(code: str, told: str, w: Speech) -> str:
    return told if w.tongue.language == ENGLISH else w(FILE_WORDS.get(code, OTHER_FILE))


def _unknown(row: Row, w: Speech) -> Told:
    places = {"lines": count_lines(w, row["records"]), "lot": row["what"]}
    near = row.get("near_lot")
    told = (
        w("{lines}: lot {lot} is in no lot list.", **places)
        if near is None
        else w("{lines}: lot {lot} is in no lot list; is it {near}?", near=near, **places)
    )
    return (
        told,
        w(
            "Send the lot list with {lot}, or correct the code where the export is made; the lines are then taken up "
            "by themselves.",
            **places,
        ),
    )


def _lot(row: Row, w: Speech) -> Told:
    places = {"lines": count_lines(w, row["records"]), "lot": row["what"]}
    return (
        w("{lines}: lot {lot} stands in the lot list on a line that cannot be used.", **places),
        w("Mend the line of lot {lot} in the lot list; the lines are then taken up by themselves.", **places),
    )


def _place(row: Row, w: Speech) -> Told:
    places = {"lines": count_lines(w, row["records"]), "place": _name_place(row["what"], w)}
    told = (
        w("{lines}: the place “{place}” fits {n} lots on that day.", n=row["fitting_lots"], **places)
        if row["fitting_lots"]
        else w("{lines}: the place “{place}” fits no lot on that day.", **places)
    )
    return told, w("Add the lot's code to the export, or correct house, bench or crop in the lot list.")


def _name_place(place: str, w: Speech) -> str:
    """A place as the models write it (house, then bench and crop where the line has them), in the reader's words."""
    house, *more = place.split(", ")
    names = [w("house {name}", name=house.removeprefix("house "))] if house.startswith("house ") else [house]
    if more and more[0].startswith("bench "):
        names.append(w("bench {name}", name=more.pop(0).removeprefix("bench ")))
    return ", ".join([*names, *more])


def _when(row: Row, w: Speech) -> str:
    """The day of the first of the lines, the site's way; the models write it ISO 8601."""
    when = _ISO_DAY.sub(lambda found: w.day(date.fromisoformat(found[0])), row["detail"])
    return when if row["records"] == 1 else w("for example {day}", day=when)


def _future(row: Row, w: Speech) -> Told:
    return (
        w("{lines} dated in the future ({day}).", lines=count_lines(w, row["records"]), day=_when(row, w)),
        w(
            "Where the date is wrong, correct it, or the date format of the export in site.toml; else the lines are "
            "taken up by themselves when their day has come."
        ),
    )


def _noun(row: Row, w: Speech) -> str:
    return {"treatments": w("treatment"), "exemptions": w("excuse")}.get(row["export_kind"], w("reading"))


def _before(row: Row, w: Speech) -> Told:
    return (
        w(
            "{lines} of lot {lot}, {day}: before the lot started on {start}.",
            lines=count_lines(w, row["records"]),
            lot=row["what"],
            day=_when(row, w),
            start=w.day(row["started_on"]),
        ),
        w("Correct the date of the {noun} or the start in the lot list.", noun=_noun(row, w)),
    )


def _after(row: Row, w: Speech) -> Told:
    return (
        w(
            "{lines} of lot {lot}, {day}: after the lot ended on {end}.",
            lines=count_lines(w, row["records"]),
            lot=row["what"],
            day=_when(row, w),
            end=w.day(row["ends_on"]),
        ),
        w("Correct the date of the {noun} or the end in the lot list.", noun=_noun(row, w)),
    )


def _site_removed(row: Row, w: Speech) -> Told:
    places = {"lines": count_lines(w, row["records"]), "site": row["what"]}
    return (
        w("{lines}: no site.toml has the site {site} any more.", **places),
        w("Bring back the site.toml of {site}; the lines are then taken up by themselves.", **places),
    )


def _file(row: Row, w: Speech) -> Told:
    told = w(
        "{file}: the whole file is held, {lines}.", file=row["what"], lines=count_lines(w, row["records"])
    )
    mend = row["file_mend"] or w("export the file again")
    if w.tongue.language != ENGLISH:
        mend = w("look at the file and at its [[export]] in site.toml")
    return f"{told} {_sentence(_problem(row['cause'], row['detail'], w))}", _sentence(mend)


def _cell(row: Row, w: Speech) -> Told:
    lines = count_lines(w, row["records"])
    mend = w(MENDS.get(row["cause"], OTHER_MEND))
    if w.tongue.language != ENGLISH:
        return f"{lines}: {w(CELL_WORDS.get(row['cause'], OTHER_CELL))}{_quoted(row, w)}.", mend
    first = " " if row["records"] == 1 else " for example "
    detail = (row["detail"] or row["cause"]).rstrip(".")
    if row["cause"] in MENDS:
        # Advice inside the detail is the mend's to give.
        detail = detail.partition(": check ")[0]
    return f"{lines}:{first}{detail}.", mend


def _quoted(row: Row, w: Speech) -> str:
    """The site's own text inside the English detail, which is the same in every language; nothing without one."""
    found = _QUOTED.search(row["detail"] or "")
    if found is None:
        return ""
    text = w("“{text}”", text=found[1])
    return f" ({text})" if row["records"] == 1 else f" ({w('for example {day}', day=text)})"


def _sentence(clause: str) -> str:
    """A clause as a sentence of its own."""
    return clause[:1].upper() + clause[1:].rstrip(".") + "."


_HELD: dict[str, Callable[[Row, Speech], Told]] = {
    "site_removed": _site_removed,
    "lot_unknown": _unknown,
    "lot_held": _lot,
    "place_unclear": _place,
    "in_future": _future,
    "before_start": _before,
    "after_end": _after,
    **dict.fromkeys(FILE_PROBLEMS, _file),
}
