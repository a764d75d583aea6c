"""The unit of a column's figures: from the header, the units row, the cells, and then from their size."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from pipeline.adopt.columns import ColumnFacts, names_bicarbonate, read_unit
from pipeline.adopt.numerals import middle_of, read_figure, values_of
from pipeline.adopt.questions import Choice, Desk, Guess, Question, Sure
from pipeline.intake.named_units import named_in_header
from pipeline.settings.words import UNIT_OF_FIELD
from pipeline.units import UNITS

_MANY_MEANINGS = ("ppm", "mg/l")
_PPM = ("ppm 500", "ppm 640", "ppm 700")
_PPM_WHY = {
    "ppm 500": "1 mS/cm reads 500 on this scale (NaCl)",
    "ppm 640": "1 mS/cm reads 640 on this scale",
    "ppm 700": "1 mS/cm reads 700 on this scale (442)",
}
NO_UNIT = "none"
"""The answer for a column in a unit that the settings do not know: it is left out."""
_ALKALINITY_WHY = {
    "mg/L CaCO3": "as laboratories mostly give it",
    "meq/L": "1 meq/L is 50 mg/L CaCO3; mmol/L of acid or bicarbonate is the same",
    NO_UNIT: "another unit, like degrees or mg/L of HCO3: the column is left out",
}
_ACID_CAPACITY = re.compile(r"saure|saeure|\bsbv\b|\b[ks]k? ?4 3\b|\bks\b|\bm wert\b|zuurbind")
# Hardly any water has more than 12 meq/L, and hardly any less than 15 mg/L CaCO3 (house default).
_MOST_MEQ = 12.0
# The usual conductivity solutions, as figures in mS/cm and in µS/cm.
_STANDARDS_MS = (0.084, 0.447, 0.5, 1.0, 1.413, 1.41, 1.278, 2.76, 2.77, 5.0, 12.88, 12.9)
_STANDARDS_US = (84, 147, 447, 500, 1000, 1413, 1410, 1278, 2760, 2770, 5000, 12880, 12900)


def guess_unit(field: str, column: ColumnFacts, decimal: str, kindred: Guess | None, desk: Desk) -> Guess:
    """The unit of one column; `kindred` is the unit of the figure that it belongs to (an SD's mean)."""
    key = f"unit.{field}"
    quantity = UNIT_OF_FIELD[field]
    known = list(UNITS[quantity])
    named = column.unit
    if quantity == "alkalinity":
        return _alkalinity(key, column, decimal, desk)
    if named is not None and named[0] == quantity:
        if named[1] == "ppm":
            if kindred is not None and kindred.value in _PPM:
                why = "the figure that it goes with is on this scale"
                return desk.settle(key, Guess(kindred.value, _as_sure(kindred), why), _PPM)
            return _ask_scale(key, column, desk)
        where = "the header says so" if read_unit(column.unit_cell) != named else "the row of units says so"
        return desk.settle(key, Guess(named[1], "certain", where), known)
    foreign = foreign_unit(field, column)
    if foreign is not None:
        return _ask_foreign(key, foreign, column, known, desk)
    in_cells = _unit_in_cells(column, quantity)
    if in_cells == "ppm":
        return _ask_scale(key, column, desk)
    if in_cells is not None:
        return desk.settle(key, Guess(in_cells, "likely", "cells have it behind the figure"), known)
    if kindred is not None:
        why = "the figure that it goes with has this unit"
        return desk.settle(key, Guess(kindred.value, _as_sure(kindred), why), known)
    values = values_of(column.cells, decimal)
    match quantity:
        case "ec":
            return _ec_by_size(field, key, column, values, desk)
        case "volume":
            return _volume_by_size(key, column, values, desk)
        case _:
            return _temperature_by_size(key, column, values, desk)


def foreign_unit(field: str, column: ColumnFacts) -> str | None:
    """The unit that the header or the row of units names for a field and that the settings do not know, or None."""
    named = [
        *named_in_header(field, column.header),
        *named_in_header(field, f"({column.unit_cell.strip('()[]{} ')})"),
    ]
    return next(
        (one.written for one in named if one.known is None and one.written.casefold() not in _MANY_MEANINGS),
        None,
    )


def _ask_foreign(key: str, foreign: str, column: ColumnFacts, known: Sequence[str], desk: Desk) -> Guess:
    """Nothing is taken beside a unit that is not known: the column stays out, or somebody says that it is wrong."""
    text = f'"{_shown(column)}" is in {foreign}, which is no unit that is known here: which unit are its figures in?'
    out = Choice(NO_UNIT, f"in {foreign}: the column is left out; export it in {known[0]}")
    return desk.ask(Question(key, text, (out, *(Choice(one, "if the header is wrong") for one in known))))


def _as_sure(kindred: Guess) -> Sure:
    """What follows another unit is no surer than it."""
    return "unsure" if kindred.sure == "unsure" else "likely"


def _alkalinity(key: str, column: ColumnFacts, decimal: str, desk: Desk) -> Guess:
    """The unit of alkalinity: mmol/L is meq/L where acid or bicarbonate is counted, and mg/L must say of what."""
    named = column.unit
    known = [*UNITS["alkalinity"], NO_UNIT]
    unit = named[1] if named is not None else _unit_in_cells(column, "alkalinity")
    if unit is not None and unit in UNITS["alkalinity"]:
        return desk.settle(key, Guess(unit, "certain", "the column says so"), known)
    if unit == "mmol" and (names_bicarbonate(column) or _ACID_CAPACITY.search(column.words)):
        why = "one mmol of acid or bicarbonate is one meq"
        return desk.settle(key, Guess("meq/L", "likely", why), known)
    if unit == "ppm" and "caco 3" in column.words:
        return desk.settle(key, Guess("mg/L CaCO3", "certain", "the header says of what"), known)
    typical = middle_of(values_of(column.cells, decimal))
    units = ["meq/L", "mg/L CaCO3"] if typical <= _MOST_MEQ else ["mg/L CaCO3", "meq/L"]
    if unit is not None:
        units = ["meq/L"] if unit == "mmol" else ["mg/L CaCO3"]
    said = f"is in {unit}" if unit is not None else f"has no unit and {_figure(typical)} in the middle"
    text = f'"{_shown(column)}" {said}: which unit is it, and of what?'
    choices = tuple(Choice(one, _ALKALINITY_WHY[one]) for one in (*units, NO_UNIT))
    return desk.ask(Question(key, text, choices))


def _unit_in_cells(column: ColumnFacts, quantity: str) -> str | None:
    tails: Counter[str] = Counter()
    for cell in column.cells:
        figure = read_figure(cell)
        unit = read_unit(figure.tail) if figure and figure.tail else None
        if unit is not None and unit[0] == quantity:
            tails[unit[1]] += 1
    if len(tails) != 1:
        return None
    unit_name, count = tails.most_common(1)[0]
    return unit_name if count >= max(2, len(column.cells) / 2) else None


def _ask_scale(key: str, column: ColumnFacts, desk: Desk) -> Guess:
    text = f'"{_shown(column)}" is in ppm: which of the three scales does the meter use?'
    return desk.ask(Question(key, text, tuple(Choice(unit, _PPM_WHY[unit]) for unit in _PPM)))


def _ec_by_size(field: str, key: str, column: ColumnFacts, values: Sequence[float], desk: Desk) -> Guess:
    known = list(UNITS["ec"])
    typical = middle_of(values)
    is_tds = bool(re.search(r"\btds\b", column.words))
    if field in ("ec_standard", "ec_found") and not is_tds:
        if values and all(_near(value, _STANDARDS_US) for value in values):
            return desk.settle(
                key, Guess("µS/cm", "likely", "the figures are usual solutions in µS/cm"), known
            )
        if values and all(_near(value, _STANDARDS_MS) for value in values):
            return desk.settle(
                key, Guess("mS/cm", "likely", "the figures are usual solutions in mS/cm"), known
            )
    if values and typical <= 20 and not is_tds:
        why = f"no unit is given, and {_figure(typical)} in the middle can only be mS/cm"
        return desk.settle(key, Guess("mS/cm", "likely", why), known)
    if not values:
        text = f'"{_shown(column)}" has no figures and no unit: which unit is it in?'
    else:
        text = f'"{_shown(column)}" has no unit and {_figure(typical)} in the middle: µS/cm or ppm?'
    choices = [
        Choice(unit, f"{_figure(typical)} would be {_as_ms(typical, unit)} mS/cm")
        for unit in ("µS/cm", *_PPM)
    ]
    if is_tds:
        choices = choices[1:]
    choices.append(
        Choice("mS/cm", "if the figures in this file are slips" if values else "the unit of most meters")
    )
    return desk.ask(Question(key, text, tuple(choices)))


def _volume_by_size(key: str, column: ColumnFacts, values: Sequence[float], desk: Desk) -> Guess:
    typical = middle_of(values)
    if typical >= 12:
        why = f"no unit is given, and {_figure(typical)} in the middle is a usual volume in mL"
        return desk.settle(key, Guess("mL", "likely", why), list(UNITS["volume"]))
    text = f'"{_shown(column)}" has no unit and {_figure(typical)} in the middle: mL or fl oz?'
    choices = (
        Choice("fl oz", f"{_figure(typical)} fl oz are {_figure(typical * 29.57)} mL"),
        Choice("mL", "a very small volume"),
    )
    return desk.ask(Question(key, text, choices))


def _temperature_by_size(key: str, column: ColumnFacts, values: Sequence[float], desk: Desk) -> Guess:
    known = list(UNITS["temperature"])
    if values and min(values) >= 45:
        why = f"no unit is given, and nothing below {_figure(min(values))} can only be °F in a crop"
        return desk.settle(key, Guess("°F", "likely", why), known)
    if values and max(values) <= 38:
        why = f"no unit is given, and nothing above {_figure(max(values))} would be frost in °F"
        return desk.settle(key, Guess("°C", "likely", why), known)
    if values:
        span = f"{_figure(min(values))} to {_figure(max(values))}"
        text = f'"{_shown(column)}" has no unit, and {span} could be either: °C or °F?'
    else:
        text = f'"{_shown(column)}" has no figures and no unit: °C or °F?'
    return desk.ask(
        Question(key, text, (Choice("°C", "warm water in summer"), Choice("°F", "a cool house in winter")))
    )


def _near(value: float, usual: Sequence[float]) -> bool:
    return any(abs(value - one) <= 0.06 * one for one in usual)


def _as_ms(value: float, unit: str) -> str:
    return _figure(round(float(UNITS["ec"][unit].factor) * value, 2))


def _figure(value: float) -> str:
    return f"{value:.4g}" if abs(value) < 10_000 else f"{value:.0f}"


def _shown(column: ColumnFacts) -> str:
    return " ".join(column.header.split())
