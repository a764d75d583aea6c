"""What a proof finds wrong, as values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Part = Literal[
    "archive", "ledger", "warehouse", "balance", "pages", "dossiers", "attachments", "evidence", "compliance"
]
"""The last three are of one dossier, away from its home."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong: a sentence that names its place (below the home) and its mend."""

    part: Part
    sentence: str
