"""A trace leads from a reported figure back to file, line and cell, and its numbers are those of the document."""

from __future__ import annotations

import csv
import json
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from pipeline.reports.summary import Summary
from pipeline.settings import load_settings
from pipeline.trace import trace_lot, write_trace
from pipeline.warehouse.connect import reader
from tests.home import run_cli


@pytest.fixture(scope="module")
def summary(demo_home: Path) -> Summary:
    return Summary.model_validate_json((demo_home / "out" / "latest" / "summary.json").read_bytes())


def test_every_sampling_of_every_lot_is_traced_with_the_document_s_numbers(
    demo_home: Path, summary: Summary
) -> None:
    settings = load_settings(demo_home)
    traced = 0
    with reader(demo_home) as connection:
        for site in summary.sites:
            for lot in site.lots:
                for day in sorted({one.sampled_on for one in lot.samplings})[-2:]:
                    trace = trace_lot(connection, settings, site.site_id, lot.lot_id.lower(), day)
                    assert write_trace(trace)
                    reported = {one.purpose: one for one in lot.samplings if one.sampled_on == day}
                    assert {one.purpose for one in trace.samplings} == set(reported)
                    for sampling in trace.samplings:
                        wanted = reported[sampling.purpose]
                        assert (sampling.n_pots, sampling.counts, sampling.proper) == (
                            wanted.n_pots,
                            wanted.counts,
                            wanted.proper,
                        )
                        assert len(sampling.lines) == len(wanted.pots)
                        for figure in sampling.figures:
                            said = wanted.ph if figure.quantity == "ph" else wanted.ec
                            assert (figure.n, figure.mean, figure.ci_low) == (said.n, said.mean, said.ci_low)
                            if figure.sum is not None and figure.n:
                                assert float(Decimal(figure.sum) / figure.n) == pytest.approx(figure.mean)
                        traced += 1
    assert traced > 100


def test_the_lines_are_those_of_the_file(demo_home: Path) -> None:
    traced = run_cli("trace", demo_home, "north-range", "NR-101", "--on", "2026-03-31", "--json").json
    (sampling,) = traced["samplings"]
    for line in sampling["lines"]:
        path = demo_home / "sites" / "north-range" / line["file"]
        text = path.read_text(encoding="utf-8-sig").splitlines()
        assert text[line["line"] - 1] == line["text"]
        header = next(csv.reader([text[0]]))
        row = dict(zip(header, next(csv.reader([line["text"]])), strict=True))
        assert {cell["column"]: cell["cell"] for cell in line["cells"]}.items() <= row.items()


def test_the_arithmetic_can_be_checked_by_hand(demo_home: Path) -> None:
    told = run_cli("trace", demo_home, "north-range", "nr-101", "--on", "2026-03-31").out
    assert told.startswith("North Range, lot NR-101: petunia ‘")
    assert "  pH: clearly out, high, 3 in a row\n" in told
    assert "      sum 32.6 / 5 pots = mean 6.5200\n" in told
    assert "      against the edges on exact sums: 32.6 beside 5.4 × 5 = 27 and 6.2 × 5 = 31\n" in told
    assert "± 2.776 × " in told
    assert "(SD, t for 4 degrees of freedom)" in told


def test_a_unit_of_the_site_is_shown_beside_ours(demo_home: Path) -> None:
    told = run_cli("trace", demo_home, "erlenwerth", "ER-201").out
    cells = [line for line in told.splitlines() if "LF (µS/cm)" in line and "→" in line]
    assert len(cells) == 5
    for line in cells:
        micro = Decimal(line.split("“")[1].split("”")[0].replace(",", "."))
        milli = Decimal(line.split("→ ")[1].split(" ")[0])
        assert milli == micro / 1000


def test_a_temperature_correction_is_shown(demo_home: Path) -> None:
    trace = run_cli("trace", demo_home, "loma-alta", "LA-01", "--json").json
    (cell,) = [one for one in trace["samplings"][0]["lines"][0]["cells"] if one["field"] == "ec"]
    assert cell["became"].endswith(" mS/cm at 25 °C")
    recorded, at_25 = cell["became"].split(", ")
    assert recorded.removesuffix(" mS/cm") == cell["cell"].lstrip("+") or Decimal(
        recorded.removesuffix(" mS/cm")
    ) == Decimal(cell["cell"])
    assert at_25


def test_what_was_left_out_says_why(demo_home: Path) -> None:
    told = run_cli("trace", demo_home, "erlenwerth", "ER-211").out
    assert "mL of leachate, 50 mL is asked for" in told
    assert "EC: not judged: leachate volumes too far off" in told


def test_an_assumed_spread_is_called_so(demo_home: Path) -> None:
    told = run_cli("trace", demo_home, "pellbarrow", "PB-01").out
    assert "(policy's SD, normal factor)" in told
    assert "± 1.960 × 0.4000 / √5 = " in told


def test_the_last_day_is_traced_without_a_day(demo_home: Path, summary: Summary) -> None:
    lot = next(lot for site in summary.sites for lot in site.lots if lot.lot_id == "NR-101")
    traced = run_cli("trace", demo_home, "north-range", "NR-101", "--json").json
    assert date.fromisoformat(traced["samplings"][0]["sampled_on"]) == lot.samplings[-1].sampled_on


def test_an_export_that_site_toml_no_longer_has_costs_only_its_headers(home: Path) -> None:
    path = home / "sites" / "hill" / "site.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index("[[export]]")], encoding="utf-8")
    ran = run_cli("trace", home, "hill", "H-1", "--json")
    assert ran.code == 0
    (sampling,) = json.loads(ran.out)["samplings"]
    assert [line["cells"] for line in sampling["lines"]] == [[]] * 5
    assert sampling["figures"][0]["sum"] == "29"
