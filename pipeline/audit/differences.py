"""Two versions of a dossier's tables against each other, row by row and column by column. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any, Final

import polars as pl

KEYS: Final[Mapping[str, tuple[str, ...]]] = {
    "compliance": ("level", "site_id", "house", "grower_id", "lot_key", "part"),
    "dues": ("site_id", "lot_key", "why", "due_on", "caused_on"),
    "gaps": ("site_id", "lot_key", "from_on"),
    "lots": ("site_id", "lot_key"),
    "lot_growers": ("site_id", "lot_key", "grower_id"),
    "samplings": ("site_id", "lot_key", "sampled_on", "purpose"),
    "figures": ("site_id", "lot_id", "sampled_on", "purpose", "quantity"),
    "readings": ("site_id", "lot_id", "sampled_on", "file_id", "line_from"),
    "rules": ("site_id", "lot_key", "span_from"),
    "causes": ("site_id", "lot_key", "why", "due_on", "caused_on"),
    "verdicts": ("site_id", "lot_key", "sampled_on", "purpose", "quantity"),
    "targets": ("site_id", "lot_key", "quantity", "valid_from"),
    "treatments": ("site_id", "lot_key", "treated_on", "file_id", "record_no"),
    "excuses": ("site_id", "lot_id", "file_id", "record_no"),
    "closings": ("site_id", "lot_id", "quantity", "out_on"),
    "corrections": ("file_id", "line"),
    "held": ("file_id", "line"),
    "meters": ("file_id", "line", "stage"),
    "remarks": ("site_id", "lot_id", "sampled_on", "purpose", "rule"),
    "site_questions": ("site_id", "rule", "quantity", "from_on", "until_on"),
    "people": ("site_id", "sampler"),
    "plantings": ("site_id", "lot_id"),
    "growers": ("site_id", "grower_id", "house_key"),
    "feed_days": ("site_id", "house_key", "lot_key", "weekday", "fed_on"),
    "closed_days": ("site_id", "weekday", "closed_on"),
    "checks_shown": ("site_id",),
    "published_ranges": ("crop_key", "quantity", "row_no"),
    "feed_pair_crops": ("site_id", "valid_from", "crop_key"),
    "policy_spans": ("site_id", "valid_from"),
    "files": ("file_id",),
    "settings": ("name",),
    "policy": ("site_id", "valid_from", "name"),
    "audit": ("key",),
    "dictionary": ("table", "column"),
    "index": ("file",),
}
"""What tells the rows of each table apart."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One value, or one whole row (`column` is None), that two versions do not have alike; a row is missing as "
    "None."""

    table: str
    key: tuple[str, ...]
    column: str | None
    first: str | None
    second: str | None

    @property
    def place(self) -> str:
        """The row in words: its key, without what is empty."""
        names = KEYS[self.table]
        return ", ".join(f"{name} {value}" for name, value in zip(names, self.key, strict=True) if value)


def find_differences(table: str, first: pl.DataFrame, second: pl.DataFrame) -> Iterator[Difference]:
    """Where two versions of a table differ, in the order of their keys."""
    columns = [name for name in first.columns if name in second.columns]
    before, after = _by_key(table, first), _by_key(table, second)
    for key in sorted({*before, *after}):
        for one, other in zip_longest(before.get(key, []), after.get(key, [])):
            if one is None or other is None:
                yield Difference(
                    table, key, None, None if one is None else "row", None if other is None else "row"
                )
                continue
            for name in columns:
                if one[name] != other[name]:
                    yield Difference(table, key, name, _text(one[name]), _text(other[name]))


def _by_key(table: str, frame: pl.DataFrame) -> dict[tuple[str, ...], list[dict[str, Any]]]:
    rows: dict[tuple[str, ...], list[dict[str, Any]]] = defaultdict(list)
    for row in frame.iter_rows(named=True):
        rows[tuple(_text(row.get(name)) or "" for name in KEYS[table])].append(row)
    return rows


def _text(value: Any) -> str | None:
    return None if value is None else str(value)


def say_value(value: str | None) -> str:
    """A value in a sentence."""
    return "empty" if value in (None, "") else str(value)


def count_rows(differences: Sequence[Difference]) -> int:
    """How many rows differ."""
    return len({one.key for one in differences})
