"""Lines of the kinds beside readings, lots and calibrations that count, in the order in which they came."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time

from tests.oracle.fates import SiteFacts
from tests.oracle.fields import Typed
from tests.oracle.settings import Export


@dataclass(frozen=True)
class Line:
    """An accepted line. `place` is its file's and its own place among all that the site sent."""

    typed: Typed
    export: Export
    place: tuple[int, int]

    @property
    def day(self) -> date:
        return self.typed.day("date") or date.min

    @property
    def when(self) -> tuple[date, time, tuple[int, int]]:
        """Later lines of a day come last; one without a time before those with one."""
        at = self.typed.values.get("time")
        return self.day, at if isinstance(at, time) else time.min, self.place


def lines_of(facts: SiteFacts, kind: str) -> list[Line]:
    """The accepted lines of a kind."""
    lines = [
        Line(facts.files[ref.file_no].typed[ref.record_no], facts.files[ref.file_no].export, place)
        for ref, fate in facts.fates.items()
        if fate.fate == "accepted"
        and facts.files[ref.file_no].export.kind == kind
        and (place := (ref.file_no, ref.record_no))
    ]
    return sorted(lines, key=lambda line: line.place)
