"""Lines that are no data: what is left out is said, and lines that look like remarks and hold figures are not lost."""

from __future__ import annotations

from pipeline.adopt import Proposal, propose
from pipeline.adopt.preview import Preview, read_preview
from pipeline.adopt.tell import tell_proposal
from pipeline.settings import Group, Settings, resolve_policy
from tests.adopt.helpers import SITE, keys, setting, table

NAME = "log_2026-04-21.csv"
HEADER = "Pot,Lot,Date,pH,EC (mS/cm),Leachate (mL)"


def _look(data: bytes, **answers: str) -> tuple[Proposal, Preview]:
    proposal = propose(data, NAME, SITE, None, {"mode": "increment", **answers})
    return proposal, read_preview(data, proposal.export, SITE)


def _pots(*names: str) -> str:
    return "\n".join(
        f"{name},A1,2026-04-21,5.{at},2.{at},9{at}" if name[0] != "~" else name[1:]
        for at, name in enumerate(names)
    )


def test_pots_that_begin_with_the_sign_of_remarks_are_data() -> None:
    proposal, preview = _look(table(f"{HEADER}\n{_pots('#1', '#2', '#3', '4')}"))
    assert setting(proposal, "comment_prefix") == ""
    assert preview.data_lines == 4
    assert preview.unread == ()
    assert [row["pot"] for row in preview.rows] == ["#1", "#2", "#3", "4"]
    assert "comment" not in preview.other_lines
    assert not proposal.questions


def test_every_pot_with_the_sign_is_data() -> None:
    proposal, preview = _look(table(f"{HEADER}\n{_pots('#1', '#2')}"))
    assert (setting(proposal, "comment_prefix"), preview.data_lines) == ("", 2)


def test_pots_with_another_sign_are_data_as_well() -> None:
    _, preview = _look(table(f"{HEADER}\n{_pots('*1', '*2', '3', '4', '5', '6')}"))
    assert preview.data_lines == 6


def test_a_few_lines_with_the_sign_are_asked_about() -> None:
    data = table(f"{HEADER}\n{_pots('1', '2', '3', '#4', '5', '6', '7')}")
    proposal, preview = _look(data)
    assert keys(proposal) == {"comment_prefix"}
    assert preview.data_lines == 7
    assert setting(_look(data, comment_prefix="none")[0], "comment_prefix") == ""
    struck, seen = _look(data, comment_prefix="#")
    assert not struck.questions
    assert setting(struck, "comment_prefix") is None
    # A night holds such a line rather than lose it.
    assert seen.unread_count == 1


def test_remarks_stay_remarks() -> None:
    data = table(
        f"# probe 7, printed 21.04.2026\n{HEADER}\n{_pots('1', '2', '~# rained, 2 pots wet', '3')}\n# Mean,,,5.1,2.1,91"
    )
    proposal, preview = _look(data)
    assert setting(proposal, "comment_prefix") is None
    assert (preview.data_lines, preview.other_lines["comment"]) == (3, 3)
    assert not proposal.questions
    assert "3 lines left out: remarks" in tell_proposal(proposal, preview)


def test_titles_and_totals_that_are_left_out_are_said() -> None:
    data = table("""
        Messwerte Haus 3
        Lot;Datum;pH;LF (mS/cm)
        A1;21.04.2026;5,8;2,1
        A1;21.04.2026;5,9;2,2
        Mittel;;5,85;2,15
    """)
    proposal, preview = _look(data)
    assert setting(proposal, "total_words") == ("Mittel",)
    said = tell_proposal(proposal, preview)
    assert "1 line left out: totals" in said
    assert "1 line left out: titles" in said


def test_known_total_words_are_said_and_not_written() -> None:
    data = table("Lot,Date,pH,EC (mS/cm)\nA1,2026-04-21,5.8,2.1\nMean,,5.8,2.1\nTotal,,11.6,4.2")
    proposal, preview = _look(data)
    assert setting(proposal, "total_words") is None
    assert "2 lines left out: totals" in tell_proposal(proposal, preview)


def test_a_total_that_stands_behind_a_blank_cell_is_left_out_and_said() -> None:
    data = table("Lot;Datum;pH;LF (mS/cm)\nA1;21.04.2026;5,8;2,1\n;Mittelwert;5,8;2,1")
    proposal, preview = _look(data)
    assert setting(proposal, "total_words") == ("Mittelwert",)
    assert (preview.data_lines, preview.unread_count) == (1, 0)
    assert "1 line left out: totals" in tell_proposal(proposal, preview)


def test_where_nothing_is_left_out_nothing_is_said() -> None:
    said = tell_proposal(*_look(table("Lot,Date,pH,EC (mS/cm)\nA1,2026-04-21,5.8,2.1")))
    assert not [line for line in said if "lines left out" in line or "line left out" in line]


def test_lines_that_a_night_would_hold_are_marked_among_those_shown() -> None:
    cells = ("5.8,2.0", "15.8,2.0", "n/a,2.0", "5.9,42")
    lines = "\n".join(f"{pot},A1,2026-04-21,{one},50" for pot, one in enumerate(cells, 1))
    data = table(f"{HEADER}\n{lines}")
    proposal = propose(data, NAME, SITE, None, {"mode": "increment"})
    settings = Settings(group=Group(name="Any", time_zone="UTC"), sites=(SITE,))
    preview = read_preview(data, proposal.export, SITE, resolve_policy(settings, SITE))
    assert [why and why.split(";")[0] for why in preview.held] == [
        None,
        "pH 15.8 is outside 0 to 14",
        'pH "n/a" is not a number',
        "EC 42 mS/cm is above 20 mS/cm",
    ]
    assert preview.unread_count == 3
    told = tell_proposal(proposal, preview)
    assert sum(line.startswith("  HELD lot_code A1") for line in told) == 3
    assert "Would be held (3)" in told
