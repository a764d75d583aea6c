"""Kinds of exports beside readings, lots and calibrations: their fields, and what becomes of their lines."""

from __future__ import annotations

from datetime import date

FIELDS: dict[str, list[str]] = {
    "treatments": [
        "lot",
        "house",
        "bench",
        "crop",
        "date",
        "datetime",
        "time",
        "year",
        "week",
        "what",
        "product",
        "rate",
        "person",
        "note",
    ],
    "feed_checks": [
        "date",
        "datetime",
        "time",
        "year",
        "week",
        "place",
        "house",
        "injector",
        "ec",
        "temperature",
        "ph",
        "alkalinity",
        "nitrogen",
        "target_ec",
        "person",
        "note",
    ],
    "exemptions": [
        "lot",
        "house",
        "bench",
        "crop",
        "purpose",
        "from",
        "until",
        "reason",
        "person",
        "entered_on",
        "note",
    ],
    "plantings": [
        "lot",
        "crop",
        "cultivar",
        "house",
        "bench",
        "planted",
        "ships",
        "plants",
        "note",
    ],
    "people": [
        "name",
        "role",
        "trained_on",
        "trained_by",
        "until",
        "note",
    ],
}
# Decimals and digits before the decimal mark.
SCALES: dict[str, tuple[int, int]] = {
    "alkalinity": (2, 6),
    "nitrogen": (2, 6),
    "target_ec": (4, 5),
    "ec_left": (4, 5),
    **{f"{when}_{buffer}": (3, 3) for when in ("found", "left") for buffer in (4, 7, 10)},
    **{f"mv_{buffer}": (1, 5) for buffer in (4, 7, 10)},
}
WORDS: dict[str, tuple[str, ...]] = {
    "what": (
        "leaching",
        "clear_water",
        "acid_feed",
        "basic_feed",
        "feed_change",
        "bicarbonate",
        "lime_drench",
        "lime_topdressing",
        "iron_drench",
        "iron_sulfate",
        "other",
    ),
    "place": ("source_water", "hose_end", "tank"),
    "event": ("started", "moved", "split", "shipped", "changed"),
    "stage": ("as_found", "as_left", "both"),
}
DAYS = (
    "valid_from",
    "from",
    "until",
    "entered_on",
    "planted",
    "ships",
    "trained_on",
    "solution_expires",
)
# The day from which on a line of a kind speaks, if it must not lie in the future.
DAY_OF: dict[str, str] = {"treatments": "date", "feed_checks": "date", "people": "trained_on"}


def required(kind: str, cells: dict[str, str], day: str) -> list[str]:
    """Fields that must be filled; `day` is the field that tells the day where the kind has one."""
    place = "lot" if cells.get("lot") or not cells.get("house") else "house"
    return {
        "treatments": ["what", day, place],
        "feed_checks": ["place", day],
        "exemptions": [place, "from", "until", "reason", "person"],
        "plantings": ["lot", "planted" if cells.get("planted") or not cells.get("ships") else "ships"],
        "people": ["name"],
    }[kind]


def other_problem(kind: str, cells: dict[str, str], first: date | None, last: date | None) -> str | None:
    """What is wrong between the cells of a line: nothing measured, or an excuse that ends before it begins."""
    if kind == "feed_checks" and not any(cells.get(name) for name in ("ec", "ph", "alkalinity", "nitrogen")):
        return "nothing_measured"
    if kind == "exemptions" and first is not None and last is not None and last < first:
        return "until_before_from"
    return None
