"""Held lines as the command lists them: by site and cause, each with what would release it."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from pipeline.held import SHOWN, HeldGroup, list_held, list_not_data, tell_held, tell_not_data
from pipeline.reports.summary import HeldExample
from pipeline.settings import load_settings
from tests.home import make_home, night, run_cli


def group(lines: int) -> HeldGroup:
    return HeldGroup(
        site_id="hill",
        cause="lot_unknown",
        what="H-9",
        sentence=f"{lines} lines: lot H-9 is in no lot list.",
        mend="Send the lot list with H-9.",
        lines=[HeldExample(file="drop/r.csv", line=at, text=f"H-9,{at}") for at in range(2, lines + 2)],
    )


def test_nothing_held_is_said() -> None:
    assert tell_held([], show_all=False) == ["No line is held."]


def test_a_cause_is_told_with_its_mend_and_lines() -> None:
    assert tell_held([group(2)], show_all=False) == [
        "hill: 2 lines: lot H-9 is in no lot list.",
        "  Send the lot list with H-9.",
        "    drop/r.csv line 2: H-9,2",
        "    drop/r.csv line 3: H-9,3",
    ]


def test_a_long_list_is_cut_and_says_how_to_see_it_all() -> None:
    told = tell_held([group(SHOWN + 3)], show_all=False)
    assert len(told) == 2 + SHOWN + 1
    assert told[-1] == "    and 3 more; leachbook held --all lists them"
    assert len(tell_held([group(SHOWN + 3)], show_all=True)) == 2 + SHOWN + 3


def test_what_would_steer_a_terminal_is_not_printed() -> None:
    line = HeldExample(file="drop/r.csv", line=2, text="H-9\x1b[2J\x00,5,8é\tend")
    told = tell_held([group(1).model_copy(update={"lines": [line]})], show_all=True)
    assert told[-1] == "    drop/r.csv line 2: H-9�[2J�,5,8é\tend"


CAUSES = {
    "site_id": ["hill", "hill", "closed"],
    "cause": ["lot_unknown", "before_start", "lot_unknown"],
    "what": ["H-9", "H-1", "C-1"],
    "detail": [None, "sampled on 2026-02-01", None],
    "records": [1, 2, 1],
}


def test_causes_are_sorted_by_site_and_number_of_lines(tmp_path: Path) -> None:
    causes = pl.DataFrame(CAUSES).with_columns(
        fitting_lots=pl.lit(None, pl.Int64),
        started_on=pl.lit("2026-03-02").str.to_date(),
        ends_on=pl.lit(None, pl.Date),
        file_mend=pl.lit(None, pl.String),
        export_kind=pl.lit("readings"),
        likeness=pl.lit(""),
    )
    lines = pl.DataFrame(
        {
            "site_id": ["hill", "hill", "hill", "closed"],
            "cause": ["lot_unknown", "before_start", "before_start", "lot_unknown"],
            "what": ["H-9", "H-1", "H-1", "C-1"],
            "likeness": [""] * 4,
            "file": ["drop/a.csv"] * 4,
            "line": [2, 3, 4, 2],
            "text": ["x"] * 4,
        }
    )
    groups = list_held(causes, lines, load_settings(make_home(tmp_path / "home")))
    assert [(one.site_id, one.what, len(one.lines)) for one in groups] == [
        ("closed", "C-1", 1),  # a site that the settings no longer have is still told
        ("hill", "H-1", 2),
        ("hill", "H-9", 1),
    ]
    assert groups[1].sentence == (
        "2 lines of lot H-1, for example sampled on 2026-02-01: before the lot started on 2026-03-02."
    )


def test_files_of_which_no_line_can_be_listed_are_told_too(tmp_path: Path) -> None:
    home = make_home(tmp_path / "home", **{"readings_2026-04-02.csv": "", "other.csv": "a,b\n1,2\n"})
    night(home)
    told = run_cli("held", home).out.splitlines()
    assert told == [
        "hill: drop/readings_2026-04-02.csv: the file is empty.",
        "  Export the file again.",
        "hill: drop/other.csv: no [[export]] of site.toml takes this file.",
        "  Let leachbook adopt propose one for it, widen the files pattern of one that fits, or take the file away.",
    ]


def test_the_demo_s_held_lines_are_those_of_its_files(demo_home: Path) -> None:
    held = run_cli("held", demo_home, "--json").json
    lines = [(group["site_id"], line) for group in held for line in group["lines"]]
    assert len(lines) == 28
    encodings = {"erlenwerth": "cp1252"}
    for site, line in lines:
        path = demo_home / "sites" / site / line["file"]
        text = path.read_text(encoding=encodings.get(site, "utf-8-sig")).splitlines()[line["line"] - 1]
        assert text == line["text"]


@pytest.mark.parametrize("flag", ["--all", None])
def test_the_command_lists_all_or_the_first_five(demo_home: Path, flag: str | None) -> None:
    told = run_cli("held", demo_home, *([flag] if flag else [])).out.splitlines()
    shown = [line for line in told if line.startswith("    drop/")]
    assert len(shown) == (28 if flag else 21)


def test_lines_that_are_no_data_are_told_with_their_rule() -> None:
    files = pl.DataFrame(
        {
            "site_id": ["hill"] * 2,
            "file_id": [1, 2],
            "file": ["a", "b"],
            "blank": [2, 1],
            "blank_at": [[3, 4], [2]],
            "not_filled_in": [0, 3],
            "not_filled_in_at": [[], [5, 6, 9]],
        }
    )
    lines = pl.DataFrame(
        {"file_id": [1, 1], "line": [1, 9], "rule": ["header", "total"], "text": ["Lot,pH", "Total\x1b,5"]}
    )
    listed = list_not_data(files, lines)
    assert tell_not_data(listed) == [
        "hill: a",
        "    line 1, header: Lot,pH",
        "    line 9, total: Total�,5",
        "    lines 3-4, blank",
        "hill: b",
        "    line 2, blank",
        "    lines 5-6, 9 of the sheet, not filled in",
    ]
    assert tell_not_data([]) == ["Every line of the newest files is data."]


def test_the_command_lists_what_is_no_data(demo_home: Path) -> None:
    told = run_cli("held", demo_home, "--not-data").out
    found = run_cli("held", demo_home, "--not-data", "--json").json
    rules = {one["rule"] for file in found for one in file["lines"]}
    assert {"header", "total"} <= rules
    assert not rules & {"data", "blank"}
    assert all(f"line {one['line']}, {one['rule']}: " in told for file in found for one in file["lines"])
