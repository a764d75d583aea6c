"""`leachbook sheet` on real homes: what it writes and where, the same as the night, and every refusal in a sentence."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pdfplumber
import pytest

from pipeline.intake.ledger import read_ledger
from pipeline.publish import sealed_pages
from tests.conftest import Share
from tests.home import DAY, SITE, SITE_ID, make_home, night, only_site, read_summary, run_cli

FILES = ("hill-sheet.pdf", "hill-sheet.csv", "hill-sheet-calibrations.csv")
MAPPED = (
    SITE.replace('name = "Hill"', 'name = "Hill"\nvolume_unit = "fl oz"')
    + '\n[[bench]]\nhouse = "1"\nname = "B1"\nrows = 4\ncolumns = 20\n'
)


@pytest.fixture(scope="module")
def home(share: Share) -> Path:
    """A home of one night whose two lots were read on 2 April: both are due on the 16th."""

    def build(folder: Path) -> None:
        make_home(folder / "home", site=MAPPED)
        night(folder / "home", pages=True)

    return share("sheet_home", build) / "home"


def lines_of(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8-sig"), newline="")))


def text_of(path: Path) -> str:
    with pdfplumber.open(path) as pdf:
        return " ".join(" ".join(page.extract_text() for page in pdf.pages).split())


def test_it_writes_three_files_for_what_is_due_and_says_where(home: Path) -> None:
    ran = run_cli("sheet", home, SITE_ID, "--for", "2026-04-16")
    folder = home / "out" / "sheets" / "hill_2026-04-16"
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.splitlines() == [
        "hill: 2 samplings, 10 pots, about 40 min, due up to 2026-04-16 (as of 2026-04-06)",
        *(f"  {folder / name}" for name in FILES),
    ]
    lines = lines_of(folder / "hill-sheet.csv")
    assert [line["lot"] for line in lines] == ["H-1"] * 5 + ["H-2"] * 5
    assert {(line["house"], line["bench"], line["due_on"], line["pour_fl_oz"]) for line in lines} == {
        ("1", "B1", "2026-04-16", "2.5")
    }
    assert all(line["position"] for line in lines)
    assert [line["meter"] for line in lines_of(folder / "hill-sheet-calibrations.csv")] == ["M1"]
    assert "Why: routine, every 14 days, last read Thu 2026-04-02." in text_of(folder / "hill-sheet.pdf")


def test_it_answers_in_json(home: Path) -> None:
    told = run_cli("sheet", home, "Hill", "--for", "2026-04-16", "--json").json
    assert (told["site_id"], told["as_of"], told["sheet"]["pots"]) == ("hill", "2026-04-06", 10)
    assert [Path(path).name for path in told["files"]] == list(FILES)
    assert [lot["lot_id"] for lot in told["sheet"]["lots"]] == ["H-1", "H-2"]


def test_without_a_day_it_is_the_night_s_own_sheet_to_the_byte(home: Path) -> None:
    ran = run_cli("sheet", home, SITE_ID)
    assert ran.out.startswith("hill: nothing is due up to 2026-04-12 (as of 2026-04-06); the sheet says so\n")
    for name in FILES:
        made = (home / "out" / "sheets" / "hill_2026-04-12" / name).read_bytes()
        assert made == (home / "out" / DAY.isoformat() / "sites" / name).read_bytes(), name


@pytest.mark.parametrize("day", ["2026-04-06", "2026-01-01"])
def test_a_day_on_which_nothing_is_due_is_a_sheet_that_says_so(home: Path, day: str) -> None:
    ran = run_cli("sheet", home, SITE_ID, "--for", day)
    folder = home / "out" / "sheets" / f"hill_{day}"
    assert ran.code == 0
    assert f"Nothing is due at this site up to {'Mon' if day.endswith('06') else 'Thu'} {day}." in text_of(
        folder / "hill-sheet.pdf"
    )
    assert lines_of(folder / "hill-sheet.csv") == []


def test_the_same_sheet_again_is_the_same_bytes(home: Path) -> None:
    folder = home / "out" / "sheets" / "hill_2026-04-17"
    written = []
    for _ in range(2):
        run_cli("sheet", home, SITE_ID, "--for", "2026-04-17")
        written.append([(folder / name).read_bytes() for name in FILES])
    assert written[0] == written[1]
    assert sorted(path.name for path in folder.iterdir()) == sorted(FILES)


def test_an_unknown_site_names_the_known_ones(home: Path) -> None:
    ran = run_cli("sheet", home, "hil")
    assert (ran.code, ran.out) == (2, "")
    assert ran.err == "There is no site hil: the nearest is hill; there are hill.\n"


def test_before_the_first_night_it_says_to_run_one(tmp_path: Path) -> None:
    ran = run_cli("sheet", make_home(tmp_path / "home"), SITE_ID)
    assert ran.code == 2
    assert "no night has been run yet; run `leachbook nightly" in ran.err


def test_a_day_that_is_none_is_refused(home: Path) -> None:
    ran = run_cli("sheet", home, SITE_ID, "--for", "soon")
    assert ran.code == 2
    assert "'soon' is no day that can be read here; write it like 2026-11-20." in ran.err


def test_a_folder_that_cannot_be_written_is_said(home: Path) -> None:
    (home / "out" / "sheets").mkdir(exist_ok=True)
    (home / "out" / "sheets" / "hill_2026-04-20").write_text("a file where the folder should be")
    ran = run_cli("sheet", home, SITE_ID, "--for", "2026-04-20")
    assert ran.code == 2
    assert "hill_2026-04-20" in ran.err
    assert len(ran.err.strip().splitlines()) == 1


def test_the_command_touches_neither_warehouse_nor_pages(home: Path) -> None:
    warehouse = (home / "warehouse.duckdb").read_bytes()
    run_cli("sheet", home, SITE_ID)
    assert (home / "warehouse.duckdb").read_bytes() == warehouse
    assert run_cli("verify", home).code == 0


def test_the_night_keeps_the_sheet_in_its_summary_and_seals_its_files(home: Path) -> None:
    sheet = only_site(read_summary(home)).sheet
    assert sheet is not None
    assert (sheet.until.isoformat(), sheet.volume_unit, sheet.meters) == ("2026-04-12", "fl oz", ["M1"])
    sealed = sealed_pages(read_ledger(home))
    assert {f"sites/{name}" for name in FILES} <= sealed.keys()


def test_a_sheet_that_was_changed_is_found_and_the_next_night_makes_it_again(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home")
    night(home, pages=True)
    path = home / "out" / DAY.isoformat() / "sites" / "hill-sheet.csv"
    before = path.read_bytes()
    path.write_bytes(before + b"x")
    verified = run_cli("verify", home)
    assert verified.code == 1
    assert "sites/hill-sheet.csv: is not what the night wrote" in verified.out
    assert not night(home, pages=True).is_unchanged
    assert path.read_bytes() == before
    path.unlink()
    assert not night(home, pages=True).is_unchanged
    assert path.read_bytes() == before


def test_the_site_s_page_leads_to_its_sheet(home: Path) -> None:
    folder = home / "out" / DAY.isoformat() / "sites"
    page = (folder / "hill.html").read_text("utf-8")
    for name in (*FILES, "hill.ics"):
        assert f'href="{name}"' in page
        assert (folder / name).is_file()


def test_the_schema_beside_the_summary_knows_the_sheet(home: Path) -> None:
    schema = json.loads((home / "out" / DAY.isoformat() / "summary.schema.json").read_text("utf-8"))
    assert {"Sheet", "SheetLot", "SheetPot"} <= schema["$defs"].keys()
