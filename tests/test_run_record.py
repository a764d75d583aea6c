"""What a night leaves behind about itself: health file, failure, log, and times and counts in ledger and warehouse."""

from __future__ import annotations

import json
import re
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from pipeline.errors import ReportError, SettingsError
from pipeline.intake import ledger
from pipeline.night_lock import HOLDER_NAME
from pipeline.nightly import run_night
from pipeline.run_log import hide_secrets, open_run_log
from pipeline.run_record import RunRecord, name_run
from pipeline.run_state import read_failed_night, read_good_night
from pipeline.warehouse.connect import reader
from tests.conftest import Share, copy_home
from tests.home import DAY, NOW, READINGS_HEADER, drop, make_home, night, run_cli, write_tables

STAGES = ["collect", "read", "load", "judge", "check", "compile", "render"]


def read_log(home: Path) -> list[dict[str, Any]]:
    lines = (home / "log" / "runs.jsonl").read_text(encoding="utf-8").splitlines()
    return [json.loads(line) for line in lines]


def build(home: Path) -> None:
    make_home(home)
    note = READINGS_HEADER + "H-1,2026-04-03,routine,1,5.8,2.6,50,M1,private remark\n"
    drop(home, "readings_2026-04-03.csv", note)
    night(home)


@pytest.fixture
def small(share: Share, tmp_path: Path) -> Path:
    """A home after a night, whose readings carry a note."""
    return copy_home(share("a-note", build), tmp_path / "home")


def test_a_good_night_touches_the_health_file_and_leaves_its_record(small: Path) -> None:
    good = read_good_night(small)
    assert good is not None
    assert (good.as_of, good.needs_somebody) == (DAY, False)
    assert NOW <= good.finished_at < NOW + timedelta(minutes=5)
    assert good.run_id.startswith("20261101T040000Z-")
    run = [one for one in ledger.read_ledger(small) if one["kind"] == "night"][-1]["run"]
    assert (run["run_id"], run["started_at"]) == (good.run_id, "2026-11-01T04:00:00+00:00")
    assert [one["stage"] for one in run["stages"]] == STAGES
    counts = {one["stage"]: one["counts"] for one in run["stages"]}
    assert counts["read"] == {"files": 4, "refused": 0, "read_again": 0}
    assert counts["compile"] == {"sites": 1, "lots": 2, "held_lines": 0}
    with reader(small) as connection:
        stages = connection.sql(
            "select stage, seconds, run_id, started_at from run_stages where night_no = 1 order by stage_no"
        ).fetchall()
        counted = connection.sql(
            "select stage, counted, number from run_counts join run_stages using (night_no, stage_no) "
            "where number > 0 order by stage_no, counted"
        ).fetchall()
    assert stages == [
        (one["stage"], Decimal(str(one["seconds"])), good.run_id, NOW.replace(tzinfo=None))
        for one in run["stages"]
    ]
    assert ("read", "files", 4) in counted
    assert ("compile", "lots", 2) in counted


def test_a_rebuilt_warehouse_has_the_records_of_its_runs_and_the_home_stays_proven(small: Path) -> None:
    drop(small, "readings_2026-04-07.csv", READINGS_HEADER + "H-1,2026-04-07,routine,1,5.8,2.6,50,M1,\n")
    night(small, date(2026, 4, 7))

    def records() -> list[Any]:
        with reader(small) as connection:
            return connection.sql(
                "select * from run_stages left join run_counts using (night_no, stage_no) order by all"
            ).fetchall()

    before = records()
    assert {row[0] for row in before} == {1, 2}
    assert run_cli("rebuild", small).code == 0
    assert records() == before
    assert run_cli("verify", small).code == 0


def test_a_night_with_nothing_new_touches_the_health_file_too(home: Path) -> None:
    later = NOW + timedelta(hours=5)
    result = run_night(home, DAY, now=later, render=write_tables)
    assert result.is_unchanged
    good = read_good_night(home)
    assert good is not None
    assert good.finished_at >= later
    assert (
        run_cli("status", home)
        .out.splitlines()[1]
        .startswith(
            "It ended 2026-11-01 09:00 UTC with nothing new; the pages are of the run that began 2026-11-01 04:00 UTC."
        )
    )


def refuse(*_: object, **__: object) -> list[Path]:
    raise ReportError("out: no room.")


def test_a_failed_night_is_told_by_status_until_a_good_one(small: Path) -> None:
    before = (small / "health.json").read_bytes()
    later = NOW + timedelta(days=1)
    drop(small, "readings_2026-04-05.csv", READINGS_HEADER + "H-1,2026-04-05,routine,1,5.8,2.6,50,M1,\n")
    with pytest.raises(ReportError):
        run_night(small, DAY, now=later, render=refuse)
    assert (small / "health.json").read_bytes() == before
    failed = read_failed_night(small)
    assert failed is not None
    assert (failed.as_of, failed.sentence) == (DAY, "out: no room.")
    assert "THE LAST NIGHT FAILED 2026-11-02 04:00 UTC: out: no room." in run_cli("status", small).out
    told = run_cli("status", small, "--json").json
    assert (told["failed_night"]["sentence"], told["last_good_night"]["as_of"]) == (
        "out: no room.",
        "2026-04-06",
    )
    assert [one["stage"] for one in told["run"]["stages"]] == STAGES
    assert read_log(small)[-1]["event"] == "night failed"
    run_night(small, DAY, now=later + timedelta(minutes=15), render=write_tables)
    assert read_failed_night(small) is None
    assert "FAILED" not in run_cli("status", small).out


def test_mistaken_settings_are_a_failed_night_and_a_mistaken_day_is_none(small: Path) -> None:
    run_cli("nightly", small, "--as-of", "2026-01-01")
    assert read_failed_night(small) is None
    assert read_log(small)[-1]["event"] == "night refused"
    (small / "leachbook.toml").write_text('name = "x"\ntime_zone = "Mars"\n', encoding="utf-8")
    with pytest.raises(SettingsError):
        run_night(small, now=NOW + timedelta(days=1))
    failed = read_failed_night(small)
    assert failed is not None
    assert "leachbook.toml: time_zone" in failed.sentence


def test_the_log_has_every_stage_of_a_run_under_its_id_and_no_text_of_readings(small: Path) -> None:
    lines = read_log(small)
    assert [line["event"] for line in lines] == ["night begins", *["stage"] * 8, "night ends"]
    assert [line["stage"] for line in lines if line["event"] == "stage"] == [*STAGES, "publish"]
    assert {line["run"] for line in lines} == {read_good_night(small).run_id}  # type: ignore[union-attr]
    assert {line["level"] for line in lines} == {"info"}
    # A time of day or a duration may read like the sample's pH by chance; everything else of a line may not hold it.
    told = json.dumps(
        [{key: value for key, value in line.items() if key not in {"at", "seconds"}} for line in lines]
    )
    assert "private remark" not in told
    assert not re.search(r"H-1|5\.8|M1", told)


def test_secrets_are_struck_out_by_their_names(tmp_path: Path) -> None:
    assert hide_secrets({"password": "x", "smtp_login": "x", "api_token": "x", "host": "mail"}) == {
        "password": "***",
        "smtp_login": "***",
        "api_token": "***",
        "host": "mail",
    }
    with open_run_log(tmp_path, "one") as log:
        log.info("connected", Password="hunter2", host="mail")
    assert "hunter2" not in (tmp_path / "log" / "runs.jsonl").read_text(encoding="utf-8")


def test_a_log_that_cannot_be_written_stops_no_night(small: Path) -> None:
    (small / "log" / "runs.jsonl").unlink()
    (small / "log").rmdir()
    (small / "log").write_text("in the way", encoding="utf-8")
    drop(small, "readings_2026-04-05.csv", READINGS_HEADER + "H-1,2026-04-05,routine,1,5.8,2.6,50,M1,\n")
    assert night(small).summary.night.new_files == 1


def test_a_run_that_died_without_a_word_is_logged_by_the_next(small: Path) -> None:
    (small / HOLDER_NAME).write_text("process 1 on elsewhere since 2026-04-05 04:00 UTC\n", encoding="utf-8")
    night(small)
    (told,) = [line for line in read_log(small) if line["level"] == "warning"]
    assert (told["event"], told["holder"]) == (
        "the run before died",
        "process 1 on elsewhere since 2026-04-05 04:00 UTC",
    )


def test_a_stage_is_timed_by_the_clock_that_is_given(tmp_path: Path) -> None:
    seconds = iter([100.0, 101.0, 103.5, 110.0])
    started = datetime(2026, 4, 6, 2, 0, tzinfo=UTC)
    with open_run_log(tmp_path, name_run(started)) as log:
        record = RunRecord("r", started, log, clock=lambda: next(seconds))
        with record.stage("read") as counts:
            counts["files"] = 3
        assert record.as_entry()["stages"] == [{"stage": "read", "seconds": 2.5, "counts": {"files": 3}}]
        assert record.now == started + timedelta(seconds=10)
