"""The demo as a user sees it: two nights, what they say, and what a second run does."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from pipeline.demo import FIRST_NIGHT, SECOND_NIGHT, run_demo
from pipeline.errors import HomeError, NightRunning
from pipeline.night_lock import night_lock
from pipeline.overview_lines import tell_demo, tell_night
from pipeline.reports.summary import Site, Summary
from pipeline.warehouse.connect import night_copy, publish, seal
from tests.conftest import copy_home
from tests.demo import stories
from tests.home import NOW, Ran, run_cli


def summary_of(home: Path, day: object) -> Summary:
    return Summary.model_validate_json((home / "out" / str(day) / "summary.json").read_bytes())


def site_of(summary: Summary, site_id: str) -> Site:
    return next(site for site in summary.sites if site.site_id == site_id)


@pytest.fixture(scope="module")
def second(demo_home: Path) -> Summary:
    return summary_of(demo_home, SECOND_NIGHT)


def test_the_nights_are_those_that_the_stories_are_told_for() -> None:
    assert (FIRST_NIGHT, SECOND_NIGHT) == (stories.FIRST_NIGHT, stories.SECOND_NIGHT)
    assert timedelta(days=4) == SECOND_NIGHT - FIRST_NIGHT


def test_the_demo_prints_both_nights_as_json_and_nothing_else(demo_ran: Ran) -> None:
    assert demo_ran.code == 0
    assert [one["as_of"] for one in demo_ran.json] == ["2026-04-02", "2026-04-06"]
    assert [one["lots_by_level"]["act"] for one in demo_ran.json] == [4, 4]
    assert [one["silent_sites"] for one in demo_ran.json] == [[], ["loma-alta"]]
    assert Path(demo_ran.json[-1]["dossier"]).name == "dossier.pdf"
    assert "Traceback" not in demo_ran.err
    assert demo_ran.err.count("Rendering pages") == 2


def test_each_night_has_its_pages(demo_home: Path) -> None:
    for day in (FIRST_NIGHT, SECOND_NIGHT):
        folder = demo_home / "out" / str(day)
        names = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}
        ends = (".html", ".pdf", ".ics", "-sheet.pdf", "-sheet.csv", "-sheet-calibrations.csv")
        sites = {f"sites/{site}{end}" for site in stories.LOTS_STANDING for end in ends}
        assert names == sites | {"overview.html", "overview.pdf", "summary.json", "summary.schema.json"}
    assert str((demo_home / "out" / "latest").readlink()) == str(SECOND_NIGHT)
    dossier = demo_home / "out" / "audit" / "2026-01-01_2026-04-06" / "dossier.pdf"
    assert dossier.read_bytes().startswith(b"%PDF-")


def test_lines_that_waited_for_their_lot_are_released(second: Summary) -> None:
    site = site_of(second, "erlenwerth")
    assert site.released_tonight == 10
    assert site.released_sentences == [
        "5 lines held before are taken up: lot ER-216 is now in the lot list.",
        "5 lines held before are taken up: lot ER-217 is now in the lot list.",
    ]


def test_a_site_that_sends_nothing_is_quiet_after_four_nights(demo_home: Path, second: Summary) -> None:
    site = site_of(second, "loma-alta")
    assert (site.is_silent, site.nights_silent, site.files_tonight) == (True, 4, [])
    (finding,) = [one for one in site.findings if one.rule == "site_silent"]
    assert finding.sentence == (
        "Loma Alta no ha enviado nada en 4 noches, los últimos archivos llegaron el 04/02/2026; "
        "revise la exportación y la carpeta drop."
    )
    # the manager reads it in the group's language and dates
    assert finding.group_sentence == (
        "Loma Alta has sent nothing for 4 nights, the last files came on 02 Apr 2026; "
        "check the export and the drop folder."
    )
    assert not any(site.is_silent for site in summary_of(demo_home, FIRST_NIGHT).sites)


def test_status_says_all_of_it_in_few_lines(demo_home: Path) -> None:
    told = run_cli("status", demo_home).out.splitlines()
    assert told.pop(1).startswith("It ended ")
    assert told[0] == "Quillmere Growers: last good night as of 2026-04-06."
    assert told[1] == "67 lots at 4 sites: 4 act, 4 no current reading, 12 watch, 47 OK."
    assert told[2].startswith("Next samplings: ")
    levels = [line.split("  ")[1] for line in told[3:38]]
    # Days with work: four each at Erlenwerth and Loma Alta, five at North Range, two at Pellbarrow.
    assert levels == ["ACT"] * 4 + ["NO CURRENT READING"] * 4 + ["WATCH"] * 12 + ["DUE"] * 15
    assert told[-1] == "  28 lines held for 9 causes: leachbook held lists them."


def test_the_demo_again_loads_nothing_new_and_says_so(demo_home: Path, tmp_path: Path) -> None:
    home = copy_home(demo_home, tmp_path / "demo")
    pages = {path: path.stat().st_mtime_ns for path in home.glob("out/2*/**/*") if path.is_file()}
    ran = run_cli("demo", home)
    assert ran.code == 0
    digest = summary_of(home, SECOND_NIGHT).night.facts_digest
    told = ran.out.splitlines()
    assert told[0] == f"Night of 2026-04-06: nothing new loaded, same digest of facts ({digest[:24]}...)."
    assert [line for line in told if line.startswith("  ACT")] == told[2:6]
    assert {path: path.stat().st_mtime_ns for path in pages} == pages


def test_the_demo_says_what_it_found_in_ten_lines_or_so(demo_home: Path, tmp_path: Path) -> None:
    result = run_demo(copy_home(demo_home, tmp_path / "demo"), now=NOW)
    assert result.is_rerun
    told = tell_demo(result, 1.23)
    assert len(told) <= 14
    assert told[-1] == "1 night in 1.2 s."
    assert told[-2].endswith(f"leachbook nightly {result.home} --as-of 2026-04-07")
    # What stops work comes before remarks, and what does not fit is counted.
    assert "has sent nothing" in told[6]
    assert 'no column "EC (mS/cm)"' in told[7]
    remarks = tell_night(result.nights[-1])[6:-2]
    assert len(remarks) > 4
    assert told[6:9] == remarks[:3]
    assert told[9] == f"  {len(remarks) - 3} more remarks on the sites' pages."
    assert tell_night(result.nights[-1])[-1].endswith("overview.html")


def test_a_folder_with_something_else_in_it_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "letters.txt").write_text("mine", encoding="utf-8")
    ran = run_cli("demo", tmp_path)
    assert (ran.code, ran.out) == (2, "")
    assert ran.err == f"{tmp_path}: the folder is not empty; give a new folder for the demo.\n"
    assert [path.name for path in tmp_path.iterdir()] == ["letters.txt"]


def test_a_folder_that_cannot_be_made_is_said_so(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    ran = run_cli("demo", tmp_path / "file" / "demo")
    assert ran.code == 2
    assert ran.err == (
        f"{tmp_path}/file/demo: the demo cannot be written there (Not a directory); give another folder.\n"
    )


def test_nights_after_the_demo_s_are_not_run_over(demo_home: Path, tmp_path: Path) -> None:
    home = copy_home(demo_home, tmp_path / "demo")
    with night_copy(home) as (connection, working):
        connection.execute("update nights set as_of = date '2026-04-07' where night_no = 2")
        seal(connection, working)
        publish(working, home)
    with pytest.raises(HomeError) as caught:
        run_demo(home, now=NOW)
    assert str(caught.value) == (
        f"{home}: nights after the demo's were run here; delete the folder or give a new one for the demo."
    )


class _StopError(Exception):
    """Ends a demo between two steps."""


def test_a_demo_cut_short_after_its_first_night_is_begun_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    days: list[object] = []

    def note(_: Path, day: object, **__: object) -> None:
        days.append(day)
        raise _StopError

    home = tmp_path / "demo"
    monkeypatch.setattr("pipeline.demo.run_night", note)
    with pytest.raises(_StopError):
        run_demo(home, now=NOW)
    # As after a first night: a warehouse and its pages, but the second night's files never arrived.
    (home / "warehouse.duckdb").touch()
    (home / "out" / str(FIRST_NIGHT)).mkdir(parents=True)
    with pytest.raises(_StopError):
        run_demo(home, now=NOW)
    assert days == [FIRST_NIGHT, FIRST_NIGHT]
    assert not (home / "warehouse.duckdb").exists()


def test_a_demo_that_runs_is_not_taken_away_by_another(tmp_path: Path) -> None:
    home = tmp_path / "demo"
    home.mkdir()
    (home / ".leachbook-demo").touch()
    with night_lock(home, datetime.now(UTC)), pytest.raises(NightRunning):
        run_demo(home, now=NOW)
    assert (home / ".leachbook-demo").exists()
