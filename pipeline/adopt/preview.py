"""The file as the proposal would read it: five rows, and the cells that it could not read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal

import polars as pl

from pipeline.checks.sift import sift
from pipeline.intake.read import read_records
from pipeline.intake.translate import translate
from pipeline.settings import Export, PolicyInForce, SiteSettings

ROWS_SHOWN = 5
UNREAD_SHOWN = 10
# Columns of a translated row that are no cells of the file.
_NOT_SHOWN = frozenset({"record_no", "cells", "ec_compensated"})


@dataclass(frozen=True, slots=True)
class Unread:
    """A cell or a line that could not be read; `count` is how often the same was found."""

    line: int
    sentence: str
    count: int


@dataclass(frozen=True, slots=True)
class Preview:
    """`rows` hold what is known of the first lines, dates as ISO texts and figures in our units.

    `held` says of each of these rows why a night would hold it, None where it would not. `unread` has the same of all
    lines. `data_lines` counts the records that are data, `other_lines` the rest by kind; `file_problem` is why the
    file would be held whole.
    """

    rows: tuple[Mapping[str, str], ...]
    held: tuple[str | None, ...]
    unread: tuple[Unread, ...]
    unread_count: int
    data_lines: int
    other_lines: Mapping[str, int]
    file_problem: str | None


def read_preview(
    data: bytes, export: Export, site: SiteSettings, policy: Sequence[PolicyInForce] | None = None
) -> Preview:
    """Read the whole file as a night would, and keep what is to be shown.

    `policy`: the site's, for what is out of scale; without it only what cannot be read is said.
    """
    result = read_records(data, export)
    translated = translate(result, export, site)
    shown = translated.rows.head(ROWS_SHOWN)
    rows = tuple(
        {name: _shown(value) for name, value in row.items() if value is not None and name not in _NOT_SHOWN}
        for row in shown.iter_rows(named=True)
    )
    lines = dict(result.records.select("record_no", "line_from").iter_rows())
    broken = result.records.filter(pl.col("problem").is_not_null() & (pl.col("kind") == "data"))
    found = [(line, f"{detail}") for line, detail in broken.select("line_from", "problem_detail").iter_rows()]
    problems = [*translated.problems.select("record_no", "sentence").iter_rows()]
    if policy is not None:
        problems += sift(translated, export, policy).select("record_no", "detail").iter_rows()
    found += [(lines[number], sentence) for number, sentence in problems]
    why: dict[int, str] = {}
    for number, sentence in problems:
        why.setdefault(number, sentence)
    kinds = Counter(result.records["kind"].to_list())
    problem = result.file_problem
    return Preview(
        rows=rows,
        held=tuple(why.get(number) for number in shown["record_no"]),
        unread=_grouped(sorted(found)),
        unread_count=len(found),
        data_lines=kinds.pop("data", 0),
        other_lines=dict(kinds),
        file_problem=None if problem is None else f"{problem.sentence}; {problem.mend}",
    )


def _grouped(found: list[tuple[int, str]]) -> tuple[Unread, ...]:
    counts = Counter(sentence for _, sentence in found)
    first: dict[str, int] = {}
    for line, sentence in found:
        first.setdefault(sentence, line)
    return tuple(
        Unread(line, sentence, counts[sentence]) for sentence, line in list(first.items())[:UNREAD_SHOWN]
    )


def _shown(value: object) -> str:
    match value:
        case date() | time():
            return value.isoformat()
        case Decimal():
            return f"{value.normalize():f}"
        case _:
            return " ".join(str(value).split())
