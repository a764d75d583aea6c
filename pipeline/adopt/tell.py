"""A proposal as lines for a terminal and as data for a machine."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pipeline.adopt.cell_guess import CellWord
from pipeline.adopt.preview import Preview
from pipeline.adopt.propose import Proposal
from pipeline.adopt.questions import Guess, Question

_WIDEST = 24
_LEFT_LINES = {"title": "titles", "total": "totals", "comment": "remarks"}


def tell_proposal(proposal: Proposal, preview: Preview) -> list[str]:
    """What would be written and how the file would be read, for people."""
    lines = [f"{proposal.name}: {proposal.kind.value} ({proposal.kind.sure}: {proposal.kind.why})", ""]
    lines += [
        f"  {setting.key:<16} {_value(setting.value):<22} {setting.guess.sure}: {setting.guess.why}"
        for setting in proposal.settings
    ]
    lines += ["", "Columns"]
    for column in proposal.columns:
        unit = f" in {column.unit.value}" if column.unit else ""
        why = f"{column.guess.sure}: {column.guess.why}"
        if column.unit:
            why += f"; unit {column.unit.sure}: {column.unit.why}"
        lines.append(f"  {column.field:<12} = {_short(column.header) + unit:<{_WIDEST}} {why}")
    lines += [f'  left out     "{_short(one.header)}": {one.why}' for one in proposal.left_out]
    for field, words in proposal.words.items():
        lines += ["", f"Words in {field}"]
        lines += [
            f'  "{_short(one.cell)}" = {one.word or "?"}  {one.sure}: {one.why if one.word else _fill_in(one)}'
            for one in words
        ]
    lines += ["", *_tell_preview(preview)]
    lines += [f"Note: {note}" for note in proposal.notes]
    return lines


def tell_written(proposal: Proposal, settings: Path, drop: Path) -> str:
    """What was written and what comes next, for people."""
    told = f"Appended to {settings}."
    open_words = {field: sum(one.word is None for one in words) for field, words in proposal.words.items()}
    tables = " and ".join(f"[export.values.{field}]" for field, number in open_words.items() if number)
    if tables:
        number = sum(open_words.values())
        told += f" Fill in the {'word' if number == 1 else f'{number} words'} that nobody knew under {tables} there."
    return f"{told} Put the file into {drop}; the next night reads it."


def _fill_in(one: CellWord) -> str:
    return "to be filled in" + (f", perhaps {' or '.join(one.perhaps)}" if one.perhaps else "")


def tell_question(question: Question) -> list[str]:
    """A question with its choices, for people."""
    choices = [
        f"  {question.key}={choice.value}  ({choice.why})"
        + ("  <- proposed" if choice.value == question.proposed else "")
        for choice in question.choices
    ]
    return [question.text[:1].upper() + question.text[1:], *choices]


def describe_proposal(
    proposal: Proposal, preview: Preview, block: str, *, site: str, written: bool
) -> dict[str, Any]:
    """The same for machines."""
    method = proposal.extraction_method
    return {
        "site": site,
        "file": proposal.name,
        "written": written,
        "kind": _guess(proposal.kind),
        "settings": {
            setting.key: {"value": setting.value, "sure": setting.guess.sure, "why": setting.guess.why}
            for setting in proposal.settings
        },
        "columns": {
            column.field: {"column": column.header, "sure": column.guess.sure, "why": column.guess.why}
            | ({"unit": _guess(column.unit)} if column.unit else {})
            for column in proposal.columns
        },
        "values": {
            field: {
                one.cell: {"word": one.word, "sure": one.sure, "why": one.why, "perhaps": list(one.perhaps)}
                for one in words
            }
            for field, words in proposal.words.items()
        },
        "left_out": [
            {"column": one.header, "example": one.example, "why": one.why} for one in proposal.left_out
        ],
        "extraction_method": None if method is None else _guess(method),
        "questions": [
            {
                "key": one.key,
                "question": one.text,
                "choices": [{"value": choice.value, "why": choice.why} for choice in one.choices],
                "proposed": one.proposed,
            }
            for one in proposal.questions
        ],
        "rows": [dict(row) for row in preview.rows],
        "rows_held": list(preview.held),
        "data_lines": preview.data_lines,
        "other_lines": dict(preview.other_lines),
        "unread": [
            {"line": one.line, "sentence": one.sentence, "count": one.count} for one in preview.unread
        ],
        "unread_count": preview.unread_count,
        "file_problem": preview.file_problem,
        "notes": list(proposal.notes),
        "block": block,
    }


def _tell_preview(preview: Preview) -> list[str]:
    if preview.file_problem is not None and not preview.rows:
        return [f"The file would be held whole: {preview.file_problem}."]
    lines = [f"The first {len(preview.rows)} of {preview.data_lines} lines, as they would be read"]
    for row, why in zip(preview.rows, preview.held, strict=True):
        read = ", ".join(f"{name} {value}" for name, value in row.items())
        lines.append(f"  {read}" if why is None else f"  HELD {read}: {why}")
    lines += [
        f"{count} {'line' if count == 1 else 'lines'} left out: {_LEFT_LINES[kind]}"
        for kind, count in preview.other_lines.items()
        if kind in _LEFT_LINES
    ]
    if preview.unread:
        lines += ["", f"Would be held ({preview.unread_count})"]
        lines += [
            f"  line {one.line}: {one.sentence}" + (f" ({one.count} times)" if one.count > 1 else "")
            for one in preview.unread
        ]
    return lines


def _guess(guess: Guess) -> dict[str, str]:
    return {"value": guess.value, "sure": guess.sure, "why": guess.why}


def _value(value: str | int | bool | tuple[str, ...]) -> str:
    match value:
        case bool():
            return str(value).lower()
        case tuple():
            return ", ".join(value)
        case "\t":
            return "tab"
        case " ":
            return "blank"
        case _:
            return str(value)


def _short(text: str) -> str:
    one_line = " ".join(text.split())
    return one_line if len(one_line) <= 40 else one_line[:39] + "…"
