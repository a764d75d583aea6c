"""Sixty nights of one growing file: the same readings as the last file alone, and what the nights between imply.

The model beside it is a few lines of plain Python: a list of texts a night, and what became of each line.
"""

from __future__ import annotations

import random
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.haul import collect_sites, read_haul
from pipeline.settings import load_settings
from pipeline.warehouse.build import keep_fates
from pipeline.warehouse.connect import Connection, night_copy
from pipeline.warehouse.load import load_files, start_night
from pipeline.warehouse.migrate import migrate
from pipeline.warehouse.statements import quoted, read_sql
from tests.examples import examples
from tests.home import LOTS, READINGS_HEADER, SITE, drop, make_home

FIRST = date(2026, 3, 10)
NIGHTS = 60
CUMULATIVE = SITE.replace('files = "drop/readings*.csv"', 'files = "drop/readings*.csv"\nmode = "cumulative"')
KEYLESS = CUMULATIVE.replace("numbers_pots = true", "numbers_pots = false")
# As far as fates need: what readings are used for is judged elsewhere.
MODELS = (
    *(
        "file_order",
        "line_appearances",
        "repeated_pots",
        "line_keys",
        "file_versions",
        "gone_lines",
        "line_twins",
        "left_lines",
        "changed_lines",
        "record_versions",
        "replaced_files",
    ),
    *("lot_facts", "current_lots", "reading_lots", "treatment_lots"),
    *("exemption_lots", "kind_causes", "record_fates"),
)


@contextmanager
def nights(home: Path) -> Iterator[Connection]:
    with night_copy(home) as (connection, _):
        migrate(connection)
        yield connection


def run(home: Path, connection: Connection, day: date) -> None:
    """A night as far as the fates of its lines."""
    loaded = load_settings(home)
    haul = read_haul(home, connection, loaded, collect_sites(connection, loaded, lambda _: None))
    number = start_night(connection, day, "0", "settings")
    connection.execute("delete from sites").fetchall()
    connection.execute("insert into sites values ('hill', 'Hill', true, null)").fetchall()
    load_files(connection, number, day, haul.files)
    for name in MODELS:
        connection.execute(
            f"create or replace table {quoted(name)} as\n{read_sql(f'samplings/{name}')}"
        ).fetchall()
    keep_fates(connection)


def fates(connection: Connection) -> Counter[tuple[str, str]]:
    """Fate and text of every line that some file brought first."""
    query = """
        select f.fate, r.text
        from record_fates as f
        inner join records as r on f.file_id = r.file_id and f.record_no = r.record_no
        where f.export_kind = 'readings' and r.kind = 'data' and r.same_as_file_id is null
    """
    return Counter(connection.execute(query).fetchall())


def figures(connection: Connection) -> list[tuple[object, ...]]:
    """The readings that count, as facts."""
    query = """
        select l.lot_code, l.sampled_on, l.pot, l.ph, l.ec_ms_cm, l.leachate_ml, l.note
        from record_fates as f
        inner join reading_lines as l on f.file_id = l.file_id and f.record_no = l.record_no
        where f.fate = 'accepted'
        order by all
    """
    return connection.execute(query).fetchall()


def line(day: date, pot: int, ph: str) -> str:
    return f"H-{1 + pot % 2},{day},routine,{pot},{ph},2.00,50,M1,"


def change(draw: random.Random, lines: Sequence[str], day: date) -> list[str]:
    """What a spreadsheet's owner does in a day: adds, corrects, deletes, and brings back."""
    kept = [text for text in lines if draw.random() > 0.01]
    fresh = [line(day, pot, f"{draw.uniform(5.4, 6.4):.2f}") for pot in range(1, 11)]
    for at in range(len(kept)):
        if draw.random() < 0.02:
            cells = kept[at].split(",")
            cells[4] = f"{draw.uniform(5.4, 6.4):.2f}"
            kept[at] = ",".join(cells)
    gone = [text for text in lines if text not in kept]
    return [*kept, *(text for text in gone if draw.random() < 0.2), *fresh]


def key_of(text: str) -> tuple[str, ...]:
    return tuple(text.split(",")[:4])


def expect(files: Sequence[Sequence[str]]) -> Counter[tuple[str, str]]:
    """Pots are numbered: of a key the version seen last rules; what the last file has no more was withdrawn."""
    first: dict[tuple[str, int], None] = {}
    last_text: dict[tuple[str, ...], str] = {}
    for texts in files:
        counts: Counter[str] = Counter()
        for text in texts:
            counts[text] += 1
            first.setdefault((text, counts[text]))
        for text in texts:
            last_text[key_of(text)] = text
    in_last = Counter(files[-1])
    told: Counter[tuple[str, str]] = Counter()
    for text, nth in first:
        if nth > 1:
            fate = "repeated"
        elif last_text[key_of(text)] != text:
            fate = "superseded"
        elif nth > in_last[text]:
            fate = "withdrawn"
        else:
            fate = "accepted"
        told[fate, text] += 1
    return told


def make_season() -> list[list[str]]:
    draw = random.Random(60)  # noqa: S311  a season, no secret
    season: list[list[str]] = [[]]
    for night in range(NIGHTS):
        season.append(change(draw, season[-1], FIRST + timedelta(days=night)))
    return season[1:]


def write(home: Path, texts: Sequence[str]) -> None:
    drop(home, "readings.csv", READINGS_HEADER + "".join(f"{text}\n" for text in texts))


def test_sixty_nights_end_as_the_last_file_alone(tmp_path: Path) -> None:
    season = make_season()
    home = make_home(tmp_path / "home", site=CUMULATIVE)
    (home / "sites/hill/drop/readings_2026-04-02.csv").unlink()
    with nights(home) as connection:
        for night, texts in enumerate(season):
            write(home, texts)
            run(home, connection, FIRST + timedelta(days=night))
        after_all, told = figures(connection), fates(connection)
        translated = connection.execute("select count(*) from reading_lines").fetchall()[0][0]
        ends = connection.execute(
            """
            select count(*)
            from fate_history as h
            inner join files as f on h.file_id = f.file_id
            where f.kind = 'readings' and h.fate = 'accepted' and h.until_night is not null
            """
        ).fetchall()[0][0]
    fresh = make_home(tmp_path / "fresh", site=CUMULATIVE)
    (fresh / "sites/hill/drop/readings_2026-04-02.csv").unlink()
    write(fresh, season[-1])
    with nights(fresh) as connection:
        run(fresh, connection, FIRST + timedelta(days=NIGHTS))
        assert figures(connection) == after_all
    assert len(after_all) == len({key_of(text) for text in season[-1]})
    expected = expect(season)
    assert told == expected
    by_fate = Counter(fate for fate, _ in expected.elements())
    assert min(by_fate["superseded"], by_fate["withdrawn"]) > 20
    # Only what no earlier file had was translated, of some 14,000 lines that were sent.
    assert translated == sum(expected.values()) < sum(map(len, season)) / 10
    # Their time as accepted lines is kept, with its end.
    assert ends > 400


TEXTS = st.lists(
    st.builds(
        lambda pot, ph: line(FIRST, pot, ph), st.integers(1, 4), st.sampled_from(["5.50", "5.60", "5.70"])
    ),
    min_size=1,
    max_size=6,
)


@pytest.mark.parametrize("is_cumulative", [True, False])
@settings(
    max_examples=examples(12), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(files=st.lists(TEXTS, min_size=1, max_size=4))
def test_any_versions_balance_and_the_right_lines_stay(is_cumulative: bool, files: list[list[str]]) -> None:
    site = KEYLESS if is_cumulative else KEYLESS.replace('mode = "cumulative"\n', "", 1)
    with tempfile.TemporaryDirectory() as folder:
        home = make_home(Path(folder) / "home", site=site, **{"lots.csv": LOTS})
        (home / "sites/hill/drop/readings_2026-04-02.csv").unlink()
        with nights(home) as connection:
            for night, texts in enumerate(files):
                # An increment comes under a name of its own, a whole history under the old one.
                name = "readings.csv" if is_cumulative else f"readings_{night}.csv"
                drop(home, name, READINGS_HEADER + "".join(f"{text}\n" for text in texts))
                run(home, connection, FIRST + timedelta(days=night))
            told = fates(connection)
            sums = connection.execute(
                "select f.lines = sum(t.lines), count(*) = (select count(*) from records as r "
                "where r.file_id = f.file_id) from files as f inner join record_fates as t "
                "on f.file_id = t.file_id group by f.file_id, f.lines"
            ).fetchall()
    assert set(sums) == {(True, True)}
    accepted: Counter[str] = Counter()
    for (fate, text), number in told.items():
        if fate == "accepted":
            accepted[text] += number
    union: Counter[str] = Counter()
    for texts in files:
        union |= Counter(texts)
    assert accepted == (Counter(files[-1]) if is_cumulative else union)
