"""The files of a night."""

from __future__ import annotations

import json
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import jsonschema
import pytest

from pipeline.errors import ReportError
from pipeline.reports.render import plan_jobs, render_night, write_summary, write_whole
from pipeline.reports.summary import Summary
from tests.reports.factory import (
    make_empty_summary,
    make_extreme_summary,
    make_large_summary,
    make_small_summary,
)


def test_a_night_writes_exactly_these_files(small_night: Path) -> None:
    found = sorted(str(path.relative_to(small_night)) for path in small_night.rglob("*") if path.is_file())
    assert found == [
        "overview.html",
        "overview.pdf",
        "sites/site-1-sheet-calibrations.csv",
        "sites/site-1-sheet.csv",
        "sites/site-1-sheet.pdf",
        "sites/site-1.html",
        "sites/site-1.ics",
        "sites/site-1.pdf",
        "summary.json",
        "summary.schema.json",
    ]


@pytest.mark.parametrize("make", [make_small_summary, make_extreme_summary, make_empty_summary])
def test_the_summary_fits_its_schema_and_comes_back_whole(make: object, tmp_path: Path) -> None:
    assert callable(make)
    summary = make()
    write_summary(summary, tmp_path)
    written = json.loads((tmp_path / "summary.json").read_text("utf-8"))
    schema = json.loads((tmp_path / "summary.schema.json").read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(written)
    assert Summary.model_validate(written) == summary


def test_the_schema_refuses_what_is_not_a_summary(tmp_path: Path) -> None:
    write_summary(make_small_summary(), tmp_path)
    schema = json.loads((tmp_path / "summary.schema.json").read_text("utf-8"))
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema).validate({"group_name": "x"})


def test_other_processes_write_the_same_bytes_and_leave_nothing_behind(
    small_night: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    temporary, out = tmp_path / "temporary", tmp_path / "out"
    temporary.mkdir()
    out.mkdir()
    monkeypatch.setenv("TMPDIR", str(temporary))
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        written = render_night(make_small_summary(), out, executor=pool)
    assert len(written) == 10
    for path in written:
        assert path.read_bytes() == (small_night / path.relative_to(out)).read_bytes(), path.name
    assert [path.name for path in temporary.iterdir() if path.name.startswith("leachbook")] == []


def test_a_job_carries_its_own_site_alone() -> None:
    summary = make_large_summary()
    *sites, overview = plan_jobs(summary, Path("out"), "")
    assert sorted(job.summary.sites[0].site_id for job in sites) == [site.site_id for site in summary.sites]
    assert all(len(job.summary.sites) == 1 for job in sites)
    assert overview.summary == summary


def test_a_file_is_replaced_whole_and_nothing_temporary_stays(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "page.html"
    write_whole(path, b"first")
    write_whole(path, b"second")
    assert path.read_bytes() == b"second"
    assert [item.name for item in path.parent.iterdir()] == ["page.html"]


def test_a_refusing_disk_is_said_in_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "sites").write_text("a file where the folder should be")
    with pytest.raises(
        ReportError, match=r"page\.html cannot be written: .*make room or give write permission"
    ):
        write_whole(tmp_path / "sites" / "page.html", b"")
