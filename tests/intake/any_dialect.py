"""Tables of records and a writer that puts them into any dialect, for the reader to read back.

The writer shares nothing with the product but the settings model: conversions, weeks and quoting are worked
out here a second time.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone
from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

from pipeline.settings import Column, Export

DAY_NAMES = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

# How a unit is written, and the value inside for one written figure: (figure - offset) * factor.
UNITS: dict[str, dict[str, tuple[Fraction, Fraction]]] = {
    "ec": {
        "mS/cm": (Fraction(0), Fraction(1)),
        "dS/m": (Fraction(0), Fraction(1)),
        "mmho/cm": (Fraction(0), Fraction(1)),
        "µS/cm": (Fraction(0), Fraction(1, 1000)),
        "S/m": (Fraction(0), Fraction(10)),
        "mS/m": (Fraction(0), Fraction(1, 100)),
        "ppm 500": (Fraction(0), Fraction(1, 500)),
        "ppm 640": (Fraction(0), Fraction(1, 640)),
        "ppm 700": (Fraction(0), Fraction(1, 700)),
    },
    "volume": {
        "mL": (Fraction(0), Fraction(1)),
        "cL": (Fraction(0), Fraction(10)),
        "L": (Fraction(0), Fraction(1000)),
        "fl oz": (Fraction(0), Fraction("29.5735295625")),
    },
    "temperature": {"°C": (Fraction(0), Fraction(1)), "°F": (Fraction(32), Fraction(5, 9))},
}
# What people type behind a figure in a column of that unit, or of another.
TYPED = {
    "mS/cm": ("mS/cm", "mS", "ms/cm"),
    "dS/m": ("dS/m",),
    "mmho/cm": ("mmho/cm",),
    "µS/cm": ("µS/cm", "uS", "µS"),
    "S/m": ("S/m", "s/m"),
    "mS/m": ("mS/m",),
    "ppm 500": ("ppm 500",),
    "ppm 640": ("ppm 640",),
    "ppm 700": ("ppm 700",),
    "mL": ("mL", "ml"),
    "cL": ("cl", "cL"),
    "L": ("l", "L"),
    "fl oz": ("fl oz", "fl. oz"),
    "°C": ("°C", "C", "ºC"),
    "°F": ("°F", "F"),
}
FRACTIONS = {Fraction(1, 2): ("1/2", "½"), Fraction(1, 4): ("1/4", "¼"), Fraction(3, 4): ("3/4", "¾")}


@dataclass(frozen=True)
class Field:
    """A field of a kind: the column it lands in, and how its values are made and kept."""

    name: str
    lands_in: str
    what: str
    quantity: str = ""
    decimals: int = 0
    low: int = 0
    high: int = 0
    words: tuple[str, ...] = ()


def _number(name: str, lands_in: str, decimals: int, low: int, high: int, quantity: str = "") -> Field:
    return Field(name, lands_in, "number", quantity, decimals, low, high)


def _texts(*names: str) -> list[Field]:
    columns = {"lot": "lot_code", "meter": "meter_id", "grower": "grower_id"}
    return [Field(name, columns.get(name, name), "text") for name in names]


def _word(name: str, lands_in: str, *words: str) -> Field:
    return Field(name, lands_in, "word", words=words)


FIELDS: dict[str, list[Field]] = {
    "readings": [
        *_texts("lot", "house", "bench", "position", "crop", "pot", "sampler", "meter"),
        _word("purpose", "purpose", "routine", "affected", "before_feed", "retest"),
        _word("condition", "condition", "healthy", "affected"),
        _word("method", "method", "pour-through", "1:2 dilution", "saturated media extract"),
        Field("n_pots", "n_pots", "whole", low=1, high=3000),
        _number("ph", "ph", 3, 0, 14),
        _number("ph_sd", "ph_sd", 3, 0, 3),
        _number("ec", "ec_ms_cm", 4, 0, 20, "ec"),
        _number("ec_sd", "ec_sd_ms_cm", 4, 0, 5, "ec"),
        _number("poured", "poured_ml", 2, 0, 2500, "volume"),
        _number("leachate", "leachate_ml", 2, 0, 2500, "volume"),
        _number("temperature", "temperature_c", 2, -20, 50, "temperature"),
        _number("drain", "drain_min", 1, 0, 1500),
    ],
    "lots": [
        *_texts("lot", "crop", "house", "bench", "cultivar", "grower", "substrate", "irrigation"),
        _word("container", "container_class", "plug", "cell_pack", "pot_4in", "pot_5_6in", "nursery"),
        _word("start_kind", "start_kind", "sown", "stuck", "potted", "transplanted"),
        _word("feed_mode", "feed_mode", "constant", "periodic", "controlled_release"),
        Field("started", "started_on", "day"),
        Field("ends", "ends_on", "day"),
        Field("plants", "plants", "whole", low=0, high=2_000_000),
    ],
    "calibrations": [
        *_texts("meter", "person", "buffers"),
        _number("slope", "slope_pct", 2, 0, 120),
        _number("offset", "offset_mv", 1, -90, 90),
        _number("ec_standard", "ec_standard_ms_cm", 4, 0, 20, "ec"),
        _number("ec_found", "ec_found_ms_cm", 4, 0, 20, "ec"),
        Field("passed", "passed", "truth"),
    ],
}
NEEDED = {
    "readings": {"lot", "ph"},
    "lots": {"lot", "crop", "container", "started"},
    "calibrations": {"meter"},
}


@dataclass(frozen=True)
class Dialect:
    """How a file is written, beyond what the export's settings say of it."""

    export: Export
    zone: str
    line_end: str
    quoting: str  # "needed", "all", or "some"
    blank: str  # the blank between thousands and before a unit
    apostrophe: str
    mark: str  # byte order: "", "le" or "be"
    separator_line: bool
    last_line_end: bool
    odd_cells: bool  # signs, marks, units and fractions inside cells


@dataclass(frozen=True)
class Written:
    """A file, the export and the time zone that say how to read it, and the rows that it must give."""

    data: bytes
    export: Export
    zone: str
    rows: list[dict[str, Any]]


# Letters that all five encodings have; utf-8 in disguise ("Ã¼") is refused on purpose, so no Ã or Â.
LETTERS = "abcXYZüñéß059"
INNER = LETTERS + " .,;|'\"#\t:-/"
TEXTS = st.builds(
    lambda first, inner, last: first + inner + last,
    st.sampled_from(LETTERS),
    st.text(INNER, max_size=5),
    st.sampled_from(LETTERS + '".,;|'),
).filter(lambda text: text.strip() == text)
# A line of a note that looks like a record of its own is doubted on purpose, so none has a delimiter.
LONG_NOTES = st.lists(st.text("abcXü #", max_size=4), min_size=2, max_size=3).map(
    lambda lines: "a" + "\n".join(lines) + "b"
)
MAYBE = st.booleans()
DATE_FORMATS = ("%Y-%m-%d", "%d.%m.%Y", "%m/%d/%Y", "%d/%m/%y", "%Y%m%d", "%d %b %Y")
TIME_FORMATS = ("%H:%M", "%H:%M:%S", "%I:%M %p")
MOMENT_FORMATS = ("%Y-%m-%d %H:%M:%S", "%d.%m.%Y %H:%M", "%Y-%m-%dT%H:%M:%S%z", "%m/%d/%Y %I:%M %p")
ZONES = ("Europe/Madrid", "America/Chicago", "UTC", "Australia/Lord_Howe")
DAYS = st.dates(date(2000, 1, 1), date(2060, 12, 31))

# The first and last days of years, where the rules for weeks differ.
EDGES = st.builds(
    lambda year, after: date(year, 1, 1) + timedelta(days=after), st.integers(2001, 2060), st.integers(-7, 7)
)


@st.composite
def files(draw: st.DrawFn, *, loses_units: bool = False) -> Written:
    """A table of a kind, written in a dialect; `loses_units`: without the row of units that the export declares."""
    kind = draw(st.sampled_from(sorted(FIELDS)))
    fields = [one for one in FIELDS[kind] if one.name in NEEDED[kind] or draw(MAYBE)]
    has_note = draw(MAYBE)
    extras = draw(st.sampled_from([(), ("Weather",), ("Else 1", "Else 2")]))
    dated = "" if kind == "lots" else draw(st.sampled_from(_dated(kind)))
    has_time = dated == "date" and draw(MAYBE)
    headers = _headers(draw, fields, has_note, extras, dated, has_time)
    dialect = _dialect(draw, kind, fields, headers, extras)
    records, rows = [], []
    for _ in range(draw(st.integers(1, 4))):
        cells, row = _record(draw, dialect, fields, dated, has_time)
        in_order = [name for name in headers if name in extras]
        _add_note(draw, dialect, cells, row, has_note, in_order)
        records.append([cells[name] for name in headers])
        rows.append(_with_defaults(kind, dialect, row))
    text = _text(draw, dialect, list(headers.values()), records, has_units=not loses_units)
    return Written(_encode(text, dialect), dialect.export, dialect.zone, rows)


def _dated(kind: str) -> tuple[str, ...]:
    return ("date", "datetime", "week") if kind == "readings" else ("date", "datetime")


def _headers(
    draw: st.DrawFn, fields: list[Field], has_note: bool, extras: tuple[str, ...], dated: str, has_time: bool
) -> dict[str, str]:
    """Header by field, in the order of the file's columns; unmapped columns stand under their own header."""
    names = [one.name for one in fields]
    names += ["note"] * has_note + [dated] * bool(dated) + ["time"] * has_time
    names += ["year"] * (dated == "week")
    shuffled = draw(st.permutations([*names, *extras]))
    around = draw(st.sampled_from([("", ""), ("Col ", ""), ("", " (ü)"), ("a,b;c ", ""), ('"', '"')]))
    return {name: name if name in extras else f"{around[0]}{name}{around[1]}" for name in shuffled}


def _dialect(
    draw: st.DrawFn, kind: str, fields: list[Field], headers: dict[str, str], extras: tuple[str, ...]
) -> Dialect:
    decimal = draw(st.sampled_from([".", ","]))
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252", "latin-1"]))
    is_unicode = encoding.startswith("utf")
    by_name = {one.name: one for one in fields}
    columns = {}
    for name, header in headers.items():
        if name in extras:
            continue
        quantity = by_name[name].quantity if name in by_name else ""
        unit = draw(st.sampled_from(sorted(UNITS[quantity]))) if quantity else None
        columns[name] = Column(column=header, unit=unit)
    rule = draw(st.sampled_from(["iso", "january_1", "first_full_week"]))
    export = Export(
        kind=kind,
        files="drop/*.csv",
        encoding=encoding,
        delimiter=draw(st.sampled_from([",", ";", "\t", "|"])),
        decimal=decimal,
        thousands=draw(st.sampled_from([one for one in ("", ".", ",", "'", " ") if one != decimal])),
        number_marks=draw(st.sampled_from([(), ("*",), ("*", "(!)")])),
        date_format=draw(st.sampled_from(DATE_FORMATS)),
        time_format=draw(st.sampled_from(TIME_FORMATS)),
        datetime_format=draw(st.sampled_from(MOMENT_FORMATS)),
        title_lines=draw(st.integers(0, 2)),
        units_row=draw(MAYBE),
        column_order=draw(st.sampled_from(["fixed", "any"])),
        extra_columns=draw(st.sampled_from(["ignore", "note"])),
        week_rule=rule,
        week_starts="monday" if rule == "iso" else draw(st.sampled_from(DAY_NAMES)),
        week_day=draw(st.sampled_from(DAY_NAMES)),
        comment_prefix=draw(st.sampled_from(["#", "//", ""])),
        columns=columns,
    )
    return Dialect(
        export=export,
        zone=draw(st.sampled_from(ZONES)),
        line_end=draw(st.sampled_from(["\n", "\r\n", "\r"])),
        quoting=draw(st.sampled_from(["needed", "all", "some"])),
        blank=draw(st.sampled_from([" ", "\u00a0", *(["\u202f", "\u2009"] if is_unicode else [])])),
        apostrophe=draw(st.sampled_from(["'", *(["\u2019"] if encoding != "latin-1" else [])])),
        mark=draw(st.sampled_from(["", "le", "be"])),
        separator_line=draw(MAYBE),
        last_line_end=draw(MAYBE),
        odd_cells=draw(MAYBE),
    )


def _record(
    draw: st.DrawFn, dialect: Dialect, fields: list[Field], dated: str, has_time: bool
) -> tuple[dict[str, str], dict[str, Any]]:
    """The cells of one record by field, and the row that they must give."""
    needed = NEEDED[dialect.export.kind]
    cells: dict[str, str] = {}
    row: dict[str, Any] = {}
    for one in fields:
        if one.name not in needed and draw(st.integers(0, 3)) == 0:
            cells[one.name], row[one.lands_in] = draw(st.sampled_from(["", " "])), None
        else:
            cells[one.name], row[one.lands_in] = _value(draw, dialect, one)
    day, clock = _add_day(draw, dialect, cells, dated)
    if has_time:
        form = dialect.export.time_format or ""
        clock = draw(st.times()).replace(microsecond=0, second=draw(st.integers(0, 59)) if "S" in form else 0)
        cells["time"] = clock.strftime(form)
    if dialect.export.kind != "lots":
        stem = "sampled" if dialect.export.kind == "readings" else "calibrated"
        row |= {f"{stem}_on": day, f"{stem}_time": clock}
    return cells, row


def _value(draw: st.DrawFn, dialect: Dialect, one: Field) -> tuple[str, Any]:
    """A cell and what must come of it."""
    if one.what == "text":
        # A lot or a meter may be called like a total.
        text = draw(st.sampled_from(["Mean", "sum"]) | TEXTS if one.name in ("lot", "meter") else TEXTS)
        return text, text
    if one.what == "word":
        word = draw(st.sampled_from(one.words))
        shown = draw(st.sampled_from([word, word.upper(), word.replace("_", " "), f" {word} "]))
        return shown, word
    if one.what == "truth":
        cell = draw(st.sampled_from(["yes", "Y", "ok", "true", "no", "N", "failed", "0"]))
        return cell, cell in ("yes", "Y", "ok", "true")
    if one.what == "day":
        day = draw(DAYS)
        return day.strftime(dialect.export.date_format), day
    if one.what == "whole":
        count = draw(st.integers(one.low, one.high))
        return _mark(draw, dialect, _shown(dialect, Decimal(count))), count
    return _figure(draw, dialect, one)


def _figure(draw: st.DrawFn, dialect: Dialect, one: Field) -> tuple[str, Decimal]:
    """A figure in the column's unit, or with another behind it, and the value inside."""
    column = dialect.export.columns[one.name]
    unit, behind = column.unit, ""
    if dialect.odd_cells and one.quantity and draw(MAYBE):
        unit = draw(st.sampled_from(sorted(UNITS[one.quantity])))
        behind = draw(st.sampled_from(["", dialect.blank])) + draw(st.sampled_from(TYPED[unit]))
    offset, factor = UNITS[one.quantity][unit or ""] if one.quantity else (Fraction(0), Fraction(1))
    # As many decimals as are kept; in another unit any number, as the conversion rounds once.
    decimals = one.decimals if not offset and factor == 1 else 3
    low, high = (int(edge / factor + offset) for edge in (one.low, one.high))
    with_fraction = one.quantity == "volume" or one.name == "drain"
    if dialect.odd_cells and with_fraction and draw(MAYBE):
        cell, written = _fraction(draw, dialect, one)
    else:
        places = draw(st.integers(0, decimals))
        number = Decimal(draw(st.integers(low * 10**places, high * 10**places))).scaleb(-places)
        cell, written = _shown(dialect, number), Fraction(number)
        if dialect.odd_cells and number >= 0 and draw(MAYBE):
            cell = "+" + cell
    value = (written - offset) * factor
    kept = _rounded(value, one.decimals)
    return _mark(draw, dialect, cell + behind), kept


def _fraction(draw: st.DrawFn, dialect: Dialect, one: Field) -> tuple[str, Fraction]:
    # Drain times keep one decimal, so only halves are exact there.
    part = Fraction(1, 2) if one.name == "drain" else draw(st.sampled_from(sorted(FRACTIONS)))
    shown = draw(st.sampled_from(FRACTIONS[part]))
    whole = draw(st.integers(0, 80))
    if not whole:
        return shown, part
    between = dialect.blank if "/" in shown else draw(st.sampled_from(["", dialect.blank]))
    return f"{whole}{between}{shown}", whole + part


def _rounded(value: Fraction, decimals: int) -> Decimal:
    """Half away from zero, once: 60 digits are more than any of these figures needs to tell a half."""
    exact = Context(prec=60).divide(Decimal(value.numerator), Decimal(value.denominator))
    return exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)


def _shown(dialect: Dialect, number: Decimal) -> str:
    """A number with the dialect's marks."""
    sign = "-" if number < 0 else ""
    digits, _, decimals = f"{abs(number):f}".partition(".")
    if dialect.export.thousands:
        mark = {" ": dialect.blank, "'": dialect.apostrophe}.get(
            dialect.export.thousands, dialect.export.thousands
        )
        groups: list[str] = []
        while digits:
            groups.insert(0, digits[-3:])
            digits = digits[:-3]
        digits = mark.join(groups)
    return sign + digits + (dialect.export.decimal + decimals if decimals else "")


def _mark(draw: st.DrawFn, dialect: Dialect, cell: str) -> str:
    marks = dialect.export.number_marks
    if not dialect.odd_cells or not marks or not draw(MAYBE):
        return cell
    return cell + draw(st.sampled_from(["", " "])) + draw(st.sampled_from(marks))


def _add_day(
    draw: st.DrawFn, dialect: Dialect, cells: dict[str, str], dated: str
) -> tuple[date | None, time | None]:
    """Write the day of a record into its cells; returns day and time as they must be read."""
    export = dialect.export
    if dated == "date":
        day = draw(DAYS)
        cells["date"] = day.strftime(export.date_format)
        return day, None
    if dated == "datetime":
        moment = _moment(draw, dialect, cells)
        return moment.date(), moment.time()
    if dated == "week":
        year, week, stands = _week(draw(DAYS | EDGES), export)
        own_year = draw(MAYBE)
        cells["year"] = draw(st.sampled_from(["", str(year)])) if own_year else str(year)
        shown = [f"{year}-W{week:02}", f"KW {week}/{year}"] if own_year else [f"{week}", f"W{week:02}"]
        cells["week"] = draw(st.sampled_from(shown))
        return stands, None
    return None, None


def _moment(draw: st.DrawFn, dialect: Dialect, cells: dict[str, str]) -> datetime:
    form = dialect.export.datetime_format or ""
    moment = draw(st.datetimes(datetime(2000, 1, 1), datetime(2060, 12, 31)))
    moment = moment.replace(microsecond=0, second=moment.second if "%S" in form else 0)
    if "%z" not in form:
        # Also times that the clocks jumped over or showed twice: what is written stays.
        cells["datetime"] = moment.strftime(form)
        return moment
    offset = timezone(timedelta(minutes=draw(st.integers(-12 * 60, 14 * 60))))
    stamp = moment.replace(tzinfo=UTC).astimezone(offset)
    cells["datetime"] = draw(
        st.sampled_from([stamp.strftime(form), stamp.isoformat(), moment.isoformat() + "Z"])
    )
    return moment.replace(tzinfo=UTC).astimezone(ZoneInfo(dialect.zone)).replace(tzinfo=None)


def _week(day: date, export: Export) -> tuple[int, int, date]:
    """Year and number of the week that holds a day, and the day that stands for that week."""
    begin = DAY_NAMES.index(export.week_starts)
    start = day
    while start.weekday() != begin:
        start -= timedelta(days=1)
    stands = next(
        one
        for one in (start + timedelta(days=after) for after in range(7))
        if DAY_NAMES[one.weekday()] == export.week_day
    )
    if export.week_rule == "iso":
        return *day.isocalendar()[:2], stands
    new_year = date(day.year, 1, 1)
    if export.week_rule == "january_1":
        starts = sum(
            (new_year + timedelta(days=one)).weekday() == begin for one in range(1, (day - new_year).days + 1)
        )
        return day.year, 1 + starts, min(max(stands, new_year), date(day.year, 12, 31))
    # The year in which the whole week begins, and how many weeks began in it up to then.
    return start.year, (start.timetuple().tm_yday - 1) // 7 + 1, stands


def _add_note(
    draw: st.DrawFn,
    dialect: Dialect,
    cells: dict[str, str],
    row: dict[str, Any],
    has_note: bool,
    extras: list[str],
) -> None:
    parts = []
    if has_note:
        cells["note"] = draw(st.one_of(st.just(""), TEXTS, LONG_NOTES))
        parts.append(cells["note"])
    for header in extras:
        cells[header] = draw(st.sampled_from(["", " "]) | TEXTS)
        if dialect.export.extra_columns == "note" and cells[header].strip():
            parts.append(f"{header}: {cells[header]}")
    row["note"] = "; ".join(part for part in parts if part) or None


def _with_defaults(kind: str, dialect: Dialect, row: dict[str, Any]) -> dict[str, Any]:
    """The whole row: what no cell says is null or the settings' default."""
    lands = {one.lands_in: None for one in FIELDS[kind]}
    whole: dict[str, Any] = {**lands, **row}
    if kind == "readings":
        whole["purpose"] = whole["purpose"] or "routine"
        whole["n_pots"] = whole["n_pots"] or 1
        whole["method"] = whole["method"] or "pour-through"
        whole["ec_compensated"] = dialect.export.ec_compensated
    return whole


def _text(
    draw: st.DrawFn, dialect: Dialect, headers: list[str], records: list[list[str]], *, has_units: bool
) -> str:
    """The whole file: separator line, titles, header, units, records, and lines that are no data between."""
    export = dialect.export
    lines = [f"sep={export.delimiter}"] if dialect.separator_line else []
    lines += draw(st.lists(st.sampled_from(["Readings 2026", "", "a;b,c|d"]), min_size=export.title_lines,
                           max_size=export.title_lines))  # fmt: skip
    lines.append(_line(draw, dialect, headers))
    if export.units_row and has_units:
        units = [_unit_of(export, header) for header in headers]
        lines.append(_line(draw, dialect, units))
    for record in records:
        lines += draw(_between(export, len(headers)))
        lines.append(_line(draw, dialect, record))
    if draw(MAYBE):
        total = draw(st.sampled_from(["Total", "MEAN:", "sum"]))
        lines.append(_line(draw, dialect, [total, *["9"] * (len(headers) - 1)]))
    return dialect.line_end.join(lines) + dialect.line_end * dialect.last_line_end


def _unit_of(export: Export, header: str) -> str:
    unit = next((one.unit for one in export.columns.values() if one.column == header), None)
    return unit or ""


def _between(export: Export, width: int) -> st.SearchStrategy[list[str]]:
    """Lines that are no data: blank, delimiters only, and comments where the export has them."""
    kinds = ["", "  ", export.delimiter * (width - 1)]
    if export.comment_prefix:
        kinds.append(f"{export.comment_prefix} checked by Kim")
    return st.lists(st.sampled_from(kinds), max_size=1)


def _line(draw: st.DrawFn, dialect: Dialect, cells: list[str]) -> str:
    delimiter = dialect.export.delimiter
    shown = []
    for cell in cells:
        needs = any(sign in cell for sign in (delimiter, '"', "\n", "\r"))
        wants = dialect.quoting == "all" or (dialect.quoting == "some" and draw(MAYBE))
        shown.append('"' + cell.replace('"', '""') + '"' if needs or wants else cell)
    return delimiter.join(shown)


def _encode(text: str, dialect: Dialect) -> bytes:
    encoding = dialect.export.encoding
    if encoding == "utf-16":
        order = {"": "utf-16-le", "le": "utf-16-le", "be": "utf-16-be"}[dialect.mark]
        return ("\ufeff" * bool(dialect.mark) + text).encode(order)
    if encoding.startswith("utf-8"):
        return ("\ufeff" * bool(dialect.mark) + text).encode("utf-8")
    return text.encode(encoding)
