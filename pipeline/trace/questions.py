"""Questions about a site's readings as a whole, and what its lists say against each other, back to the lines. Pure."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from statistics import median
from typing import Any, Final

import polars as pl
from pydantic import BaseModel, ConfigDict

from pipeline.reports.wording import Wording

Row = dict[str, Any]
MOST: Final = 10
"""Lines told one by one; how many more there are is said."""
TWO_DECIMALS: Final = re.compile(r"^[0-9]+[.,][0-9][0-9]$")
CHI_SQUARE: Final = 27.877
"""As in sql/judgement/site_questions.sql."""


class TracedQuestion(BaseModel):
    """One remark on a site: rule, the sentence of the page, and how it came about."""

    model_config = ConfigDict(frozen=True)

    rule: str
    sentence: str
    steps: list[str]


def trace_questions(questions: pl.DataFrame, written: pl.DataFrame) -> list[TracedQuestion]:
    """The site's rows of `site_questions`; `written`: its rows of sql/queries/trace_written.sql.

    Pots from the front row have a part of their own in the trace.
    """
    words = Wording("%Y-%m-%d")
    lines = written.to_dicts()
    return [
        TracedQuestion(rule=row["rule"], sentence=words.question(row), steps=_steps(row, lines))
        for row in questions.sort("rule", "quantity").to_dicts()
        if row["rule"] != "front_of_bench"
    ]


def _steps(row: Row, lines: Sequence[Row]) -> list[str]:
    month = [line for line in lines if line["is_in_month"]]
    if row["rule"] == "last_digits":
        return digit_steps([line for line in month if line[f"{row['quantity']}_cell"]], row["quantity"])
    if row["rule"] == "whole_ec":
        return _whole_steps(month)
    return _scale_steps(row, lines)


def digit_steps(lines: Sequence[Row], quantity: str) -> list[str]:
    """The count of each last digit beside a tenth, the chi-square of them, and lines that end in the commonest."""
    cells = [(line, line[f"{quantity}_cell"]) for line in lines]
    digits = [(line, cell, int(cell[-1])) for line, cell in cells if TWO_DECIMALS.match(cell)]
    n = len(digits)
    if not n:
        return []
    counts = Counter(digit for *_, digit in digits)
    expected = n / 10
    terms = [(counts[digit] - expected) ** 2 / expected for digit in range(10)]
    common = max(counts.values())
    mine = [
        f"{line['file']} line {line['line']} “{cell}”"
        for line, cell, digit in digits
        if counts[digit] == common
    ]
    verdict = "above: asked about" if sum(terms) > CHI_SQUARE else "not above"
    return [
        f"last digits of {n} readings with two decimals: "
        + ", ".join(f"{digit}: {counts[digit]}" for digit in range(10)),
        (
            f"expected of each {n} / 10 = {expected:g}; sum of (count - {expected:g})² / {expected:g} = "
            f"{sum(terms):.3f} beside {CHI_SQUARE}, the 0.1 % point of chi-square with 9 degrees of freedom: {verdict}"
        ),
        f"the commonest: {_shortened(mine)}",
    ]


def _whole_steps(lines: Sequence[Row]) -> list[str]:
    read = [line for line in lines if line["ec_recorded"] is not None]
    whole = [line for line in read if line["ec_recorded"] == int(line["ec_recorded"])]
    listed = [f"{line['file']} line {line['line']} “{line['ec_cell']}”" for line in whole]
    return [f"{len(whole)} of {len(read)} EC readings are whole numbers in mS/cm", _shortened(listed)]


def _scale_steps(row: Row, lines: Sequence[Row]) -> list[str]:
    read = [line for line in lines if line["ec_25"] is not None]
    lots = [{line["lot_key"] for line in read if line["is_new"] is is_new} for is_new in (True, False)]
    both = [line for line in read if line["lot_key"] in lots[0] & lots[1]]
    new, old = ([line for line in both if line["is_new"] is is_new] for is_new in (True, False))
    ratio = median(
        median(line["ec_25"] for line in new if line["lot_key"] == lot)
        / median(line["ec_25"] for line in old if line["lot_key"] == lot)
        for lot in lots[0] & lots[1]
    )
    return [
        (
            f"median of {len(new)} readings of the last 14 days {row['a']:.4f}, of {len(old)} before {row['b']:.4f}: "
            f"{row['a']:.4f} / {row['b']:.4f} = {row['a'] / row['b']:.4f}, within 10 % of {row['c']:g}"
        ),
        (
            f"lots read in both spans: {len(lots[0] & lots[1])}; their own ratios, the middle one: {ratio:.4f}, "
            "within 10 % of it too"
        ),
        f"the newest: {_shortened([_written(line) for line in reversed(new)])}",
    ]


def _written(line: Row) -> str:
    return f"{line['file']} line {line['line']} “{line['ec_cell']}”"


def trace_lists(findings: pl.DataFrame, lines: pl.DataFrame) -> list[TracedQuestion]:
    """The site's rows of `list_findings`, each with its lines (rows of sql/queries/trace_lists.sql)."""
    words = Wording("%Y-%m-%d")
    behind = lines.to_dicts()
    return [
        TracedQuestion(
            rule=row["rule"],
            sentence=words.list_finding(row),
            steps=[
                f"{line['name']}, {line['what']}: {line['file']} line {line['line']}: {line['text']}"
                for line in behind
                if line["rule"] == row["rule"]
            ],
        )
        for row in findings.sort("rule").to_dicts()
    ]


def _shortened(items: Sequence[str]) -> str:
    more = f" and {len(items) - MOST} more" if len(items) > MOST else ""
    return f"{', '.join(items[:MOST])}{more}"


def write_questions(questions: Sequence[TracedQuestion]) -> list[str]:
    """Questions as lines for a terminal."""
    lines = []
    for one in questions:
        lines += ["", f"{one.rule}: {one.sentence}", *(f"      {step}" for step in one.steps)]
    return lines


__all__ = ["TracedQuestion", "digit_steps", "trace_lists", "trace_questions", "write_questions"]
