"""A dossier's PDF read back: the files that it carries, and its tables as text."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import polars as pl

from pipeline.audit.evidence import ORDER, Period
from pipeline.errors import AuditError


@dataclass(frozen=True, slots=True)
class Carried:
    """What a dossier carries. `files`: bytes by name; `facts`: audit.csv as key and value."""

    path: Path
    files: Mapping[str, bytes]
    facts: Mapping[str, str]

    @property
    def period(self) -> Period:
        """What it says that it looks at."""
        return Period(
            date.fromisoformat(self.facts["from_on"]),
            date.fromisoformat(self.facts["to_on"]),
            self.facts["site_id"] or None,
        )

    def check(self) -> None:
        """See that the facts can be read. Raises KeyError, ValueError."""
        _ = self.period, date.fromisoformat(self.facts["as_of"])
        _ = int(self.facts["night"]), int(self.facts["ledger_line"]), self.facts["ledger_sha256"]

    def table(self, name: str) -> pl.DataFrame:
        """One table, every cell as text; an empty cell is null."""
        return read_table(self.files[f"{name}.csv"])


def read_dossier(path: Path) -> Carried:
    """Read a PDF's attachments. Raises AuditError when it is no dossier or its tables cannot be read."""
    import pikepdf

    try:
        with pikepdf.open(path) as pdf:
            files = {name: pdf.attachments[name].get_file().read_bytes() for name in pdf.attachments}
    except (pikepdf.PdfError, OSError) as error:
        raise AuditError(
            f"{path}: cannot be read as a PDF; ask for the dossier as it was handed out."
        ) from error
    lacking = [f"{name}.csv" for name in ("index", *ORDER) if f"{name}.csv" not in files]
    if len(lacking) > len(ORDER) - 2:
        raise AuditError(
            f"{path}: carries no tables of a dossier; give the PDF that `leachbook audit` wrote, not a print of it."
        )
    try:
        facts = {row["key"]: row["value"] for row in read_table(files["audit.csv"]).to_dicts()}
        carried = Carried(path, files, {key: value or "" for key, value in facts.items()})
        carried.check()
    except (KeyError, ValueError, csv.Error) as error:
        raise AuditError(
            f"{path}: the attached audit.csv does not say what the dossier is about; ask for the dossier as it was "
            "handed out."
        ) from error
    return carried


def read_table(data: bytes) -> pl.DataFrame:
    """A CSV of a dossier, every cell as text; a cell that is empty is null. Raises ValueError, UnicodeDecodeError."""
    rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""), strict=True))
    if not rows:
        raise ValueError("no header")
    header, *lines = rows
    if any(len(line) != len(header) for line in lines):
        raise ValueError("a line with more or fewer cells than the header")
    return pl.DataFrame(
        {name: [line[number] or None for line in lines] for number, name in enumerate(header)},
        schema=dict.fromkeys(header, pl.String),
    )
