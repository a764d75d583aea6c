"""Spoils the demo's exports and looks at what a night makes of them: python -m tests.faults.mutate_exports 5000 [SEED].

Files go in batches into two nights of a home that knows the demo's lots and meters, some of the second night under
names of the first. For each file: no traceback, every physical line in one record and every record with one fate,
nothing set aside as no data that is data, and each value of a usable line the one that its own line says, read
again by `source_cells` without the product's code.
"""

from __future__ import annotations

import csv
import hashlib
import random
import shutil
import sys
import tempfile
import time
import tomllib
import traceback
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

from pipeline.haul import collect_sites, read_haul
from pipeline.intake import archive
from pipeline.intake.collect import Collected, CollectedFile
from pipeline.judge import judge_night
from pipeline.publish import publish_night
from pipeline.settings import load_settings
from pipeline.warehouse.connect import Connection, night_copy
from pipeline.warehouse.migrate import migrate
from tests.faults.mutations import Dialect, mutate
from tests.faults.source_cells import (
    NotUnderstood,
    Source,
    Value,
    count_lines,
    fold,
    read_cells,
    read_record,
    split,
)

DEMO = Path(__file__).parents[2] / "demo_sites"
FIRST_DAY, DAY = date(2026, 4, 2), date(2026, 4, 6)
NOW = datetime(2026, 4, 6, 4, 0, tzinfo=UTC)
BATCH = 100
SEED = 20260407
# Where a field's value stands in the warehouse, if not under its own name.
COLUMNS = {
    "lot": "lot_code", "ec": "ec_ms_cm", "ec_sd": "ec_sd_ms_cm", "poured": "poured_ml", "leachate": "leachate_ml",
    "temperature": "temperature_c", "drain": "drain_min", "meter": "meter_id", "container": "container_class",
    "started": "started_on", "ends": "ends_on", "grower": "grower_id", "slope": "slope_pct", "offset": "offset_mv",
    "ec_standard": "ec_standard_ms_cm", "ec_found": "ec_found_ms_cm", "ec_left": "ec_left_ms_cm",
    "solution_expires": "solution_expires_on", "parent": "parent_code", "what": "treatment", "until": "until_on",
    "from": "from_on", "planted": "planted_on", "ships": "ships_on", "alkalinity": "alkalinity_mg_l",
    "nitrogen": "nitrogen_ppm", "target_ec": "target_ec_ms_cm", "poured_ec": "poured_ec_ms_cm",
    **{f"{when}_{buffer}": f"{when}_{buffer}_ph" for when in ("found", "left") for buffer in (4, 7, 10)},
    **{f"mv_{buffer}": f"buffer_{buffer}_mv" for buffer in (4, 7, 10)},
}  # fmt: skip
WORDS = (
    "purpose", "condition", "container_class", "start_kind", "feed_mode", "method", "treatment", "place", "event",
    "stage", "poured_with",
)  # fmt: skip
# Kinds whose lines have one day, and a time of day with it.
MOMENTS = {
    "readings": "sampled",
    "calibrations": "calibrated",
    "treatments": "treated",
    "feed_checks": "checked",
}
TABLES = {
    "readings": "reading_lines",
    "lots": "lot_lines",
    "calibrations": "calibration_lines",
    "treatments": "treatment_lines",
    "feed_checks": "feed_check_lines",
    "exemptions": "exemption_lines",
    "plantings": "planting_lines",
    "people": "people_lines",
}
RELATIONS = ("files", "records", "record_problems", "record_fates")
Found = dict[str, list[dict[str, Any]]]


@dataclass(frozen=True)
class Export:
    """One [[export]] as site.toml has it, and the demo's files of it."""

    site: Mapping[str, Any]
    number: int
    table: Mapping[str, Any]
    files: Sequence[tuple[str, bytes]]

    @property
    def encoding(self) -> str:
        return str(self.table.get("encoding", "utf-8"))


@dataclass(frozen=True)
class Spoiled:
    """A spoiled file, with what is needed to make it again."""

    export: Export
    name: str
    data: bytes


@dataclass
class Tally:
    """What was seen, and every fault with its file."""

    files: int = 0
    lines: int = 0
    records: int = 0
    values: int = 0
    usable: int = 0
    held_whole: int = 0
    fates: Counter[str] = field(default_factory=Counter)
    faults: Counter[str] = field(default_factory=Counter)
    told: list[str] = field(default_factory=list)
    spoiled: list[tuple[str, Spoiled]] = field(default_factory=list)

    def fault(self, kind: str, file: Spoiled, what: str) -> None:
        self.faults[kind] += 1
        self.told.append(f"{kind}: {file.export.site['id']} {file.name}: {what}")
        self.spoiled.append((kind, file))


def make_base(home: Path) -> Path:
    """A home that knows the lots and meters of the demo after one night without pages; returns it."""
    home.mkdir(parents=True)
    for name in ("leachbook.toml", "policy.toml"):
        shutil.copy(DEMO / name, home)
    for site in sorted(DEMO.glob("sites/*")):
        (home / "sites" / site.name / "drop").mkdir(parents=True)
        shutil.copy(site / "site.toml", home / "sites" / site.name)
    for export in load_exports():
        for name, data in export.files if export.table["kind"] != "readings" else ():
            (home / "sites" / export.site["id"] / "drop" / name).write_bytes(data)
    settings = load_settings(home)
    with night_copy(home) as (connection, working):
        migrate(connection)
        haul = read_haul(home, connection, settings, collect_sites(connection, settings, _quiet))
        night_no, night = judge_night(connection, settings, FIRST_DAY, haul, _quiet)
        publish_night(home, settings, haul, night, night_no, connection, working)
    return home


def _quiet(_: str) -> None:
    """Nobody watches these nights."""


def load_exports() -> list[Export]:
    """Every export of the demo with the files that lie in its drop folder, read without the product's code."""
    found = []
    for path in sorted(DEMO.glob("sites/*/site.toml")):
        site = tomllib.loads(path.read_text(encoding="utf-8"))
        for number, table in enumerate(site["export"], start=1):
            files = [(one.name, one.read_bytes()) for one in sorted(path.parent.glob(table["files"]))]
            found.append(Export(site, number, table, files))
    return found


def spoil(how_many: int, seed: int, batch: int = BATCH) -> Iterator[Spoiled]:
    """Spoiled files, the same for the same seed and size of batch.

    Readings come most often. Lots are spoiled on the second night of every second batch only: where they are,
    hardly any reading finds its lot.
    """
    draw = random.Random(seed)  # noqa: S311  damage, not secrets
    exports = load_exports()
    for number in range(how_many):
        with_lots = number // max(1, batch // 2) % 4 == 1
        export = draw.choice(
            [
                one
                for one in exports
                for _ in range(5 if one.table["kind"] == "readings" else 1)
                if with_lots or one.table["kind"] != "lots"
            ]
        )
        name, data = draw.choice(export.files)
        others = [draw.choice(one.files)[1] for one in exports if one.site["id"] == export.site["id"]]
        dialect = Dialect(
            export.encoding, export.table.get("delimiter", ","), export.table.get("decimal", "."), others
        )
        spoiled = mutate(_shorten(data, draw), draw, dialect)
        # Half of a batch comes on the second night, where a name may come again with other content.
        number_in_night = number % max(1, batch // 2)
        yield Spoiled(export, f"drop/{Path(name).stem}_m{number_in_night:03d}{Path(name).suffix}", spoiled)


def _shorten(data: bytes, draw: random.Random) -> bytes:
    """The beginning and some lines from the rest, so that many files are soon read."""
    lines = data.splitlines(keepends=True)
    most = draw.choice((4, 12, 40, 40))
    if len(lines) <= most:
        return data
    at = draw.randrange(4, len(lines))
    return b"".join(lines[:4] + lines[at : at + most])


def judge_batch(home: Path, files: Sequence[Spoiled], tally: Tally) -> None:
    """Two nights after the home's last one that bring these files; the home's warehouse stays as it is."""
    half = (len(files) + 1) // 2
    try:
        with night_copy(home) as (connection, _):
            run_night(home, connection, files[:half], DAY)
            if files[half:]:
                run_night(home, connection, files[half:], DAY + timedelta(days=1))
            check_nights(fetch_nights(connection), files, tally)
    except Exception as error:
        if len(files) == 1:
            told = "".join(traceback.format_exception(error, limit=-2))
            tally.fault("traceback", files[0], f"{told}{files[0].data[:2000]!r}")
            return
        is_whole = False
    else:
        is_whole = True
    if not is_whole:
        for part in (files[:half], files[half:]):
            judge_batch(home, part, tally)


def run_night(home: Path, connection: Connection, files: Sequence[Spoiled], day: date) -> None:
    """Take in these files and judge the night, without pages."""
    settings = load_settings(home)
    found = {
        site.id: Collected([_collected(one) for one in files if one.export.site["id"] == site.id], [], [])
        for site in settings.sites
    }
    haul = read_haul(home, connection, settings, found)
    judge_night(connection, settings, day, haul, _quiet)
    for file in files:
        archive.store(home, file.data)


def _collected(file: Spoiled) -> CollectedFile:
    return CollectedFile(
        site_id=file.export.site["id"],
        kind=file.export.table["kind"],
        export_no=file.export.number,
        name=file.name,
        sha256=hashlib.sha256(file.data).hexdigest(),
        size=len(file.data),
        modified_at=NOW,
        data=file.data,
    )


def fetch_nights(connection: Connection) -> Found:
    """Every row of the relations that are looked at."""
    return {name: _rows(connection, f"from {name}") for name in (*RELATIONS, *TABLES.values())}


def check_nights(found: Found, files: Sequence[Spoiled], tally: Tally) -> None:
    """Hold what the warehouse says of these files against the files themselves."""
    facts = {(one["site_id"], one["name"], one["sha256"]): one for one in found["files"]}
    fates = _by_file(found["record_fates"])
    every = {_place(one): one for one in sorted(found["records"], key=_place)}
    records = _by_file([one | {"text": every[_origin(one)]["text"]} for one in every.values()])
    problems = {_place(one) for one in found["record_problems"]}
    typed = {kind: {_place(one): one for one in found[table]} for kind, table in TABLES.items()}
    for file in files:
        tally.files += 1
        fact = facts.get((file.export.site["id"], file.name, hashlib.sha256(file.data).hexdigest()))
        if fact is None:
            tally.fault("unbalanced", file, "the warehouse does not know the file")
            continue
        number = fact["file_id"]
        mine = records.get(number, [])
        _check_balance(file, mine, fates.get(number, []), tally)
        if fact["problem"] is not None:
            tally.held_whole += 1
            if any(one["fate"] == "accepted" for one in fates.get(number, [])):
                tally.fault("accepted wrongly", file, f"a line of a file that is held for {fact['problem']}")
            continue
        lines = typed[file.export.table["kind"]]
        rows = {
            one["record_no"]: lines[_origin(one)]
            for one in mine
            if _origin(one) in lines and _origin(one) not in problems
        }
        accepted = {one["record_no"] for one in fates.get(number, []) if one["fate"] == "accepted"}
        if accepted - set(rows):
            tally.fault(
                "accepted wrongly", file, f"records {sorted(accepted - set(rows))} have no usable line"
            )
        _check_values(file, mine, rows, tally)


def _place(row: Mapping[str, Any]) -> tuple[int, int]:
    return row["file_id"], row["record_no"]


def _origin(record: Mapping[str, Any]) -> tuple[int, int]:
    """Where a record's text and values stand: with itself, or with the earlier record that it is the same as."""
    if record["same_as_file_id"] is None:
        return _place(record)
    return record["same_as_file_id"], record["same_as_record_no"]


def _rows(connection: Connection, query: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = connection.sql(query).pl().to_dicts()
    return rows


def _by_file(rows: Sequence[dict[str, Any]]) -> dict[int, list[dict[str, Any]]]:
    by_file: dict[int, list[dict[str, Any]]] = {}
    for row in rows:
        by_file.setdefault(row["file_id"], []).append(row)
    return by_file


def _check_balance(
    file: Spoiled, records: Sequence[dict[str, Any]], fates: Sequence[dict[str, Any]], tally: Tally
) -> None:
    lines = count_lines(file.data, file.export.encoding)
    tally.lines += lines
    tally.records += len(records)
    tally.fates.update(one["fate"] for one in fates)
    covered = [line for one in records for line in range(one["line_from"], one["line_to"] + 1)]
    if covered != list(range(1, lines + 1)):
        tally.fault("unbalanced", file, f"{lines} lines, and the records cover {len(covered)}")
    if sorted(one["record_no"] for one in fates) != [one["record_no"] for one in records]:
        tally.fault("unbalanced", file, f"{len(records)} records have {len(fates)} fates")
    if sum(one["lines"] for one in fates) != lines:
        tally.fault(
            "unbalanced", file, f"{lines} lines, and the fates hold {sum(one['lines'] for one in fates)}"
        )
    top = next((one["text"] for one in records if one["kind"] == "header"), "")
    for one in records:
        why = _not_data(one, file.export.table) or _has_reading(one, top, file.export.table)
        if why is not None:
            tally.fault("lost", file, f"line {one['line_from']} is set aside as {one['kind']}: {why}")
    headers = [one for one in records if one["kind"] == "header"]
    for one in headers[1:]:
        # Files put one behind the other repeat the header; any other line is data.
        delimiter = file.export.table.get("delimiter", ",")
        if _titles(one["text"], delimiter) != _titles(headers[0]["text"], delimiter):
            tally.fault("lost", file, f"line {one['line_from']} is called the header: {one['text'][:80]!r}")


def _titles(text: str, delimiter: str) -> list[str]:
    """The cells of a header as headers compare: without regard to case and blanks."""
    cells = next(csv.reader(text.splitlines() or [""], delimiter=delimiter), [])
    return [" ".join(cell.split()).casefold() for cell in cells]


def _not_data(record: Mapping[str, Any], export: Mapping[str, Any]) -> str | None:
    """Why a record should not have been set aside; None where it is data or was set aside by a rule."""
    text, delimiter = record["text"], export.get("delimiter", ",")
    filled = next((cell for cell in text.split(delimiter) if cell.strip(' "')), "")
    first = fold(filled.strip(' "').rstrip(":")).removeprefix("grand ")
    totals = export.get("total_words", ("total", "totals", "sum", "mean", "average"))
    right: dict[str, bool] = {
        "data": True,
        "header": True,
        "title": record["line_from"] <= export.get("title_lines", 0) + 1,
        "blank": not text.replace(delimiter, "").replace('"', "").strip(),
        "comment": text.lstrip().startswith(export.get("comment_prefix", "#")),
        "total": first in {fold(word) for word in totals},
        "separator": record["line_from"] == 1 and text.strip('"').casefold().startswith("sep="),
        "units": bool(export.get("units_row")),
    }
    return None if right.get(record["kind"]) else f"{text[:80]!r}"


def _has_reading(record: Mapping[str, Any], header: str, export: Mapping[str, Any]) -> str | None:
    """Why a comment, a total or a row of units is a record: it has a day in the column of days, and a lot."""
    if record["kind"] not in ("comment", "total", "units") or "date" not in export["columns"]:
        return None
    delimiter, prefix = export.get("delimiter", ","), export.get("comment_prefix", "#")
    titles = _titles(header, delimiter)
    text = record["text"].lstrip()
    is_comment = record["kind"] == "comment"
    cells = next(csv.reader([text.removeprefix(prefix) if is_comment else text], delimiter=delimiter), [])
    named = dict(zip(titles, cells, strict=False))
    day, lot = (named.get(_titles(_column(export, name), "\n")[0], "").strip() for name in ("date", "lot"))
    # Words for totals that the export states decide, but not in the column of lots.
    is_stated = record["kind"] == "total" and "total_words" in export and cells[0].strip() != lot
    try:
        datetime.strptime(day, export.get("date_format", "%Y-%m-%d"))
    except ValueError:
        return None
    return f"{record['text'][:80]!r} has a day and a lot" if lot and not is_stated else None


def _column(export: Mapping[str, Any], name: str) -> str:
    column = export["columns"].get(name, " ")
    return str(column["column"] if isinstance(column, Mapping) else column)


def _check_values(
    file: Spoiled, records: Sequence[dict[str, Any]], rows: Mapping[int, dict[str, Any]], tally: Tally
) -> None:
    if not rows:
        return
    try:
        source = Source(split(file.data, file.export.encoding), file.export.table, file.export.site)
        top = next(one for one in records if one["kind"] == "header")
        header = read_header(source, top)
    except (UnicodeDecodeError, StopIteration, NotUnderstood) as error:
        tally.fault("accepted wrongly", file, f"lines are usable, but {error!r}")
        return
    for record in records:
        row = rows.get(record["record_no"])
        if row is None:
            continue
        tally.usable += 1
        own = "".join(source.lines[record["line_from"] - 1 : record["line_to"]])
        if own.rstrip("\r\n") != record["text"].rstrip("\r\n"):
            tally.fault(
                "differs", file, f"line {record['line_from']} is kept as {record['text'][:200]!r}: {own!r}"
            )
        try:
            said = read_record(source, header, record["line_from"], record["line_to"])
        except NotUnderstood as error:
            tally.fault(
                "differs", file, f"line {record['line_from']} {record['text'][:200]!r} is usable: {error}"
            )
            continue
        tally.values += sum(value is not None for value in said.values())
        for name, ours, theirs in differences(file.export, said, row):
            what = f"{name} is {ours!r} and the line says {theirs!r}: {record['text'][:200]!r}"
            tally.fault("differs", file, f"line {record['line_from']}: {what}")


def read_header(source: Source, record: Mapping[str, Any]) -> list[str]:
    """The header's cells from its own lines."""
    return read_cells(source, record["line_from"], record["line_to"])


def differences(
    export: Export, said: Mapping[str, Value], row: Mapping[str, Any]
) -> Iterator[tuple[str, object, object]]:
    """Field, value in the warehouse and value of the line, where they are not the same."""
    kind = export.table["kind"]
    moment = said.get("datetime")
    expected: dict[str, Value] = {
        COLUMNS.get(name, name): value
        for name, value in said.items()
        if name not in ("date", "datetime", "week", "time")
    }
    if kind in MOMENTS:
        stamp = moment if isinstance(moment, datetime) else None
        expected[f"{MOMENTS[kind]}_on"] = (
            said.get("date") or (stamp.date() if stamp else None) or said.get("week")
        )
        expected[f"{MOMENTS[kind]}_time"] = said.get("time") or (stamp.time() if stamp else None)
    if kind == "readings":
        expected["purpose"] = said.get("purpose") or "routine"
        expected["n_pots"] = said.get("n_pots") or Fraction(1)
        expected["method"] = said.get("method") or export.site.get("extraction_method")
    if kind in ("readings", "feed_checks"):
        expected["ec_compensated"] = export.table.get("ec_compensated", True)
    for name in (one for one in row if one not in ("file_id", "record_no")):
        ours, theirs = row[name], expected.get(name)
        key: Callable[[Any], object] = fold_word if name in WORDS else plain
        if key(ours) != key(theirs):
            yield name, ours, theirs


def plain(value: object) -> object:
    """Numbers as exact fractions, texts without blanks around them, nothing for an empty text."""
    if isinstance(value, Decimal | int) and not isinstance(value, bool):
        return Fraction(value)
    return (value.strip() or None) if isinstance(value, str) else value


def fold_word(value: object) -> object:
    return fold(value) if isinstance(value, str) else value


def run(home: Path, how_many: int, seed: int = SEED, batch: int = BATCH) -> Tally:
    """Spoil so many files and judge them in batches."""
    tally = Tally()
    files = list(spoil(how_many, seed, batch))
    for at in range(0, len(files), batch):
        judge_batch(home, files[at : at + batch], tally)
    return tally


def main() -> None:
    """Print what was seen; ends with 1 when there was any fault."""
    how_many = int(sys.argv[1]) if len(sys.argv) > 1 else 5000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else SEED
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        tally = run(make_base(Path(folder) / "home"), how_many, seed)
        sys.stdout.write(
            f"{tally.files} files, {tally.lines} lines, {tally.records} records, {tally.held_whole} files held whole, "
            f"{tally.usable} usable lines, {tally.values} values compared, {time.monotonic() - began:.0f} s\n"
            f"fates: {dict(tally.fates.most_common())}\n"
            f"faults: {dict(tally.faults) or 'none'}\n"
        )
    for told in tally.told[:40]:
        sys.stdout.write(f"{told}\n")
    sys.exit(1 if tally.faults else 0)


if __name__ == "__main__":
    main()
