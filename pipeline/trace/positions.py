"""How many pots of a site stood in the front row, and what chance says to that, step by step. Pure."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from pipeline.measures.positions import LEAST_POTS, LEVEL, tail_chance


def front_row_steps(rows: pl.DataFrame) -> list[str]:
    """`rows`: a site's rows of sql/measures/recorded_rows.sql; none give no steps."""
    kinds = rows.sort("parts").to_dicts()
    if not kinds:
        return []
    pots, in_front = sum(kind["pots"] for kind in kinds), sum(kind["in_front"] for kind in kinds)
    expected = sum(kind["pots"] / kind["parts"] for kind in kinds)
    since = min(kind["first_on"] for kind in kinds)
    together = (
        f"since {since} together {pots} pots, {in_front} in front, {expected:.4f} to be expected by chance"
    )
    return [*(_kind(kind) for kind in kinds), together, _chance(kinds, pots, in_front)]


def _kind(kind: dict[str, Any]) -> str:
    parts, pots = kind["parts"], kind["pots"]
    return (
        f"benches of {parts} rows{' (or front, middle, back)' if parts == 3 else ''}: {pots} pots, "
        f"{kind['in_front']} in front, by chance {pots} / {parts} = {pots / parts:.4f}"
    )


def _chance(kinds: list[dict[str, Any]], pots: int, in_front: int) -> str:
    if pots < LEAST_POTS:
        return f"fewer than {LEAST_POTS} pots: not judged"
    numbers = np.array([kind["pots"] for kind in kinds])
    p = tail_chance(in_front, numbers, 1.0 / np.array([kind["parts"] for kind in kinds]))
    law = " + ".join(f"B({kind['pots']}, 1/{kind['parts']})" for kind in kinds)
    verdict = "beyond chance" if p < LEVEL else "as chance may have it"
    return f"chance of {in_front} or more in front, by {law}: {p:.2g}; told below {LEVEL:g}: {verdict}"


__all__ = ["front_row_steps"]
