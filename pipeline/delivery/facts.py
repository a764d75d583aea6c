"""What a week's message has told: kept with the letter, so that a later one can say what changed. Pure."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import date

from pydantic import BaseModel, ConfigDict, ValidationError

from pipeline.reports.formats import format_number
from pipeline.reports.summary import Clearness, Figures, Level, Lot, Sampling, Site


class _Told(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True)


class ToldFigure(_Told):
    """A mean as it was printed (pH, or EC in mS/cm, two decimals), with its verdict."""

    mean: str
    verdict: Clearness | None


class ToldLot(_Told):
    """One lot as it was told; `read_on`, `ph`, `ec`: its last counting sampling."""

    crop: str
    level: Level
    read_on: date | None
    ph: ToldFigure | None
    ec: ToldFigure | None
    retest_on: date | None
    excused_until: date | None


class Told(_Told):
    """All that counts of one message. What moves with the calendar alone, such as days overdue, is left out."""

    lots: dict[str, ToldLot]
    meters_in_doubt: list[str]
    held_lines: int

    def is_same(self, other: Told) -> bool:
        """Whether both tell the same; how a crop is called is no news."""
        return self._without_names() == other._without_names()

    def _without_names(self) -> Told:
        lots = {code: lot.model_copy(update={"crop": ""}) for code, lot in self.lots.items()}
        return self.model_copy(update={"lots": lots})


def gather_told(site: Site, lots: Iterable[Lot]) -> Told:
    """What a message about these lots of a site tells."""
    return Told(
        lots={lot.lot_id: _tell_lot(lot) for lot in lots},
        meters_in_doubt=sorted(meter.meter_id for meter in site.meters if meter.in_doubt),
        held_lines=site.lines.held,
    )


def pack_facts(told: Told, as_of: date) -> str:
    """The facts as text for the outbox; the same facts of the same day are the same text."""
    return json.dumps({"as_of": as_of.isoformat(), "told": told.model_dump(mode="json")}, sort_keys=True)


def read_facts(text: str) -> tuple[Told, date] | None:
    """Facts with their day; None for those of another kind of letter or an older Leachbook."""
    try:
        raw = json.loads(text)
        return Told.model_validate(raw["told"]), date.fromisoformat(raw["as_of"])
    except (ValueError, KeyError, TypeError, ValidationError):
        return None


def _tell_lot(lot: Lot) -> ToldLot:
    last = _last_counting(lot)
    return ToldLot(
        crop=lot.crop,
        level=lot.level,
        read_on=lot.last_counting_on,
        ph=None if last is None else _tell_figure(last.ph),
        ec=None if last is None else _tell_figure(last.ec),
        retest_on=lot.due.retest_due_on,
        excused_until=lot.due.excused_until,
    )


def _last_counting(lot: Lot) -> Sampling | None:
    return next(
        (
            one
            for one in reversed(lot.samplings)
            if one.counts and one.sampled_on == lot.last_counting_on and one.purpose in ("routine", "retest")
        ),
        None,
    )


def _tell_figure(figures: Figures) -> ToldFigure | None:
    if figures.mean is None:
        return None
    return ToldFigure(mean=format_number(figures.mean, 2), verdict=figures.verdict)
