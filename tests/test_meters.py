"""A site's meters through a whole night: what its pages, its document and its traces say, and the oracle's word."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from pipeline.reports.summary import Meter, Site
from tests.home import (
    DAY,
    LOTS_HEADER,
    READINGS_HEADER,
    SITE,
    make_home,
    night,
    only_site,
    read_summary,
    run_cli,
)
from tests.oracle.compare import compare
from tests.oracle.fates import DropFile, Night
from tests.oracle.small_home import REFERENCE
from tests.oracle.summary import compute

COLUMNS = """offset = "Offset (mV)"
buffers = "Buffers"
found_4 = "F4"
found_7 = "F7"
left_4 = "L4"
left_7 = "L7"
temperature = {column = "T", unit = "°C"}
ec_standard = {column = "ES", unit = "mS/cm"}
ec_found = {column = "EF", unit = "mS/cm"}
ec_left = {column = "EL", unit = "mS/cm"}
solution_expires = "Expires"
passed = "Passed"
"""
CHECKS = """Meter,Date,Slope (%),Offset (mV),Buffers,F4,F7,L4,L7,T,ES,EF,EL,Expires,Passed
C1,2026-03-10,97,3,4.01/7.00,,,,,,,,,,
C2,2026-03-10,97,3,4.01/7.00,,,,,,,,,,
C3,2026-03-10,97,3,4.01/7.00,,,,,,,,,,
C4,2026-03-10,97,3,4.01/7.00,,,,,,,,,,
C1,2026-04-02,97,3,4.01/7.00,4.30,7.10,4.01,7.00,25,,,,,
C2,2026-04-02,97,3,4.01/7.00,4.02,7.01,4.01,7.00,25,1.413,1.60,,,
C3,2026-04-02,97,3,"4,7",4.02,7.01,4.01,7.00,25,1.413,1.60,1.413,,
C4,2026-04-02,94,3,7.00/10.01,,,,,,,,,2026-03-31,
C5,2026-04-02,97,3,"6,9",,,,,,,,,,no
"""
FAILING = ("slope_failed", "offset_failed", "buffer_off", "ec_standard_off", "check_marked_failed")
PH = ("5.80", "5.85", "5.75", "5.90", "5.78")


def files() -> dict[str, str]:
    lots, readings = LOTS_HEADER, READINGS_HEADER
    for number in range(1, 6):
        lots += f"L{number},1,petunia,pot_5_6in,2026-01-05,2026-08-20,500\n"
        for day, more in (("2026-03-20", 0), ("2026-04-02", 1)):
            readings += "".join(
                f"L{number},{day},routine,{pot},{ph},{2.5 + 0.02 * pot + 0.01 * more:.2f},50,C{number},\n"
                for pot, ph in enumerate(PH, start=1)
            )
    return {"lots.csv": lots, "readings_2026-04-02.csv": readings, "meters.csv": CHECKS}


def make(home: Path, policy: str | None = None) -> Path:
    site = SITE.replace('offset = "Offset (mV)"\n', COLUMNS)
    made = make_home(home, site=site, policy=policy, **files())
    night(made, pages=True)
    return made


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make(tmp_path_factory.mktemp("meters") / "home")


def meter(site: Site, meter_id: str) -> Meter:
    return next(one for one in site.meters if one.meter_id == meter_id)


def said(site: Site, meter_id: str) -> str:
    return meter(site, meter_id).sentence or ""


def remarks(site: Site, lot_id: str, day: str) -> dict[str, str]:
    (lot,) = [one for one in site.lots if one.lot_id == lot_id]
    (sampling,) = [one for one in lot.samplings if str(one.sampled_on) == day]
    return {one.rule: one.sentence for one in sampling.findings}


def test_what_the_document_says_of_each_meter(home: Path) -> None:
    site = only_site(read_summary(home))
    assert said(site, "C1").startswith(
        "C1 on 2026-04-02 as found: 4.30 in buffer 4.01, 0.29 off (limit 0.1): 5 readings since the good check of "
        "2026-03-10 in doubt; left good."
    )
    assert said(site, "C2").startswith(
        "C2 failed its check on 2026-04-02: EC standard 1.413 read as 1.60 mS/cm, 13.2 % off (limit 5 %); EC as left "
        "is not written, so it is as found. Clean it and calibrate; 10 readings since the last good check in doubt."
    )
    assert not meter(site, "C3").in_doubt
    assert "C3 on 2026-04-02 as found: EC standard 1.413 read as 1.60 mS/cm" in said(site, "C3")
    assert (
        "C4's buffers 7.00 and 10.01 on 2026-04-02 do not bracket its readings 5.75 to 5.90: calibrate with 4 and 7."
        in said(site, "C4")
    )
    assert {one.rule for one in meter(site, "C4").findings} == {
        "buffers_not_bracketing",
        "slope_marginal",
        "solution_expired",
    }
    assert {one.rule for one in meter(site, "C5").findings} == {"buffers_unread", "check_marked_failed"}
    assert {(one.file, one.line) for one in meter(site, "C2").findings} == {("drop/meters.csv", 7)}


def test_a_sampling_names_the_check_that_failed(home: Path) -> None:
    site = only_site(read_summary(home))
    assert remarks(site, "L1", "2026-03-20") == {
        "meter_in_doubt": "Read with meter C1, whose check of 2026-04-02 failed."
    }
    assert remarks(site, "L1", "2026-04-02") == {}
    assert remarks(site, "L4", "2026-04-02")["buffers_not_bracketing"].startswith(
        "The buffers 7.00 and 10.01 do not"
    )
    assert "meter_not_calibrated" not in remarks(site, "L4", "2026-04-02")
    (lot,) = [one for one in site.lots if one.lot_id == "L2"]
    assert [one.sentence for one in lot.reasons if one.code == "meter_in_doubt"] == [
        "Read on 2026-04-02 with meter C2, whose check of 2026-04-02 failed: calibrate it and read again before acting."
    ]


def test_the_pages_show_the_figures(home: Path) -> None:
    out = home / "out" / DAY.isoformat()
    site = (out / "sites" / "hill.html").read_text(encoding="utf-8")
    overview = (out / "overview.html").read_text(encoding="utf-8")
    for page in (site, overview):
        assert "4.30 in buffer 4.01, 0.29 off (limit 0.1)" in page
        assert "do not bracket its readings 5.75 to 5.90" in page
    table = site.split("Remarks on the meters")[1].split("</table>")[0]
    assert '<th scope="row">C2</th><td>warning</td><td>C2 on 2026-04-02 as left: EC standard' in table
    assert '<td class="file">drop/meters.csv</td><td class="n">7</td>' in table


def test_the_oracle_has_the_same_remarks(home: Path) -> None:
    ours = json.loads((home / "out" / DAY.isoformat() / "summary.json").read_text(encoding="utf-8"))
    drops = [DropFile(f"drop/{name}", text.encode()) for name, text in files().items()]
    assert compare(ours, compute(home, [Night(DAY, {"hill": drops})], REFERENCE)) == []


def test_levels_change_what_is_shown_and_no_fact(home: Path, tmp_path: Path) -> None:
    levels = ", ".join(f'{rule} = "off"' for rule in FAILING)
    policy = (
        f'[[policy]]\nvalid_from = 2026-01-01\nfinding_levels = {{{levels}, slope_marginal = "note", '
        'solution_expired = "off", buffers_not_bracketing = "note"}\n'
    )
    quiet = only_site(read_summary(make(tmp_path / "home", policy)))
    loud = only_site(read_summary(home))
    assert said(quiet, "C1") == "C1 was used without an accepted calibration on 2026-03-20."
    assert [one.findings for one in quiet.meters if one.meter_id in ("C1", "C2", "C3")] == [[], [], []]
    assert {(one.rule, one.level) for one in meter(quiet, "C4").findings} == {
        ("slope_marginal", "note"),
        ("buffers_not_bracketing", "note"),
    }

    def facts(site: Site) -> list[tuple[Any, ...]]:
        return [
            (one.meter_id, one.last_accepted, one.in_doubt, one.readings_in_doubt) for one in site.meters
        ] + [(lot.lot_id, lot.level, *(one.proper for one in lot.samplings)) for lot in site.lots]

    assert facts(quiet) == facts(loud)


def test_the_trace_of_a_sampling_shows_why_its_meter_s_day_is_not_good(home: Path) -> None:
    told = run_cli("trace", home, "hill", "L2").out
    assert "counts; proper: no\n" in told
    assert (
        "  Meter C2: in doubt: its last check, of 2026-04-02, as left, failed (drop/meters.csv line 7); not "
        "calibrated: no check of this day is accepted\n"
    ) in told
    assert "        drop/meters.csv line 7: C2,2026-04-02,97,3,4.01/7.00,4.02," in told
    before = run_cli("trace", home, "hill", "L1", "--on", "2026-03-20").out
    assert (
        "  Meter C1: in doubt: its next check, of 2026-04-02, as found, failed (drop/meters.csv line 6); not "
        "calibrated: there is no check on this day\n"
    ) in before
    assert "            farthest buffer 0.29 pH off, accepted up to 0.1\n" in before
    bracket = run_cli("trace", home, "hill", "L4").out
    assert (
        "  Meter C4: not calibrated: its buffers, 7.00 to 10.01, do not bracket its readings 5.75 to 5.90: calibrate "
        "with 4 and 7\n"
    ) in bracket
    good = run_cli("trace", home, "hill", "L1", "--json").json["samplings"][0]["meters"]
    assert [(one["meter_id"], one["is_good"]) for one in good] == [("C1", True)]
    assert [one["name"] for one in good[0]["checks"]] == [
        "C1, 2026-04-02, as left",
        "C1, 2026-04-02, as found",
    ]
