"""Figures, counts and names inside sentences. Pure: values and a language in, words out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from pipeline.languages import Speech
from pipeline.reports.formats import format_signed, write_ordinal

Row = Mapping[str, Any]
QUANTITY_WORDS: Final = {"ph": "pH", "ec": "EC"}
UNITS: Final = {"ph": "", "ec": " mS/cm"}
CONTAINER_WORDS: Final = {
    "plug": "plug tray",
    "cell_pack": "cell pack",
    "pot_4in": "4 inch pot",
    "pot_5_6in": "5 to 6 inch pot",
    "pot_6_5in_plus": "6.5 inch pot or larger",
    "nursery": "nursery container",
}
CONTAINERS_WORDS: Final = {
    "plug": "plug trays",
    "cell_pack": "cell packs",
    "pot_4in": "4 inch pots",
    "pot_5_6in": "5 to 6 inch pots",
    "pot_6_5in_plus": "6.5 inch pots and larger",
    "nursery": "nursery containers",
    "pots": "pots of all sizes",
}
TREATMENT_WORDS: Final = {
    "leaching": "leaching",
    "clear_water": "clear water",
    "acid_feed": "acid feed",
    "basic_feed": "basic feed",
    "feed_change": "a change of feed",
    "bicarbonate": "bicarbonate",
    "lime_drench": "a lime drench",
    "lime_topdressing": "a lime topdressing",
    "iron_drench": "an iron drench",
    "iron_sulfate": "iron sulfate",
    "other": "another treatment",
}
SIDE_WORDS: Final = {"low": "low", "high": "high"}
_POT_CLASSES: Final = ("pot_4in", "pot_5_6in", "pot_6_5in_plus")
_MOST_NAMES: Final = 5


def quantity_of(w: Speech, row: Row) -> str:
    """pH or EC."""
    return w(QUANTITY_WORDS[row["quantity"]])


def unit_of(row: Row) -> str:
    """The unit behind a figure, with the blank before it; nothing for pH."""
    return UNITS[row["quantity"]]


def side_of(w: Speech, row: Row) -> str:
    """low or high."""
    return w(SIDE_WORDS[row["side"]])


def mean_of(w: Speech, row: Row) -> str:
    """A mean with its interval: "EC 1.30 mS/cm (0.95-1.65)"."""
    interval = "" if row["ci_low"] is None else f" ({ends(w, row['ci_low'], row['ci_high'])})"
    return f"{quantity_of(w, row)} {w.figure(row['mean'], '.2f')}{unit_of(row)}{interval}"


def ends(w: Speech, low: float, high: float) -> str:
    """Both ends of an interval of pH or EC, which do not go below 0."""
    return f"{w.figure(max(0.0, low), '.2f')}-{w.figure(max(0.0, high), '.2f')}"


def signed(w: Speech, value: float) -> str:
    """A change with its sign."""
    return format_signed(value, w.tongue.decimal_mark)


def range_of(w: Speech, quantity: str, low: float, high: float) -> str:
    """A target: "2.0-3.5 mS/cm"."""
    return f"{_edge(w, low)}-{_edge(w, high)}{UNITS[quantity]}"


def _edge(w: Speech, value: float) -> str:
    text = w.figure(value, ".2f")
    return text[:-1] if text.endswith("0") else text


def ml(low: float, high: float) -> str:
    """A volume, or a range of volumes."""
    return f"{span(low, high)} mL"


def span(low: float, high: float) -> str:
    """Two whole figures, or one where they are alike."""
    first, last = f"{low:.0f}", f"{high:.0f}"
    return first if first == last else f"{first}-{last}"


def nth(w: Speech, number: int) -> str:
    """2nd, 3rd, 11th."""
    return write_ordinal(number, w.tongue)


def days(w: Speech, number: int) -> str:
    """A number of days."""
    return w.many("{n} day", "{n} days", number)


def pots(w: Speech, number: int) -> str:
    """A number of pots."""
    return w.many("{n} pot", "{n} pots", number)


def lines(w: Speech, number: int) -> str:
    """A number of lines."""
    return w.many("{n} line", "{n} lines", number)


def readings(w: Speech, number: int) -> str:
    """A number of readings."""
    return w.many("{n} reading", "{n} readings", number)


def of_pots(w: Speech, row: Row) -> str:
    """Some of a sampling's pots: "2 of 5 pots"."""
    return w.many("{part} of {n} pot", "{part} of {n} pots", row["of_pots"], part=row["pots"])


def listed(w: Speech, names: Sequence[str]) -> str:
    """Names with commas, and before the last one."""
    if len(names) == 1:
        return names[0]
    return w("{names} and {last}", names=", ".join(names[:-1]), last=names[-1])


def some(w: Speech, names: Sequence[str]) -> str:
    """The first names of a list, the others counted."""
    shown = ", ".join(names[:_MOST_NAMES])
    more = len(names) - _MOST_NAMES
    return w("{names} and {n} more", names=shown, n=more) if more > 0 else shown


def treatments_of(w: Speech, text: str) -> str:
    """What was done, from the codes of one day."""
    return listed(w, [w(TREATMENT_WORDS[code]) for code in text.split(",")])


def containers_of(w: Speech, classes: Sequence[str]) -> str:
    """Container classes in words; all three of pots are one."""
    if set(_POT_CLASSES) <= set(classes):
        classes = [*(name for name in classes if name not in _POT_CLASSES), "pots"]
    return listed(w, [w(CONTAINERS_WORDS[name]) for name in classes])
