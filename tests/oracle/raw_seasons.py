"""Random seasons as the CSV files that a site would drop over three nights, and accounts read from these files again.

Whole histories each night: a line that is not there any more was withdrawn. What is read back is read with the csv
module alone, never with the product's code.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from hypothesis import strategies as st

from tests.oracle.compliance import Known
from tests.oracle.dues import Account, Excuse, Symptoms, Taken

START: Final = date(2026, 3, 2)
NIGHTS: Final = tuple(START + timedelta(days=number) for number in (9, 21, 34))
CONTAINERS: Final = {"plug": (3, 5), "pot_4in": (14, 5), "nursery": (14, 3)}
PROBLEM: Final = "petunia"
WAITS: Final = {"leaching": 2, "acid_feed": 7, "lime_drench": 10}
OUT: Final = "5.0"
EC: Final = "3.0"
"""Inside the published ranges of both crops."""
VOLUMES: Final = {"plug": 30, "pot_4in": 30, "nursery": 50}
"""mL to collect: common practice; 20 % off is not right any more (house default)."""
GROUP: Final = 'name = "Season"\ntime_zone = "UTC"\n'
POLICY: Final = f'[[policy]]\nvalid_from = 2026-01-01\nproblem_crops = ["{PROBLEM}"]\n'
SITE: Final = """
id = "one"
name = "One"
extraction_method = "pour-through"

[[export]]
kind = "lots"
files = "drop/lots*.csv"
mode = "cumulative"
columns = {lot = "lot", house = "house", crop = "crop", container = "container", started = "started", ends = "ends"}

[[export]]
kind = "readings"
files = "drop/readings*.csv"
mode = "cumulative"
[export.columns]
lot = "lot"
date = "date"
purpose = "purpose"
n_pots = "n"
ph = "ph"
ec = {column = "ec", unit = "mS/cm"}
leachate = {column = "ml", unit = "mL"}
meter = "meter"

[[export]]
kind = "calibrations"
files = "drop/calibrations*.csv"
mode = "cumulative"
columns = {meter = "meter", date = "date", slope = "slope"}

[[export]]
kind = "treatments"
files = "drop/treatments*.csv"
mode = "cumulative"
columns = {lot = "lot", date = "date", what = "treatment"}

[[export]]
kind = "exemptions"
files = "drop/exemptions*.csv"
mode = "cumulative"
columns = {lot = "lot", from = "from", until = "until", reason = "reason", person = "person", entered_on = "entered"}
"""
HEADERS: Final = {
    "lots": "lot,house,crop,container,started,ends",
    "readings": "lot,date,purpose,n,ph,ec,ml,meter",
    "calibrations": "meter,date,slope",
    "treatments": "lot,date,treatment",
    "exemptions": "lot,from,until,reason,person,entered",
}
Drops = list[dict[str, str]]


@dataclass(frozen=True)
class Line:
    """One line, with the numbers of the first night that has it and of the first that has it no more."""

    kind: str
    text: str
    first: int
    until: int = len(NIGHTS)


def first_night_from(day: date) -> int:
    return next((number for number, night in enumerate(NIGHTS) if night >= day), len(NIGHTS))


@st.composite
def drops(draw: st.DrawFn) -> Drops:
    """The CSV files of each night, by their names."""
    days = st.integers(0, 34).map(lambda number: START + timedelta(days=number))
    lines: list[Line] = []
    for number in range(draw(st.integers(3, 5))):
        start = draw(st.integers(0, 16).map(lambda number: START + timedelta(days=number)))
        length = draw(st.none() | st.integers(6, 34))
        end = None if length is None else start + timedelta(days=length)
        crop, container = (
            draw(st.sampled_from([PROBLEM, "poinsettia"])),
            draw(st.sampled_from(sorted(CONTAINERS))),
        )
        came = min(first_night_from(start) + draw(st.sampled_from([0, 0, 1])), 2)
        lines.append(Line("lots", f"L{number},1,{crop},{container},{start},{end or ''}", came))
        read = draw(
            st.dictionaries(
                st.tuples(days, st.sampled_from(["routine", "routine", "retest", "affected", "healthy"])),
                st.tuples(st.sampled_from([5, 5, 6, 3]), st.sampled_from(["6.0", OUT]), st.integers(0, 20)),
                min_size=2,
                max_size=9,
            )
        )
        for (on, purpose), (pots, ph, fortune) in read.items():
            sent = first_night_from(on) + (1 if fortune % 6 == 1 else 0)
            gone = sent + 1 if fortune % 6 == 2 else len(NIGHTS)
            right = VOLUMES[container]
            volume = {0: "", 1: str(right * 13 // 10)}.get(fortune // 6, str(right))
            text = f"L{number},{on},{purpose},{pots},{ph},{EC},{volume},M1"
            lines.append(Line("readings", text, sent, gone))
        for on, what in draw(
            st.lists(st.tuples(days, st.sampled_from(sorted(WAITS))), max_size=2, unique=True)
        ):
            late = draw(st.sampled_from([0, 0, 1]))
            lines.append(Line("treatments", f"L{number},{on},{what}", first_night_from(on) + late))
        for first, length, entered in draw(
            st.lists(st.tuples(days, st.integers(0, 14), st.integers(-3, 6)), max_size=1)
        ):
            told = first + timedelta(days=entered)
            text = f"L{number},{first},{first + timedelta(days=length)},sold,Ann,{told}"
            lines.append(Line("exemptions", text, first_night_from(told)))
    lines += [
        Line("calibrations", f"M1,{on},98", first_night_from(on))
        for on in sorted(draw(st.sets(days, max_size=25)))
    ]
    return [
        {
            f"{kind}.csv": "\n".join(
                [
                    HEADERS[kind],
                    *(one.text for one in lines if one.kind == kind and one.first <= night < one.until),
                ]
            )
            + "\n"
            for kind in HEADERS
            if any(one.kind == kind and one.first <= night < one.until for one in lines)
        }
        for night in range(len(NIGHTS))
    ]


# Read back ----------------------------------------------------------------------------------------


def read(files: Mapping[str, str], kind: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(files.get(f"{kind}.csv", ""))))


def firsts(nights: Sequence[Mapping[str, str]], kind: str) -> dict[tuple[str, ...], date]:
    """The night on which each line of a kind was received first."""
    found: dict[tuple[str, ...], date] = {}
    for night, files in zip(NIGHTS, nights, strict=True):
        for row in read(files, kind):
            found.setdefault(tuple(row.values()), night)
    return found


def lasts(nights: Sequence[Mapping[str, str]], kind: str) -> dict[tuple[str, ...], date]:
    """The night on which each line that went was not there any more; a file that did not come takes nothing away."""
    gone: dict[tuple[str, ...], date] = {}
    shown: list[tuple[date, list[tuple[str, ...]]]] = [
        (night, [tuple(row.values()) for row in read(files, kind)])
        for night, files in zip(NIGHTS, nights, strict=True)
        if f"{kind}.csv" in files
    ]
    for number, (_, rows) in enumerate(shown):
        for row in rows:
            for night, later in shown[number + 1 :]:
                if row not in later:
                    gone.setdefault(row, night)
                    break
    return gone


def is_proper(row: Mapping[str, str], container: str, checked: set[str]) -> bool:
    """Enough pots with a right volume, and the meter checked that day; all checks of a season are good."""
    least, right = CONTAINERS[container][1], VOLUMES[container]
    volume = float(row["ml"]) if row["ml"] else None
    is_right = volume is not None and right * 0.8 <= volume <= right * 1.2
    return int(row["n"]) >= least and is_right and row["date"] in checked


def proper_samplings(nights: Sequence[Mapping[str, str]], key: str, from_on: date) -> tuple[int, int]:
    """Proper ones, and all routine samplings and retests of a lot from a day on."""
    newest = {kind: next((one for one in reversed(nights) if f"{kind}.csv" in one), {}) for kind in HEADERS}
    (lot,) = [one for one in read(newest["lots"], "lots") if one["lot"] == key]
    checked = {one["date"] for one in read(newest["calibrations"], "calibrations")}
    rows = [
        one
        for one in read(newest["readings"], "readings")
        if one["lot"] == key
        and one["purpose"] in ("routine", "retest")
        and max(lot["started"], from_on.isoformat()) <= one["date"]
        and (not lot["ends"] or one["date"] <= lot["ends"])
    ]
    return sum(is_proper(one, lot["container"], checked) for one in rows), len(rows)


def accounts(nights: Sequence[Mapping[str, str]]) -> Iterator[tuple[str, Account, Known]]:
    """Each lot with all that is known of it in the end, and when that was received."""
    newest = {kind: next((one for one in reversed(nights) if f"{kind}.csv" in one), {}) for kind in HEADERS}
    received = {kind: firsts(nights, kind) for kind in HEADERS}
    gone = lasts(nights, "readings")
    for lot in read(newest["lots"], "lots"):
        key = lot["lot"]
        interval, least = CONTAINERS[lot["container"]]
        is_problem = lot["crop"] == PROBLEM
        rows = [one for one in read(newest["readings"], "readings") if one["lot"] == key]
        treated: dict[date, int] = {}
        treatments = [one for one in read(newest["treatments"], "treatments") if one["lot"] == key]
        start, end = (
            date.fromisoformat(lot["started"]),
            date.fromisoformat(lot["ends"]) if lot["ends"] else None,
        )
        for one in treatments:
            on = date.fromisoformat(one["date"])
            if start <= on and (end is None or on <= end):
                treated[on] = max(treated.get(on, 0), WAITS[one["treatment"]])
        account = Account(
            start=start,
            end=end,
            is_problem_crop=is_problem,
            first_within=7,
            interval=min(interval, 7) if is_problem else interval,
            after_out_within=7,
            pots=least,
            taken=tuple(
                Taken(
                    date.fromisoformat(one["date"]),
                    one["purpose"],
                    int(one["n"]),
                    least,
                    one["ph"] == OUT and one["purpose"] != "before_feed",
                )
                for one in rows
                if start <= date.fromisoformat(one["date"])
                and (end is None or date.fromisoformat(one["date"]) <= end)
            ),
            retests=tuple((on, on + timedelta(days=wait)) for on, wait in sorted(treated.items())),
            excuses=tuple(
                Excuse(
                    date.fromisoformat(one["from"]),
                    date.fromisoformat(one["until"]),
                    None,
                    "sold",
                    "Ann",
                    told,
                )
                for one in read(newest["exemptions"], "exemptions")
                if one["lot"] == key and (told := date.fromisoformat(one["entered"])) <= NIGHTS[-1]
            ),
            is_closed=lambda _: False,
            is_fed=None,
            symptoms_on=lambda _: Symptoms(within=3, spoken_of=14, pots=5),
        )
        yield (
            key,
            account,
            Known(
                lot_on=received["lots"][tuple(lot.values())],
                samplings=tuple(
                    (
                        date.fromisoformat(one["date"]),
                        one["purpose"],
                        received["readings"][tuple(one.values())],
                    )
                    for one in rows
                ),
                treatments=tuple(
                    (
                        on,
                        max(
                            received["treatments"][tuple(one.values())]
                            for one in treatments
                            if one["date"] == on.isoformat()
                        ),
                    )
                    for on in treated
                ),
                lost=tuple(
                    (date.fromisoformat(row[1]), night)
                    for row, night in gone.items()
                    if row[0] == key and row[2] in ("routine", "retest") and int(row[3]) >= least
                ),
            ),
        )
