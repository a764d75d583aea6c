"""Names of the published tables that somebody may have meant by a crop's name. Pure."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import get_close_matches

_MOST = 4


def near_crops(crop: str, published: Iterable[str]) -> list[str]:
    """Published names like this one, best first and four at most; none is taken without somebody's word.

    A name whose words all stand in the crop's ("Poinsettia Red Comet"), the longest such; else every name that has
    all of the crop's words ("Geranium": ivy, seed, zonal); else the one that is written most alike, whatever the
    order of its words.
    """
    names = {name: _words(name) for name in sorted(set(published))}
    mine = _words(crop)
    within = {name: words for name, words in names.items() if words and words <= mine}
    if within:
        longest = max(len(words) for words in within.values())
        return [name for name, words in within.items() if len(words) == longest][:_MOST]
    around = [name for name, words in names.items() if mine and mine <= words]
    if around:
        return around[:_MOST]
    by_words = {_ordered(words): name for name, words in names.items()}
    near = get_close_matches(_ordered(mine), by_words, n=1)
    return [by_words[one] for one in near]


def _words(name: str) -> frozenset[str]:
    return frozenset(re.findall(r"\w+", name.lower()))


def _ordered(words: Iterable[str]) -> str:
    return " ".join(sorted(words))
