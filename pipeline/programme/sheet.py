"""What a site's sampling sheet asks for: lots in walking order, each with its recipe and its pots. Pure.

One block is one sampling to take: the dues of a lot that a single sampling answers share it, with the earliest as its
reason. Affected and healthy plants, and the two days of a feed pair, are samplings of their own with their own pots.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from itertools import groupby
from typing import Any, Final, Literal, cast

from pydantic import BaseModel, ConfigDict, Field

from pipeline.programme.draw import BenchMap, Zone, draw_key, draw_places
from pipeline.programme.lot_benches import find_lot_benches
from pipeline.programme.sheet_buffers import SheetBuffer
from pipeline.settings import SiteSettings
from pipeline.settings.benches import Bench, fold_name
from pipeline.settings.words import ContainerClass, Purpose

Why = Literal[
    "first",
    "routine",
    "problem_crop",
    "after_out",
    "after_pair_out",
    "after_treatment",
    "symptoms",
    "feed_pair",
]
Row = Mapping[str, Any]

# Nobody can draw where plants are ill: whoever samples picks these pots and marks them.
PICKED: Final[frozenset[Purpose]] = frozenset({"affected"})
_SINGLE: Final = ("routine", "retest")
_FAR: Final = 1_000_000


class SheetPart(BaseModel):
    """Base of the sheet's parts: no unknown keys, nothing changed after it was made."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class SheetPot(SheetPart):
    """One pot to read. Without a drawn place all of `house` to `zone` are None."""

    pot: int = Field(description="From 1 within lot and purpose")
    house: str | None = None
    bench: str | None = None
    row: int | None = Field(None, description="From 1 at the front")
    column: int | None = Field(None, description="From 1 along the bench")
    place: int | None = Field(None, description="Number of the place on a bench without rows")
    zone: Zone | None = None


class SheetGroup(SheetPart):
    """The pots that are read for one purpose."""

    purpose: Purpose
    pots: list[SheetPot]

    @property
    def is_drawn(self) -> bool:
        """Whether places were drawn for these pots."""
        return any(pot.bench is not None for pot in self.pots)


class SheetDue(SheetPart):
    """Why a sampling is due, and when."""

    why: Why
    rule_on: date = Field(
        description="By the rule, before days without sampling moved it; a pair's first day"
    )
    due_on: date
    days_overdue: int | None = Field(description="None: not overdue")
    interval_days: int | None
    caused_on: date | None = Field(
        description="Start, last sampling, treatment, or the day affected plants were noted"
    )


class SheetLot(SheetPart):
    """One sampling to take of one lot. Volumes in mL, times in minutes."""

    number: int = Field(description="Place in the walk, from 1")
    lot_id: str
    house: str | None
    bench: str | None
    crop: str
    cultivar: str | None
    container_class: ContainerClass
    plants: int | None
    needed_pots: int | None = Field(
        description="Pots from which a sampling counts, where the lot has fewer plants; None: it has enough"
    )
    due: SheetDue
    also: list[SheetDue] = Field(description="Further dues that the same sampling answers")
    not_before: date | None = Field(
        description="The wait after a treatment ends; None: it is over, or there is none"
    )
    pour_ml: float
    collect_low_ml: float
    collect_high_ml: float
    drain_low_min: float
    drain_high_min: float
    groups: list[SheetGroup]

    @property
    def n_pots(self) -> int:
        """Pots of all purposes."""
        return sum(len(group.pots) for group in self.groups)


class SheetLeftOut(SheetPart):
    """A due that the sheet does not ask for, and what keeps it off."""

    lot_id: str
    house: str | None
    crop: str
    why: Why
    due_on: date
    because: Literal["excused", "ships_first"]
    because_until: date = Field(description="The last day of the excuse, or the day on which the lot ships")
    reason: str | None = Field(description="Of an excuse, as it was written")
    person: str | None = Field(description="Who excused it")


class Sheet(SheetPart):
    """The sampling sheet of one site: what is due up to a day, overdue included, in walking order."""

    until: date
    volume_unit: Literal["mL", "fl oz"] = Field(description="In which the site pours and collects")
    temperature_unit: Literal["°C", "°F"]
    lots: list[SheetLot]
    meters: list[str] = Field(description="Seen in readings or calibrations of the last 60 days")
    buffers: list[SheetBuffer]
    pots: int
    minutes: float = Field(description="By the policy's minutes for a pot")
    left_out: list[SheetLeftOut] = Field(
        default_factory=list, description="Due by the same day and not asked for, in order of the lots' codes"
    )


def list_benches(benches: Sequence[Bench]) -> list[BenchMap]:
    """A site's benches with their place in the walk."""
    return [
        BenchMap(number, bench.house, bench.name, bench.rows, bench.columns, bench.size)
        for number, bench in enumerate(benches, start=1)
    ]


def make_sheet(
    site: SiteSettings,
    dues: Iterable[Row],
    meters: Iterable[str],
    buffers: Sequence[SheetBuffer],
    *,
    as_of: date,
    until: date,
    left_out: Iterable[Row] = (),
) -> Sheet:
    """Make the sheet of one site.

    dues: rows of sql/queries/sheet_lots.sql, of this site; meters: their names; buffers: what they read; left_out: rows
    of sql/queries/sheet_left_out.sql, of this site.
    The order in which rows come does not matter.
    """
    walk = _Walk(list_benches(site.benches))
    by_lot = sorted(dues, key=lambda row: (row["lot_key"], row["nth"] or _FAR, row["due_on"], row["why"]))
    rows = [
        block
        for _, of_lot in groupby(by_lot, key=lambda row: row["lot_key"])
        for block in _share_samplings(list(of_lot), as_of)
    ]
    rows.sort(key=lambda block: walk.place(block[0]))
    lots = [_make_lot(site.id, number, block, walk, as_of) for number, block in enumerate(rows, start=1)]
    per_pot = max((float(block[0]["minutes_per_pot"] or 0) for block in rows), default=0.0)
    pots = sum(lot.n_pots for lot in lots)
    return Sheet(
        until=until,
        volume_unit=site.volume_unit,
        temperature_unit=site.temperature_unit,
        lots=lots,
        meters=sorted(meters, key=natural_key),
        buffers=list(buffers),
        pots=pots,
        minutes=round(pots * per_pot, 2),
        left_out=[
            SheetLeftOut(**{name: row[name] for name in SheetLeftOut.model_fields})
            for row in sorted(
                left_out, key=lambda row: (natural_key(row["lot_id"]), row["due_on"], row["why"])
            )
        ],
    )


def natural_key(text: str | None) -> tuple[object, ...]:
    """A key by which House 2 comes before House 10, without regard to case; nothing named comes last."""
    if text is None or not text.strip():
        return (1,)
    parts = re.split(r"(\d+)", fold_name(text))
    return (0, tuple((1, int(part)) if part.isdecimal() else (0, part) for part in parts if part), text)


class _Walk:
    """The order in which somebody walks: by the map where it has the place, by natural order of the names elsewhere."""

    def __init__(self, benches: Sequence[BenchMap]) -> None:
        self.benches = benches
        self._houses: dict[str, int] = {}
        for bench in benches:
            house = fold_name(bench.house)
            self._houses[house] = min(bench.walk_no, self._houses.get(house, bench.walk_no))

    def benches_of(self, row: Row) -> tuple[BenchMap, ...]:
        """The mapped benches on which a lot stands."""
        return find_lot_benches(self.benches, row["house"], row["bench"])

    def place(self, row: Row) -> tuple[object, ...]:
        """Where in the walk a row comes."""
        on = self.benches_of(row)
        house = on[0].house if on else row["house"]
        return (
            self._houses.get(fold_name(house or ""), _FAR),
            natural_key(house),
            on[0].walk_no if on else _FAR,
            natural_key(row["bench"]),
            natural_key(row["lot_id"]),
            row["due_on"],
            row["purposes"],
        )


def _share_samplings(dues: Sequence[Row], as_of: date) -> list[list[Row]]:
    """Dues of one lot, earliest first, as lists that one sampling answers each."""
    blocks: list[list[Row]] = []
    for due in dues:
        for block in blocks:
            if _answers(block[0], due, as_of):
                block.append(due)
                break
        else:
            blocks.append([due])
    return blocks


def _answers(asked: Row, other: Row, as_of: date) -> bool:
    """Whether the sampling that one due asks for answers another as well.

    Routine samplings and retests answer each other, unless the other's waiting time is not over when the first is
    taken; a pair around a feeding stands for the routine sampling, unless it waits for a later feeding, and for the
    retest after a pair if it is whole by then; affected and healthy plants answer nothing else.
    """
    if asked["purposes"] == other["purposes"]:
        is_like = True
    elif asked["why"] == "feed_pair":
        is_whole = other["why"] == "after_pair_out" and _whole_on(asked, as_of) <= max(as_of, other["due_on"])
        is_in_time = asked["next_before_on"] is None or asked["next_before_on"] <= max(as_of, other["due_on"])
        is_like = (other["purposes"] == "routine" and is_in_time) or is_whole
    else:
        is_like = asked["purposes"] in _SINGLE and other["purposes"] in _SINGLE
    taken_on = max(as_of, asked["due_on"])
    return is_like and (other["not_before"] is None or other["not_before"] <= taken_on)


def _whole_on(pair: Row, as_of: date) -> date:
    """The day of a pair's second half; of an overdue one the next feeding, or at the earliest tomorrow."""
    due_on: date = pair["due_on"]
    if pair["next_fed_on"] is not None:
        return cast("date", pair["next_fed_on"])
    if pair["purposes"] == "after_feed":
        return max(as_of, due_on)
    first_on: date = as_of if due_on < as_of else pair["rule_on"]
    return first_on + timedelta(days=1)


def _make_lot(site_id: str, number: int, dues: Sequence[Row], walk: _Walk, as_of: date) -> SheetLot:
    first = dues[0]
    waits = [due["not_before"] for due in dues if due["not_before"] is not None and due["not_before"] > as_of]
    purposes: list[Purpose] = first["purposes"].split(",")
    # A routine sampling that a pair stands for asks for fewer pots than the pair has.
    pots = -(-max(due["pots"] for due in dues) // len(purposes))
    return SheetLot(
        number=number,
        **{
            name: first[name]
            for name in ("lot_id", "house", "bench", "crop", "cultivar", "container_class", "plants")
        },
        needed_pots=_lacking(first["plants"], first["min_usable_pots"]),
        due=_make_due(first, as_of),
        also=[_make_due(due, as_of) for due in dues[1:]],
        not_before=max(waits, default=None),
        pour_ml=float(first["pour_ml"]),
        collect_low_ml=float(first["leachate_low_ml"]),
        collect_high_ml=float(first["leachate_high_ml"]),
        drain_low_min=float(first["drain_low_min"]),
        drain_high_min=float(first["drain_high_min"]),
        groups=[_make_group(site_id, first, purpose, pots, walk.benches_of(first)) for purpose in purposes],
    )


def _lacking(plants: int | None, needed: int) -> int | None:
    return needed if plants is not None and plants < needed else None


def _make_due(row: Row, as_of: date) -> SheetDue:
    late = (as_of - row["due_on"]).days
    # A pair's second half is due on the day of feeding; what is kept of a pair is the day before its feeding.
    fed_on = row["rule_on"] if row["purposes"] == "after_feed" else row["next_fed_on"]
    return SheetDue(
        why=row["why"],
        rule_on=row["rule_on"] if fed_on is None else fed_on - timedelta(days=1),
        due_on=row["due_on"],
        days_overdue=late if late > 0 else None,
        interval_days=row["interval_days"],
        caused_on=row["caused_on"],
    )


def _make_group(
    site_id: str, due: Row, purpose: Purpose, pots: int, benches: Sequence[BenchMap]
) -> SheetGroup:
    key = draw_key(site_id, due["lot_key"], due["due_on"], purpose)
    places = () if purpose in PICKED else draw_places(benches, pots, key=key)
    drawn = [
        SheetPot(
            pot=number,
            house=place.house,
            bench=place.bench,
            row=place.row,
            column=place.column,
            place=place.place,
            zone=place.zone,
        )
        for number, place in enumerate(places, start=1)
    ]
    return SheetGroup(purpose=purpose, pots=drawn or [SheetPot(pot=number) for number in range(1, pots + 1)])


__all__ = [
    "PICKED",
    "Sheet",
    "SheetDue",
    "SheetGroup",
    "SheetLeftOut",
    "SheetLot",
    "SheetPot",
    "Why",
    "list_benches",
    "make_sheet",
    "natural_key",
]
