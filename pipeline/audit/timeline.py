"""The timeline of one lot as SVG: dues above, samplings below, gaps drawn between them. Pure: days in, SVG out.

Shape and word carry the meaning, so that it reads in black and white. No text of an export is drawn.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

from pipeline.audit.messages import join, plain, speak, tell, tell_many
from pipeline.languages import Tongue, write_day
from pipeline.reports.charts import Chart

WIDTH: Final = 680
HEIGHT: Final = 56
_LEFT, _RIGHT = 52.0, 8.0
_DUES, _GAPS, _READ, _AXIS = 7.0, 20.0, 32.0, 42.5
_NARROW: Final = 38.0
_TEXT: Final = 'font-family="Source Sans 3" font-size="8.5" fill="#111"'
_WORDS: Final = {
    state: plain(state) for state in ("on_time", "late", "missed", "excused", "open", "not_knowable")
}
Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Lane:
    """Where a day lies: the period's first and last day over the width of the picture."""

    first: date
    last: date

    def x(self, day: date) -> float:
        """Points from the left edge."""
        days = max((self.last - self.first).days, 1)
        share = (min(max(day, self.first), self.last) - self.first).days / days
        return round(_LEFT + share * (WIDTH - _LEFT - _RIGHT), 1)


def draw_timeline(
    tongue: Tongue,
    lot_id: str,
    from_on: date,
    to_on: date,
    lot: Row,
    dues: Sequence[Row],
    samplings: Sequence[Row],
    gaps: Sequence[Row],
) -> Chart:
    """Draw a lot over a period. `dues`, `samplings`, `gaps` are rows of the tables of these names."""
    lane = Lane(from_on, to_on)
    longest = max((row["days"] for row in gaps), default=0)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}">',
        *_axis(lane, lot, tongue),
        *_gaps(lane, lot, [row for row in gaps if row["days"] == longest and longest > 0], tongue),
        *(part for row in dues for part in _due(lane, row)),
        *_samplings(lane, [row for row in samplings if row["sampled_on"] >= from_on and row["lines"] > 0]),
        "</svg>",
    ]
    return Chart(
        "".join(parts),
        speak(describe_timeline(lot_id, dues, samplings, longest, from_on), tongue),
        "ph",
        frozenset(),
    )


def describe_timeline(
    lot_id: str, dues: Sequence[Row], samplings: Sequence[Row], longest: int, from_on: date
) -> str:
    """Say in words what a timeline shows."""
    states = Counter(row["state"] for row in dues)
    shown = [join((str(states[state]), word), " ") for state, word in _WORDS.items() if states[state]]
    taken = sum(row["sampled_on"] >= from_on and row["lines"] > 0 for row in samplings)
    told = tell(
        "Timeline of lot {lot}. Dues: {dues}. Samplings: {taken}.",
        lot=lot_id,
        dues=join(shown) if shown else tell("none"),
        taken=taken,
    )
    if not longest:
        return told
    return join((told, tell_many("Longest gap {n} day.", "Longest gap {n} days.", longest)), " ")


def _axis(lane: Lane, lot: Row, tongue: Tongue) -> Iterator[str]:
    left, right = lane.x(lane.first), lane.x(lane.last)
    yield f'<line x1="{left}" y1="{_AXIS}" x2="{right}" y2="{_AXIS}" stroke="#777" stroke-width="0.7"/>'
    for label, y in ((tell("due"), _DUES), (tell("gap"), _GAPS), (tell("sampled"), _READ)):
        yield f'<text x="2" y="{y + 3}" {_TEXT}>{speak(label, tongue)}</text>'
    for day, text in ticks(lane, tongue):
        x = lane.x(day)
        yield f'<line x1="{x}" y1="{_AXIS}" x2="{x}" y2="{_AXIS + 3}" stroke="#777" stroke-width="0.7"/>'
        yield f'<text x="{x}" y="{_AXIS + 12}" text-anchor="middle" {_TEXT}>{text}</text>'
    start, end = lot["stands_from"], lot["ends_on"]
    for day, turn in ((start, 4), (end, -4)):
        if day is not None and lane.first < day < lane.last:
            x = lane.x(day)
            yield (
                f'<path d="M{x + turn},1H{x}V{_AXIS}H{x + turn}" fill="none" stroke="#111" stroke-width="0.9"/>'
            )


def ticks(lane: Lane, tongue: Tongue) -> list[tuple[date, str]]:
    """Days for the axis, with their labels."""
    days = (lane.last - lane.first).days
    step = next((one for one in (7, 14, 28, 56, 91, 182) if days / one <= 9), 365)
    shown = (lane.first + timedelta(days=number) for number in range(0, days + 1, step))
    return [(day, write_day(day, "%-d %b", tongue)) for day in shown]


def _gaps(lane: Lane, lot: Row, rows: Sequence[Row], tongue: Tongue) -> Iterator[str]:
    """The longest gaps, all of as many days: the days stand on each line, or once beside lines that are too short."""
    spans = [(lane.x(row["from_on"]), lane.x(row["to_on"])) for row in rows]
    for x, end in spans:
        yield (
            f'<path d="M{x},{_GAPS - 3}V{_GAPS + 3}M{x},{_GAPS}H{end}M{end},{_GAPS - 3}V{_GAPS + 3}" fill="none" '
            f'stroke="#555" stroke-width="0.7"/>'
        )
    short = [span for span in spans if span[1] - span[0] <= _NARROW]
    middles = [round((x + end) / 2, 1) for x, end in spans if end - x > _NARROW]
    if short:
        middles.append(_beside(lane, lot, min(x for x, _ in short), max(end for _, end in short)))
    for middle in middles:
        yield (
            f'<rect x="{middle - 14}" y="{_GAPS - 5}" width="28" height="10" fill="#fff"/>'
            f'<text x="{middle}" y="{_GAPS + 3}" text-anchor="middle" {_TEXT}>'
            f"{speak(tell('{n} d', n=rows[0]['days']), tongue)}</text>"
        )


def _beside(lane: Lane, lot: Row, first: float, last: float) -> float:
    """Where days stand free of the lines from first to last and of the lot's brackets: before them, else after."""
    start, end = (None if lot[name] is None else lane.x(lot[name]) for name in ("stands_from", "ends_on"))
    left = start if start is not None and first - 30 < start <= first else first
    if left - 30 > _LEFT:
        return left - 16
    return (end if end is not None and last <= end < last + 30 else last) + 16


def _due(lane: Lane, row: Row) -> Iterator[str]:
    x, state = lane.x(row["due_on"]), row["state"]
    size = 3.4
    if row["part"] == "follow_up":
        # a follow-up stands on a little foot
        yield f'<line x1="{x}" y1="{_DUES + size}" x2="{x}" y2="{_DUES + size + 4}" stroke="#111" stroke-width="1"/>'
    if state == "on_time":
        yield f'<path d="M{x},{_DUES - size}V{_DUES + size}" stroke="#111" stroke-width="1.6"/>'
    elif state == "late":
        until = lane.x(row["taken_on"])
        yield f'<line x1="{x}" y1="{_DUES}" x2="{until}" y2="{_DUES}" stroke="#D55E00" stroke-width="2.2"/>'
        yield (
            f'<path d="M{x},{_DUES - size}L{x + size},{_DUES}L{x},{_DUES + size}L{x - size},{_DUES}Z" fill="#D55E00" '
            'stroke="#111" stroke-width="0.6"/>'
        )
    elif state == "missed":
        yield (
            f'<path d="M{x - size},{_DUES - size}L{x + size},{_DUES + size}M{x - size},{_DUES + size}'
            f'L{x + size},{_DUES - size}" stroke="#D55E00" stroke-width="2"/>'
        )
    else:
        letter = {"excused": "e", "open": "o", "not_knowable": "?"}[state]
        yield f'<rect x="{x - 4}" y="{_DUES - 5}" width="8" height="10" fill="#fff" stroke="#111" stroke-width="0.7"/>'
        yield f'<text x="{x}" y="{_DUES + 3}" text-anchor="middle" {_TEXT}>{letter}</text>'


def _samplings(lane: Lane, rows: Sequence[Row]) -> Iterator[str]:
    """Samplings of one day stand beside each other, the one that answers dues in its place."""
    of_day: Counter[date] = Counter()
    for row in sorted(rows, key=lambda one: (one["sampled_on"], one["purpose"] not in ("routine", "retest"))):
        yield _sampling(row, lane.x(row["sampled_on"]) + 7.5 * of_day[row["sampled_on"]])
        of_day[row["sampled_on"]] += 1


def _sampling(row: Row, x: float) -> str:
    counts = (row["is_counting"] and row["purpose"] in ("routine", "retest")) or row["is_pair_end"]
    fill = "#111" if counts else "#fff"
    if row["purpose"] == "retest":
        shape = f'<path d="M{x},{_READ - 4}L{x + 4},{_READ + 3}H{x - 4}Z" '
    elif row["purpose"] == "routine":
        shape = f'<circle cx="{x}" cy="{_READ}" r="3.3" '
    else:
        shape = f'<rect x="{x - 2.8}" y="{_READ - 2.8}" width="5.6" height="5.6" '
    return f'{shape}fill="{fill}" stroke="#111" stroke-width="0.9"/>'
