"""The command: what it writes, what it refuses, and how a machine answers."""

from __future__ import annotations

import io
import json
import os
import pty
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.adopt import adopt_file, append_block
from pipeline.adopt.questions import Choice, Question, pick
from pipeline.errors import AdoptError
from pipeline.settings import load_settings, write_new_home
from tests.adopt.helpers import table
from tests.home import run_cli

READINGS = table("""
    Datum;Partie;Topf;pH;LF;Drain (mL);Wetter
    03.04.2026;A-1;1;5,8;1850;52;Sonne
    03.04.2026;A-1;2;5,9;1790;55;Sonne
    13.04.2026;A-1;1;6,0;1650;50;Regen
""")

ROOT = Path(__file__).parents[2]
SITE_FILE = Path("sites") / "first-site" / "site.toml"


@pytest.fixture
def home(tmp_path: Path) -> Path:
    write_new_home(tmp_path / "home")
    return tmp_path / "home"


@pytest.fixture
def export(tmp_path: Path) -> Callable[[str, bytes], Path]:
    def write(name: str, data: bytes) -> Path:
        (tmp_path / name).write_bytes(data)
        return tmp_path / name

    return write


def test_open_questions_are_reported_and_nothing_is_written(
    home: Path, export: Callable[[str, bytes], Path]
) -> None:
    before = (home / SITE_FILE).read_bytes()
    ran = run_cli("adopt", home, "first-site", export("Messwerte.csv", READINGS), "--json", "--yes")
    assert ran.code == 1
    told = json.loads(ran.out)
    assert {question["key"] for question in told["questions"]} == {"unit.ec", "mode"}
    assert all(choice["why"] for question in told["questions"] for choice in question["choices"])
    assert told["written"] is False
    assert told["left_out"] == [{"column": "Wetter", "example": "Sonne", "why": "no field is like it"}]
    assert (home / SITE_FILE).read_bytes() == before


def test_answers_let_a_machine_finish(home: Path, export: Callable[[str, bytes], Path]) -> None:
    before = (home / SITE_FILE).read_bytes()
    file = export("Messwerte.csv", READINGS)
    answers = ["--answer", "unit.ec=µS/cm", "--answer", "mode=increment"]
    ran = run_cli("adopt", home, "first-site", file, "--json", "--yes", *answers)
    assert ran.code == 0, ran.err
    told = json.loads(ran.out)
    assert told["written"] is True
    assert told["rows"][0]["ec_ms_cm"] == "1.85"
    after = (home / SITE_FILE).read_bytes()
    assert after.startswith(before)
    assert after[len(before) :].decode().strip() == told["block"].strip()
    export_settings = load_settings(home).sites[0].exports[-1]
    assert export_settings.files == "drop/Messwerte.csv"
    assert export_settings.columns["ec"].unit == "µS/cm"
    assert "# left out" in told["block"]
    again = run_cli("adopt", home, "first-site", file, "--yes", *answers)
    assert again.code == 2
    assert "already takes readings" in again.err
    assert (home / SITE_FILE).read_bytes() == after


def test_units_are_answered_from_any_keyboard(home: Path, export: Callable[[str, bytes], Path]) -> None:
    answers = ("--answer", "unit.ec=uS/cm", "--answer", "mode=increment")
    ran = run_cli("adopt", home, "first-site", export("Messwerte.csv", READINGS), *answers, "--json")
    assert (ran.code, json.loads(ran.out)["columns"]["ec"]["unit"]["value"]) == (0, "µS/cm")


CROPS = table("""
    Lot;Crop;House;Container;Potted
    A-1;Poinsettia Red Comet;1;4 inch;2026-03-02
    A-2;Geranium;1;4 inch;2026-03-02
    A-3;Xyzzy;1;4 inch;2026-03-02
""")


def test_words_that_nobody_knew_are_counted_and_filled_in_by_taking_the_mark_away(
    home: Path, export: Callable[[str, bytes], Path]
) -> None:
    ran = run_cli(
        "adopt", home, "first-site", export("Crop List.csv", CROPS), "--yes", "--answer", "mode=cumulative"
    )
    assert ran.code == 0
    assert '  "Poinsettia Red Comet" = ?  unsure: to be filled in, perhaps poinsettia\n' in ran.out
    assert "Fill in the 3 words that nobody knew under [export.values.crop] there." in ran.out
    path = home / SITE_FILE
    text = path.read_text(encoding="utf-8")
    assert '# "Xyzzy" = ""  # to be filled in\n' in text
    assert '# "Geranium" = ""  # to be filled in, perhaps "geranium, cutting" or "geranium, ivy"' in text
    open_line = '# "Poinsettia Red Comet" = "poinsettia"'
    assert open_line in text
    path.write_text(text.replace(open_line, open_line.removeprefix("# ")), encoding="utf-8")
    (site,) = load_settings(home).sites
    assert site.exports[-1].values["crop"] == {"Poinsettia Red Comet": "poinsettia"}


def test_without_yes_nothing_is_written(home: Path, export: Callable[[str, bytes], Path]) -> None:
    before = (home / SITE_FILE).read_bytes()
    answers = ["--answer", "unit.ec=µS/cm", "--answer", "mode=increment"]
    ran = run_cli("adopt", home, "first-site", export("Messwerte.csv", READINGS), *answers)
    assert ran.code == 0
    assert "add --yes" in ran.out
    assert "sampled_on 2026-04-03" in ran.out
    assert (home / SITE_FILE).read_bytes() == before


def test_the_extraction_method_goes_above_the_tables(
    home: Path, export: Callable[[str, bytes], Path]
) -> None:
    path = home / SITE_FILE
    before = path.read_bytes().replace(b'\nextraction_method = "pour-through"\n', b"\n")
    path.write_bytes(before)
    file = export("Messwerte.csv", READINGS)
    answers = {"unit.ec": "µS/cm", "mode": "increment"}
    assert {one.key for one in adopt_file(home, "first-site", file, None, answers).proposal.questions} == {
        "extraction_method"
    }
    append_block(
        home, adopt_file(home, "first-site", file, None, answers | {"extraction_method": "1:2 dilution"})
    )
    (site,) = load_settings(home).sites
    assert site.extraction_method == "1:2 dilution"
    lines = path.read_text(encoding="utf-8").splitlines()
    assert [line for line in before.decode().splitlines() if line not in lines] == []


def test_the_same_columns_under_another_name_are_noted(
    home: Path, export: Callable[[str, bytes], Path]
) -> None:
    answers = ("--answer", "mode=cumulative", "--yes")
    first = run_cli("adopt", home, "first-site", export("Crop List.csv", CROPS), *answers)
    assert "Note:" not in first.out
    second = run_cli("adopt", home, "first-site", export("Spring crops.csv", CROPS), *answers)
    number = len(load_settings(home).sites[0].exports) - 1
    note = f'Note: [[export]] {number} of site.toml reads lots with these columns from "drop/Crop List.csv". If this is'
    assert note in second.out


def test_a_pattern_that_would_take_other_files_becomes_the_name(
    home: Path, export: Callable[[str, bytes], Path]
) -> None:
    (home / SITE_FILE).write_text(
        (home / SITE_FILE)
        .read_text(encoding="utf-8")
        .replace("drop/readings*.csv", "drop/log_extra_2026.csv"),
        encoding="utf-8",
    )
    (home / "sites/first-site/drop/log_extra_2026.csv").write_bytes(b"x")
    file = export("log_extra_2025.csv", READINGS)
    proposal = adopt_file(home, "first-site", file, None, {"unit.ec": "µS/cm"}).proposal
    assert proposal.export.files == "drop/log_extra_2025.csv"


def test_a_settings_file_changed_in_between_is_left_alone(
    home: Path, export: Callable[[str, bytes], Path]
) -> None:
    answers = {"unit.ec": "µS/cm", "mode": "increment"}
    adoption = adopt_file(home, "first-site", export("Messwerte.csv", READINGS), None, answers)
    changed = (home / SITE_FILE).read_bytes() + b"# mine\n"
    (home / SITE_FILE).write_bytes(changed)
    with pytest.raises(AdoptError, match="changed in the meantime"):
        append_block(home, adoption)
    assert (home / SITE_FILE).read_bytes() == changed


def _xlsx() -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as packed:
        packed.writestr("xl/workbook.xml", "<workbook/>")
    return stream.getvalue()


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "is empty"),
        (b"\n;;;\n", "is empty"),
        (_xlsx(), "save it as CSV"),
        (b"\xd0\xcf\x11\xe0" + bytes(50), "save it as CSV"),
        (b"%PDF-1.7\n", "is a PDF"),
        (bytes(range(256)) * 4, "no text"),
        (b"<html><table><tr><td>pH</td></tr></table></html>", "web page"),
        (b"Date;Lot;pH;EC (mS/cm)\n", "a header and no data"),
        (b"A-1,2026-04-02,5.8,2.1\nA-2,2026-04-02,5.9,2.2\n", "has no header: line 1, where the names"),
        (b"just a line of words\nand another one\n", "no comma, semicolon, tab or bar"),
    ],
)
def test_what_is_no_export_is_one_sentence(
    home: Path, export: Callable[[str, bytes], Path], data: bytes, sentence: str
) -> None:
    ran = run_cli("adopt", home, "first-site", export("file.csv", data))
    assert ran.code == 2
    assert sentence in ran.err
    assert len(ran.err.strip().splitlines()) == 1


def test_a_site_a_file_and_an_answer_that_are_not_there(
    home: Path, export: Callable[[str, bytes], Path]
) -> None:
    file = export("Messwerte.csv", READINGS)
    for arguments, sentence in (
        (("elsewhere", file), "is no site of this home"),
        (("first-site", file.with_name("no.csv")), "cannot be read"),
        (("first-site", file.parent), "is no file"),
        (("first-site", file, "--answer", "mode"), "KEY=VALUE"),
        (("first-site", file, "--answer", "mode=weekly"), "must be one of"),
    ):
        ran = run_cli("adopt", home, *arguments)
        assert ran.code == 2
        assert sentence in ran.err


def _on_a_terminal(arguments: list[object], typed: str) -> tuple[int, str]:
    """Run the command on a terminal of its own and type the answers."""
    main_end, terminal = pty.openpty()
    command = [sys.executable, "-m", "pipeline.cli", *(str(one) for one in arguments)]
    with subprocess.Popen(command, stdin=terminal, stdout=terminal, stderr=terminal, cwd=ROOT) as process:
        os.close(terminal)
        os.write(main_end, typed.encode())
        shown = b""
        while True:
            try:
                piece = os.read(main_end, 4096)
            except OSError:  # how Linux says that the other end is closed
                break
            if not piece:
                break
            shown += piece
        os.close(main_end)
        code = process.wait()
    return code, shown.decode("utf-8", "replace")


def test_on_a_terminal_questions_are_asked(home: Path, export: Callable[[str, bytes], Path]) -> None:
    file = export("Messwerte.csv", READINGS)
    # A wrong answer is asked for again; an empty one takes what is proposed.
    code, shown = _on_a_terminal(["adopt", home, "first-site", file], "litres\nppm 700\n\ny\n")
    assert code == 0, shown
    assert "µS/cm or ppm?" in shown
    assert "Appended to" in shown
    export_settings = load_settings(home).sites[0].exports[-1]
    assert export_settings.columns["ec"].unit == "ppm 700"
    assert export_settings.mode == "increment"


@pytest.mark.parametrize(("typed", "unit"), [("1", "µS/cm"), ("us/cm", "µS/cm"), ("9\n2", "ppm 500")])
def test_on_a_terminal_a_number_or_any_keyboard_will_do(
    home: Path, export: Callable[[str, bytes], Path], typed: str, unit: str
) -> None:
    file = export("Messwerte.csv", READINGS)
    code, shown = _on_a_terminal(["adopt", home, "first-site", file], f"{typed}\n1\ny\n")
    assert code == 0, shown
    assert load_settings(home).sites[0].exports[-1].columns["ec"].unit == unit


def test_choices_that_are_numbers_are_not_taken_by_their_place() -> None:
    question = Question("title_lines", "how many?", (Choice("2", ""), Choice("1", "")))
    assert pick(question, "1") == "1"
    assert pick(question, "3") is None


def test_on_a_terminal_nothing_is_written_without_a_yes(
    home: Path, export: Callable[[str, bytes], Path]
) -> None:
    before = (home / SITE_FILE).read_bytes()
    code, shown = _on_a_terminal(
        ["adopt", home, "first-site", export("Messwerte.csv", READINGS)], "µS/cm\n\nn\n"
    )
    assert code == 0, shown
    assert "Nothing was written" in shown
    assert (home / SITE_FILE).read_bytes() == before
