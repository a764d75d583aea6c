"""What is known of a standing lot when its reasons are worked out, and the lines that a step rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from pipeline.settings import SiteSettings

Row = dict[str, Any]
NAMES: Final = {"ph": "pH", "ec": "EC"}


@dataclass(frozen=True, slots=True)
class Known:
    """What the steps of a reason are taken from."""

    lot: Row
    site: SiteSettings
    verdicts: dict[str, Row]
    pairs: list[Row]
    hangs_on_one: set[str]
    samplings: list[Row]
    figures: list[Row]
    drifts: list[Row]
    contrasts: list[Row]
    lines: list[Row]
    treatments: list[Row]
    waters: list[Row]


Made = tuple[list[str], list[Row]]
"""Steps, and the lines that they rest on."""


def lines_of(
    known: Known, day: date | None, purposes: Sequence[str], quantity: str | None = None
) -> list[Row]:
    """The lines of one day's sampling; of one quantity those that are usable for it."""
    return [
        line
        for line in known.lines
        if line["sampled_on"] == day
        and line["purpose"] in purposes
        and (quantity is None or line[f"is_usable_{quantity}"])
    ]


def last_lines(known: Known, quantity: str | None) -> list[Row]:
    """The lines of the last sampling that counts; of one quantity those that are usable for it."""
    lot = known.lot
    return lines_of(known, lot["last_counting_on"], [lot["last_counting_purpose"]], quantity)


def plain(value: Any) -> str:
    """A DECIMAL without trailing zeros."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
