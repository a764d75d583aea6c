"""Numbers of lines as people read them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise


def say_lines(lines: Sequence[int]) -> str:
    """Line numbers in rising order as ranges: lines 2-6, 9."""
    if not lines:
        return "no line"
    starts = [lines[0], *(after for before, after in pairwise(lines) if after != before + 1)]
    ends = [*(before for before, after in pairwise(lines) if after != before + 1), lines[-1]]
    ranges = [str(one) if one == other else f"{one}-{other}" for one, other in zip(starts, ends, strict=True)]
    return f"{'line' if len(lines) == 1 else 'lines'} {', '.join(ranges)}"
