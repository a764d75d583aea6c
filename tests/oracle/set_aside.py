"""Lines that begin like a comment or a total, or stand where the units should: data, set aside, or in doubt."""

from __future__ import annotations

from datetime import datetime

from tests.oracle.settings import Export, fold

NAMES = {
    "calibrations": [("meter",)],
    "feed_checks": [("place",)],
    "lots": [("lot",)],
    "plantings": [("lot",)],
    "people": [("name",)],
}
DAYS = ("date", "datetime", "week", "started", "ends", "valid_from", "solution_expires", "from", "until")
MORE_DAYS = ("entered_on", "planted", "ships", "trained_on")
NO_FIGURES = (
    *("lot", "house", "bench", "position", "crop", "cultivar", "pot", "sampler", "person", "meter", "method"),
    *("note", "time", "year", "purpose", "condition", "poured_with", "container", "start_kind", "grower"),
    *("substrate", "irrigation", "feed_mode", "parent", "event", "buffers", "passed", "stage", "solution"),
    *("what", "product", "rate", "place", "injector", "reason", "name", "role", "trained_by"),
)
UNIT_WORDS = (
    *(
        "ms",
        "us",
        "ds/m",
        "mmho",
        "ppm",
        "ml",
        "fl",
        "oz",
        "c",
        "f",
        "cm",
        "in",
        "mg/l",
        "meq",
        "mv",
        "min",
        "ph",
    ),
    *("h", "s", "n", "g", "l", "g/l", "no", "nr", "stk", "pcs", "unit", "units"),
)
MOMENTS = ("%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%M")


def by_field(cells: list[str], header: tuple[str, ...], export: Export) -> dict[str, str]:
    """The filled cells of the mapped columns."""
    named: dict[str, str] = {}
    titles = [fold(title) for title in header]
    for name, (column, _) in export.columns.items():
        if fold(column) in titles:
            at = titles.index(fold(column))
            if at < len(cells) and cells[at].strip():
                named[name] = cells[at].strip()
    return named


def is_day(name: str, cell: str, year: str, export: Export) -> bool:
    """Whether a cell of a column of days names one, rightly or not."""
    if name == "week":
        digits = "".join(sign if sign.isdigit() else " " for sign in cell).split()
        has_word = any(sign.isalpha() for sign in cell)
        if len(digits) == 2:
            number = min(digits, key=len)
            return sorted(map(len, digits))[1] == 4 and (has_word or int(number) > 12) and int(number) <= 53
        return len(digits) == 1 and 1 <= int(digits[0]) <= 53 and len(year) == 4
    forms = [export.date_format]
    if name == "datetime":
        forms = [export.datetime_format] if export.datetime_format else list(MOMENTS)
    for form in forms:
        try:
            datetime.strptime(cell, form)
        except ValueError:
            continue
        return True
    front = cell.replace("T", " ").split(" ")[0]
    parts = front.replace("/", "-").replace(".", "-").split("-")
    return (len(front) == 8 and front.isdigit()) or (
        len(parts) == 3 and all(part.isdigit() and len(part) <= 4 for part in parts)
    )


def is_figure(cell: str) -> bool:
    """Whether a cell is one figure, perhaps with a unit or a mark behind it."""
    bare = cell.lstrip("<>≤≥~≈+- ")
    if not bare or not (bare[0].isdigit() or bare[0] in ".,½¼¾"):
        return False
    end = 0
    while end < len(bare) and (bare[end].isdigit() or bare[end] in ".,'’/ ½¼¾"):
        end += 1
    return not any(sign.isdigit() for sign in bare[end:])


def count_values(cells: list[str], header: tuple[str, ...], export: Export) -> int:
    """How many cells are a figure or a day in a column for one."""
    named = by_field(cells, header, export)
    count = 0
    for name, cell in named.items():
        if name in DAYS + MORE_DAYS:
            count += is_day(name, cell, named.get("year", ""), export)
        elif name not in NO_FIGURES:
            count += is_figure(cell)
    return count


def is_total_word(cell: str, export: Export) -> bool:
    word = fold(cell.strip().rstrip(":"))
    words = [fold(one) for one in export.total_words]
    return word in words or (word.startswith("grand ") and word[6:] in words)


def is_record(cells: list[str], header: tuple[str, ...], export: Export) -> bool:
    """Whether the line says when and whose."""
    named = by_field(cells, header, export)
    whose = all(any(name in named for name in group) for group in NAMES.get(export.kind, [("lot", "house")]))
    days = [name for name in named if name in DAYS + MORE_DAYS]
    return whose and (
        export.kind == "people"
        or any(is_day(name, named[name], named.get("year", ""), export) for name in days)
    )


NEEDED: dict[str, list[tuple[str, ...]]] = {
    "readings": [("ph", "ec"), ("date", "datetime", "week"), ("lot", "house")],
    "lots": [("lot",), ("crop",), ("container",), ("started",)],
    "calibrations": [("meter",), ("date", "datetime")],
    "treatments": [("what",), ("date", "datetime", "week"), ("lot", "house")],
    "feed_checks": [("place",), ("date", "datetime", "week"), ("ec", "ph", "alkalinity", "nitrogen")],
    "exemptions": [("lot", "house"), ("from",), ("until",), ("reason",), ("person",)],
    "plantings": [("lot",), ("planted", "ships")],
}


def has_all_needed(cells: list[str], header: tuple[str, ...], export: Export) -> bool:
    """Whether every field that a record of this kind cannot do without is there, days as days, figures as figures."""
    named = by_field(cells, header, export)
    year = named.get("year", "")

    def can_be(name: str) -> bool:
        if name not in named:
            return False
        if name in DAYS + MORE_DAYS:
            return is_day(name, named[name], year, export)
        return name in NO_FIGURES or is_figure(named[name])

    groups = NEEDED.get(export.kind)
    return groups is not None and all(any(can_be(name) for name in group) for group in groups)


def of_total(cells: list[str], header: tuple[str, ...], export: Export) -> str:
    """data, total or doubt for a line below the header."""
    filled = [at for at, cell in enumerate(cells) if cell.strip()]
    if not filled or not is_total_word(cells[filled[0]], export):
        return "data"
    if not is_record(cells, header, export):
        return "total"
    title = fold(header[filled[0]]) if filled[0] < len(header) else ""
    if any(fold(column) == title for name, (column, _) in export.columns.items()
           if name in ("lot", "house", "meter", "place", "name")):  # fmt: skip
        return "data"
    return "total" if export.states_totals else "doubt"


def is_doubtful_comment(cells: list[str], header: tuple[str, ...], export: Export) -> bool:
    """Whether a line that begins like a comment has the cells of a record."""
    rest = [cells[0].strip()[len(export.comment_prefix) :].strip(), *cells[1:]]
    if sum(1 for cell in rest if cell.strip()) < 2:
        return False
    if is_total_word(rest[0], export) and not is_record(rest, header, export):
        return False
    if len(rest) == len(header) and count_values(rest, header, export):
        return True
    return says_record(rest, header, export)


def says_record(cells: list[str], header: tuple[str, ...], export: Export) -> bool:
    """Whether cells, however many, say what a record says: two values in their columns, or all that is needed."""
    return count_values(cells, header, export) >= 2 or has_all_needed(cells, header, export)


def is_units_row(cells: list[str], header: tuple[str, ...], export: Export) -> bool:
    """Whether the line below the header names units and nothing that was measured; a blank one may be one."""
    filled = [cell.strip() for cell in cells if cell.strip()]
    if not filled:
        return True
    if count_values(cells, header, export):
        return False
    known = [unit for _, unit in export.columns.values() if unit]
    for cell in filled:
        bare = fold(cell.strip("()[]")).replace("µ", "u").replace("μ", "u")
        if cell[0] in "([" or bare in ("-", "–", "%") or fold(cell) in map(fold, known):
            return True
        first = bare.replace("/cm", "").replace("°", "").split(" ")[0].rstrip(".")
        if first in UNIT_WORDS or bare in UNIT_WORDS:
            return True
    return False
