"""Which benches of a site's map a lot stands on, from what its list says in words."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Final

from pipeline.programme.draw import BenchMap
from pipeline.settings.benches import fold_name

_BETWEEN: Final = re.compile(r"[,;/+&]|\s(?:and|und|y|e|et|en)\s", re.IGNORECASE)
_RANGE: Final = re.compile(r"\s*(?:-|–|—|\bto\b|\bbis\b|\ba\b)\s*", re.IGNORECASE)


def find_lot_benches(
    benches: Sequence[BenchMap], house: str | None, bench: str | None
) -> tuple[BenchMap, ...]:
    """The mapped benches that a lot's house and bench name, in walking order; none where the map lacks them.

    `bench` may name several, `1, 3` or `1 and 3`, or a range `B1-B3`, which is all that lie between in the walk. A
    name of the map is always meant as a whole first, so that a bench `2/3` or `A-1` stays one. A lot without a bench
    stands on all of its house; one without a house is found by its benches only if a single house has them.
    """
    walk = sorted(benches, key=lambda one: one.walk_no)
    houses = dict.fromkeys(fold_name(one.house) for one in walk)
    if house is not None and house.strip():
        houses = {fold_name(house): None}
    found = [
        meant
        for name in houses
        if (meant := _meant([one for one in walk if fold_name(one.house) == name], bench))
    ]
    return found[0] if len(found) == 1 else ()


def _meant(walk: Sequence[BenchMap], bench: str | None) -> tuple[BenchMap, ...]:
    """Those of one house that the words name; without words all of them."""
    if bench is None or not bench.strip():
        return tuple(walk)
    named = set(_named(bench, [fold_name(one.bench) for one in walk]))
    return tuple(one for at, one in enumerate(walk) if at in named)


def _named(words: str, names: Sequence[str]) -> Iterator[int]:
    """Where in the walk the named benches are; names that the map lacks are left out."""
    whole = fold_name(words)
    if whole in names:
        yield names.index(whole)
        return
    for part in _BETWEEN.split(words):
        one = fold_name(part)
        if one in names:
            yield names.index(one)
            continue
        for sign in _RANGE.finditer(one):
            first, last = one[: sign.start()], one[sign.end() :]
            if first in names and last in names:
                ends = sorted((names.index(first), names.index(last)))
                yield from range(ends[0], ends[1] + 1)
                break


__all__ = ["find_lot_benches"]
