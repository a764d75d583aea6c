"""The body of a clean file in whole columns: the same records as the careful reader's, or no answer at all.

Only what provably reads the same is taken: no zero bytes, no lone carriage return, one kind of line end, every line
with a quotation mark well formed in itself (so that no record spans lines), every record as wide as the header.
Whatever else there is, the careful reader reads the file.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import polars as pl

from pipeline.intake.set_aside import SetAside
from pipeline.settings import Export

# Stands behind the last cell of each line, so that a line with too few or too many cells shows.
_END: Final = "\x1f"
# Python takes these for white space and Polars does not; a byte order mark inside the text would be lost; the rest
# are signs that one of the two readers takes for the end of a line or of a cell.
_DOUBTFUL: Final = "\0\x1c\x1d\x1e\x1f\ufeff"


@dataclass(frozen=True, slots=True)
class QuickBody:
    """Lines below the header: `kinds` and `texts` one each line; `cells` c0, c1 ... with `line`, data lines only."""

    texts: pl.Series
    kinds: pl.Series
    cells: pl.DataFrame


def read_quickly(body: str, header: Sequence[str], export: Export) -> QuickBody | None:
    """Read what stands below a header; None where only the careful reader can.

    `line` in the cells counts the body's lines from 0. Kinds as in `read.ReadResult`.
    """
    ends = body.count("\n")
    returns = body.count("\r\n")
    if returns not in (0, ends) or body.count("\r") != returns or any(sign in body for sign in _DOUBTFUL):
        return None
    texts = _lines(body, has_returns=returns > 0)
    blank = (texts.str.strip_chars(f"{export.delimiter} \t\r\n") == "").rename("blank")
    comment = _comments(texts, export.comment_prefix)
    rules = SetAside(export, header)
    if any(rules.is_doubtful_comment(text) for text in texts.filter(comment & ~blank)):
        return None
    rows = pl.DataFrame({"line": pl.int_range(texts.len(), eager=True), "text": texts}).filter(
        ~blank & ~comment
    )
    cells = _cells(rows["text"], len(header), export.delimiter)
    if cells is None:
        return None
    kind_of_row = _kinds_of_rows(cells, header, rules)
    if (kind_of_row == "doubt").any():
        return None
    kinds = (
        pl.DataFrame({"blank": blank, "comment": comment})
        .select(
            pl.when("blank").then(pl.lit("blank")).when("comment").then(pl.lit("comment")).otherwise(None)
        )
        .to_series()
        .scatter(rows["line"], kind_of_row)
        if rows.height
        else _plain_kinds(blank)
    )
    is_data = kind_of_row == "data"
    return QuickBody(
        texts.rename("text"), kinds.rename("kind"), cells.with_columns(rows["line"]).filter(is_data)
    )


def _plain_kinds(blank: pl.Series) -> pl.Series:
    return (
        blank.to_frame()
        .select(pl.when("blank").then(pl.lit("blank")).otherwise(pl.lit("comment")))
        .to_series()
    )


def _lines(body: str, *, has_returns: bool) -> pl.Series:
    """Physical lines without their ends."""
    lines = (
        pl.Series("text", [body.removesuffix("\n")] if body else [], dtype=pl.String)
        .str.split("\n")
        .explode()
    )
    return lines.str.strip_suffix("\r") if has_returns else lines


def _comments(texts: pl.Series, prefix: str) -> pl.Series:
    if not prefix:
        return pl.repeat(value=False, n=texts.len(), dtype=pl.Boolean, eager=True).rename("comment")
    return texts.str.strip_chars_start().str.starts_with(prefix).rename("comment")


def _cells(texts: pl.Series, width: int, delimiter: str) -> pl.DataFrame | None:
    """Cells of data lines as columns c0, c1 ...; None where a line is malformed, or not as wide as the header."""
    names = [f"c{at}" for at in range(width)]
    if texts.is_empty():
        return pl.DataFrame(schema=dict.fromkeys(names, pl.String))
    quoted = texts.filter(texts.str.contains('"', literal=True))
    if quoted.len() and not quoted.str.contains(_well_formed(delimiter)).all():
        return None
    joined = (texts + f"{delimiter}{_END}").str.join("\n").item()
    try:
        read = pl.read_csv(
            joined.encode(),
            has_header=False,
            separator=delimiter,
            quote_char='"' if quoted.len() else None,
            eol_char="\n",
            infer_schema=False,
            empty_string_is_null=False,
            extra_columns="raise",
        )
    except pl.exceptions.PolarsError:
        return None  # a line has more cells than the first one
    if read.shape != (texts.len(), width + 1):
        return None
    last = read.to_series(width)
    if last.null_count() or not (last == _END).all():
        return None
    cells = read[:, :width]
    cells.columns = names
    # A cell that holds the sign of the end would have been refused before.
    return cells


def _well_formed(delimiter: str) -> str:
    mark = re.escape(delimiter)
    cell = f'(?:"(?:[^"]|"")*"|[^"{mark}]*)'
    return f"^{cell}(?:{mark}{cell})*$"


def _kinds_of_rows(cells: pl.DataFrame, header: Sequence[str], rules: SetAside) -> pl.Series:
    """data, total, doubt, blank or header of each line that is neither blank nor a comment by its text."""
    if cells.is_empty():
        return pl.Series("kind", [], dtype=pl.String)
    first = cells["c0"].str.strip_chars()
    kinds = _totals(cells, first, rules)
    # Only a line that begins like one of these can be blank, or the header once more.
    titles = [title.strip() for title in header]
    odd = ((first == "") | (first == titles[0])).arg_true()
    if odd.is_empty():
        return kinds
    stripped = cells[odd].select(pl.all().str.strip_chars())
    of_odd = stripped.select(
        pl.when(pl.all_horizontal(pl.all() == ""))
        .then(pl.lit("blank"))
        .when(pl.all_horizontal([pl.col(f"c{at}") == title for at, title in enumerate(titles)]))
        .then(pl.lit("header"))
        .otherwise(kinds[odd])
    ).to_series()
    return kinds.scatter(odd, of_odd)


def _totals(cells: pl.DataFrame, first: pl.Series, rules: SetAside) -> pl.Series:
    """data, total or doubt of each line; only those whose first filled cell is a total word are looked at."""
    kinds = pl.repeat("data", cells.height, dtype=pl.String, eager=True).rename("kind")
    blank_first = (first == "").arg_true()
    if blank_first.len():
        stripped = cells[blank_first].select(pl.all().str.strip_chars())
        filled = stripped.select(
            pl.coalesce(
                [pl.when(pl.col(name) != "").then(pl.col(name)) for name in stripped.columns]
            ).fill_null("")
        ).to_series()
        first = first.scatter(blank_first, filled)
    words = [text for text in first.unique() if rules.is_total_word(text)]
    at = first.is_in(words).arg_true()
    if at.is_empty():
        return kinds
    return kinds.scatter(at, pl.Series([rules.judge(row) for row in cells[at].iter_rows()], dtype=pl.String))
