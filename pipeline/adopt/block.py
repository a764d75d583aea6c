"""The proposal as TOML: one [[export]] with the why of each line behind it."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence

from pipeline.adopt.cell_guess import CellWord
from pipeline.adopt.propose import MappedColumn, Proposal, Setting

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_WHY_COLUMN = 44


def write_block(proposal: Proposal) -> str:
    """The block as text, from `[[export]]` on, with a line end behind its last line."""
    lines = [
        f"# Proposed from {_one_line(proposal.name)}; what is not right can be changed here at any time."
    ]
    lines += [
        "[[export]]",
        _line(f"kind = {quote(proposal.kind.value)}", proposal.kind.sure, proposal.kind.why),
    ]
    lines += [_setting_line(setting) for setting in proposal.settings]
    lines += ["", "[export.columns]"]
    lines += [_column_line(column) for column in proposal.columns]
    lines += [_remark(f"left out: {quote(one.header)}, {one.why}") for one in proposal.left_out]
    for field, words in proposal.words.items():
        lines += ["", *_word_lines(field, words)]
    return "\n".join(lines) + "\n"


def quote(text: str) -> str:
    """A text as a basic string of TOML, whatever letters it has."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _setting_line(setting: Setting) -> str:
    return _line(f"{setting.key} = {_value(setting.value)}", setting.guess.sure, setting.guess.why)


def _value(value: str | int | bool | tuple[str, ...]) -> str:
    match value:
        case bool():
            return str(value).lower()
        case int():
            return str(value)
        case tuple():
            return "[" + ", ".join(quote(one) for one in value) + "]"
        case _:
            return quote(value)


def _column_line(column: MappedColumn) -> str:
    guess = column.guess
    if column.unit is None:
        return _line(f"{column.field} = {quote(column.header)}", guess.sure, guess.why)
    wrong = ", header_unit_is_wrong = true" if column.header_is_wrong else ""
    text = f"{column.field} = {{ column = {quote(column.header)}, unit = {quote(column.unit.value)}{wrong} }}"
    return _line(text, guess.sure, f"{guess.why}; unit {column.unit.sure}: {column.unit.why}")


def _word_lines(field: str, words: Sequence[CellWord]) -> list[str]:
    """A table of words. Those that nobody knew are remarks in it: whoever takes the mark away has filled them in.

    The head is none, also of an empty table: below a head that is a remark the words would be columns.
    """
    known = [one for one in words if one.word is not None]
    lines = [f"[export.values.{field}]"]
    lines += [_line(f"{quote(one.cell)} = {quote(one.word or '')}", one.sure, one.why) for one in known]
    lines += [_open_line(one) for one in words if one.word is None]
    return lines


def _open_line(one: CellWord) -> str:
    """A word to be filled in: with the one that it may be, or with those from which to choose."""
    word = one.perhaps[0] if len(one.perhaps) == 1 else ""
    why = "to be filled in" if not one.perhaps else "perhaps; take the # away if it is"
    if len(one.perhaps) > 1:
        why = f"to be filled in, perhaps {' or '.join(quote(each) for each in one.perhaps)}"
    return f"# {quote(one.cell)} = {quote(word)}  # {_one_line(why)}"


def _line(text: str, sure: str, why: str) -> str:
    return f"{text.ljust(_WHY_COLUMN)} # {sure}: {_one_line(why)}"


def _remark(text: str) -> str:
    return f"# {_one_line(text)}"


def _one_line(text: str) -> str:
    """A text as a remark may have it: no line ends and no control letters."""
    return "".join(letter if letter.isprintable() else " " for letter in " ".join(text.split()))
