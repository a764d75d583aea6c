"""Record-keeping points of standards, and where a dossier answers each, or that it does not.

The points are in general words, as published standards are known here: read, or from memory.
`python -m pipeline.audit.standards` writes the page STANDARDS.md beside this file; a test compares both.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from pipeline.audit.messages import tell
from pipeline.audit.sheet import Head, Section, make_table
from pipeline.files import write_whole

PAGE: Final = Path(__file__).with_name("STANDARDS.md")
_KNOWN: Final = {"read": "read", "memory": "from memory"}


@dataclass(frozen=True, slots=True)
class Point:
    """One point of one standard. `answer`: yes, partly or no; `where` says in which part, or what is lacking."""

    standard: str
    known: str
    point: str
    answer: str
    where: str


@cache
def load_points() -> tuple[Point, ...]:
    """Every point, in the order of the table beside this file."""
    with Path(__file__).with_name("standards.csv").open(encoding="utf-8", newline="") as stream:
        return tuple(Point(**row) for row in csv.DictReader(stream))


def standards_section() -> Section:
    """The points as a section of the dossier."""
    table = make_table(
        "Points of standards on keeping records, in general words",
        [
            Head("Standard", 16),
            Head("Asks that", 34),
            Head("Answered", 8),
            Head("Where, or what is lacking", 42),
        ],
        [
            (
                tell("{standard} ({known})", standard=tell(one.standard), known=tell(_KNOWN[one.known])),
                tell(one.point),
                tell(one.answer),
                tell(one.where),
            )
            for one in load_points()
        ],
        file="index",
    )
    return Section(
        "standards",
        "Points of standards",
        (
            (
                "Where this dossier answers points that outside standards make on keeping records, and where it "
                "does not. "
                "“Read” means that the standard was seen, “from memory” that it was not. The dossier claims no "
                "conformity."
            ),
        ),
        (table,),
    )


def write_page() -> str:
    """The same as a page for contributors."""
    head = (
        "# Points of standards\n\n"
        "Made by `python -m pipeline.audit.standards` from `standards.csv`; a test compares both. In general "
        "words, as\n"
        "known here: read, or from memory. A dossier claims no conformity with any of these standards.\n\n"
        "| standard | known | asks that | answered | where, or what is lacking |\n|---|---|---|---|---|\n"
    )
    rows = (
        f"| {one.standard} | {_KNOWN[one.known]} | {one.point} | {one.answer} | {one.where} |\n"
        for one in load_points()
    )
    return head + "".join(rows)


if __name__ == "__main__":
    write_whole(PAGE, write_page().encode())
