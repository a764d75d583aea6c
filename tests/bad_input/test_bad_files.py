"""One night over a drop folder full of bad files: each is named in one clear sentence, and the rest is done."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest

from pipeline.reports.summary import Site
from tests.bad_input.bad_home import make_bad_home
from tests.conftest import Share
from tests.home import (
    DAY,
    DROP,
    READINGS_HEADER,
    Ran,
    find_lot,
    make_home,
    night_by_command,
    only_site,
    read_summary,
    run_cli,
)

FILE_SENTENCES = {
    "readings_empty.csv": ("hold", "the file is empty; export the file again."),
    "readings_header.csv": (
        "note",
        (
            "only a header and no data in 1 line; nothing to do if the site had nothing to report, otherwise "
            "export the file again."
        ),
    ),
    "readings_renamed.csv": (
        "hold",
        (
            'the header on line 1 has no column "EC (mS/cm)" (the nearest header is "EC mS/cm"); '
            "name the columns as they are now under [export.columns] in site.toml, the older names as "
            "other_names, or restore the old header."
        ),
    ),
    "readings_encoding.csv": (
        "hold",
        (
            'the byte FC at line 2 is not utf-8; set encoding = "cp1252" in site.toml, which reads it, '
            "or export the file as utf-8."
        ),
    ),
    "readings_utf16.csv": (
        "hold",
        (
            "the bytes FF FE at the start of line 1 are the mark of utf-16, not of utf-8; "
            'set encoding = "utf-16" in site.toml, which reads it, or export the file as utf-8.'
        ),
    ),
    "readings_delimiter.csv": (
        "hold",
        (
            'the header on line 1 is not divided by a comma ","; a semicolon ";" would divide it into 9 of the '
            '9 columns that are looked for; set delimiter = ";" in site.toml, or export the file as before.'
        ),
    ),
    "readings_folder.csv": (
        "hold",
        "a folder stands where a file should be; take the folder away or rename it.",
    ),
    "readings_dangling.csv": (
        "hold",
        'the link leads to "gone.csv", which is not there; put the file there or take the link away.',
    ),
    "readings_loop.csv": ("hold", "the link leads to itself; take the link away."),
    "readings_outside.csv": (
        "hold",
        "the link leads out of the site's folder; put the file itself into the drop folder.",
    ),
    "readings_pipe.csv": (
        "hold",
        "it is a pipe or a device, not a file; put the export there as a file.",
    ),
    "readings_\\udcff.csv": ("hold", "the file's name is not utf-8; rename the file."),
    "notes.txt": (
        "note",
        (
            "no [[export]] of site.toml takes this file; let leachbook adopt propose one for it, "
            "widen the files pattern of one that fits, or take the file away."
        ),
    ),
}

LINE_SENTENCES = {
    ("readings_ragged.csv", 7): (
        (
            "1 line: 6 cells stand here and the header has 9; make both agree, or put a cell that holds the "
            "delimiter in quotation marks."
        ),
        "Give the line as many cells as the header has; a delimiter inside a text needs quotes.",
    ),
    ("readings_nul.csv", 7): (
        "1 line: 1 zero byte stands in this record, which no text has; export the file again.",
        "Export the file again as plain text.",
    ),
    ("readings_quote.csv", 2): (
        (
            "1 line: a quotation mark is opened here and not properly closed; a quotation mark inside a cell is "
            "written twice and the cell put in quotation marks."
        ),
        "Close the quotation mark in the line, or double it inside a text.",
    ),
    ("lots.csv", 4): (
        (
            '1 line: the column "Potted" is blank; write the day on which the lot was sown, stuck, potted or '
            "transplanted."
        ),
        "Fill in the empty cell where the export is made and send the file again.",
    ),
    ("readings_no_start.csv", 2): (
        "5 lines: lot H-3 stands in the lot list on a line that cannot be used.",
        "Mend the line of lot H-3 in the lot list; the lines are then taken up by themselves.",
    ),
    ("readings_scale.csv", 2): (
        "1 line: EC 2150 mS/cm is above 20 mS/cm; it looks like µS/cm.",
        "Correct the cell, or the unit of the EC column in site.toml.",
    ),
    ("readings_cells.csv", 2): (
        '1 line: Date "12.03.2026" is not a date; write it like 2026-04-25.',
        "Correct the cell, or the date format of the export in site.toml.",
    ),
    ("readings_cells.csv", 3): (
        (
            '1 line: pH "5,8" has a decimal comma where this export writes a decimal point; write it like 5.8, '
            "or change decimal in site.toml."
        ),
        "Correct the cell where the export is made and send the file again.",
    ),
    ("readings_renamed.csv", 2): (
        (
            "drop/readings_renamed.csv: the whole file is held, 5 lines. The header on line 1 has no column "
            '"EC (mS/cm)" (the nearest header is "EC mS/cm").'
        ),
        (
            "Name the columns as they are now under [export.columns] in site.toml, the older names as "
            "other_names, or restore the old header."
        ),
    ),
}


def _build(home: Path) -> None:
    make_bad_home(home)
    ran = run_cli("nightly", home, "--as-of", DAY)
    facts = {"code": ran.code, "out": ran.out, "err": ran.err}
    home.with_name(f"{home.name}.ran").write_text(json.dumps(facts), encoding="utf-8")


@pytest.fixture(scope="module")
def bad_home(share: Share) -> Path:
    return share("bad-input", _build)


@pytest.fixture(scope="module")
def ran(bad_home: Path) -> Ran:
    return Ran(**json.loads(bad_home.with_name(f"{bad_home.name}.ran").read_text(encoding="utf-8")))


@pytest.fixture(scope="module")
def site(bad_home: Path) -> Site:
    return only_site(read_summary(bad_home))


def test_the_night_ends_with_1_because_something_is_held(ran: Ran) -> None:
    assert ran.code == 1
    assert "Traceback" not in ran.out + ran.err


@pytest.mark.parametrize("name", FILE_SENTENCES)
def test_a_bad_file_is_named_in_one_sentence_that_says_the_mend(site: Site, ran: Ran, name: str) -> None:
    level, sentence = FILE_SENTENCES[name]
    found = [(one.level, one.sentence) for one in site.findings if one.file == f"drop/{name}"]
    assert found == [(level, f"drop/{name}: {sentence}")]
    assert f"  Hill: drop/{name}: {sentence}\n" in ran.out


def test_no_other_file_is_complained_of(site: Site) -> None:
    assert {one.file for one in site.findings} == {f"drop/{name}" for name in FILE_SENTENCES}


@pytest.mark.parametrize(("name", "line"), LINE_SENTENCES)
def test_a_bad_line_is_held_with_reason_and_mend(bad_home: Path, name: str, line: int) -> None:
    held = run_cli("held", bad_home, "--json").json
    (cause,) = [
        cause
        for cause in held
        if (f"drop/{name}", line) in [(one["file"], one["line"]) for one in cause["lines"]]
    ]
    assert (cause["sentence"], cause["mend"]) == LINE_SENTENCES[name, line]


def test_the_good_lines_of_files_with_bad_ones_are_taken(site: Site) -> None:
    lot = next(lot for lot in site.lots if lot.lot_id == "H-1")
    usable = {str(one.sampled_on): one.ph.n for one in lot.samplings}
    assert usable["2026-03-07"] == 5  # beside a ragged line
    assert usable["2026-03-09"] == 5  # beside a line with a zero byte
    assert usable["2026-03-11"] == 5  # below a quotation mark that is never closed


def test_a_line_break_in_quotation_marks_belongs_to_its_cell(site: Site) -> None:
    lot = next(lot for lot in site.lots if lot.lot_id == "H-1")
    (sampling,) = [one for one in lot.samplings if str(one.sampled_on) == "2026-03-10"]
    assert sampling.ph.n == 6
    assert sampling.pots[-1].line == 7
    lines = next(one for one in site.files_tonight if one.name == "drop/readings_two_lines.csv")
    assert (lines.lines, lines.records) == (8, 7)


def test_every_physical_line_has_one_fate(site: Site) -> None:
    lines = site.lines
    fates = (
        lines.accepted,
        lines.held,
        lines.repeated,
        lines.superseded,
        lines.withdrawn,
        lines.not_data,
    )
    assert sum(fates) == lines.records == sum(one.records for one in site.files_tonight)
    assert lines.lines == sum(one.lines for one in site.files_tonight) == lines.records + 1
    assert lines.held == sum(cause.records for cause in site.held)


def test_the_rest_of_the_night_is_done(bad_home: Path) -> None:
    summary = read_summary(bad_home)
    for lot_id in ("H-1", "H-2"):
        assert str(find_lot(summary, lot_id).last_counting_on) == "2026-04-02"
    pages = bad_home / "out" / "latest"
    for name in ("overview.html", "overview.pdf", "sites/hill.html", "sites/hill.pdf"):
        assert (pages / name).stat().st_size > 5000


def test_held_prints_no_control_characters(bad_home: Path) -> None:
    told = run_cli("held", bad_home, "--all")
    assert told.code == 0
    assert "5.�8" in told.out
    assert all(letter.isprintable() or letter == "\n" for letter in told.out)


def test_the_same_bad_files_bring_the_same_night_again(bad_home: Path, tmp_path: Path) -> None:
    home = tmp_path / "home"
    shutil.copytree(bad_home, home, symlinks=True, ignore=shutil.ignore_patterns("*pipe.csv"))
    os.mkfifo(home / DROP / "readings_pipe.csv")
    again = run_cli("nightly", home, "--as-of", DAY)
    assert again.code == 1
    assert "nothing new loaded" in again.out


def test_a_header_alone_holds_nothing(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", **{"readings_2026-04-05.csv": READINGS_HEADER})
    ran = night_by_command(home, DAY)
    assert ran.code == 0
    assert "drop/readings_2026-04-05.csv: only a header and no data in 1 line; nothing to do" in ran.out
