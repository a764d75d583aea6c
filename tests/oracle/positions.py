"""Pots from the front row, again: positions read token by token, the chance added up pot by pot in whole fractions."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from tests.oracle.fates import SiteFacts
from tests.oracle.lot_facts import on_day
from tests.oracle.samplings import Pot
from tests.oracle.settings import MapBench, Policy, fold

WORDS = {
    "front": ("front", "front row", "vorn", "vorne", "delante", "adelante", "al frente"),
    "middle": ("middle", "centre", "center", "mitte", "medio", "en medio", "centro"),
    "back": ("back", "back row", "rear", "hinten", "atrás", "atras", "al fondo"),
}
ROW_WORDS = ("row", "r", "fila", "f", "reihe")
COLUMN_WORDS = ("place", "pl", "p", "column", "col", "c", "columna", "lugar", "sitio", "platz", "spalte", "s")
LEAST_POTS = 20
LEVEL = Fraction(1, 100)


@dataclass(frozen=True)
class Spot:
    """A row and perhaps a place along it, or a word."""

    row: int = 0
    column: int | None = None
    word: str | None = None


def read_position(text: str) -> Spot | None:
    """What a position says; None where it says neither row nor word."""
    written = fold(text)
    for word, ways in WORDS.items():
        if written in ways:
            return Spot(word=word)
    # a sheet that is handed back says the zone behind the place
    place = (
        written.removesuffix(" edge").removesuffix(" inside").rstrip() if written[:1].isdigit() else written
    )
    tokens = re.findall(r"[0-9]+|[^\W\d_]+|[^\w\s]", place)
    if len(tokens) == 3 and tokens[0].isdigit() and tokens[1] in "-–/:" and tokens[2].isdigit():
        return Spot(int(tokens[0]), int(tokens[2]))
    row, rest = take_number(tokens, ROW_WORDS)
    if row is None:
        return None
    if not rest:
        return Spot(row)
    while rest and rest[0] in ",;/:-":
        rest = rest[1:]
    column, rest = take_number(rest, COLUMN_WORDS)
    return None if column is None or rest else Spot(row, column)


def take_number(tokens: Sequence[str], words: Sequence[str]) -> tuple[int | None, list[str]]:
    """The number behind one of the words, and what follows it."""
    rest = list(tokens)
    if not rest or rest.pop(0) not in words:
        return None, []
    while rest and rest[0] == ".":
        rest.pop(0)
    return (int(rest.pop(0)), rest) if rest and rest[0].isdigit() else (None, [])


def share_and_front(spot: Spot, bench: MapBench) -> tuple[Fraction, bool] | None:
    """The chance of the front row on this bench, and whether the pot stood there; None where it cannot be told."""
    if bench.rows is None or bench.columns is None or bench.rows < 2:
        return None
    if spot.word is not None:
        parts = min(bench.rows, 3)
        return None if spot.word == "middle" and parts < 3 else (Fraction(1, parts), spot.word == "front")
    if not 1 <= spot.row <= bench.rows or (spot.column is not None and not 1 <= spot.column <= bench.columns):
        return None
    return Fraction(1, bench.rows), spot.row == 1


def bench_of(pot: Pot, facts: SiteFacts) -> MapBench | None:
    """The mapped bench on which a pot stood that day."""
    reading = pot.reading
    then, now = on_day(facts.lot_lines[fold(reading.lot)], reading.sampled_on), facts.lots[fold(reading.lot)]
    house, bench = then.house or now.house, reading.bench or then.bench or now.bench
    for one in facts.benches:
        if (fold(one.house), fold(one.name)) == (fold(house or ""), fold(bench or "")):
            return one
    return None


def picked_by_lot(
    pots: Sequence[Pot], facts: SiteFacts, policy: Policy, as_of: date
) -> list[tuple[Fraction, bool]]:
    """Chance of the front row, and whether it was, of each pot of a month that says where it stood."""
    found = []
    for pot in pots:
        reading = pot.reading
        is_recent = as_of - timedelta(days=int(policy["question_days"])) < reading.sampled_on <= as_of
        is_picked = reading.n_pots == 1 and reading.purpose not in ("affected", "healthy")
        spot = read_position(reading.place) if reading.place else None
        bench = bench_of(pot, facts)
        if is_recent and is_picked and spot is not None and bench is not None:
            told = share_and_front(spot, bench)
            if told is not None:
                found.append(told)
    return found


def tail(shares: Sequence[Fraction], least: int) -> Fraction:
    """The chance that so many pots or more stand in front: one pot after the other."""
    chances = [Fraction(1)]
    for share in shares:
        before = [Fraction(0), *chances]
        stays = [*chances, Fraction(0)]
        chances = [share * one + (1 - share) * other for one, other in zip(before, stays, strict=True)]
    return sum(chances[least:], Fraction(0))


def is_front_of_bench(pots: Sequence[Pot], facts: SiteFacts, policy: Policy, as_of: date) -> bool:
    """More pots from the front row than chance gives."""
    found = picked_by_lot(pots, facts, policy, as_of)
    in_front = sum(is_front for _, is_front in found)
    return len(found) >= LEAST_POTS and tail([share for share, _ in found], in_front) < LEVEL
