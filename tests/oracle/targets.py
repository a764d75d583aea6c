"""Which range a lot is judged against, and the published bands beside it."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from tests.oracle.fates import Lot
from tests.oracle.intervals import Published, read_frequencies
from tests.oracle.settings import Policy, fold

GENERAL_PH = (Fraction("5.4"), Fraction("6.2"))
# The method that the published EC ranges of the crop table are meant for.
METHOD_OF_TARGETS = "pour-through"
SEVERAL_METHODS = "several methods"


@dataclass(frozen=True)
class PublishedRow:
    """One row of the crop table: a range for pH, for EC, or for both."""

    row_no: int
    crop: str
    ph: tuple[Fraction, Fraction] | None
    ec: tuple[Fraction, Fraction] | None
    ph_group: str | None
    source: str
    was_read: bool

    def range_of(self, quantity: str) -> tuple[Fraction, Fraction] | None:
        return self.ph if quantity == "ph" else self.ec


@dataclass(frozen=True)
class Band:
    """One published EC band of an extraction method. `high` is None for the last."""

    method: str
    name: str
    low: Fraction
    high: Fraction | None


@dataclass(frozen=True)
class Target:
    """The range with its edges, and the other published ranges of the crop."""

    low: Fraction
    high: Fraction
    basis: str
    others: tuple[tuple[Fraction, Fraction], ...]
    stage: str | None = None


@dataclass(frozen=True)
class References:
    """The published tables that judgements need."""

    rows: tuple[PublishedRow, ...]
    bands: tuple[Band, ...]
    frequencies: tuple[Published, ...] = ()
    groups: tuple[tuple[str, str, tuple[Fraction, Fraction]], ...] = ()

    def range_of_group(self, quantity: str, name: str | None) -> tuple[Fraction, Fraction] | None:
        return next((edges for of, group, edges in self.groups if (of, group) == (quantity, name)), None)


def range_in(row: dict[str, str], low: str, high: str) -> tuple[Fraction, Fraction] | None:
    return (Fraction(row[low]), Fraction(row[high])) if row[low] and row[high] else None


def read_references(folder: Path) -> References:
    """crop_targets.csv and the bands of ec_bands.csv that are marked as used."""
    with (folder / "crop_targets.csv").open(encoding="utf-8", newline="") as file:
        rows = tuple(
            PublishedRow(
                row_no=row_no,
                crop=fold(row["crop"]),
                ph=range_in(row, "ph_low", "ph_high"),
                ec=range_in(row, "ec_low_ms_cm", "ec_high_ms_cm"),
                ph_group=row["ph_group"] or None,
                source=row["source"],
                was_read=row["how_known"] == "read",
            )
            for row_no, row in enumerate(csv.DictReader(file), start=1)
        )
    with (folder / "ec_bands.csv").open(encoding="utf-8", newline="") as file:
        bands = tuple(
            Band(
                row["method"],
                row["band"],
                Fraction(row["low_ms_cm"]),
                Fraction(row["high_ms_cm"]) if row["high_ms_cm"] else None,
            )
            for row in csv.DictReader(file)
            if row["used"] == "yes"
        )
    with (folder / "group_targets.csv").open(encoding="utf-8", newline="") as file:
        groups = tuple(
            (row["quantity"], row["group_name"], (Fraction(row["low"]), Fraction(row["high"])))
            for row in csv.DictReader(file)
        )
    return References(rows, bands, read_frequencies(folder), groups)


def rows_in_order(references: References, crop: str, quantity: str, policy: Policy) -> list[PublishedRow]:
    """Rows of the crop that give the quantity, the one to choose first.

    Rows with both pH and EC; then the policy's sources in its order; then rows that were read; then those
    from memory; alike ones in the order of the table.
    """

    def rank(row: PublishedRow) -> tuple[bool, int, bool, int]:
        places = [place for place, name in enumerate(policy.source_order) if row.source.startswith(name)]
        return (
            row.ph is None or row.ec is None,
            places[0] if places else len(policy.source_order),
            not row.was_read,
            row.row_no,
        )

    rows = [row for row in references.rows if row.crop == fold(crop) and row.range_of(quantity) is not None]
    return sorted(rows, key=rank)


def ph_group_of(references: References, crop: str, policy: Policy) -> str | None:
    """The pH group of the published row that is chosen first and has one, else that of the policy."""
    for row in rows_in_order(references, crop, "ph", policy):
        if row.ph_group is not None:
            return row.ph_group
    return policy.crop_groups.get((fold(crop), "ph"))


def is_shown_against_its_own_history(lot: Lot) -> bool:
    """Plugs, nursery stock and controlled-release lots: their EC is not judged by published ranges or bands."""
    return lot.container_class in ("plug", "nursery") or lot.feed_mode == "controlled_release"


def target_of(
    lot: Lot, quantity: str, policy: Policy, references: References, stage: str = "active"
) -> Target | None:
    """The own range for the stage, else the one for all stages, of each the site's before the group's; else the
    published one, else that of the group among which the policy counts the crop, else for pH the general range.

    Plugs, nursery stock and controlled-release lots have an EC target only if it is the site's or group's
    own.
    """
    rows = rows_in_order(references, lot.crop, quantity, policy)
    ranges = [found for row in rows if (found := row.range_of(quantity)) is not None]
    for of_stage in (stage, None):
        key = (fold(lot.crop), quantity, of_stage)
        if key in policy.site_targets:
            return Target(*policy.site_targets[key], "site", tuple(ranges), of_stage)
        if key in policy.group_targets:
            return Target(*policy.group_targets[key], "group", tuple(ranges), of_stage)
    if quantity == "ec" and is_shown_against_its_own_history(lot):
        return None
    if ranges:
        return Target(*ranges[0], "published", tuple(ranges[1:]))
    grouped = references.range_of_group(quantity, policy.crop_groups.get((fold(lot.crop), quantity)))
    if grouped is not None:
        return Target(*grouped, "published", ())
    return Target(*GENERAL_PH, "general", ()) if quantity == "ph" else None


def unused_group_of(
    lot: Lot, quantity: str, policy: Policy, references: References, target: Target | None
) -> tuple[str, tuple[Fraction, Fraction] | None] | None:
    """The policy's group of the crop that decides nothing for the lot, with its range where another is taken instead.

    A range printed for the crop goes before the group's, and a printed pH group before the policy's. That an own
    target goes before everything needs no saying.
    """
    name = policy.crop_groups.get((fold(lot.crop), quantity))
    if name is None or target is None:
        return None
    printed = rows_in_order(references, lot.crop, quantity, policy)
    if target.basis == "published" and printed:
        return name, references.range_of_group(quantity, name)
    is_other = quantity == "ph" and ph_group_of(references, lot.crop, policy) != name
    return (name, None) if is_other else None


def other_published_ranges(
    lot: Lot, quantity: str, policy: Policy, references: References
) -> list[tuple[Fraction, Fraction]]:
    """Every published range of the crop for the quantity; the target itself is among them or is not."""
    return [
        found
        for row in rows_in_order(references, lot.crop, quantity, policy)
        if (found := row.range_of(quantity)) is not None
    ]


def is_of_another_method(target: Target | None, method: str | None) -> bool:
    """A published EC range says nothing about an extract that was not gained by pour-through.

    A range of the site's or group's own is meant for the method that they use.
    """
    return target is not None and target.basis == "published" and method != METHOD_OF_TARGETS


def is_very_high(mean: Fraction, method: str | None, policy: Policy, references: References) -> bool:
    """By pour-through the policy's value and more. By another method above the low edge of its published
    band "very high": the edge is shared with the band below and belongs to that.

    Several methods in one sampling have no band.
    """
    if method == METHOD_OF_TARGETS:
        return mean >= policy["ec_act_ms_cm"]
    return any(
        mean > band.low for band in references.bands if band.method == method and band.name == "very high"
    )


def band_of(mean: Fraction | None, method: str | None, references: References) -> str | None:
    """The published band. An edge between two bands and a gap between them belong to the lower one.

    So 2.6 mS/cm by pour-through is low, 6.55 high, and 6.6, where the band after the gap begins, very high.
    """
    if mean is None:
        return None
    found: str | None = None
    upper: Fraction | None = None
    for band in (band for band in references.bands if band.method == method):
        begins_after_gap = upper is not None and band.low > upper
        if found is None or mean > band.low or (begins_after_gap and mean == band.low):
            found = band.name
        upper = band.high
    return found
