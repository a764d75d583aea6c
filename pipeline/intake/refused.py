"""What a cell's reader returns when the cell cannot be used."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Refused:
    """Why a cell cannot be used, as the rest of a sentence that begins with column and cell.

    For example ``is not a number; write it like 5,8``.
    """

    reason: str
