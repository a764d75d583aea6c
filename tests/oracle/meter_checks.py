"""Meter checks from lines: buffers at their temperature, slope and offset from mV, as found and as left."""

from __future__ import annotations

import math
import re
from fractions import Fraction

# pH at 0, 5, ... 50 °C.
BUFFERS: dict[str, str] = {
    "4.01": "4.01 4.01 4.00 4.00 4.00 4.01 4.01 4.02 4.03 4.04 4.06",
    "6.86": "6.98 6.95 6.92 6.90 6.88 6.86 6.85 6.84 6.84 6.83 6.83",
    "9.18": "9.46 9.39 9.33 9.27 9.22 9.18 9.14 9.10 9.07 9.04 9.01",
    "4.00": "4.00 4.00 4.00 4.00 4.00 4.00 4.01 4.02 4.03 4.04 4.06",
    "7.00": "7.12 7.09 7.06 7.04 7.02 7.00 6.99 6.99 6.98 6.98 6.97",
    "10.01": "10.32 10.25 10.18 10.12 10.06 10.01 9.97 9.93 9.89 9.86 9.83",
}
USUAL = {4: Fraction("4.01"), 7: Fraction("7.00"), 10: Fraction("10.01")}
Numbers = dict[int, Fraction]


WORDS = re.compile(r"buffers?|puffer|tamp[oó]n(?:es|s)?|ph|and|und|et|en|y")


def buffers_in(cell: str | None) -> list[Fraction] | None:
    """The buffers that a cell names: [] where it has no figure, None where it is left unread.

    Commas are taken as marks between figures, then as decimal marks. A way that gives a figure as nobody writes one
    is none. With both left, a list of whole numbers 4, 7 and 10 is a list; nothing else can be told.
    """
    text = WORDS.sub(" ", (cell or "").lower())
    if not re.search("[0-9]", text):
        return []
    if re.search(r"[^0-9.,;:/|+&()\s–-]", text) or re.search(
        r"(?<![0-9.,])(4|7|10)\.(4|7|10)(?![0-9.,])", text
    ):
        return None
    listed, decimal = figures_of(text, " "), figures_of(text, ".")
    if listed is None or decimal is None or listed == decimal:
        numbers = listed or decimal
    else:
        numbers = listed if all("." in one or one in ("4", "7", "10") for one in listed) else None
    return None if numbers is None else [Fraction(one) for one in numbers]


def figures_of(text: str, comma: str) -> list[str] | None:
    """The figures with the commas taken so; None where one is not written as a pH."""
    read = ""
    for place, sign in enumerate(text):
        before, after = text[place - 1 : place] or " ", text[place + 1 : place + 2] or " "
        if sign != ",":
            read += sign
        elif before.isspace() or after.isspace():
            read += " "
        else:
            read += "." if after == "0" and before.isdigit() else comma
    found = [one.strip(".") for one in re.split("[^0-9.]+", read) if one.strip(".")]
    good = all(
        re.fullmatch(r"[1-9][0-9]?(\.[0-9]{1,3})?", one) and int(one.split(".")[0]) <= 14 for one in found
    )
    return found if good else None


def label_of(slot: int, buffers: str | None) -> Fraction:
    """The label that the line names near the slot, else the usual one."""
    return next((label for label in buffers_in(buffers) or [] if abs(label - slot) <= 1), USUAL[slot])


def buffer_at(label: Fraction, temperature_c: Fraction | None) -> Fraction | None:
    """pH of a buffer at a temperature, straight between the rows of the table; 25 °C where none is given."""
    name = min(BUFFERS, key=lambda one: abs(Fraction(one) - label))
    degrees = Fraction(25) if temperature_c is None else temperature_c
    if abs(Fraction(name) - label) > Fraction("0.011") or not 0 <= degrees <= 50:
        return None
    values = [Fraction(text) for text in BUFFERS[name].split()]
    before = int(degrees // 5)
    after = min(before + 1, 10)
    return values[before] + (values[after] - values[before]) * (degrees - 5 * before) / 5


def worst_error(shown: Numbers, buffers: str | None, temperature_c: Fraction | None) -> Fraction | None:
    """The largest distance of a buffer from its pH, to four decimals."""
    errors = [
        abs(ph - right)
        for slot, ph in shown.items()
        if (right := buffer_at(label_of(slot, buffers), temperature_c)) is not None
    ]
    return Fraction(round(max(errors) * 10000), 10000) if errors else None


def fit(mv: Numbers, buffers: str | None, temperature_c: Fraction | None) -> tuple[Fraction, Fraction] | None:
    """Slope in percent of the theoretical one and offset in mV at pH 7, by least squares."""
    at = {slot: buffer_at(label_of(slot, buffers), temperature_c) for slot in mv}
    points = [(ph, mv[slot]) for slot, ph in at.items() if ph is not None]
    if len(points) < max(2, len(mv)) or max(x for x, _ in points) - min(x for x, _ in points) <= Fraction(
        "0.2"
    ):
        return None
    mean_x = sum((x for x, _ in points), Fraction(0)) / len(points)
    mean_y = sum((y for _, y in points), Fraction(0)) / len(points)
    slope = sum(((x - mean_x) * (y - mean_y) for x, y in points), Fraction(0)) / sum(
        ((x - mean_x) ** 2 for x, _ in points), Fraction(0)
    )
    kelvin = float(25 if temperature_c is None else temperature_c) + 273.15
    theory = math.log(10) * 8.31446261815324 * kelvin / 96485.33212331 * 1000
    percent = min(9999.0, max(-9999.0, -float(slope) / theory * 100))
    offset = min(99999.0, max(-99999.0, float(mean_y + slope * (7 - mean_x))))
    return Fraction(round(percent * 100), 100), Fraction(round(offset * 10), 10)
