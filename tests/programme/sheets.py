"""Rows as the warehouse gives them to a sampling sheet, and the sheet made of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from pipeline.measures.reference_tables import load_buffers_by_temperature
from pipeline.programme.sheet import Sheet, make_sheet
from pipeline.programme.sheet_buffers import SheetBuffer, list_buffers
from pipeline.settings import SiteSettings
from pipeline.settings.benches import Bench

AS_OF = date(2026, 4, 6)
"""A Monday."""
UNTIL = AS_OF + timedelta(days=6)


@cache
def read_buffers() -> tuple[SheetBuffer, ...]:
    """The buffers of the shipped table."""
    return tuple(list_buffers(load_buffers_by_temperature()))


def make_row(lot_id: str = "A", **changes: Any) -> dict[str, Any]:
    """One due: routine, five pots, due on the Wednesday, in 5 inch pots by the shipped recipe."""
    facts: dict[str, Any] = {
        "site_id": "hill",
        "lot_key": lot_id.lower(),
        "lot_id": lot_id,
        "house": "House 1",
        "bench": "1",
        "crop": "petunia",
        "cultivar": "Night Sky",
        "container_class": "pot_5_6in",
        "plants": 1200,
        "min_usable_pots": 5,
        "why": "routine",
        "rule_on": AS_OF + timedelta(days=2),
        "due_on": AS_OF + timedelta(days=2),
        "not_before": None,
        "next_before_on": None,
        "next_fed_on": None,
        "caused_on": AS_OF - timedelta(days=12),
        "interval_days": 14,
        "purposes": "routine",
        "pots": 5,
        "nth": 1,
        "pour_ml": Decimal("75.00"),
        "leachate_low_ml": Decimal("50.00"),
        "leachate_high_ml": Decimal("50.00"),
        "drain_low_min": Decimal("30.0"),
        "drain_high_min": Decimal("60.0"),
        "minutes_per_pot": Decimal("4.00"),
    }
    if "due_on" in changes:
        changes.setdefault("rule_on", changes["due_on"])
    return facts | changes


def make_left_out(lot_id: str, **changes: Any) -> dict[str, Any]:
    """One due that an excuse keeps off the sheet."""
    facts: dict[str, Any] = {
        "lot_id": lot_id,
        "house": "House 1",
        "crop": "petunia",
        "why": "routine",
        "due_on": AS_OF + timedelta(days=2),
        "because": "excused",
        "because_until": AS_OF + timedelta(days=9),
        "reason": "house is being cleaned",
        "person": "Ada",
    }
    return facts | changes


def make_benches(*houses: str, benches: Sequence[str] = ("1", "2"), rows: int = 4) -> tuple[Bench, ...]:
    """A map: in each house these benches of four rows and twenty columns."""
    return tuple(Bench(house=house, name=name, rows=rows, columns=20) for house in houses for name in benches)


def make_site(benches: Iterable[Bench] = (), **changes: Any) -> SiteSettings:
    """A site that measures in mL and °C."""
    facts: dict[str, Any] = {
        "id": "hill",
        "name": "Hill",
        "time_zone": "UTC",
        "folder": Path("hill"),
        "benches": tuple(benches),
    }
    return SiteSettings(**(facts | changes))


def sheet_of(
    *rows: dict[str, Any],
    site: SiteSettings | None = None,
    meters: Iterable[str] = ("M1",),
    as_of: date = AS_OF,
    until: date = UNTIL,
    left_out: Iterable[dict[str, Any]] = (),
) -> Sheet:
    """The sheet of a site for these dues."""
    return make_sheet(
        site or make_site(make_benches("House 1", "House 2", "House 10")),
        rows,
        meters,
        read_buffers(),
        as_of=as_of,
        until=until,
        left_out=left_out,
    )
