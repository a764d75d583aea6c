"""Sentences beside the rows of a dossier: what a remark, a held line or a question says in words. Pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

import polars as pl

from pipeline.reports.wording import Wording
from pipeline.settings.findings import BY_NAME

Frames = Mapping[str, pl.DataFrame]
QUESTIONS: Final = (
    *("all_alike", "same_as_before", "too_fast", "entered_late", "one_bench", "one_position", "sent_again"),
)
"""Remarks that ask rather than tell: copied figures, an impossible pace, entries made long after, where pots "
"stood."""
ISO: Final = "%Y-%m-%d"


def add_sentences(frames: Frames, language: str) -> dict[str, pl.DataFrame]:
    """The same frames; remarks, held lines and questions about sites with their sentences in a language."""
    words = Wording(ISO, language=language)

    def write(
        name: str, make: Callable[[Wording, dict[str, Any]], dict[str, str | None]], *columns: str
    ) -> pl.DataFrame:
        frame = frames[name]
        told = [make(words, row) for row in frame.iter_rows(named=True)]
        return frame.with_columns(
            pl.Series(column, [one[column] for one in told], dtype=pl.String) for column in columns
        )

    return {
        **frames,
        "remarks": write("remarks", lambda by, row: {"sentence": by.finding(row)}, "sentence"),
        "held": write("held", _held, "sentence", "mend"),
        "site_questions": write(
            "site_questions", lambda by, row: {"sentence": by.question_of_days(row)}, "sentence"
        ),
    }


def _held(words: Wording, row: dict[str, Any]) -> dict[str, str | None]:
    sentence, mend = words.held(row)
    return {"sentence": sentence, "mend": mend}


def is_question(rule: str) -> bool:
    """Whether a remark asks rather than tells."""
    return rule in QUESTIONS


def name_rule(rule: str) -> str:
    """What a rule says in general."""
    return BY_NAME[rule].rule if rule in BY_NAME else rule.replace("_", " ")
