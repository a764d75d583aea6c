"""What the words in cells mean in ours: by the table of words, by the size of a pot, by a crop's name."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache

from pipeline.adopt.dictionary import cell_key, cell_words, crop_words
from pipeline.adopt.questions import Sure
from pipeline.measures.crop_names import near_crops
from pipeline.measures.reference_tables import load_crop_targets
from pipeline.settings import Grower
from pipeline.settings.words import WORDS_BY_FIELD

# Fields whose words are taken over; positions are free text, of which only the known words are turned.
VALUE_FIELDS = (
    "crop",
    "container",
    "start_kind",
    "feed_mode",
    "purpose",
    "condition",
    "poured_with",
    "method",
    "passed",
    "grower",
    "what",
    "place",
    "event",
    "stage",
)
FREE_FIELDS = ("position",)
_CM_PER_INCH = 2.54
_MOST_WORDS = 200
_WORDS_TRIED = 30
_SIZE = re.compile(
    r"(?P<size>\d+(?:[.,]\d+)?)\s*(?P<unit>\"|''|”|in(?:ch(?:es)?)?|zoll|pulgadas|cm|mm)(?![a-z])",
    re.IGNORECASE,
)
_PACK = re.compile(r"\b(?:pack|packs|flat|flats|cell pack|er pack)\b")
_PLUG = re.compile(r"\b(?:plug|plugs|liner|liners|jungpflanzen|alveolos|alveoles)\b")
_GALLON = re.compile(r"#\s?\d|\b\d+\s?gal(?:lon)?s?\b")


@dataclass(frozen=True, slots=True)
class CellWord:
    """A cell's text with our word for it, None where nobody knows; a word that is ours already has no entry.

    `perhaps`: words that may be meant, where none is sure enough to be taken.
    """

    cell: str
    word: str | None
    sure: Sure
    why: str
    perhaps: tuple[str, ...] = ()


def guess_words(field: str, cells: Sequence[str], growers: Sequence[Grower]) -> list[CellWord]:
    """Our words for the different cells of a field; cells that need none are left out."""
    found: dict[str, CellWord] = {}
    for cell in cells[:_MOST_WORDS]:
        key = _plain_key(cell)
        if key in found or not _needs_word(field, cell, growers):
            continue
        word = _guess_one(field, cell, growers)
        if word is None and field in FREE_FIELDS:
            continue
        perhaps = near_crops(cell, published_crops()) if word is None and field == "crop" else []
        found[key] = word or CellWord(cell, None, "unsure", "not known", tuple(perhaps))
    return list(found.values())


def known_share(field: str, cells: Sequence[str]) -> float:
    """Which part of the cells are words of a field, ours or known ones, from 0 to 1."""
    some = cells[:_WORDS_TRIED]
    known = sum(not _needs_word(field, cell, ()) or _guess_one(field, cell, ()) is not None for cell in some)
    return known / len(some) if some else 0.0


def _needs_word(field: str, cell: str, growers: Sequence[Grower]) -> bool:
    key = _plain_key(cell)
    if field == "crop":
        return key not in {_plain_key(name) for name in published_crops()}
    if field == "grower":
        return all(key not in (_plain_key(one.name), one.id) for one in growers) and bool(growers)
    if field == "passed":
        return key not in _PASSED
    return key not in {
        _plain_key(word) for word in WORDS_BY_FIELD.get(field, cell_words().get(field, {}).values())
    }


# What the reading of this field takes as it is.
_PASSED = frozenset(
    {"yes", "y", "true", "1", "ok", "pass", "passed", "no", "n", "false", "0", "fail", "failed"}
)


def _guess_one(field: str, cell: str, growers: Sequence[Grower]) -> CellWord | None:
    if field == "crop":
        return _guess_crop(cell)
    if field == "grower":
        return _guess_grower(cell, growers)
    word = cell_words().get(field, {}).get(cell_key(cell))
    if word is not None:
        return CellWord(cell, word, "certain", "a word of the trade")
    return _guess_container(cell) if field == "container" else None


def _guess_container(cell: str) -> CellWord | None:
    """A container by the words in it or by its width.

    Widths are named in whole inches; what lies between two names counts to the nearer one: up to 4.6 inch
    (11.7 cm) pot_4in, up to 6.3 inch (16 cm) pot_5_6in, above pot_6_5in_plus.
    """
    key = cell_key(cell)
    if _PLUG.search(key):
        return CellWord(cell, "plug", "likely", "it is a plug tray by its name")
    if _PACK.search(key) or key.endswith("pack"):
        return CellWord(cell, "cell_pack", "likely", "it is a pack by its name")
    if _GALLON.search(key) or "nursery" in key:
        return CellWord(cell, "nursery", "likely", "it is a nursery container by its name")
    inches = _width_in_inches(cell)
    if inches is None or not 2 <= inches <= 30:
        return None
    word = "pot_4in" if inches <= 4.6 else "pot_5_6in" if inches <= 6.3 else "pot_6_5in_plus"
    return CellWord(cell, word, "likely", f"about {inches:.1f} inch wide")


def _width_in_inches(cell: str) -> float | None:
    found = _SIZE.search(cell)
    if found is None:
        # Square pots are called by their width in cm: P9, VK 12.
        square = re.fullmatch(
            r"(?:p|vk|v|topf|pot|maceta|ø|t)\s?(\d{1,2}(?:[.,]\d)?)", cell.strip().casefold()
        )
        return float(square[1].replace(",", ".")) / _CM_PER_INCH if square else None
    size = float(found["size"].replace(",", "."))
    match found["unit"].casefold():
        case "cm":
            return size / _CM_PER_INCH
        case "mm":
            return size / 10 / _CM_PER_INCH
        case _:
            return size


def _guess_crop(cell: str) -> CellWord | None:
    """The published crop that a name means: known words, the same words in another order, nearly the same."""
    crop = crop_words().get(cell_key(cell))
    if crop is not None:
        return CellWord(cell, crop, "certain", "the name of this crop in another language or habit")
    names = {_bag(name): name for name in published_crops()}
    bag = _bag(cell)
    if bag in names:
        return CellWord(cell, names[bag], "likely", "the same words in another order")
    singular = {_bag(_singular(name)): name for name in published_crops()}
    if (one := _bag(_singular(cell))) in singular:
        return CellWord(cell, singular[one], "likely", "the same name in the plural")
    known: Mapping[str, str] = {cell_key(name): name for name in published_crops()} | dict(crop_words())
    near = get_close_matches(cell_key(cell), known, n=1, cutoff=0.88)
    if near:
        return CellWord(cell, known[near[0]], "likely", "the nearest published name")
    return None


def _guess_grower(cell: str, growers: Sequence[Grower]) -> CellWord | None:
    """A head grower by a part of the name that no other head grower has."""
    words = set(cell_key(cell).split())
    for part in (lambda one: set(cell_key(one.name).split()), lambda one: {one.id}):
        fits = [one for one in growers if words & part(one)]
        if len(fits) == 1:
            return CellWord(cell, fits[0].id, "likely", f"a part of the name {fits[0].name}")
    return None


@lru_cache(maxsize=1)
def published_crops() -> tuple[str, ...]:
    """The names of the crops in the published tables."""
    return tuple(sorted(set(load_crop_targets()["crop"].to_list())))


def _bag(name: str) -> tuple[str, ...]:
    return tuple(sorted(re.sub(r"[^\w]+", " ", cell_key(name)).split()))


def _singular(name: str) -> str:
    return " ".join(
        word[:-1] if len(word) > 3 and word.endswith("s") else word for word in cell_key(name).split()
    )


def _plain_key(text: str) -> str:
    """Words as the reading compares them."""
    return " ".join(text.replace("_", " ").replace("-", " ").split()).casefold()
