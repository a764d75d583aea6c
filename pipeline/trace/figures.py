"""How one mean and its verdict came about, as somebody would check it with a pocket calculator. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from typing import Any, Literal

from pipeline.reports.wording import Wording
from pipeline.trace.bands import band_steps
from pipeline.trace.lines import Part, edge_text, plain

Row = dict[str, Any]


class TracedFigure(Part):
    """How one mean and its verdict came about."""

    quantity: Literal["ph", "ec"]
    n: int
    sum: str | None
    mean: float | None
    sd: float | None
    ci_low: float | None
    ci_high: float | None
    arithmetic: list[str]
    target: str | None
    source: str | None
    other_ranges: list[str]
    unused_group: str | None = None
    verdict: str


def trace_figure(row: Row, ranges: Sequence[Row], pots: Sequence[Row]) -> TracedFigure:
    """One quantity of a sampling; `row` is one of the query `lot_samplings`, `pots` are the lines in use."""
    target = None if row["low"] is None else f"{edge_text(row['low'])}-{edge_text(row['high'])}"
    return TracedFigure(
        quantity=row["quantity"],
        n=row["n"] or 0,
        sum=None if row["sum_x"] is None else plain(row["sum_x"]),
        mean=row["mean"],
        sd=row["sd"],
        ci_low=row["ci_low"],
        ci_high=row["ci_high"],
        arithmetic=[
            *_arithmetic(row),
            *_bound_steps(row, pots),
            *(band_steps(row["method"], row["mean"]) if row["quantity"] == "ec" else []),
        ],
        target=target,
        source=_source(row),
        other_ranges=[
            f"{edge_text(one['low'])}-{edge_text(one['high'])}: {one['source']} ({one['how_known']})"
            for one in ranges
            if one["quantity"] == row["quantity"]
            and (one["source"], one["low"], one["high"]) != (row["source"], row["low"], row["high"])
        ],
        unused_group=None if target is None else Wording("%Y-%m-%d").unused_group(row),
        verdict=_verdict(row),
    )


def _source(row: Row) -> str | None:
    """Who set the target, and for which stage where an own one names a stage."""
    if row["low"] is None:
        return None
    stage = row["own_stage"]
    why = f", for lots that are {stage}, as this one was that day" if stage else ""
    source = row["source"] or f"set by the {row['basis']}"
    return f"{source} ({row['how_known']}{why})"


def _arithmetic(row: Row) -> list[str]:
    """The sum, the mean and the interval as somebody would check them with a pocket calculator."""
    if row["mean"] is None:
        return []
    steps = [f"sum {plain(row['sum_x'])} / {row['n']} pots = mean {row['mean']:.4f}"]
    if row["sd"] is not None and row["ci_high"] is not None:
        half = row["ci_high"] - row["mean"]
        spread = row["sd"] / sqrt(row["n"])
        factor = f"{half / spread:.3f}" if spread else "t"
        kind = (
            "policy's SD, normal factor"
            if row["is_sd_assumed"]
            else f"SD, t for {row['n'] - 1} degrees of freedom"
        )
        steps.append(
            f"95 % interval: {row['mean']:.4f} ± {factor} × {row['sd']:.4f} / √{row['n']} = "
            f"{row['ci_low']:.4f} to {row['ci_high']:.4f} ({kind})"
        )
    if row["low"] is not None and row["side"] is not None and not row["is_at_least"]:
        edges = " and ".join(
            f"{edge_text(row[edge])} × {row['n']} = {plain(row[edge] * row['n'])}" for edge in ("low", "high")
        )
        steps.append(f"against the edges on exact sums: {plain(row['sum_x'])} beside {edges}")
    return steps


def _bound_steps(row: Row, pots: Sequence[Row]) -> list[str]:
    """What gave EC a side though it is not judged: pots that can lean one way only, and are out the other way."""
    if not row["is_at_least"]:
        return []
    is_high = row["side"] == "high"
    leaning, wrong, edge = ("low", "under", "high") if is_high else ("high", "over", "low")
    used = [one for one in pots if one["ec_25_ms_cm"] is not None and not one[f"is_{wrong}_collected"]]
    listed = ", ".join(
        f"{plain(one['ec_25_ms_cm'])}{_times(one['n_pots'])} ({one['file']} line {one['line_from']})"
        for one in used
    )
    total, n = row["bound_sum"], row["bound_pots"]
    return [
        f"judged from the pots that are not {wrong}-collected; they may read too {leaning}, not too {edge}: {listed}",
        (
            f"sum {plain(total)} / {n} pots = {float(total) / n:.4f}, the true mean is "
            f"{'no lower' if is_high else 'no higher'}; against the edge on exact sums: {plain(total)} beside "
            f"{edge_text(row[edge])} × {n} = {plain(row[edge] * n)}"
        ),
    ]


def _times(n_pots: int) -> str:
    return "" if n_pots == 1 else f" × {n_pots}"


def _verdict(row: Row) -> str:
    if row["side"] is None:
        return {
            "too_few_pots": "not judged: too few usable pots",
            "no_target": "not judged: no target",
            "other_method": "not judged: the published targets are of another extraction method",
            "volume": "not judged: leachate volumes too far off",
            "no_temperature": "not judged: no temperature for an uncompensated meter",
            "not_measured": "not judged: not measured",
        }[row["not_judged_why"]]
    words = {
        "clearly_out": "clearly out",
        "out": "out",
        "close_to_limit": "close to limit",
        "in_range": "in range",
    }
    text = words[row["verdict"]]
    if row["side"] != "in_range":
        text += f", {row['side']}, {row['in_a_row']} in a row" if row["in_a_row"] else f", {row['side']}"
    if row["is_inside_another"]:
        text += "; inside another published range for the crop"
    if row["is_at_least"]:
        text += "; judged from biased pots, the true figure lies further out"
    return text


def write_figure(figure: TracedFigure) -> list[str]:
    """A figure with its arithmetic as lines for a terminal."""
    name = "pH" if figure.quantity == "ph" else "EC"
    unit = "" if figure.quantity == "ph" else " mS/cm"
    written = [f"  {name}: {figure.verdict}"]
    if figure.target:
        written.append(f"      target {figure.target}{unit}: {figure.source}")
    if figure.unused_group:
        written.append(f"      {figure.unused_group}")
    written += [f"      another published range, {other}" for other in figure.other_ranges]
    return written + [f"      {step}" for step in figure.arithmetic]
