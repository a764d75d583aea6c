"""Slope and offset of one meter over a period as SVG, with the limits of the policy. Pure: rows in, SVG out."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from typing import Any, Final

from pipeline.audit.messages import join, speak, tell
from pipeline.audit.timeline import Lane, ticks
from pipeline.languages import Tongue
from pipeline.reports.charts import Chart

WIDTH: Final = 680
HEIGHT: Final = 118
_TEXT: Final = 'font-family="Source Sans 3" font-size="8.5" fill="#111"'
_PANELS: Final = (("slope_pct", tell("slope %"), 8.0), ("offset_mv", tell("offset mV"), 58.0))
_TALL: Final = 40.0
Row = Mapping[str, Any]


def draw_meter(tongue: Tongue, meter_id: str, from_on: date, to_on: date, checks: Sequence[Row]) -> Chart:
    """Draw the checks of a meter; a check that was not accepted is a cross."""
    lane = Lane(from_on, to_on)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}">'
    ]
    for column, label, top in _PANELS:
        parts += _panel(lane, checks, column, label, top, tongue)
    for day, text in ticks(lane, tongue):
        parts.append(f'<text x="{lane.x(day)}" y="{HEIGHT - 6}" text-anchor="middle" {_TEXT}>{text}</text>')
    return Chart(
        "".join([*parts, "</svg>"]), speak(describe_meter(meter_id, checks), tongue), "ph", frozenset()
    )


def describe_meter(meter_id: str, checks: Sequence[Row]) -> str:
    """Say in words what the chart of a meter shows."""
    failed = sum(not row["is_accepted"] for row in checks)
    parts = [
        tell(
            "Checks of meter {meter}: {n}, not accepted {failed}.",
            meter=meter_id,
            n=len(checks),
            failed=failed,
        )
    ]
    slope, offset = _range(checks, "slope_pct"), _range(checks, "offset_mv")
    if slope:
        parts.append(tell("Slope from {low:g} to {high:g} %, last {last:g} %.", **slope))
    if offset:
        parts.append(tell("Offset from {low:g} to {high:g} mV, last {last:g} mV.", **offset))
    return join(parts, " ")


def _range(checks: Sequence[Row], column: str) -> dict[str, float]:
    values = [float(row[column]) for row in checks if row[column] is not None]
    return {"low": min(values), "high": max(values), "last": values[-1]} if values else {}


def _panel(
    lane: Lane, checks: Sequence[Row], column: str, label: str, top: float, tongue: Tongue
) -> Iterator[str]:
    values = [
        (row["calibrated_on"], float(row[column]), row["is_accepted"])
        for row in checks
        if row[column] is not None
    ]
    edges = _limits(checks, column)
    everything = [*(value for _, value, _ in values), *edges]
    yield f'<text x="2" y="{top + 8}" {_TEXT}>{speak(label, tongue)}</text>'
    if not everything:
        yield f'<text x="60" y="{top + 22}" {_TEXT}>{speak(tell("not written down"), tongue)}</text>'
        return
    low, high = min(everything), max(everything)
    room = (high - low or 1) * 0.12
    low, high = low - room, high + room

    def y(value: float) -> float:
        return round(top + _TALL - (value - low) / (high - low) * _TALL, 1)

    left, right = lane.x(lane.first), lane.x(lane.last)
    yield (
        f'<rect x="{left}" y="{top}" width="{right - left}" height="{_TALL}" fill="none" stroke="#bbb" '
        'stroke-width="0.6"/>'
    )
    for edge in edges:
        yield (
            f'<line x1="{left}" y1="{y(edge)}" x2="{right}" y2="{y(edge)}" stroke="#111" stroke-width="0.7" '
            f'stroke-dasharray="3,2"/><text x="{left - 4}" y="{y(edge) + 3}" text-anchor="end" {_TEXT}>{edge:g}</text>'
        )
    yield from _marks(lane, values, y)


def _limits(checks: Sequence[Row], column: str) -> list[float]:
    """The limits on the last day: a policy may have had others before."""
    last = checks[-1]
    if column == "slope_pct":
        return [float(last["slope_low_pct"]), float(last["slope_high_pct"])]
    limit = float(last["offset_limit_mv"])
    return [-limit, limit]


def _marks(
    lane: Lane, values: Sequence[tuple[date, float, bool]], y: Callable[[float], float]
) -> Iterator[str]:
    points = " ".join(f"{lane.x(day)},{y(value)}" for day, value, _ in values)
    yield f'<polyline points="{points}" fill="none" stroke="#777" stroke-width="0.7"/>'
    for day, value, is_accepted in values:
        x, height = lane.x(day), y(value)
        if is_accepted:
            yield f'<circle cx="{x}" cy="{height}" r="2" fill="#111"/>'
        else:
            yield (
                f'<path d="M{x - 3.4},{height - 3.4}L{x + 3.4},{height + 3.4}M{x - 3.4},{height + 3.4}'
                f'L{x + 3.4},{height - 3.4}" stroke="#D55E00" stroke-width="2"/>'
            )
