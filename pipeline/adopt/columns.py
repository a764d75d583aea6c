"""Which column is which field: by the header's words, held against what the cells look like."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import cached_property, lru_cache

from pipeline.adopt.cell_guess import known_share
from pipeline.adopt.dictionary import OTHER, fold, header_words, known_phrases, unit_key, unit_words
from pipeline.adopt.moments import are_weeks, are_years, day_formats, moment_formats, time_formats
from pipeline.adopt.numerals import numeric_share, values_by_own_mark, values_of
from pipeline.adopt.questions import Sure
from pipeline.adopt.waters import is_about, is_of_leachate, is_of_other_water, named_quantity
from pipeline.intake.header import header_key
from pipeline.intake.named_units import named_in_header
from pipeline.settings.words import FIELDS, UNIT_OF_FIELD, WORDS_BY_FIELD

_BRACKET = re.compile(r"[(\[{]([^)\]}]*)[)\]}]")
_LEAST = 0.55
_MOST_WORDS = 12
_CLOSE = 0.12
_MISLED_BY_OTHER = 0.35
_WHEN = ("date", "datetime", "time")

# What the figures of a field can be, in any of its units: wide enough for mistakes, too narrow for another matter.
_RANGES: Mapping[str, tuple[float, float]] = {
    "ph": (0, 14),
    "ph_sd": (0, 3),
    "ec": (0, 25_000),
    "ec_sd": (0, 10_000),
    "poured": (0, 2_000),
    "poured_ec": (0, 25_000),
    "leachate": (0, 2_000),
    "temperature": (-10, 130),
    "drain": (0, 2_880),
    "n_pots": (1, 1_000),
    "plants": (0, 10_000_000),
    "slope": (30, 150),
    "offset": (-500, 500),
    "ec_standard": (0, 120_000),
    "ec_found": (0, 120_000),
    "ec_left": (0, 120_000),
    **{f"{when}_{buffer}": (0, 14) for when in ("found", "left") for buffer in (4, 7, 10)},
    **{f"mv_{buffer}": (-500, 500) for buffer in (4, 7, 10)},
    "target_ec": (0, 25_000),
    "alkalinity": (0, 2_000),
    "nitrogen": (0, 5_000),
}
DAY_FIELDS = (
    *("date", "started", "ends", "valid_from", "solution_expires"),
    *("planted", "ships", "from", "until", "entered_on", "trained_on"),
)
"""Fields whose cells are days, all in the one format of the export."""
# A place on a bench is no place of the water.
TELLING_FIELDS = ("what", "place")
"""Fields whose words tell a kind from others."""
# Little words like "du" or "to" begin or end a span only where they are the whole header or end it: "Date du
# contrôle" begins nothing, "Excused to" ends something.
_SPAN_FIELDS = ("from", "until", "valid_from")
_LITTLE_WORD = 4
_WORD_FIELDS = frozenset(
    (*WORDS_BY_FIELD, "crop", "cultivar", "irrigation", "substrate", "reason", "role", "trained_by")
)
_NO_DAYS = frozenset(
    (
        *("lot", "house", "bench", "meter", "pot", "product", "rate", "person", "name", "injector"),
        *("parent", "solution", "event"),
    )
)
_UNITS_AT_THE_END = frozenset(("%", "pct", "mv", "min", "cm", "minutes"))
# "EC of poured water" is not in °F, though "oF" is a way to write it.
_NO_UNITS = ("of", "Of")
_MOSTLY = 0.5
_OF_LEACHATE = 0.93
_AMOUNTS = frozenset(("poured", "leachate", "drain"))
"""What is poured, caught or waited for: never a column whose header names pH or EC."""
_PPM = ("ec", "ppm")
_SIGN_OF = {"ph": "pH", "ec": "EC"}


@dataclass(frozen=True)
class ColumnFacts:
    """One column: its place, its header as it stands, its different cells, and the unit that goes with it."""

    at: int
    header: str
    cells: Sequence[str]
    unit_cell: str = ""

    @cached_property
    def words(self) -> str:
        """The header without its unit, folded."""
        return self._split[0]

    @cached_property
    def unit(self) -> tuple[str, str] | None:
        """Quantity and unit as the header or the units row says them; None where neither does."""
        return self._split[1] or read_unit(self.unit_cell)

    @cached_property
    def _split(self) -> tuple[str, tuple[str, str] | None]:
        return split_unit(self.header)

    @cached_property
    def number_share(self) -> float:
        """Which part of the cells are numbers."""
        return numeric_share(self.cells)

    @cached_property
    def days(self) -> list[str]:
        """The formats that read the cells as days."""
        return day_formats(self.cells)

    @cached_property
    def moments(self) -> list[str]:
        """The formats that read the cells as days with times."""
        return moment_formats(self.cells)

    @cached_property
    def times(self) -> list[str]:
        """The formats that read the cells as times of day."""
        return time_formats(self.cells)


@dataclass(frozen=True, slots=True)
class Match:
    """A field's column, with how sure and why; `rivals` are columns that could be it as well."""

    field: str
    column: ColumnFacts
    score: float
    sure: Sure
    why: str
    rivals: tuple[ColumnFacts, ...] = ()


def read_unit(text: str) -> tuple[str, str] | None:
    """Quantity and unit of a text that is nothing but a unit; a dash says that there is none."""
    if not any(letter.isalnum() or letter in "°%" for letter in text):
        return None
    return unit_words().get(unit_key(text.strip("()[]{} ")))


def split_unit(header: str) -> tuple[str, tuple[str, str] | None]:
    """A header's words without its unit, and the unit: ``LF (µS/cm)``, ``EC mS/cm``, ``TEMP_C``, ``ec.ppm``."""
    unit = None
    rest = header
    for bracket in _BRACKET.findall(header):
        unit = unit or read_unit(bracket)
    plain = _BRACKET.sub(" ", header)
    if plain.strip():
        rest = plain
    parts = [part for part in re.split(r"[\s_,;]+|(?<=\w)-(?=\w)|\.(?=\w)", rest.strip()) if part]
    for length in (3, 2, 1):
        tail = " ".join(parts[-length:])
        if len(parts) <= length or not (found := read_unit(tail)):
            continue
        # A lone word like "pot" or "no" names a column more often than a unit.
        if found[0] == "none" and unit is not None:
            break
        # "Avg TDS (ppm)": the unit is in the brackets, so what also names a column is its name.
        if unit is not None and fold(tail) in known_phrases():
            break
        if found[0] != "none" or tail.casefold() in _UNITS_AT_THE_END or found[1] in _PLAIN_UNITS["hardness"]:
            unit = unit if unit and unit[0] != "none" else found
            rest = " ".join(parts[:-length])
        break
    if unit is None:
        # "EC mS/cm @25°C": the unit stands amid the words.
        amid = [
            part
            for part in parts[1:]
            if len(part) > 1 and part not in _NO_UNITS and (read_unit(part) or ("none",))[0] != "none"
        ]
        if amid:
            unit = read_unit(amid[0])
            rest = " ".join(part for part in parts if part != amid[0])
    return fold(rest), unit


def map_columns(columns: Sequence[ColumnFacts], kind: str) -> list[Match]:
    """The best field for each column of one kind: each field and each column once, surest first."""
    counts: dict[str, int] = {}
    for column in columns:
        counts[header_key(column.header)] = counts.get(header_key(column.header), 0) + 1
    scored: list[tuple[float, str, ColumnFacts, str]] = []
    for column in columns:
        # A header that stands there twice cannot be told apart, and a blank one has no name.
        if counts[header_key(column.header)] > 1 or not header_key(column.header):
            continue
        for field, (score, why) in _score_fields(column, kind).items():
            fitted = _fit(field, column, score, why)
            if fitted is not None:
                scored.append(fitted)
    scored.sort(key=lambda one: (-one[0], one[2].at))
    return _assign(scored)


def _assign(scored: Sequence[tuple[float, str, ColumnFacts, str]]) -> list[Match]:
    matches: dict[str, Match] = {}
    taken: set[int] = set()
    for score, field, column, why in scored:
        if field in matches or column.at in taken:
            continue
        sure: Sure = "certain" if score >= 0.98 else "likely" if score >= 0.7 else "unsure"
        matches[field] = Match(field, column, score, sure, why)
        taken.add(column.at)
    found = []
    for field, match in matches.items():
        rivals = tuple(
            column
            for score, other, column, _ in scored
            if other == field and column.at not in taken and score >= match.score - _CLOSE
        )
        found.append(Match(field, match.column, match.score, match.sure, match.why, rivals))
    return sorted(found, key=lambda match: match.column.at)


def _score_fields(column: ColumnFacts, kind: str) -> dict[str, tuple[float, str]]:
    """For each field how well the header names it, from 0 to 1, and why."""
    best: dict[str, tuple[float, str]] = {}
    misled = 0.0
    words = tuple(column.words.split()[:_MOST_WORDS])
    for entry in header_words()[kind]:
        score = _likeness(words, entry.words)
        if (
            entry.field in _SPAN_FIELDS
            and score < 1
            and _is_little(entry.words)
            and (entry.field == "valid_from" or words[-1:] != entry.words)
        ):
            continue
        if entry.field == OTHER:
            if score >= 0.6:
                misled = max(misled, _MISLED_BY_OTHER if score < 1 else 1.0)
            continue
        if score > best.get(entry.field, (0.0, ""))[0]:
            best[entry.field] = (score, _explain(" ".join(entry.words), entry.field, score))
    scores = {
        field: (score - _led_astray(field, score, misled), why)
        for field, (score, why) in best.items()
        if score - _led_astray(field, score, misled) >= _LEAST
    }
    return _by_water(column, scores, misled) if kind == "readings" else scores


def _by_water(
    column: ColumnFacts, scores: dict[str, tuple[float, str]], misled: float
) -> dict[str, tuple[float, str]]:
    """What a header says that names pH or EC: no amount of water, and no reading where it names another water."""
    quantity = named_quantity(column.words)
    if quantity is None:
        return scores
    kept = {field: score for field, score in scores.items() if field not in _AMOUNTS}
    if is_of_leachate(column.words):
        is_plain = not misled and not is_about(column.words)
        if is_plain and kept.get(quantity, (0.0, ""))[0] < _OF_LEACHATE:
            kept[quantity] = (
                _OF_LEACHATE,
                f"the header says that it is the {_SIGN_OF[quantity]} of leachate",
            )
    elif is_of_other_water(column.words) and kept.get(quantity, (0.0, ""))[0] < 1:
        kept.pop(quantity, None)
    return kept


def _is_little(words: tuple[str, ...]) -> bool:
    return len("".join(words)) <= _LITTLE_WORD


def _led_astray(field: str, score: float, misled: float) -> float:
    """What a word for another matter takes away.

    A header that is the field's own name word for word is not led astray by one of its words, and a target
    is what the words for targets speak of.
    """
    return misled if score < 1 and field != "target_ec" else 0.0


def _explain(phrase: str, field: str, score: float) -> str:
    if score >= 1:
        return f'the header says "{phrase}"'
    return f'the header has "{phrase}" in it' if score >= 0.6 else f'the header is like "{phrase}" ({field})'


@lru_cache(maxsize=50_000)
def _likeness(words: tuple[str, ...], phrase: tuple[str, ...]) -> float:
    """How well a phrase names a header: 1 the same, less where the header has more words or is a compound."""
    if not words or not phrase:
        return 0.0
    if words == phrase:
        return 1.0
    whole, part = "".join(words), "".join(phrase)
    if whole == part:
        return 0.99
    if sorted(words) == sorted(phrase):
        return 0.97
    # "n" alone counts pots, but in "Plante n°" it numbers them: one letter beside other words names nothing.
    if len(part) > 1 and len(phrase) < len(words) and set(phrase) <= set(words):
        return 0.62 + 0.3 * len(part) / len(whole)
    if len(phrase) == 1 and len(part) >= 4 and (whole.startswith(part) or whole.endswith(part)):
        return 0.55 + 0.3 * len(part) / len(whole)
    if len(part) >= 5 and len(whole) >= 5 and abs(len(part) - len(whole)) <= len(whole) // 4:
        # Two slips of the keyboard at most: same first letter and same digits, or it is another word.
        is_near = whole[0] == part[0] and _digits(whole) == _digits(part)
        ratio = SequenceMatcher(None, whole, part).ratio() if is_near else 0.0
        return 0.75 * ratio if ratio >= 0.84 else 0.0
    if len(words) == 1 and 3 <= len(whole) < len(part) and len(phrase) == 1 and part.startswith(whole):
        return 0.6  # a header cut short, like "Temper" or "Bem"
    return 0.0


def _digits(text: str) -> str:
    return "".join(letter for letter in text if letter.isdigit())


def _fit(
    field: str, column: ColumnFacts, score: float, why: str
) -> tuple[float, str, ColumnFacts, str] | None:
    """The match as the cells support it; None where they contradict the field."""
    if not column.cells:
        return score - 0.05, field, column, f"{why}, though it is empty"
    if field in _WHEN:
        return _fit_moment(field, column, score, why)
    support = _support(field, column)
    if support is None:
        return None
    return (
        score + (0.04 if support else 0),
        field,
        column,
        why + (f" and {support}" if support else ""),
    )


def _fit_moment(
    field: str, column: ColumnFacts, score: float, why: str
) -> tuple[float, str, ColumnFacts, str] | None:
    """A date, a time of day or both: the header's word is loose, the cells tell which."""
    if column.moments:
        return score + 0.04, "datetime", column, f"{why} and the cells are days with times"
    if column.days:
        return score + 0.04, "date", column, f"{why} and the cells are days"
    if column.times and field != "date":
        return score + 0.04, "time", column, f"{why} and the cells are times of day"
    # Days that no format reads still make a date column by its name, to be settled by hand.
    return (score - 0.2, field, column, f"{why}, but no format reads its cells") if field == "date" else None


def _support(field: str, column: ColumnFacts) -> str | None:
    """What the cells say for the field: words, "" for nothing, None for a contradiction."""
    if field in DAY_FIELDS:
        return "the cells are days" if column.days or day_formats(column.cells, with_times=True) else None
    if field in ("drain_start", "drain_end"):
        return "the cells are times of day" if column.times else None
    if field == "year":
        return "the cells are years" if are_years(column.cells) else None
    if field == "week":
        return "the cells are weeks" if are_weeks(column.cells) else None
    if field in _RANGES:
        return _support_figures(field, column)
    if field in _WORD_FIELDS:
        return _support_words(field, column)
    if field in _NO_DAYS and column.days:
        return None
    if field == "solution" and column.unit and column.unit[0] != "none":
        return None
    return ""


def _support_words(field: str, column: ColumnFacts) -> str | None:
    """Words that the field knows speak for it; bare figures speak against it where no size is meant."""
    if column.days:
        return None
    if field in ("crop", *WORDS_BY_FIELD) and known_share(field, column.cells) >= _MOSTLY:
        return "the cells are words of it"
    bare = all(cell.replace(".", "").isdecimal() for cell in column.cells)
    return None if bare and field not in ("container", "cultivar", "passed") else ""


def _support_figures(field: str, column: ColumnFacts) -> str | None:
    if column.number_share < 0.6 or column.days:
        return None
    if column.unit and not _unit_fits(field, column.unit):
        return None
    # A drain time in hours is not read as minutes.
    if field not in UNIT_OF_FIELD and other_unit_of(field, column) is not None:
        return None
    said, own = named_quantity(column.words), _quantity_of(field)
    if said is not None and own is not None and said != own:
        return None
    # "Buffer 4" alone may be a pH as well.
    if field.startswith("mv_") and not (column.unit or "mv" in column.words.split()):
        return None
    # Bicarbonate in mg/L is weighed as HCO3, not as the CaCO3 of the settings.
    if field == "alkalinity" and column.unit == _PPM and names_bicarbonate(column):
        return None
    # "Target" alone may be one of pH: the unit or the words must say of what.
    if field == "target_ec" and not (column.unit or _NAMES_EC.search(column.words)):
        return None
    if not _figures_fit(field, column):
        return None
    return "the cells are figures" if field != "ph" else "the cells are between 0 and 14"


def _figures_fit(field: str, column: ColumnFacts) -> bool:
    """Whether most figures of a column are within what a field can be in any of its units."""
    low, high = _RANGES[field]
    if column.unit == ("ec", "µS/m"):
        high *= 100
    by_mark = (values_of(column.cells, "."), values_of(column.cells, ","), values_by_own_mark(column.cells))
    for values in by_mark:
        inside = sum(low <= value <= high for value in values)
        if values and inside >= 0.6 * len(values):
            return True
    return False


_NAMES_BICARBONATE = re.compile(
    r"bicarb|hco ?3|hydrogen ?carb|hidrogeno ?carb|waterstof ?carb|hydrogeno ?carb"
)
_NAMES_EC = re.compile(r"\b(?:ec|ce|lf|cond\w*|leit\w*|geleid\w*|tds)\b")
_PLAIN_UNITS: Mapping[str, frozenset[str]] = {
    "time": frozenset(("min", "mins", "minutes", "minuten", "minutos", "minuut", "h")),
    "share": frozenset(("%", "pct", "percent")),
    "voltage": frozenset(("mv", "millivolt")),
    # Alkalinity in units that the settings do not know: its column is left out rather than read wrong.
    "hardness": frozenset(
        (
            *("°dkh", "dkh", "°dh", "dh", "°kh", "°fh", "°th", "°e", "gpg", "graddh"),
            *("mg/lhco3", "mghco3/l", "ppmhco3", "mg/lalshco3", "mmol/lcaco3", "mmolcaco3/l"),
        )
    ),
    "strength": frozenset(("g/l",)),
}
_PLAIN_UNIT_OF = {
    "drain": "time",
    "slope": "share",
    "offset": "voltage",
    **{f"mv_{buffer}": "voltage" for buffer in (4, 7, 10)},
}


def _unit_fits(field: str, unit: tuple[str, str]) -> bool:
    """Drainage in minutes or per cent is not leachate in mL, and a temperature is no pH."""
    quantity, name = unit
    wanted = UNIT_OF_FIELD.get(field)
    # ppm and mg/L without a scale are units of more than one matter.
    if unit == _PPM and field in ("nitrogen", "alkalinity"):
        return True
    if quantity != "none":
        return quantity == wanted
    said = next((kind for kind, names in _PLAIN_UNITS.items() if name in names), None)
    return said is None or said == _PLAIN_UNIT_OF.get(field)


def other_unit_of(field: str, column: ColumnFacts) -> str | None:
    """The unit that a header or the row of units names for a field that is in one unit only, if it is another one."""
    in_row = f"({column.unit_cell.strip('()[]{} ')})"
    named = [*named_in_header(field, column.header), *named_in_header(field, in_row)]
    return named[0].written if named else None


def best_named(column: ColumnFacts, kind: str) -> str | None:
    """The field that a header names best, whatever its cells say, or None."""
    scores = _score_fields(column, kind)
    return max(scores, key=lambda field: scores[field][0], default=None)


def names_bicarbonate(column: ColumnFacts) -> bool:
    """Whether the header speaks of bicarbonate: one mmol of it is one meq, and its mg/L are not those of CaCO3."""
    return bool(_NAMES_BICARBONATE.search(column.words))


def has_unknown_alkalinity_unit(column: ColumnFacts) -> bool:
    """Whether a column is alkalinity in a unit that the settings do not know."""
    if column.unit is None:
        return False
    return column.unit[1] in _PLAIN_UNITS["hardness"] or (column.unit == _PPM and names_bicarbonate(column))


def could_be(field: str, column: ColumnFacts) -> bool:
    """Whether the cells alone make a column a candidate for a field that no header names."""
    if not column.cells or not header_key(column.header):
        return False
    said = named_quantity(column.words)
    if said is not None and field in _RANGES:
        return said == _quantity_of(field) and _support_figures(field, column) is not None
    values = values_of(column.cells, ".")
    if "," in "".join(column.cells[:50]):
        values = values_of(column.cells, ",") or values
    match field:
        case "ph":
            part = sum(3.5 <= value <= 9 for value in values)
            broken = sum("." in cell or "," in cell for cell in column.cells)
            return bool(values) and column.number_share > 0.8 and part > 0.9 * len(values) and broken > 0
        case "ec":
            part = sum(0.1 <= value <= 9 or 100 <= value <= 9000 for value in values)
            varied = len(set(values)) > 3
            return column.number_share > 0.8 and part > 0.9 * len(values) and varied and not column.days
        case _ if field in DAY_FIELDS:
            return bool(column.days)
        case _ if field in _RANGES:
            return column.number_share > 0.8 and _support_figures(field, column) is not None
        case "place" | "what":
            return known_share(field, column.cells) >= _MOSTLY or (
                not column.days and not column.moments and column.number_share < 0.2
            )
        case "datetime":
            return bool(column.moments)
        case "lot" | "meter":
            return sum(_is_code(cell) for cell in column.cells) > 0.8 * len(column.cells)
        case _:
            return not column.days and not column.moments and column.number_share < 0.2


def _quantity_of(field: str) -> str | None:
    """ph or ec for the fields that are figures of one of them."""
    if field in ("ph", "ph_sd") or field.startswith(("found_", "left_")):
        return "ph"
    return "ec" if UNIT_OF_FIELD.get(field) == "ec" else None


def _is_code(cell: str) -> bool:
    return bool(
        re.fullmatch(r"[A-Za-z]{0,4}[-_/ .]?\d{1,6}[A-Za-z]?|[A-Za-z0-9]{1,6}-[A-Za-z0-9-]{1,8}", cell)
    )


def missing_groups(kind: str, fields: Sequence[str]) -> list[tuple[str, ...]]:
    """The groups of which a kind needs at least one field and has none; a week needs its year too."""
    return [group for group in FIELDS[kind].one_of if not any(field in fields for field in group)]
