"""What became of every record: accepted, held, repeated, superseded, withdrawn, not data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, time, timedelta
from fnmatch import fnmatchcase
from fractions import Fraction

from tests.oracle import came_again, more_kinds
from tests.oracle.fields import Typed, Value, translate
from tests.oracle.figures import median_of
from tests.oracle.file_names import Dated, is_older, month_comes_first, named_day, order_in_night
from tests.oracle.layout import read_in_layout
from tests.oracle.lot_facts import by_lot, on_day
from tests.oracle.meter_checks import buffers_in, fit, label_of, worst_error
from tests.oracle.records import HEADER_ONLY, ReadFile, Record
from tests.oracle.settings import Export, Home, MapBench, SiteSettings, fold, policy_on

SWAP_LEAST_RECORDS = 3
SWAP_PH_BELOW = Fraction("3.5")
SWAP_EC_FROM, SWAP_EC_TO = Fraction(4), Fraction(9)


@dataclass(frozen=True)
class DropFile:
    """A file that lies in a site's folder. The name is relative to that folder."""

    name: str
    data: bytes
    modified_at: float = 0.0


@dataclass(frozen=True)
class Night:
    """One night: its as-of date and what lies in each site's folder, by the name of the folder."""

    as_of: date
    files: dict[str, list[DropFile]]


@dataclass(frozen=True)
class Received:
    """A file as it was received, with the typed values of its data records by record number."""

    export: Export
    name: str
    received_on: date
    read: ReadFile
    typed: dict[int, Typed]
    dated: Dated


@dataclass(frozen=True)
class Ref:
    """Which record: its file's place among all that the site sent, and its number in the file."""

    file_no: int
    record_no: int


@dataclass(frozen=True)
class Fate:
    """What became of a record, and for a held one why (cause, and what it waits for)."""

    fate: str
    cause: str | None = None
    what: str | None = None


@dataclass(frozen=True)
class Lot:
    """One lot of a site, from its current record in the lots export."""

    code: str
    house: str | None
    bench: str | None
    crop: str
    cultivar: str | None
    container_class: str
    plants: int | None
    started_on: date
    ends_on: date | None
    grower_id: str | None
    feed_mode: str | None
    # The first day of what this line says; None: from the lot's start.
    valid_from: date | None = None
    parent: str | None = None
    split_on: date | None = None
    is_usable: bool = True
    substrate: str | None = None

    @property
    def stands_from(self) -> date:
        """The start, or the day on which the lot was split off from its parent."""
        return self.started_on if self.split_on is None else max(self.started_on, self.split_on)

    def stands_on(self, day: date) -> bool:
        """Between its start and its end, both days included."""
        return self.stands_from <= day and (self.ends_on is None or self.ends_on >= day)


@dataclass(frozen=True)
class Reading:
    """An accepted line of a readings export, with the lot it belongs to."""

    file: str
    line: int
    lot: str
    sampled_on: date
    purpose: str
    stated_purpose: str
    condition: str | None
    pot: str | None
    position: str | None
    n_pots: int
    ph: Fraction | None
    ph_sd: Fraction | None
    ec_ms_cm: Fraction | None
    ec_sd_ms_cm: Fraction | None
    ec_compensated: bool
    temperature_c: Fraction | None
    poured_ml: Fraction | None
    leachate_ml: Fraction | None
    meter_id: str | None
    method: str | None
    bench: str | None = None
    place: str | None = None
    at: time | None = None
    received_on: date = date.min
    ph_text: str | None = None
    ec_text: str | None = None
    sampler: str | None = None
    drain_min: Fraction | None = None
    poured_with: str | None = None
    poured_ec_ms_cm: Fraction | None = None
    # Rule and day of the due that its sheet names.
    due: tuple[str, date] | None = None
    ref: Ref | None = None


@dataclass(frozen=True)
class Calibration:
    """An accepted line of a calibrations export."""

    meter_id: str
    day: date
    at: time
    slope_pct: Fraction | None
    offset_mv: Fraction | None
    buffers: str | None
    ec_standard: Fraction | None
    ec_found: Fraction | None
    passed: bool | None
    worst_error_ph: Fraction | None = None
    stage_no: int = 2
    expires: date | None = None
    is_telling: bool = True
    """Not the first of a line's two checks: what a line says once is told with the second."""
    cell: str | None = None
    """The cell of buffers as it stands."""

    @property
    def when(self) -> tuple[date, time, int]:
        """How a meter was found comes before how it was left."""
        return self.day, self.at, self.stage_no


@dataclass(frozen=True)
class SiteFacts:
    """All that is known of a site on a night."""

    files: list[Received]
    fates: dict[Ref, Fate]
    lots: dict[str, Lot]
    readings: list[Reading]
    calibrations: list[Calibration]
    # What each lot's lines say, oldest first.
    lot_lines: dict[str, list[Lot]]
    # Records that say which others they are versions of.
    keyed: frozenset[Ref]
    benches: tuple[MapBench, ...] = ()

    def lot_on(self, key: str, day: date) -> Lot:
        """The lot as it stands tonight, in the container in which it stood that day."""
        then = on_day(self.lot_lines[key], day)
        return replace(self.lots[key], container_class=then.container_class or self.lots[key].container_class)


def matches(pattern: str, name: str) -> bool:
    """A glob pattern, folder by folder."""
    patterns, names = pattern.split("/"), name.split("/")
    return len(patterns) == len(names) and all(
        fnmatchcase(part, wanted) for part, wanted in zip(names, patterns, strict=True)
    )


def receive(site: SiteSettings, nights: list[Night]) -> list[Received]:
    """Files in the order in which they count: night by night, what is new by its export, name and content."""
    received: list[Received] = []
    seen: set[tuple[str, str, bytes]] = set()
    newest: dict[int, tuple[str, ...]] = {}
    for night_no, night in enumerate(nights):
        claimed = []
        for file in night.files.get(site.folder_name, []):
            taking = [
                (number, one) for number, one in enumerate(site.exports) if matches(one.files, file.name)
            ]
            if taking:
                claimed.append((*taking[0], file))
        claimed.sort(
            key=lambda one: order_in_night(one[2].name, one[2].modified_at, one[1], site.date_format)
        )
        for number, export, file in claimed:
            if (export.kind, file.name, file.data) in seen:
                continue
            seen.add((export.kind, file.name, file.data))
            read = read_in_layout(file.data, export, newest.get(number))
            if read.file_problem is None and read.header is not None:
                newest[number] = read.header
            typed = {
                record.record_no: translate(record, read.header, export, site)
                for record in read.records
                if read.header is not None
                and read.file_problem is None
                and record.kind == "data"
                and record.problem is None
            }
            day = named_day(file.name, month_comes_first(export, site.date_format))
            dated = Dated(night_no, night.as_of, day, file.modified_at)
            received.append(Received(export, file.name, night.as_of, read, typed, dated))
    return received


def key_of(export: Export, typed: Typed | None) -> tuple[Value, ...] | None:
    """What says that two records speak of the same thing: the lot code, or lot, day, purpose and numbered
    pot.
    """
    if typed is None:
        return None
    code = typed.text("lot")
    if export.kind == "lots" and code:
        return (fold(code), typed.day("valid_from"))
    if export.kind == "plantings" and code:
        return (fold(code),)
    name = typed.text("name")
    if export.kind == "people" and name:
        return (fold(name),)
    if export.kind == "readings" and export.numbers_pots is not False:
        pot, day = typed.text("pot"), typed.day("date")
        if code and pot and day:
            return (fold(code), day, typed.text("purpose"), fold(pot))
    return None


Said = tuple[tuple[str, ...], tuple[str, ...]]
"""What a line says: its cells beside the columns in which they stand."""


def columns_read(file: Received) -> list[tuple[int, str]]:
    """Place and name of each column that is read: mapped, or taken into the note."""
    mapped = {fold(column) for column, _ in file.export.columns.values()}
    names = [fold(name) for name in file.read.header or ()]
    return [
        (at, name) for at, name in enumerate(names) if file.export.extra_columns == "note" or name in mapped
    ]


def numbered(file: Received) -> dict[int, tuple[Said, int]]:
    """What every data record says, and the how manieth it is that says so. One that has no cells says its text."""
    columns, counts = columns_read(file), Counter[Said]()
    names = tuple(name for _, name in columns)
    told: dict[int, tuple[Said, int]] = {}
    for record in file.read.records:
        if record.kind == "data":
            is_whole = record.problem is None and len(record.cells) == len(file.read.header or ())
            cells = tuple(record.cells[at].strip() for at, _ in columns) if is_whole else ()
            said = (names, cells) if is_whole else (("cannot be divided", *names), (record.text,))
            counts[said] += 1
            told[record.record_no] = (said, counts[said])
    return told


def repeated_pots(file: Received) -> set[tuple[Value, ...]]:
    """Lot, day and purpose of samplings in which a pot's number comes twice."""
    keys = [key for typed in file.typed.values() if (key := key_of(file.export, typed)) is not None]
    return {key[:3] for key, lines in Counter(keys).items() if lines > 1}


def keys_of(files: list[tuple[int, Received]]) -> dict[Ref, tuple[Value, ...]]:
    """The key of each record that has one. Where the settings do not say whether pots are numbered, the file in
    which a line stood first says it: they are where no number comes twice in a sampling.
    """
    first: dict[tuple[Said, int], int] = {}
    repeated = {file_no: repeated_pots(file) for file_no, file in files if file.export.kind == "readings"}
    keys: dict[Ref, tuple[Value, ...]] = {}
    for file_no, file in files:
        for record_no, line in numbered(file).items():
            origin = first.setdefault(line, file_no)
            key = key_of(file.export, file.typed.get(record_no))
            if key is None:
                continue
            is_derived = file.export.kind == "readings" and file.export.numbers_pots is None
            if not is_derived or key[:3] not in repeated[origin]:
                keys[Ref(file_no, record_no)] = key
    return keys


def is_usable(file: Received) -> bool:
    """A file that takes part in comparing versions."""
    return file.read.file_problem is None or (
        file.read.file_problem == HEADER_ONLY and file.export.mode == "increment"
    )


def newer_before(file: Received, files: list[tuple[int, Received]]) -> list[int]:
    """Whole histories of the same export that had come in an earlier night and are newer than this one."""
    if file.export.mode != "cumulative" or file.read.file_problem is not None:
        return []
    return [
        other_no
        for other_no, other in files
        if other.read.file_problem is None
        and other.dated.night_no < file.dated.night_no
        and is_older(file.dated, other.dated)
    ]


def in_ruling_order(files: list[tuple[int, Received]]) -> list[tuple[int, Received]]:
    """The files of one export, each older history that came late put before the newer ones."""
    late = {file_no: min(newer) for file_no, file in files if (newer := newer_before(file, files))}

    def place(one: tuple[int, Received]) -> tuple[int, bool, date, float, int]:
        file_no, file = one
        return (
            late.get(file_no, file_no),
            file_no not in late,
            file.dated.shown_day() or date.max,
            file.dated.modified_at,
            file_no,
        )

    return sorted(files, key=place)


def versions(files: list[tuple[int, Received]], left: dict[tuple[Said, int], str]) -> dict[Ref, str]:
    """Fates that come from comparing the files of one export: repeated, superseded, withdrawn; "" for the
    rest.

    Equal records of one file are different pots, unless they carry a key; across files the k-th equal
    record matches the k-th, and the first appearance stays. Of several records for one key the latest rules.
    Records are equal where their cells that are read are, in columns that stand alike.
    What a newer cumulative file no longer has was withdrawn. A file that is held whole takes no part, nor
    does a cumulative one without data: an empty list withdraws nothing.
    `left`: what became of lines that gave way to a later file of their name.
    """
    usable = [(file_no, file) for file_no, file in files if is_usable(file)]
    appearances: dict[tuple[Said, int], list[Ref]] = {}
    texts: dict[Ref, tuple[Said, int]] = {}
    keys = keys_of(usable)
    latest: dict[tuple[Value, ...], tuple[int, Said]] = {}
    last_seen: dict[tuple[Said, int], int] = {}
    in_newest: Counter[Said] = Counter()
    ruling = in_ruling_order(usable)
    for file_no, file in ruling:
        in_newest = Counter()
        for record_no, (said, nth) in numbered(file).items():
            ref = Ref(file_no, record_no)
            in_newest[said] += 1
            texts[ref] = (said, 1 if ref in keys else nth)
            appearances.setdefault(texts[ref], []).append(ref)
            last_seen[texts[ref]] = len(texts)
            if ref in keys and texts[ref] not in left:
                latest[keys[ref]] = (len(texts), said)
    result: dict[Ref, str] = {}
    for ref, line in texts.items():
        said, occurrence = line
        if min(appearances[line], key=lambda one: (one.file_no, one.record_no)) != ref:
            result[ref] = "repeated"
        elif (
            ref in keys
            and keys[ref] in latest
            and latest[keys[ref]][0] > last_seen[line]
            and latest[keys[ref]][1] != said
        ):
            result[ref] = "superseded"
        elif line in left:
            result[ref] = left[line]
        elif usable[-1][1].export.mode == "cumulative" and occurrence > in_newest[said]:
            is_changed = ref not in keys and was_changed_in_place(line, ruling)
            result[ref] = "superseded" if is_changed else "withdrawn"
        else:
            result[ref] = ""
    return result


def sampling_of(file: Received, record_no: int) -> tuple[Value, ...] | None:
    """Lot, day and purpose of a reading that names lot and day."""
    typed = file.typed.get(record_no)
    code, day = (typed.text("lot"), typed.day("date")) if typed is not None else (None, None)
    return None if typed is None or not code or day is None else (fold(code), day, typed.text("purpose"))


def was_changed_in_place(line: tuple[Said, int], files: list[tuple[int, Received]]) -> bool:
    """Whether the first file without the line has another reading of its sampling under the line's record number,
    and no other line of that sampling went or came.
    """
    if files[0][1].export.kind != "readings" or files[0][1].export.numbers_pots:
        return False
    lines = [numbered(file) for _, file in files]
    last = max(index for index, told in enumerate(lines) if line in told.values())
    old, new = lines[last], lines[last + 1]
    place = next(record_no for record_no, one in old.items() if one == line)
    sampling = sampling_of(files[last][1], place)
    went = [
        at
        for at, one in old.items()
        if one not in new.values() and sampling_of(files[last][1], at) == sampling
    ]
    came = [
        at
        for at, one in new.items()
        if one not in old.values() and sampling_of(files[last + 1][1], at) == sampling
    ]
    return sampling is not None and went == came == [place]


def comes_again(files: list[tuple[int, Received]]) -> bool:
    """Whether two increments have one name."""
    names = [file.name for _, file in files if file.read.file_problem is None]
    return files[0][1].export.mode == "increment" and len(set(names)) < len(names)


def left_lines(
    home: Home,
    site: SiteSettings,
    files: list[tuple[int, Received]],
    accepted: set[Ref],
    causes: dict[Ref, tuple[int, str]],
) -> dict[tuple[Said, int], str]:
    """What became of lines that gave way to a later increment of their name. `accepted`: records that an earlier
    night accepted; `causes`: the last earlier night that held a record, and for what.
    """
    if not comes_again(files):
        return {}
    keys = keys_of([(file_no, file) for file_no, file in files if is_usable(file)])
    copies = [
        copy_of(home, site, file_no, file, keys) for file_no, file in files if file.read.file_problem is None
    ]
    told = {Ref(file_no, at): line for file_no, file in files for at, line in numbered(file).items()}
    last: dict[tuple[Said, int], tuple[int, str]] = {}
    for ref, cause in sorted(causes.items(), key=lambda one: (one[1][0], one[0].file_no)):
        if ref in told:
            last[told[ref]] = cause
    gave_way = came_again.gave_way(
        files[0][1].export.kind,
        copies,
        {told[ref] for ref in accepted if ref in told},
        {line: cause for line, (_, cause) in last.items()},
    )
    return {line: gave_way[line] for line in told.values() if line in gave_way}


def copy_of(
    home: Home, site: SiteSettings, file_no: int, file: Received, keys: dict[Ref, tuple[Value, ...]]
) -> came_again.Copy:
    """The file as far as it matters to what became of its lines."""
    position = {fold(name): at for at, name in enumerate(file.read.header or ())}
    lines = []
    for record_no, said in numbered(file).items():
        record = file.read.records[record_no - 1]
        typed = file.typed.get(record_no)
        cells = {
            name: record.cells[position[fold(column)]].strip()
            for name, (column, _) in file.export.columns.items()
            if typed is not None
        }
        lines.append(
            came_again.Line(
                says=said,
                key=keys.get(Ref(file_no, record_no)),
                sampling=sampling_or_place(file, record_no),
                day=None if typed is None else typed.day("date") or typed.day("from"),
                lot=None if typed is None else typed.text("lot"),
                cells=None if typed is None else cells,
                text=record.text,
                faulty=frozenset() if typed is None else own_faults(home, site, file, typed),
            )
        )
    return came_again.Copy(file_no, file.name, tuple(lines))


def sampling_or_place(file: Received, record_no: int) -> tuple[Value, ...] | None:
    """Lot, day and purpose of a reading; its house, bench and crop where it names no lot."""
    typed = file.typed.get(record_no)
    if file.export.kind != "readings" or typed is None or typed.day("date") is None:
        return None
    code = typed.text("lot")
    place = tuple(fold(typed.text(name) or "") for name in ("house", "bench", "crop"))
    if not code and not place[0]:
        return None
    about: tuple[Value, ...] = ("lot", fold(code)) if code else ("place", *place)
    return (*about, typed.day("date"), typed.text("purpose"))


def own_faults(home: Home, site: SiteSettings, file: Received, typed: Typed) -> frozenset[str]:
    """Fields that keep the record out by themselves, whatever the other lists say."""
    faults = set(typed.faulty)
    if typed.problem == "missing" and faults & {"lot", "house"}:
        faults |= came_again.PLACE_FIELDS
    day = typed.day("date")
    ph, ec = typed.number("ph"), typed.number("ec")
    if file.export.kind in ("readings", "feed_checks"):
        if ph is not None and not 0 <= ph <= 14:
            faults.add("ph")
        if (
            ec is not None
            and day is not None
            and not 0 <= ec <= policy_on(home, site, day)["ec_highest_ms_cm"]
        ):
            faults.add("ec")
    if file.export.kind == "readings":
        faults |= {"method"} if typed.text("method") is None else set()
        faults |= {"ph", "ec"} if has_ph_and_ec_swapped(file) else set()
    return frozenset(faults)


def was_replaced(file_no: int, file: Received, files: list[tuple[int, Received]]) -> bool:
    """A file that was held whole came again later under its name, in a form that can be read."""
    return any(
        other_no > file_no and other.name == file.name and other.read.file_problem is None
        for other_no, other in files
    )


def lot_from(typed: Typed) -> Lot:
    plants = typed.number("plants")
    return Lot(
        code=typed.text("lot") or "",
        house=typed.text("house"),
        bench=typed.text("bench"),
        crop=typed.text("crop") or "",
        cultivar=typed.text("cultivar"),
        container_class=typed.text("container") or "",
        plants=None if plants is None else int(plants),
        started_on=typed.day("started") or date.min,
        ends_on=typed.day("ends"),
        grower_id=typed.text("grower"),
        feed_mode=typed.text("feed_mode"),
        valid_from=typed.day("valid_from"),
        parent=typed.text("parent"),
        is_usable=typed.problem is None,
        substrate=typed.text("substrate"),
    )


def lots_at_place(lots: list[Lot], typed: Typed, day: date) -> list[Lot]:
    """Lots that stand that day in the reading's house, on its bench and of its crop where it names them."""

    def fits(lot: Lot) -> bool:
        pairs = (
            (typed.text("house"), lot.house),
            (typed.text("bench"), lot.bench),
            (typed.text("crop"), lot.crop),
        )
        return all(
            given is None or (found is not None and fold(given) == fold(found)) for given, found in pairs
        )

    return [lot for lot in lots if lot.is_usable and lot.stands_on(day) and fits(lot)]


def find_lot(
    typed: Typed, day: date, lots: dict[str, Lot], lines: dict[str, list[Lot]], held_lots: set[str]
) -> tuple[Lot | None, Fate | None]:
    """The lot of a reading: by its code, else the only one that fits its place that day."""
    code = typed.text("lot")
    if code is not None:
        if fold(code) in lots:
            return lots[fold(code)], None
        cause = "lot_held" if fold(code) in held_lots else "lot_unknown"
        return None, Fate("held", cause, code)
    fitting = lots_at_place([on_day(own, day) for own in lines.values()], typed, day)
    if len(fitting) == 1 and fold(fitting[0].code) in lots:
        return lots[fold(fitting[0].code)], None
    if len(fitting) == 1 and fold(fitting[0].code) in held_lots:
        return None, Fate("held", "lot_held", fitting[0].code)
    return None, Fate("held", "place_unclear")


def has_ph_and_ec_swapped(file: Received) -> bool:
    """The figures of the pH column look like EC and those of the EC column like pH.

    Of all readable records: median pH below 3.5, median EC from 4 to 9 mS/cm, and at least 3 records with
    both. A single odd pot does not move a median.
    """
    readable = [typed for typed in file.typed.values() if typed.problem is None]
    ph = [value for typed in readable if (value := typed.number("ph")) is not None]
    ec = [value for typed in readable if (value := typed.number("ec")) is not None]
    both = sum(1 for typed in readable if typed.number("ph") is not None and typed.number("ec") is not None)
    ph_median, ec_median = median_of(ph), median_of(ec)
    return (
        both >= SWAP_LEAST_RECORDS
        and ph_median is not None
        and ec_median is not None
        and ph_median < SWAP_PH_BELOW
        and SWAP_EC_FROM <= ec_median <= SWAP_EC_TO
    )


def judge_reading(
    typed: Typed,
    day: date,
    home: Home,
    site: SiteSettings,
    lots: dict[str, Lot],
    lines: dict[str, list[Lot]],
    held_lots: set[str],
    as_of: date,
    is_swapped: bool,
) -> tuple[Lot | None, Fate]:
    """Accepted, or held for the first of: in the future, lot, before start, after end, pH and EC exchanged in
    its file, out of scale, method.
    """
    if day > as_of:
        return None, Fate("held", "in_future")
    lot, trouble = find_lot(typed, day, lots, lines, held_lots)
    if lot is None:
        return None, trouble or Fate("held", "lot_unknown")
    if day < lot.stands_from:
        return None, Fate("held", "before_start", lot.code)
    if lot.ends_on is not None and day > lot.ends_on:
        return None, Fate("held", "after_end", lot.code)
    if is_swapped:
        return None, Fate("held", "ph_ec_swapped")
    ph, ec = typed.number("ph"), typed.number("ec")
    if ph is not None and not 0 <= ph <= 14:
        return None, Fate("held", "ph_out_of_scale")
    if ec is not None and not 0 <= ec <= policy_on(home, site, day)["ec_highest_ms_cm"]:
        return None, Fate("held", "ec_out_of_scale")
    if typed.text("method") is None:
        return None, Fate("held", "method_missing")
    return lot, Fate("accepted")


def judge_other(
    kind: str,
    typed: Typed,
    lots: dict[str, Lot],
    lines: dict[str, list[Lot]],
    held_lots: set[str],
    as_of: date,
    highest_ec: Callable[[date], Fraction],
) -> Fate:
    """A treatment, feed check, excuse, planting or person: held for its day, its lot or place, its figures."""
    day = typed.day(more_kinds.DAY_OF.get(kind, ""))
    if day is not None and day > as_of:
        return Fate("held", "in_future")
    if kind in ("treatments", "exemptions"):
        days = (day, day) if day is not None else (typed.day("from"), typed.day("until"))
        return judge_lots(typed, days[0] or date.min, days[1] or date.max, kind, lots, lines, held_lots)
    ph = typed.number("ph")
    if kind == "feed_checks" and ph is not None and not 0 <= ph <= 14:
        return Fate("held", "ph_out_of_scale")
    ec = typed.number("ec")
    if kind == "feed_checks" and ec is not None and not 0 <= ec <= highest_ec(day or as_of):
        return Fate("held", "ec_out_of_scale")
    return Fate("accepted")


def judge_lots(
    typed: Typed,
    first: date,
    last: date,
    kind: str,
    lots: dict[str, Lot],
    lines: dict[str, list[Lot]],
    held_lots: set[str],
) -> Fate:
    """The lot that a line names, or any lot that stood at its place on one of the days."""
    code = typed.text("lot")
    if code is None:
        span = [first + timedelta(days=after) for after in range((last - first).days + 1)]
        found = any(lots_at_place([on_day(own, day) for own in lines.values()], typed, day) for day in span)
        return Fate("accepted") if found else Fate("held", "place_unclear")
    lot = lots.get(fold(code))
    if lot is None:
        return Fate("held", "lot_held" if fold(code) in held_lots else "lot_unknown", code)
    if kind == "treatments" and first < lot.stands_from:
        return Fate("held", "before_start", lot.code)
    if kind == "treatments" and lot.ends_on is not None and first > lot.ends_on:
        return Fate("held", "after_end", lot.code)
    return Fate("accepted")


def reading_from(typed: Typed, file: Received, record: Record, lot: Lot) -> Reading:
    """A routine reading of an affected plant belongs to that day's affected sampling."""
    purpose = typed.text("purpose") or "routine"
    if purpose == "routine" and typed.text("condition") == "affected":
        purpose = "affected"
    return Reading(
        file=file.name,
        line=record.line_from,
        lot=fold(lot.code),
        sampled_on=typed.day("date") or date.min,
        purpose=purpose,
        stated_purpose=typed.text("purpose") or "routine",
        condition=typed.text("condition"),
        pot=typed.text("pot"),
        position=typed.text("position") or typed.text("bench"),
        n_pots=int(typed.number("n_pots") or 1),
        ph=typed.number("ph"),
        ph_sd=typed.number("ph_sd"),
        ec_ms_cm=typed.number("ec"),
        ec_sd_ms_cm=typed.number("ec_sd"),
        ec_compensated=file.export.ec_compensated,
        temperature_c=typed.number("temperature"),
        poured_ml=typed.number("poured"),
        leachate_ml=typed.number("leachate"),
        meter_id=typed.text("meter"),
        method=typed.text("method"),
        bench=typed.text("bench"),
        place=typed.text("position"),
        at=time_of(typed),
        received_on=file.received_on,
        ph_text=cell_of("ph", file, record),
        ec_text=cell_of("ec", file, record),
        sampler=typed.text("sampler"),
        drain_min=typed.number("drain"),
        poured_with=typed.text("poured_with"),
        poured_ec_ms_cm=typed.number("poured_ec"),
        due=due_named(typed),
    )


def due_named(typed: Typed) -> tuple[str, date] | None:
    """The due that a line of a sampling sheet names; lines of other exports name none."""
    why, day = typed.text("due_why"), typed.day("due_on")
    return None if why is None or day is None else (why, day)


def time_of(typed: Typed) -> time | None:
    at = typed.values.get("time")
    return at if isinstance(at, time) else None


def cell_of(name: str, file: Received, record: Record) -> str | None:
    """The cell of a field as it stands in the file, without blanks around it."""
    if name not in file.export.columns or file.read.header is None or record.cells is None:
        return None
    names = [fold(title) for title in file.read.header]
    return record.cells[names.index(fold(file.export.columns[name][0]))].strip()


def calibrations_from(typed: Typed) -> list[Calibration]:
    """The checks of one line: how the meter was found, how it was left, or both."""
    at, passed, day = typed.values.get("time"), typed.text("passed"), typed.day("date")
    buffers, degrees = typed.text("buffers"), typed.number("temperature")
    found, left, mv = (
        {slot: value for slot in (4, 7, 10) if (value := typed.number(f"{part}_{slot}")) is not None}
        for part in ("found", "left", "mv")
    )
    ec_found, ec_left = typed.number("ec_found"), typed.number("ec_left")
    slope, offset = typed.number("slope"), typed.number("offset")
    has_found = bool(found) or (ec_found is not None and ec_left is not None)
    has_left = bool(left) or bool(mv) or any(one is not None for one in (slope, offset, ec_left))
    stage = typed.text("stage") or "both"
    of_two = stage == "both" and has_found and has_left
    if stage == "both" and not of_two:
        stage = "as_found" if has_found else "as_left"
    fitted = fit(mv, buffers, degrees) or (None, None)
    labels = sorted(label_of(slot, buffers) for slot in {*found, *left, *mv})
    if not buffers_in(buffers) and len(labels) > 1:
        buffers = f"{float(labels[0])} {float(labels[-1])}"

    def check(name: str) -> Calibration:
        is_last = not of_two or name == "as_left"
        ec_shown = ec_found if name == "as_found" else ec_left
        return Calibration(
            meter_id=typed.text("meter") or "",
            day=day or date.min,
            at=at if isinstance(at, time) else time.min,
            slope_pct=fitted[0] if slope is None else slope,
            offset_mv=fitted[1] if offset is None else offset,
            buffers=buffers,
            ec_standard=typed.number("ec_standard"),
            # What nobody wrote was adjusted was left as it was found.
            ec_found=ec_found if ec_shown is None and name == "as_left" else ec_shown,
            passed=None if passed is None or not is_last else fold(passed) in ("yes", "true"),
            worst_error_ph=worst_error(found if name == "as_found" else left, typed.text("buffers"), degrees),
            stage_no=1 if name == "as_found" else 2,
            expires=typed.day("solution_expires"),
            is_telling=is_last,
            cell=typed.text("buffers"),
        )

    return [check(name) for name in (("as_found", "as_left") if of_two else (stage,))]


def facts_on(home: Home, site: SiteSettings, nights: list[Night]) -> SiteFacts:
    """Everything known of a site on the last of the nights."""
    files = receive(site, nights)
    accepted: set[Ref] = set()
    causes: dict[Ref, tuple[int, str]] = {}
    is_again = any(comes_again(own) for export in site.exports if (own := files_of(export, files)))
    # What earlier nights made of the lines matters where a file came again without some of them.
    for count in range(1, len(nights)) if is_again else ():
        before = facts_of_night(home, site, nights[:count], accepted, causes).fates
        accepted |= {ref for ref, fate in before.items() if fate.fate == "accepted"}
        causes |= {ref: (count, fate.cause) for ref, fate in before.items() if fate.cause is not None}
    return facts_of_night(home, site, nights, accepted, causes)


def files_of(export: Export, files: list[Received]) -> list[tuple[int, Received]]:
    """The files of one export with their places among all of the site's."""
    return [(file_no, file) for file_no, file in enumerate(files) if file.export is export]


def facts_of_night(
    home: Home,
    site: SiteSettings,
    nights: list[Night],
    accepted: set[Ref],
    causes: dict[Ref, tuple[int, str]],
) -> SiteFacts:
    """What is known on the last of the nights. `accepted`, `causes`: see `left_lines`."""
    as_of = nights[-1].as_of
    files = receive(site, nights)
    keyed: set[Ref] = set()
    fates: dict[Ref, Fate] = {}
    live: list[tuple[Ref, Received, Record]] = []
    for export in site.exports:
        own = files_of(export, files)
        compared = versions(own, left_lines(home, site, own, accepted, causes) if own else {})
        keyed |= keys_of([(file_no, file) for file_no, file in own if is_usable(file)]).keys()
        for file_no, file in own:
            for record in file.read.records:
                ref = Ref(file_no, record.record_no)
                if record.kind != "data":
                    fates[ref] = Fate("not_data")
                elif file.read.file_problem is not None:
                    fates[ref] = (
                        Fate("superseded")
                        if was_replaced(file_no, file, own)
                        else Fate("held", file.read.file_problem)
                    )
                elif compared[ref]:
                    fates[ref] = Fate(compared[ref])
                elif record.problem is not None:
                    fates[ref] = Fate("held", record.problem)
                elif file.typed[record.record_no].problem is not None:
                    fates[ref] = Fate("held", file.typed[record.record_no].problem)
                else:
                    live.append((ref, file, record))
    lot_lines: list[Lot] = []
    calibrations: list[Calibration] = []
    readings: list[Reading] = []
    for ref, file, record in live:
        typed = file.typed[record.record_no]
        if file.export.kind == "lots":
            lot_lines.append(lot_from(typed))
            fates[ref] = Fate("accepted")
        elif file.export.kind == "calibrations":
            is_ahead = (typed.day("date") or date.min) > as_of
            fates[ref] = Fate("held", "in_future") if is_ahead else Fate("accepted")
            if not is_ahead:
                calibrations += calibrations_from(typed)
    held_lines = [
        typed_line
        for ref, fate in fates.items()
        if fate.fate == "held"
        and files[ref.file_no].export.kind == "lots"
        and (typed_line := files[ref.file_no].typed.get(ref.record_no)) is not None
        and typed_line.text("lot") is not None
    ]
    lines = by_lot([*lot_lines, *(lot_from(typed) for typed in held_lines)])
    # A lot waits where the line that holds tonight cannot be used, or the day of any of its lines.
    undated = {fold(one.text("lot") or "") for one in held_lines if one.values.get("valid_from", "") is None}
    lots = {
        key: now for key, own in lines.items() if key not in undated and (now := on_day(own, as_of)).is_usable
    }
    held_lots = {
        fold(code)
        for ref, fate in fates.items()
        if fate.fate == "held"
        and files[ref.file_no].export.kind == "lots"
        and (typed_lot := files[ref.file_no].typed.get(ref.record_no)) is not None
        and (code := typed_lot.text("lot")) is not None
    }
    for ref, file, record in live:
        if file.export.kind != "readings":
            continue
        typed = file.typed[record.record_no]
        lot, fates[ref] = judge_reading(
            typed,
            typed.day("date") or date.min,
            home,
            site,
            lots,
            lines,
            held_lots,
            as_of,
            has_ph_and_ec_swapped(file),
        )
        if lot is not None:
            readings.append(replace(reading_from(typed, file, record, lot), ref=ref))
    for ref, file, record in live:
        if file.export.kind in more_kinds.FIELDS:
            fates[ref] = judge_other(
                file.export.kind,
                file.typed[record.record_no],
                lots,
                lines,
                held_lots,
                as_of,
                lambda day: policy_on(home, site, day)["ec_highest_ms_cm"],
            )
    return SiteFacts(files, fates, lots, readings, calibrations, lines, frozenset(keyed), site.benches)
