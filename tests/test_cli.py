"""The command line: help, machine-readable answers, and one sentence with exit code 2 for whatever cannot be run."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from pipeline.cli import cli
from pipeline.warehouse.connect import night_copy, publish, seal
from tests.conftest import ROOT, run_process
from tests.home import DAY, DROP, READINGS_HEADER, SITE, Ran, drop, make_home, pots, run_cli

COMMANDS = sorted(cli.commands)


def one_sentence(ran: Ran) -> str:
    """What a command that could not run said, after checking how it said it."""
    assert ran.code == 2
    assert ran.out == ""
    sentence = ran.err.removesuffix("\n")
    assert "\n" not in sentence
    assert sentence.endswith(".")
    return sentence


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_an_example(command: str) -> None:
    ran = CliRunner().invoke(cli, [command, "--help"])
    assert ran.exit_code == 0
    (example,) = re.findall(r"Example: leachbook (\S+)", ran.output)
    assert example == command


def test_the_examples_of_the_help_are_accepted_by_their_commands() -> None:
    for name, command in cli.commands.items():
        (example,) = re.findall(r"Example: leachbook \S+ ?(.*)", command.help or "")
        command.make_context(name, example.split())


def test_the_help_names_every_command() -> None:
    ran = run_cli("--help")
    assert ran.code == 0
    assert all(re.search(rf"^  {command} ", ran.out, re.MULTILINE) for command in COMMANDS)


def test_the_installed_command_says_its_version() -> None:
    ran = run_process("--version")
    assert (ran.code, ran.err) == (0, "")
    assert re.fullmatch(r"leachbook, version \d+\.\d+\S*\n", ran.out)


@pytest.mark.parametrize(
    "arguments",
    [
        ("nightly", "HOME", "--as-of", DAY),
        ("status", "HOME"),
        ("held", "HOME"),
        ("trace", "HOME", "hill", "H-1"),
    ],
)
def test_json_is_all_that_stands_on_standard_output(home: Path, arguments: tuple[object, ...]) -> None:
    ran = run_cli(*(home if one == "HOME" else one for one in arguments), "--json")
    assert ran.code == 0
    assert isinstance(ran.json, dict if arguments[0] != "held" else list)


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (("nightly", "HOME", "--as-of", "2099-01-01"), "lies in the future"),
        (("nightly", "HOME", "--as-of", "soon"), "is no day that can be read here"),
        (("status", "NOWHERE"), "there is no home there"),
        (("held", "NOWHERE"), "NOWHERE"),
        (("trace", "HOME", "hill", "H-7"), "Hill has no lot H-7"),
        (("trace", "HOME", "mill"), "There is no site mill"),
        (("sheet", "HOME", "mill"), "There is no site mill"),
        (("adopt", "HOME", "hill", "gone.csv"), "gone.csv: cannot be read"),
        (("verify", "NOWHERE"), "NOWHERE is not a folder"),
        (("rebuild", "NOWHERE"), "NOWHERE is not a folder"),
        (("demo", "HOME"), "HOME"),
    ],
)
def test_an_error_is_an_object_for_machines_too(
    home: Path, tmp_path: Path, arguments: tuple[str, ...], part: str
) -> None:
    places = {"HOME": str(home), "NOWHERE": str(tmp_path / "nowhere")}
    ran = run_cli(*(places.get(one, one) for one in arguments), "--json")
    assert (ran.code, set(ran.json)) == (2, {"error", "exit_code"})
    sentence = ran.json["error"]
    assert sentence in ran.err
    for name, place in places.items():
        part = part.replace(name, place)
    assert part in sentence
    assert run_cli(*(places.get(one, one) for one in arguments)).out == ""


def test_status_for_machines_tells_a_missing_warehouse_beside_the_rest(home: Path) -> None:
    warehouse = home / "warehouse.duckdb"
    warehouse.rename(home / "aside")
    try:
        ran = run_cli("status", home, "--json")
    finally:
        (home / "aside").rename(warehouse)
    assert (ran.code, ran.json["as_of"], ran.json["exit_code"]) == (2, "2026-04-06", 2)
    assert "the file is gone" in ran.json["error"]


def test_the_answer_stands_on_standard_output_and_progress_on_standard_error(home: Path) -> None:
    ran = run_process("nightly", home, "--as-of", DAY)
    assert ran.code == 0
    assert "Looking into the drop folder of Hill" in ran.err
    assert "Looking" not in ran.out
    assert ran.out.splitlines()[-1] == f"Pages: {home}/out/2026-04-06/overview.html"


def test_status_says_who_needs_what(home: Path) -> None:
    first, ended, *rest = run_cli("status", home).out.splitlines(keepends=True)
    assert first == "Small group: last good night as of 2026-04-06.\n"
    assert ended.startswith("It ended 2026-11-01 04:00 UTC: collect 0.")
    assert "".join(rest) == (
        "2 lots at 1 site: 0 act, 0 no current reading, 0 watch, 2 OK.\n"
        "Next samplings: 0 overdue, 0 never sampled, 0 due this week, 0 excused; 0 pots this week, about 0 min.\n"
    )


def test_status_for_machines_names_sites_and_lots(home: Path) -> None:
    told = run_cli("status", home, "--json").json
    assert told["as_of"] == "2026-04-06"
    assert told["sites"][0]["last_received_on"] == "2026-04-06"
    assert told["lots"] == []
    assert (told["sites"][0]["pots_this_week"], told["sites"][0]["minutes_this_week"]) == (0, 0.0)


def test_new_makes_a_home_that_a_night_runs_on(tmp_path: Path) -> None:
    """Nobody has sent anything yet: that is quiet, so the night ends with 1 and says it."""
    home = tmp_path / "mine"
    made = run_process("new", home)
    assert (made.code, made.err) == (0, "")
    assert made.out.splitlines()[0] == f"{home} is ready."
    assert run_cli("new", home).code == 2
    ran = run_cli("nightly", home, "--json")
    assert ran.code == 1
    assert (ran.json["silent_sites"], ran.json["held_lines"]) == (["first-site"], 0)


def test_a_night_with_held_lines_ends_with_1(home: Path) -> None:
    drop(home, "readings_2026-04-05.csv", READINGS_HEADER + pots("H-9", "2026-04-05", ("5.8",)))
    ran = run_cli("nightly", home, "--as-of", DAY)
    assert ran.code == 1
    assert "  1 line held for 1 cause: leachbook held lists them.\n" in ran.out


def commands_on(home: Path) -> list[tuple[object, ...]]:
    return [
        ("nightly", home),
        ("status", home),
        ("held", home),
        ("trace", home, "hill", "H-1"),
    ]


@pytest.mark.parametrize("which", range(4))
def test_a_home_that_is_not_there(tmp_path: Path, which: int) -> None:
    arguments = commands_on(tmp_path / "gone")[which]
    assert str(tmp_path / "gone") in one_sentence(run_cli(*arguments))
    assert not (tmp_path / "gone").exists()


@pytest.mark.parametrize("which", range(4))
def test_an_empty_folder_is_no_home(tmp_path: Path, which: int) -> None:
    arguments = commands_on(tmp_path)[which]
    assert str(tmp_path) in one_sentence(run_cli(*arguments))
    assert list(tmp_path.iterdir()) == []


def test_a_home_that_is_a_file(tmp_path: Path) -> None:
    path = tmp_path / "home"
    path.touch()
    ran = run_cli("nightly", path)
    assert ran.code == 2
    assert f"Directory '{path}' is a file." in ran.err
    assert "Traceback" not in ran.err


@pytest.mark.parametrize("which", range(1, 4))
def test_a_home_without_a_night_yet(tmp_path: Path, which: int) -> None:
    home = make_home(tmp_path / "home")
    sentence = one_sentence(run_cli(*commands_on(home)[which]))
    assert sentence.endswith((f"leachbook nightly {home} first.", f"`leachbook nightly {home}` first."))
    assert "no night has been run yet" in sentence


def test_settings_that_are_no_toml(home: Path) -> None:
    (home / "leachbook.toml").write_text('name = "Small\n', encoding="utf-8")
    ran = run_cli("nightly", home)
    assert (ran.code, ran.out) == (2, "")
    assert ran.err == (
        "There is 1 mistake in the settings:\n"
        "  leachbook.toml: line 1, column 14: this is not TOML: Illegal character '\\n'; "
        "write key = value, text in quotes, lists in brackets, each key once\n"
    )


def test_all_mistakes_of_all_settings_files_are_told_at_once(home: Path) -> None:
    (home / "policy.toml").write_text(
        "[[policy]]\nvalid_from = 2026-01-01\nact_in_row = 3\n", encoding="utf-8"
    )
    (home / "sites" / "hill" / "site.toml").write_text(SITE.replace('"mS/cm"', '"mS"'), encoding="utf-8")
    ran = run_cli("nightly", home)
    assert ran.code == 2
    head, *problems = ran.err.splitlines()
    assert head == "There are 2 mistakes in the settings:"
    assert "act_in_a_row" in problems[0]
    assert "mS/cm" in problems[1]


def test_an_as_of_date_that_is_no_date(home: Path) -> None:
    ran = run_cli("nightly", home, "--as-of", "6.4.2026")
    assert ran.code == 2
    assert "'6.4.2026' is no day that can be read here; write it like 2026-11-20." in ran.err


@pytest.mark.parametrize(
    ("day", "words"),
    [
        ("2999-01-01", "--as-of 2999-01-01 lies in the future (today is "),
        ("2026-04-05", "--as-of 2026-04-05 is before the newest night of this home (2026-04-06); "),
    ],
)
def test_an_as_of_date_that_cannot_be(home: Path, day: str, words: str) -> None:
    assert one_sentence(run_cli("nightly", home, "--as-of", day)).startswith(words)


def test_a_site_or_lot_that_is_not_there_brings_the_nearest(home: Path) -> None:
    assert one_sentence(run_cli("trace", home, "hil", "H-1")) == (
        "There is no site hil: the nearest is hill; there are hill."
    )
    assert one_sentence(run_cli("trace", home, "hill", "H1")) == (
        "Hill has no lot H1 in its lot list: the nearest is H-1; there are H-1, H-2."
    )
    assert one_sentence(run_cli("trace", home, "hill", "H-1", "--on", "2026-04-01")) == (
        "Lot H-1 at Hill was not sampled on 2026-04-01; give one of its days with --on: 2026-04-02."
    )


def test_a_lot_without_any_sampling(tmp_path: Path) -> None:
    home = make_home(
        tmp_path / "home", **{"readings_2026-04-02.csv": READINGS_HEADER + pots("H-2", "2026-04-02", ("6",))}
    )
    assert run_cli("nightly", home, "--as-of", DAY).code == 0
    traced = run_cli("trace", home, "hill", "H-1")
    assert (traced.code, "No sampling yet\n" in traced.out) == (0, True)
    assert "  no current reading: No sampling that counts since the lot started 35 days ago.\n" in traced.out
    assert "      2026-04-06 - 2026-03-02 = 35 days; a first sampling within 7\n" in traced.out
    asked = run_cli("trace", home, "hill", "H-1", "--on", DAY)
    assert one_sentence(asked) == "Lot H-1 at Hill has not been sampled yet."


@pytest.mark.parametrize("which", [0, 2, 3])
def test_a_warehouse_that_was_overwritten(home: Path, which: int) -> None:
    path = home / "warehouse.duckdb"
    path.write_bytes(b"not a warehouse\n" * 400)
    sentence = one_sentence(run_cli(*commands_on(home)[which]))
    assert sentence.startswith(f"{path}: cannot be read as a warehouse (")
    assert sentence.endswith("which makes it anew from the archive.")
    assert path.read_bytes().startswith(b"not a warehouse")


@pytest.mark.parametrize("damage", ["gone", "cut", "altered"])
def test_pages_stand_when_the_warehouse_is_damaged_and_status_says_so(home: Path, damage: str) -> None:
    path = home / "warehouse.duckdb"
    whole = path.read_bytes()
    told = run_cli("status", home).out
    if damage == "gone":
        path.unlink()
    elif damage == "cut":
        path.write_bytes(whole[:-4096])
    else:
        path.write_bytes(whole[:-1] + bytes([whole[-1] ^ 1]))
    ran = run_cli("status", home)
    assert (ran.code, ran.out) == (2, told)
    assert ran.err.startswith(f"{path}: ")
    assert ran.err.endswith(f"run `leachbook rebuild {home}`, which makes it anew from the archive.\n")


def test_status_of_what_is_no_home(tmp_path: Path) -> None:
    assert one_sentence(run_cli("status", tmp_path / "nothing")) == (
        f"{tmp_path}/nothing: there is no home there; give the folder that has leachbook.toml in it."
    )


def test_a_day_in_another_form_is_answered_with_the_right_one(home: Path) -> None:
    ran = run_cli("nightly", home, "--as-of", "20.11.2026")
    assert ran.code == 2
    assert "'20.11.2026' is no day that can be read here; write it like 2026-11-20." in ran.err


def test_a_warehouse_of_a_newer_version(home: Path) -> None:
    with night_copy(home) as (connection, working):
        connection.execute("insert into schema_migrations values ('999_far_future')")
        seal(connection, working)
        publish(working, home)
    assert one_sentence(run_cli("nightly", home)) == (
        "The warehouse was made by a newer Leachbook (it knows 999_far_future); install that version again."
    )


def test_a_ledger_that_was_changed_is_not_continued(home: Path) -> None:
    ledger = home / "archive" / "ledger.jsonl"
    ledger.write_text(ledger.read_text(encoding="utf-8").replace("lots.csv", "lost.csv"), encoding="utf-8")
    drop(home, "readings_2026-04-05.csv", READINGS_HEADER + pots("H-1", "2026-04-05", ("5.8",)))
    published = [home / "out" / "latest" / "summary.json", home / "warehouse.duckdb"]
    before = [path.read_bytes() for path in published]
    sentence = one_sentence(run_cli("nightly", home, "--as-of", DAY))
    assert sentence.startswith(f"{ledger} line 3: the entry does not follow from the one before")
    assert [path.read_bytes() for path in published] == before


def test_a_summary_that_is_damaged(home: Path) -> None:
    path = home / "out" / "2026-04-06" / "summary.json"
    path.write_text('{"night": 1}', encoding="utf-8")
    sentence = one_sentence(run_cli("status", home))
    assert sentence == f"{home}/out/latest/summary.json: cannot be read; run leachbook nightly {home} again."
    assert run_cli("nightly", home, "--as-of", DAY).code == 0
    assert run_cli("status", home).code == 0


def test_a_pages_folder_that_is_a_file(home: Path) -> None:
    shutil.rmtree(home / "out")
    (home / "out").touch()
    ran = run_cli("nightly", home, "--as-of", DAY)
    assert ran.code == 2
    assert ran.err.splitlines()[-1].startswith(f"{home}/out/2026-04-06: no pages can be written there (")


def test_a_reader_that_goes_away_is_no_error(home: Path) -> None:
    """As in `leachbook held HOME --all | head -1`."""
    drop(home, "readings_2026-04-05.csv", READINGS_HEADER + pots("H-9", "2026-04-05", ("5.8",) * 3000))
    run_cli("nightly", home, "--as-of", DAY)
    with subprocess.Popen(
        [sys.executable, "-m", "pipeline.cli", "held", str(home), "--all"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        first = process.stdout.readline()
        process.stdout.close()
        errors = process.stderr.read()
    assert first == "hill: 3000 lines: lot H-9 is in no lot list.\n"
    assert errors == ""


def test_an_interrupted_command_says_that_it_stopped(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("pipeline.nightly.run_night", interrupt)
    ran = run_cli("nightly", home)
    assert (ran.code, ran.out, ran.err.strip()) == (130, "", "Stopped.")


def test_every_command_of_the_design_s_first_night_is_there() -> None:
    assert {"new", "nightly", "status", "held", "trace", "demo"} <= set(COMMANDS)
    for name in ("nightly", "status", "held", "trace", "demo"):
        options = [one for one in cli.commands[name].params if isinstance(one, click.Option)]
        assert "--json" in [option for one in options for option in one.opts]


def test_a_drop_folder_that_is_not_there(home: Path) -> None:
    shutil.rmtree(home / DROP)
    ran = run_cli("nightly", home, "--as-of", DAY)
    assert ran.code == 1
    assert "  Hill: drop: the folder is not there; make the folder.\n" in ran.out
