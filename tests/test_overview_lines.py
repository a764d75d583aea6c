"""What `status` says of samplings: how many stand how, what the week asks for, and each lot's next one."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from pipeline.nightly import NightResult
from pipeline.overview_lines import MOST_ACTS, describe_status, tell_night, tell_status
from pipeline.reports.summary import Due, Reread, RereadLine, Site, Summary
from tests.reports.factory import AS_OF, make_lot, make_site, make_summary


def make_due(days: int, **changes: Any) -> Due:
    facts: dict[str, Any] = {
        "state": "due_this_week",
        "due_on": AS_OF + timedelta(days=days),
        "purpose": "routine",
        "rule": "routine",
        "why": "Routine sampling due 08/04.",
        "group_sentence": "Routine sampling due Wed 2026-04-08.",
        "also": ["retest 09/04"],
        "days_overdue": -days if days < 0 else None,
        "pots": 5,
    }
    return Due(**(facts | changes))


@pytest.fixture
def summary() -> Summary:
    excused = {"state": "excused", "excused_until": AS_OF + timedelta(days=9)}
    lots = [
        make_lot(1, "act", due=make_due(2, retest_due_on=AS_OF + timedelta(days=3))),
        make_lot(2, "no_reading", due=make_due(-3, state="overdue")),
        make_lot(3, "no_reading", due=make_due(-4, state="never_sampled", rule="first")),
        make_lot(4, "ok", due=make_due(12, **excused)),
        make_lot(
            5,
            "watch",
            due=make_due(
                1,
                purpose="retest",
                rule="after_treatment",
                group_sentence=None,
                why="Treated, retest due Tue 2026-04-07.",
                retest_due_on=AS_OF + timedelta(days=1),
            ),
        ),
    ]
    return make_summary([make_site(1, (), lots=lots)])


def test_how_samplings_stand_and_what_the_week_asks_for(summary: Summary) -> None:
    assert tell_status(summary)[2] == (
        "Next samplings: 1 overdue, 1 never sampled, 2 due this week, 1 excused; 20 pots this week, about 80 min."
    )


def test_a_lot_s_line_ends_with_its_next_sampling_in_the_group_s_dates(summary: Summary) -> None:
    lines = tell_status(summary)
    assert [line.partition(" P-")[2][:3] for line in lines[3:7]] == ["101", "102", "103", "105"]
    assert lines[3].endswith("Routine sampling due Wed 2026-04-08. Treated, retest due Thu 2026-04-09.")
    # said once where the retest is the next one
    assert lines[6].endswith(": its interval crosses the edge. Treated, retest due Tue 2026-04-07.")


def test_the_same_for_machines(summary: Summary) -> None:
    told = describe_status(summary)
    assert (told["sites"][0]["pots_this_week"], told["sites"][0]["minutes_this_week"]) == (20, 80.0)
    first = told["lots"][0]
    assert {name: first[name] for name in ("due", "due_rule", "other_dues", "retest_due_on")} == {
        "due": "Routine sampling due 08/04.",
        "due_rule": "routine",
        "other_dues": ["retest 09/04"],
        "retest_due_on": "2026-04-09",
    }


def tell(site: Site) -> list[str]:
    return tell_night(NightResult(make_summary([site]), Path("out"), is_unchanged=False))


def test_a_night_names_the_lots_to_act_on_and_counts_the_rest() -> None:
    lots = [make_lot(number, "act") for number in range(1, MOST_ACTS + 3)]
    told = tell(make_site(1, (), lots=lots))
    assert [line.startswith("  ACT  ") for line in told[2 : 2 + MOST_ACTS]] == [True] * MOST_ACTS
    assert told[2 + MOST_ACTS] == "  2 more to act on: leachbook status lists them."


@pytest.mark.parametrize(
    ("replaced", "withdrawn", "said"),
    [
        (1, 0, "1 line replaced by a later version;"),
        (0, 1, "1 line withdrawn;"),
        (2, 3, "2 lines replaced by a later version, 3 lines withdrawn;"),
    ],
)
def test_only_what_happened_to_lines_is_counted(replaced: int, withdrawn: int, said: str) -> None:
    site = make_site(1, ("ok",), superseded_tonight=replaced, withdrawn_tonight=withdrawn)
    assert f"  {site.name}: {said} the site's page shows what was sent." in tell(site)


def test_lines_stand_below_the_file_that_was_read_again() -> None:
    fates = {"accepted_before": 1, "accepted_after": 1, "held_before": 0, "held_after": 0}
    files = [
        Reread(file=name, changed_lines=1, sentence=f"{name} was read again.", **fates)
        for name in ("drop/a.csv", "drop/b.csv")
    ]
    moved = {"fate_before": None, "cause_before": None, "fate_after": None, "cause_after": None}
    line = RereadLine(
        file="drop/a.csv", line=2, changed_values=[], is_moved=False, sentence="line 2: pH 5 → 6", **moved
    )
    site = make_site(1, ("ok",), rereads_tonight=files, reread_lines=[line], reread_lines_more=0)
    told = tell(site)
    first = told.index(f"  {site.name}: drop/a.csv was read again.")
    assert told[first + 1 : first + 3] == [
        "    drop/a.csv line 2: pH 5 → 6",
        f"  {site.name}: drop/b.csv was read again.",
    ]
