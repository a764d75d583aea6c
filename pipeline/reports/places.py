"""Where lines of exports stand, in few words. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby


def list_places(lines: Iterable[tuple[str, int]]) -> str:
    """Files with their lines: "drop/a.csv lines 3-7, 9; drop/b.csv line 2"; nothing for no lines."""
    ordered = sorted(set(lines))
    return "; ".join(
        f"{file} {_numbers([line for _, line in of_file])}"
        for file, of_file in groupby(ordered, key=lambda place: place[0])
    )


def _numbers(lines: list[int]) -> str:
    spans: list[list[int]] = []
    for line in lines:
        if spans and line == spans[-1][1] + 1:
            spans[-1][1] = line
        else:
            spans.append([line, line])
    written = [str(first) if first == last else f"{first}-{last}" for first, last in spans]
    return f"{'line' if len(lines) == 1 else 'lines'} {', '.join(written)}"


__all__ = ["list_places"]
