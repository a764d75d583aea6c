"""Where lines of exports stand, in few words. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby

from pipeline.languages import Speech
from pipeline.reports.wording_rereads import ENGLISH_ISO


def list_places(lines: Iterable[tuple[str, int]], w: Speech = ENGLISH_ISO) -> str:
    """Files with their lines: "drop/a.csv lines 3-7, 9; drop/b.csv line 2"; nothing for no lines."""
    ordered = sorted(set(lines))
    return "; ".join(
        f"{file} {say_numbers([line for _, line in of_file], w)}"
        for file, of_file in groupby(ordered, key=lambda place: place[0])
    )


def say_numbers(lines: Iterable[int], w: Speech = ENGLISH_ISO) -> str:
    """Line numbers in rising order as spans: "lines 2-6, 9"."""
    spans: list[list[int]] = []
    for line in lines:
        if spans and line == spans[-1][1] + 1:
            spans[-1][1] = line
        else:
            spans.append([line, line])
    written = [str(first) if first == last else f"{first}-{last}" for first, last in spans]
    count = sum(last - first + 1 for first, last in spans)
    return w.many("line {lines}", "lines {lines}", count, lines=", ".join(written))


__all__ = ["list_places", "say_numbers"]
