"""Any bytes under any [[export]], from file to rows: python -m tests.faults.any_bytes [HOW_MANY] [SEED].

Nothing may raise, every physical line lies in one record, rows and problems belong to records that are there, and
what is neither usable nor set aside says why.
"""

from __future__ import annotations

import hashlib
import io
import re
import sys
import time
from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from pipeline.intake.collect import CollectedFile
from pipeline.receive import receive
from pipeline.settings import Column, Export, Group, Settings, SiteSettings, resolve_policy
from pipeline.settings.words import FIELDS, KINDS, UNIT_OF_FIELD, WORDS_BY_FIELD
from pipeline.units import UNITS
from pipeline.warehouse.load import NewFile
from tests.faults.source_cells import count_lines

SEED = 20260408
NOT_DATA = {"header", "title", "blank", "total", "comment", "units", "separator"}
SITE = SiteSettings(
    id="north",
    name="North",
    time_zone="America/Chicago",
    extraction_method="pour-through",
    folder=Path("site"),
)
POLICY = resolve_policy(Settings(group=Group(name="Any", time_zone="UTC"), sites=(SITE,)), SITE)

MARKS = st.sampled_from(["*", "?", "^", "(1)", "%"])
FORMATS = ["%Y-%m-%d", "%d.%m.%Y", "%m/%d/%Y", "%d/%m/%y", "%d %b %Y", "%Y%m%d", "%j %Y"]
MOMENTS = [None, "%Y-%m-%d %H:%M", "%d.%m.%Y %H:%M:%S", "%m/%d/%Y %I:%M %p", "%Y-%m-%dT%H:%M:%S%z"]
CELLS = st.sampled_from(
    ["", " ", "5.8", "5,8", "1.850", "1 850", "1'850,5", "2.1 mS", "<0.1", "5,8*", "½", "1 1/2", "9" * 50, "1e5",
     "nan", "2026-04-05", "05.04.2026", "04/05/2026", "29.02.2025", "2026-03-08 02:30", "2026-11-01T01:30:00-05:00",
     "14", "53", "2026-W14", "2026", "0000", "A1", "a\u00a0b", "yes", "routine", "pot_4in", '"', '"a', 'a"b',
     '"a\nb"', "#x", "#1", "Total", "Grand total", "mS/cm", "\0", "\x1f", "\ufeff", "\u2028", "İ", "ß", "\x85"]
)  # fmt: skip
PIECES = st.sampled_from(
    [b",", b";", b"\t", b"|", b'"', b'""', b"\n", b"\r", b"\r\n", b"\0", b"\xfc", b"\xc3\xbc", b"\xff\xfe", b"\xfe\xff",
     b"\xef\xbb\xbf", b"\xd8\x00", b"\x00\xdc", b"5.8", b"2026-04-05", b"#", b"Total", b"sep=;\n", b"sep=,\r\n",
     b"\x1f", b" "]
)  # fmt: skip
MOMENT = datetime(2026, 4, 5, 9, 30, tzinfo=UTC)


def good_cell(name: str, export: Export) -> str:
    """A cell that this field takes in the export's dialect."""
    if name in ("date", "started", "ends"):
        return MOMENT.strftime(export.date_format)
    if name == "datetime":
        return MOMENT.strftime(export.datetime_format or "%Y-%m-%d %H:%M")
    if name == "time":
        return MOMENT.strftime(export.time_format or "%H:%M")
    if name in WORDS_BY_FIELD:
        return WORDS_BY_FIELD[name][0]
    if name in ("pot", "n_pots", "plants", "lot", "house"):
        return "14"
    if name == "week":
        return "2026-W14"
    return "2026" if name == "year" else f"5{export.decimal}8"


@st.composite
def exports(draw: st.DrawFn) -> Export:
    """An [[export]] as the settings might have it: any kind, dialect and choice of columns."""
    kind = draw(st.sampled_from(KINDS))
    known = FIELDS[kind]
    names = {draw(st.sampled_from(group)) for group in known.one_of}
    names |= set(draw(st.lists(st.sampled_from(known.known), max_size=8)))
    columns = {}
    for name in sorted(names):
        quantity = UNIT_OF_FIELD.get(name)
        unit = None if quantity is None else draw(st.sampled_from(sorted(UNITS[quantity])))
        columns[name] = Column(column=f"{name} é" if name == "note" else name.title(), unit=unit)
    decimal = draw(st.sampled_from([".", ","]))
    facts: dict[str, Any] = {
        "kind": kind,
        "files": "drop/*.csv",
        "mode": draw(st.sampled_from(["increment", "cumulative"])),
        "encoding": draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252", "latin-1"])),
        "delimiter": draw(st.sampled_from([",", ";", "\t", "|"])),
        "decimal": decimal,
        "thousands": draw(st.sampled_from([one for one in ["", ".", ",", "'", " "] if one != decimal])),
        "number_marks": tuple(draw(st.lists(MARKS, max_size=2, unique=True))),
        "date_format": draw(st.sampled_from(FORMATS)),
        "time_format": draw(st.sampled_from([None, "%H:%M", "%I:%M %p"])),
        "datetime_format": draw(st.sampled_from(MOMENTS)),
        "title_lines": draw(st.integers(0, 3)),
        "units_row": draw(st.booleans()),
        "column_order": draw(st.sampled_from(["fixed", "any"])),
        "extra_columns": draw(st.sampled_from(["ignore", "note"])),
        "ec_compensated": draw(st.booleans()),
        "numbers_pots": draw(st.booleans()),
        "week_rule": draw(st.sampled_from(["iso", "january_1", "first_full_week"])),
        "week_starts": draw(st.sampled_from(["monday", "sunday", "saturday"])),
        "week_day": draw(st.sampled_from(["monday", "wednesday", "sunday"])),
        "comment_prefix": draw(st.sampled_from(["#", "", "//"])),
        "columns": columns,
    }
    return Export(**facts)


@st.composite
def files(draw: st.DrawFn) -> tuple[bytes, Export]:
    """Raw bytes, pieces of which trouble is made, or a table in the export's own dialect with odd cells."""
    export = draw(exports())
    shape = draw(st.sampled_from(["bytes", "pieces", *["table"] * 5]))
    if shape == "bytes":
        return draw(st.binary(max_size=300)), export
    pieces = b"".join(draw(st.lists(PIECES, max_size=30)))
    if shape == "pieces":
        return pieces, export
    out = io.StringIO()
    first = [f"sep={export.delimiter}\n", "sep=;\n", "\n", "# a\n"]
    out.write(draw(st.sampled_from([""] * 12 + first)))
    out.write("title\n" * export.title_lines)
    extra = draw(st.lists(st.sampled_from(["Extra", "Weather", ""]), max_size=2))
    names = draw(st.permutations(list(export.columns))) if draw(st.booleans()) else list(export.columns)
    header = [*(export.columns[name].column for name in names), *extra]
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    out.write(export.delimiter.join(header) + end)
    if export.units_row and draw(st.integers(0, 3)):
        units = (export.columns[name].unit or "" for name in names)
        out.write(export.delimiter.join([*units, *[""] * len(extra)]) + end)
    for _ in range(draw(st.integers(0, 6))):
        cells = [*(good_cell(name, export) for name in names), *extra]
        cells = [f'"{cell}"' if export.delimiter in cell else cell for cell in cells]
        for at in draw(st.lists(st.integers(0, len(cells) - 1), max_size=3)) if draw(st.booleans()) else ():
            cells[at] = draw(CELLS)
        cells += draw(st.sampled_from([[]] * 8 + [["more"]]))
        out.write(export.delimiter.join(cells) + end)
    data = out.getvalue().encode(export.encoding, "replace")
    return data + (pieces if draw(st.integers(0, 9)) == 0 else b""), export


def take(data: bytes, export: Export) -> NewFile:
    """One file through the whole receive."""
    file = CollectedFile(
        site_id=SITE.id,
        kind=export.kind,
        export_no=1,
        name="drop/any.csv",
        sha256=hashlib.sha256(data).hexdigest(),
        size=len(data),
        modified_at=datetime(2026, 4, 6, tzinfo=UTC),
        data=data,
    )
    return receive(file, export, SITE, POLICY)


def measured_cells(records: pl.DataFrame, text: str, export: Export) -> list[str]:
    """The cells of a line that are a plain figure or this file's own day in a column for one."""
    titles = records.filter(kind="header")["text"][0].casefold().split(export.delimiter)
    places = {column.column.casefold(): name for name, column in export.columns.items()}
    day = MOMENT.strftime(export.date_format)
    found = []
    for title, cell in zip(titles, text.split(export.delimiter), strict=False):
        name = places.get(title.strip(), "")
        is_figure = name in UNIT_OF_FIELD and re.fullmatch(r"[0-9]+[.,]?[0-9]*", cell.strip()) is not None
        if is_figure or (name in ("date", "started", "ends") and cell.strip() == day):
            found.append(cell)
    return found


@dataclass
class Seen:
    """What went through."""

    files: int = 0
    lines: int = 0
    usable: int = 0
    file_problems: Counter[str] | None = None
    kinds: Counter[str] | None = None


def check(data: bytes, export: Export, seen: Seen) -> None:
    """Take in one file and see that it balances."""
    new = take(data, export)
    lines = count_lines(data, export.encoding)
    spans = new.records.select("line_from", "line_to").rows()
    covered = [line for first, last in spans for line in range(first, last + 1)]
    assert new.facts.lines == lines
    assert covered == list(range(1, lines + 1))
    numbers = new.records["record_no"].to_list()
    assert numbers == list(range(1, len(numbers) + 1))
    data_numbers = new.records.filter(kind="data")["record_no"].to_list()
    others = set(new.records["kind"]) - {"data"}
    assert others <= NOT_DATA
    for text in new.records.filter(kind="units")["text"]:
        assert not measured_cells(new.records, text, export)
    assert new.rows["record_no"].to_list() == data_numbers
    assert set(new.problems["record_no"]) <= set(data_numbers)
    # A record without cells cannot be used, so it has a problem of its own or the file has one.
    without = set(new.rows.filter(new.rows["cells"].is_null())["record_no"])
    if new.facts.problem is None:
        assert without <= set(new.problems["record_no"])
    else:
        assert new.facts.problem_sentence
        assert new.facts.problem_mend
    usable = set(data_numbers) - without - set(new.problems["record_no"])
    seen.files += 1
    seen.lines += lines
    seen.usable += len(usable) if new.facts.problem is None else 0
    if seen.kinds is not None and seen.file_problems is not None:
        seen.kinds.update(new.records["kind"])
        seen.file_problems[new.facts.problem or "none"] += 1


def run(how_many: int, drawn_by: int) -> Seen:
    """Take in so many files. Raises with the smallest file that does not balance."""
    seen = Seen(file_problems=Counter(), kinds=Counter())

    @seed(drawn_by)
    @settings(
        max_examples=how_many,
        deadline=None,
        database=None,
        phases=(Phase.generate, Phase.shrink),
        suppress_health_check=list(HealthCheck),
    )
    @given(files())
    def each(file: tuple[bytes, Export]) -> None:
        check(*file, seen)

    each()
    return seen


def main() -> None:
    """Print what went through; a file that does not balance ends it with that file."""
    how_many = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    began = time.monotonic()
    seen = run(how_many, int(sys.argv[2]) if len(sys.argv) > 2 else SEED)
    sys.stdout.write(
        f"{seen.files} files, {seen.lines} lines, {seen.usable} usable lines, {time.monotonic() - began:.0f} s\n"
        f"records: {dict((seen.kinds or Counter()).most_common())}\n"
        f"files held whole: {dict((seen.file_problems or Counter()).most_common())}\n"
    )


if __name__ == "__main__":
    main()
