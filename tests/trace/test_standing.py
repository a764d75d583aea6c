"""A lot's place on the pages, its reasons, its remarks and its treatments, back to the lines and their cells."""

from __future__ import annotations

import re
from collections import Counter
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from pipeline.reports.summary import Lot
from pipeline.settings import PolicyPeriod
from pipeline.settings.findings import REASONS
from pipeline.settings.policy import Target
from pipeline.trace import trace_lot, write_trace
from pipeline.trace.lot import Trace
from pipeline.trace.reason_steps import REASON_STEPS
from tests.home import run_cli
from tests.sql.bench import Bench, settings_of, site

NUMBER = r"-?\d+(?:\.\d+)?"
Traced = list[tuple[str, Lot, Trace]]


@pytest.fixture
def traced(traced_lots: Traced) -> Traced:
    return traced_lots


def trace(bench: Bench, on: date | None = None) -> Trace:
    bench.build_traced()
    return trace_lot(bench.connection, settings_of(site()), "north", "A", on)


def test_every_reason_of_the_catalogue_has_its_steps() -> None:
    assert set(REASON_STEPS) == {rule.name for rule in REASONS}


def test_level_place_and_reasons_are_the_document_s(traced: Traced) -> None:
    seen: Counter[str] = Counter()
    for _, lot, found in traced:
        standing = found.standing
        assert standing is not None
        assert (standing.level, standing.score, standing.rank) == (lot.level, lot.score, lot.rank)
        told = Counter((one.code, one.level, one.quantity) for one in standing.reasons)
        assert told == Counter((one.code, one.level, one.quantity) for one in lot.reasons)
        assert all(one.steps for one in standing.reasons)
        seen.update(one.code for one in standing.reasons)
    assert len(seen) > 15


def test_the_score_can_be_worked_out_from_its_line(traced: Traced) -> None:
    scored = 0
    for _, lot, found in traced:
        assert found.standing is not None
        lines = [step for step in found.standing.order if "in steps of" in step]
        scores = []
        for line in lines:
            mean, edge, _, step, _, in_a_row = map(
                float,
                re.findall(
                    rf"\|({NUMBER}) - ({NUMBER})\| = ({NUMBER}), in steps of ({NUMBER}): ({NUMBER}); × \(1 \+ (\d+)",
                    line,
                )[0],
            )
            more = 1 if "for the retest" in line else 0
            scores.append(abs(mean - edge) / step * (1 + in_a_row + more))
        assert max(scores, default=0.0) == pytest.approx(lot.score, abs=0.003)
        scored += len(lines)
    assert scored >= 5


def test_places_before_a_lot_add_up(traced: Traced) -> None:
    for _, lot, found in traced:
        assert found.standing is not None
        rank, of_all, *before = map(int, re.findall(r"\d+", found.standing.order[-1]))
        assert (rank, of_all) == (lot.rank, len(traced))
        assert sum(before) == rank - 1


def test_the_cells_beside_a_reason_stand_in_the_file(demo_home: Path, traced: Traced) -> None:
    checked = 0
    for site_id, _, found in traced:
        if site_id != "north-range" or found.standing is None:
            continue
        for line in [line for one in found.standing.reasons for line in one.lines]:
            file, number = re.findall(r"^(\S+) line (\d+):", line)[0]
            text = (demo_home / "sites" / site_id / file).read_text(encoding="utf-8-sig").splitlines()
            assert all(cell in text[int(number) - 1] for cell in re.findall(r"“([^”]*)”", line))
            checked += 1
    assert checked > 10


def test_remarks_are_the_document_s(traced: Traced) -> None:
    seen: Counter[str] = Counter()
    for _, lot, found in traced:
        if not lot.samplings:
            continue
        day = lot.samplings[-1].sampled_on
        wanted = Counter(
            (one.purpose, finding.rule)
            for one in lot.samplings
            if one.sampled_on == day
            for finding in one.findings
        )
        assert Counter((one.purpose, one.rule) for one in found.remarks) == wanted
        assert all(one.steps for one in found.remarks)
        seen.update(rule for _, rule in wanted)
    assert len(seen) >= 4


def test_a_streak_names_its_samplings_and_their_lines(demo_home: Path) -> None:
    told = run_cli("trace", demo_home, "north-range", "NR-101").out
    rows = re.findall(rf"(\d) in a row: (\S+), mean ({NUMBER}) \((\S+) lines (\d+)-(\d+)\)", told)
    assert [row[:3] for row in rows] == [
        ("1", "2026-03-17", "6.2700"),
        ("2", "2026-03-24", "6.3800"),
        ("3", "2026-03-31", "6.5200"),
    ]
    for _, _, mean, file, first, last in rows:
        path = demo_home / "sites" / "north-range" / file
        header, *lines = (line.split(",") for line in path.read_text(encoding="utf-8-sig").splitlines())
        at = header.index("pH")
        values = [float(line[at]) for line in lines[int(first) - 2 : int(last) - 1]]
        assert sum(values) / len(values) == pytest.approx(float(mean))


def test_what_is_measured_names_the_lines_of_its_samplings(demo_home: Path) -> None:
    told = run_cli("trace", demo_home, "north-range", "NR-101").out
    (trend,) = re.findall(r"of the lot: pH, trend\n      from (.+)", told)
    days = re.findall(r"(\d{4}-\d\d-\d\d): drop/readings_\S+ lines \d+-\d+", trend)
    assert days == ["2026-02-17", "2026-03-03", "2026-03-10", "2026-03-17", "2026-03-24", "2026-03-31"]


def test_a_contrast_names_the_lines_of_both_samplings(bench: Bench) -> None:
    bench.lots()
    for purpose, values in (("affected", "5.0 5.1 5.2 5.1 5.0"), ("healthy", "6.0 6.1 6.0 6.1 6.0")):
        rows = "\n".join(f"{value} | {purpose}" for value in values.split())
        bench.load_file("readings", f"ph | purpose\n{rows}", name=f"drop/{purpose}.csv")
    standing = trace(bench).standing
    assert standing is not None
    (reason,) = [one for one in standing.reasons if (one.code, one.quantity) == ("affected_differ", "ph")]
    assert reason.steps[1] == (
        "first 2026-03-30: drop/affected.csv lines 1-5; second 2026-03-30: drop/healthy.csv lines 1-5"
    )


def test_a_treatment_stands_with_its_line_and_its_wait(bench: Bench) -> None:
    bench.lots()
    bench.pots("5.0 5.0 5.0 5.0 5.0")
    bench.load_file(
        "treatments",
        "treated_on | treatment\n2026-04-03 | bicarbonate\n2026-04-03 | lime_drench",
        name="drop/t.csv",
    )
    standing = trace(bench).standing
    assert standing is not None
    assert len(standing.treatments) == 6
    assert standing.treatments[0].startswith("2026-04-03, bicarbonate, by the lot: drop/t.csv line 1: ")
    assert "“bicarbonate”" in standing.treatments[0]
    # of the two waits of that day, 3 and 10 days (Univ. of Maryland Extension: lime 10 to 14), the longer one holds
    assert standing.treatments[1].strip().startswith("2026-04-03 + 10 days")
    assert standing.treatments[1].endswith("from 2026-04-13 on")
    assert standing.treatments[2].endswith("2026-03-30 before, nothing yet after the wait")


def test_what_makes_a_low_ec_a_note_is_said(bench: Bench) -> None:
    bench.lots("started_on\n2026-03-20")
    bench.pots("2.0 2.0 2.0 2.1 2.1", quantity="ec_ms_cm")
    standing = trace(bench).standing
    assert standing is not None
    (reason,) = [one for one in standing.reasons if one.code == "clearly_out"]
    assert reason.level == "note"
    assert reason.steps[0] == "mean 2.0400 is 0.4600 below the edge 2.5"
    assert reason.steps[-1] == (
        "note: low EC asks for something in the active stage only, and the lot was establishing"
    )
    assert "EC: low outside the active stage, no score" in standing.order


def test_two_out_in_a_row_act_only_beyond_the_margin(bench: Bench) -> None:
    bench.lots()
    for day in ("2026-03-16", "2026-03-30"):
        bench.pots("6.2 6.2 6.3 6.3 6.5", sampled_on=day)
    standing = trace(bench).standing
    assert standing is not None
    (reason,) = [one for one in standing.reasons if one.code == "out"]
    assert reason.level == "watch"
    assert reason.steps[-1] == (
        "watch: out; 2 in a row where 2 act, the last two beyond the edge by the margin: no"
    )


def test_copied_figures_stand_beside_those_before(bench: Bench) -> None:
    bench.lots()
    for day, name in (("2026-03-16", "drop/a.csv"), ("2026-03-30", "drop/b.csv")):
        rows = "\n".join(f"{ph} | {day}" for ph in ("5.8", "5.9", "6.0", "6.1", "6.1"))
        bench.load_file("readings", f"ph | sampled_on\n{rows}", name=name)
    (remark,) = [one for one in trace(bench).remarks if one.rule == "same_as_before"]
    assert len(remark.steps) == 5
    assert remark.steps[0] == (
        "drop/b.csv line 1: ph “5.8”, ec “3.0” beside drop/a.csv line 1: ph “5.8”, ec “3.0” of 2026-03-16"
    )


def test_equal_pots_are_shown_cell_by_cell(bench: Bench) -> None:
    bench.lots()
    bench.pots("5.8 5.8 5.8 5.8 5.8")
    (remark,) = [one for one in trace(bench).remarks if one.rule == "all_alike"]
    assert [step.split(": ")[1] for step in remark.steps[1:]] == ["ph “5.8”, ec “3.0”"] * 5


def test_the_pace_of_time_stamps_is_worked_out(bench: Bench) -> None:
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), pace_seconds=16)])
    bench.lots()
    times = ("09:00", "09:00", "09:01", "09:00", "09:00")
    rows = "\n".join(f"5.{digit} | {time}" for digit, time in enumerate(times, 1))
    bench.readings(f"ph | sampled_time\n{rows}")
    (remark,) = [one for one in trace(bench).remarks if one.rule == "too_fast"]
    assert remark.steps[0] == "09:00:00 to 09:01:00: 60 s / (5 - 1) pots = 15.0 s, the policy asks at 16 s"
    assert remark.steps[-1].endswith("line 3: date “2026-03-30”, read as 09:01:00")
    bench.use()


def test_a_high_ec_while_finishing_shows_its_weight(bench: Bench) -> None:
    bench.lots("ends_on\n2026-04-19")
    bench.pots("6 6 6 6 6", quantity="ec_ms_cm")
    standing = trace(bench).standing
    assert standing is not None
    assert (
        "EC: |6.0000 - 4.5| = 1.5000, in steps of 0.5: 3.0000; × 1.5 as a high EC while finishing; "
        "× (1 + 1 in a row) = 9.0000"
    ) in standing.order
    assert standing.score == 9.0


def test_a_target_for_a_stage_says_so(bench: Bench) -> None:
    own = Target(crop="poinsettia", quantity="ec", low=Decimal(1), high=Decimal(2), stage="finishing")
    bench.use(policy=[PolicyPeriod(valid_from=date(2026, 1, 1), targets=(own,))])
    bench.lots("ends_on\n2026-04-19")
    bench.pots("1.5 1.5 1.6 1.5 1.5", quantity="ec_ms_cm")
    figures = {one.quantity: one for one in trace(bench).samplings[0].figures}
    assert (figures["ec"].target, figures["ec"].verdict) == ("1.0-2.0", "in range")
    assert figures["ec"].source == (
        "set by the group (own value, for lots that are finishing, as this one was that day)"
    )
    assert "for lots that are" not in (figures["ph"].source or "")
    bench.use()


def test_a_lot_that_has_ended_stands_nowhere(bench: Bench) -> None:
    bench.lots("ends_on\n2026-04-05")
    bench.pots("6 6 6 6 6")
    found = trace(bench)
    assert found.standing is None
    assert not any(line.startswith("Standing tonight") for line in write_trace(found))


def test_an_ec_names_its_band_and_the_band_s_edges(bench: Bench) -> None:
    bench.lots()
    bench.pots("2.6 2.6 2.6 2.5 2.7", quantity="ec_ms_cm")
    (figure,) = [one for one in trace(bench).samplings[0].figures if one.quantity == "ec"]
    # 2.6 is the printed edge of low and normal, and is called low (UMass Extension, read).
    assert "published band for pour-through: 2.6000 is above 1 up to 2.6, “low” (" in figure.arithmetic[-1]


def test_a_drift_lists_the_means_that_it_follows_and_no_sampling_that_does_not_count(bench: Bench) -> None:
    days = ("2026-03-02", "2026-03-09", "2026-03-16", "2026-03-23")
    pots = [(day, mean, 5) for day, mean in zip(days, ("5.9", "5.8", "5.7", "5.6"), strict=True)]
    rows = [f"{ph} | 2.6 | {day}" for day, ph, n in [*pots, ("2026-03-30", "5.8", 2)] for _ in range(n)]
    bench.lots("lot_code | started_on\nA | 2025-12-01")
    bench.readings("ph | ec_ms_cm | sampled_on\n" + "\n".join(rows))
    found = trace(bench).standing
    assert found is not None
    (drift,) = [one for one in found.reasons if one.code in ("rising", "falling", "drift")]
    assert drift.steps == [
        (
            "means 2026-03-02 5.9000, 2026-03-09 5.8000, 2026-03-16 5.7000, 2026-03-23 5.6000: together 0.3000, "
            "a step is 0.2"
        )
    ]


def test_a_lot_that_stays_act_beside_a_meter_in_doubt_says_why(bench: Bench) -> None:
    bench.use(site(calibrations=True))
    bench.lots("lot_code | started_on\nA | 2025-12-01")
    bench.calibrations("calibrated_on | slope_pct\n2026-03-23 | 98\n2026-03-30 | 84")
    for day, mean in (("2026-03-23", "6.9"), ("2026-03-30", "6.8")):
        bench.pots(" ".join([mean] * 5), sampled_on=day, meter_id="M1")
    bench.build_traced()
    found = trace_lot(bench.connection, settings_of(site(calibrations=True)), "north", "A", None).standing
    assert found is not None
    (out,) = [one for one in found.reasons if one.code == "clearly_out"]
    assert (
        "act: the meter is in doubt, but the sampling before was clearly out by one that is not, so it stays"
        in out.steps
    )
