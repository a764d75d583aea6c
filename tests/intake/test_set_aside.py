"""Lines that begin like a comment or a total, and rows of units that are none: never lost without a word."""

from __future__ import annotations

from typing import Any

import pytest

from pipeline.intake.read import read_records
from pipeline.intake.set_aside import DAYS, FIGURES
from pipeline.intake.translate import _NUMERIC
from pipeline.settings import Column
from pipeline.settings.words import FIELDS, WORDS_BY_FIELD
from tests.intake.samples import READING_COLUMNS, READING_HEADER, make_export

POTS = {"pot": "Pot", **READING_COLUMNS}
POT_HEADER = "Pot,Lot,Date,pH,EC"
WEEKS = {name: column for name, column in READING_COLUMNS.items() if name != "date"} | {
    "week": "Week",
    "year": "Year",
}


def seen(text: str, **changes: Any) -> list[tuple[str, str | None]]:
    """Kind and problem of each line below the header, the same by both readers."""
    export = make_export(**changes)
    results = [read_records(text.encode(), export, is_quick=is_quick) for is_quick in (True, False)]
    assert results[0].records.equals(results[1].records)
    return results[0].records.select("kind", "problem").rows()[1:]


@pytest.mark.parametrize(
    "line",
    [
        "#1,A1,2026-04-21,5.8,1.9",
        "  # 1,A1,2026-04-21,5.8,1.9",
        "#1,A1,,5.8,",
        "#1,A1,21.04.2026,n/a,",
        '#1,"A1",2026-04-21,"5,8",1.9',
        "#1,A1,2026-04-21,5.8",
        "#1,A1,2026-04-21,5.8,1.9,more",
        '#1,A1,2026-04-21,5.8,"1.9',
    ],
)
@pytest.mark.parametrize("stated", [{}, {"comment_prefix": "#"}])
def test_a_line_with_the_cells_of_a_reading_is_no_comment(line: str, stated: dict[str, str]) -> None:
    ((kind, problem),) = seen(f"{POT_HEADER}\n{line}\n", columns=POTS, **stated)
    assert kind == "data"
    assert problem in ("looks_like_data", "ragged", "quoting")


def test_the_sentence_says_what_would_release_it() -> None:
    export = make_export(columns=POTS)
    result = read_records(f"{POT_HEADER}\n#1,A1,2026-04-21,5.8,1.9\n".encode(), export)
    assert result.records["problem_detail"][1] == (
        'looks like a record although it begins with "#"; set comment_prefix = "" for this export in site.toml '
        "if such lines count, or take the line out of the file"
    )
    free = make_export(columns=POTS, comment_prefix="")
    assert read_records(f"{POT_HEADER}\n#1,A1,2026-04-21,5.8,1.9\n".encode(), free).cells["c0"].to_list() == [
        "#1"
    ]


@pytest.mark.parametrize(
    "line",
    [
        "# meter HM-2",
        "# meter 2, checked 2026-04-21",
        "# made on 2026-04-21,,,,",
        "# pots, lots, days, pH, EC",
        "# mean,,,5.8,1.9",
        "#",
        '# he said "so',
    ],
)
def test_a_comment_stays_one(line: str) -> None:
    assert seen(f"{POT_HEADER}\n{line}\n1,A1,2026-04-21,5.8,1.9\n", columns=POTS)[0] == ("comment", None)


def test_a_treatment_that_is_too_long_is_no_comment_because_it_has_all_that_a_treatment_needs() -> None:
    columns = {name: Column(column=name) for name in ("date", "lot", "what", "note")}
    text = (
        "date,lot,what,note\n#2026-04-21,A1,leaching,ten plants,more\n# 2026-04-21,A1,,asked for,more\n"
        "# 2026-04-21: rain, no work,,,\n"
    )
    assert seen(text, kind="treatments", columns=columns) == [
        ("data", "ragged"),
        ("comment", None),
        ("comment", None),
    ]


@pytest.mark.parametrize("word", ["Mean", "Sum", "TOTAL:", "Grand total", "grand  Total:"])
def test_a_lot_may_be_called_like_a_total(word: str) -> None:
    body = f"{word},2026-04-21,5.8,1.9\n{word},21.04.2026,5.8,1.9\n{word},2026-04-21,,\n"
    assert seen(f"{READING_HEADER}\n{body}") == [("data", None)] * 3
    totals = f"{word},,5.8,1.9\n{word},5 pots,5.8,\n,{word},5.8,1.9\n,,{word},\n{word}\n"
    assert seen(f"{READING_HEADER}\n{totals}") == [("total", None)] * 5


@pytest.mark.parametrize("week_rule", ["iso", "january_1"])
def test_a_lot_called_mean_in_week_53_is_no_total_whether_the_year_has_that_week_or_not(
    week_rule: str,
) -> None:
    text = "Lot,Year,Week,pH,EC\nMean,2000,53,5.8,1.9\nMean,2001,53,5.8,1.9\nMean,,53,5.8,1.9\n"
    kinds = seen(text, columns=WEEKS, week_rule=week_rule)
    assert kinds == [("data", None), ("data", None), ("total", None)]


def test_a_total_word_elsewhere_is_held_unless_the_export_states_it() -> None:
    text = f"{POT_HEADER}\nMean,A1,2026-04-21,5.8,1.9\nMean,,2026-04-21,5.8,1.9\nMean,A1,,5.8,1.9\n"
    assert seen(text, columns=POTS) == [("data", "looks_like_data"), ("total", None), ("total", None)]
    assert seen(text, columns=POTS, total_words=["Mean"]) == [("total", None)] * 3
    assert seen(text, columns=POTS, total_words=["Sum"]) == [("data", None)] * 3


def test_a_week_is_a_day_too() -> None:
    text = "Lot,Week,Year,pH,EC\nMean,14,2026,5.8,1.9\nMean,2026-W14,,5.8,1.9\nMean,99,2026,5.8,1.9\n"
    assert [kind for kind, _ in seen(text, columns=WEEKS)] == ["data", "data", "total"]


def test_a_person_needs_no_day() -> None:
    columns = {"name": "Name", "role": "Role", "trained_on": "Trained"}
    body = "Name,Role,Trained\nSum,grower,\nSum,,2026-04-01\n,Total,3\n"
    assert [kind for kind, _ in seen(body, kind="people", columns=columns)] == ["data", "data", "total"]


@pytest.mark.parametrize(
    "row",
    [
        "A1,2026-04-21,5.8,1.9",
        "A1,21.04.2026,,",
        ",,5.8,",
        "A1,,n/a,2.1 mS",
        "A1,yesterday,n/a,n/a",
        '"A1,2026-04-21,5.8,1.9',
    ],
)
def test_a_row_that_is_no_row_of_units_holds_the_file(row: str) -> None:
    text = f"{READING_HEADER}\n{row}\nA2,2026-04-21,5.9,1.8\n"
    assert seen(text, units_row=True) == [("data", "units_changed")] * 2
    problem = read_records(text.encode(), make_export(units_row=True)).file_problem
    assert problem is not None
    assert problem.sentence.startswith("the row of units should stand on line 2, and that line ")
    assert problem.mend == "take units_row out of this export in site.toml, or export the row of units again"


@pytest.mark.parametrize(
    "row",
    [
        ",,,mS/cm",
        "code,yyyy-mm-dd,0-14,mS/cm",
        "-,-,-,[mS/cm]",
        ",TT.MM.JJJJ,,",
        ",,(1),",
        "",
        ",,,",
        ",,pH,",
    ],
)
def test_a_row_of_units_stays_one(row: str) -> None:
    assert seen(f"{READING_HEADER}\n{row}\nA2,2026-04-21,5.9,1.8\n", units_row=True) == [
        ("units", None),
        ("data", None),
    ]


def test_every_field_is_a_day_a_figure_or_neither() -> None:
    assert set(_NUMERIC) == FIGURES
    known = {name for fields in FIELDS.values() for name in fields.known}
    assert known >= DAYS | FIGURES
    assert not FIGURES & (DAYS | set(WORDS_BY_FIELD))
    assert Column(column="EC", unit="mS/cm").unit
