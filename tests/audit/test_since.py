"""What changed since: a page and a CSV beside the dossier of what was known then, and the lots drawn from it."""

import csv
import io
from pathlib import Path

import pdfplumber
import pytest

from tests.audit.homes import audit, correct_later, make_audited_home
from tests.home import Ran


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    home = make_audited_home(tmp_path_factory.mktemp("since") / "home")
    correct_later(home)
    ran = audit(home, "--as-known", "2026-04-06", "--draw", 1, "--seed", "oak 7", "--json")
    assert ran.code == 0, ran.err
    return ran


def text_of(path: Path) -> str:
    with pdfplumber.open(path) as pdf:
        return " ".join(" ".join((page.extract_text() or "").split()) for page in pdf.pages)


def file_named(told: Ran, name: str) -> Path:
    (path,) = [Path(one) for one in told.json["beside"] if Path(one).name == name]
    return path


def test_every_change_stands_in_the_table(told: Ran) -> None:
    rows = list(csv.DictReader(io.StringIO(file_named(told, "since.csv").read_bytes().decode("utf-8-sig"))))
    assert len(rows) == told.json["changes_since"] > 0
    sampling = next(row for row in rows if row["table"] == "samplings" and row["column"] == "is_counting")
    assert sampling["row"] == "site_id hill, lot_key h-1, sampled_on 2026-03-08, purpose routine"
    assert (sampling["then"], sampling["now"]) == ("true", "false")
    states = {row["row"]: (row["then"], row["now"]) for row in rows if row["column"] == "state"}
    first = "site_id hill, lot_key h-1, why first, due_on 2026-03-09, caused_on 2026-03-02"
    assert states[first] == ("on_time", "missed")


def test_the_page_names_the_dues_the_files_and_the_corrected_lines(told: Ran) -> None:
    text = text_of(file_named(told, "since.pdf"))
    assert "as known at the end of 2026-04-06 (then) and of 2026-04-20 (now)" in text
    assert "Hill H-1 first 2026-03-09 on time, 2026-03-08" in text
    assert "drop/readings_2026-04-18.csv" in text
    assert "H-1,2026-03-08,routine,2,,2.6,50,M1,dry (no. " in text
    assert "no such due" in text


def test_the_drawn_lot_comes_with_every_line(told: Ran) -> None:
    (drawn,) = told.json["drawn"]
    text = text_of(file_named(told, "drawn_1_oak-7.pdf"))
    assert f"{drawn['lot']}: lines as the site wrote them" in text
    assert text.count(f"{drawn['lot']},2026-04-02,routine,") == 5
    assert "drop/readings_2026-04-02.csv" in text
    assert "with the seed oak 7 from the 2 lots" in text


def test_draw_and_seed_go_together(tmp_path: Path) -> None:
    home = tmp_path / "home"
    home.mkdir()
    ran = audit(home, "--draw", 3)
    assert (ran.code, "--draw and --seed go together" in ran.err) == (2, True)
