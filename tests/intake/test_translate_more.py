"""Treatments, feed checks, excuses, planting lists and people: cells into typed columns."""

from __future__ import annotations

from datetime import date, time
from decimal import Decimal
from typing import Any

import pytest

from pipeline.intake.translate import Translated
from pipeline.settings import Column
from tests.intake.samples import translate_text


def one(kind: str, cells: dict[str, str], units: dict[str, str] | None = None, **changes: Any) -> Translated:
    """A file of one record whose columns are named like their fields."""
    columns = {name: Column(column=name, unit=(units or {}).get(name)) for name in cells}
    text = "\t".join(cells) + "\n" + "\t".join(cells.values()) + "\n"
    return translate_text(text, kind=kind, columns=columns, delimiter="\t", **changes)


def row(translated: Translated) -> dict[str, object]:
    """What the record's cells became, without the cells themselves."""
    assert translated.problems.is_empty()
    return translated.rows.drop("record_no", "cells").row(0, named=True)


def problems(translated: Translated) -> list[tuple[str, str]]:
    return translated.problems.select("code", "sentence").rows()


TREATMENT = {"lot": "A1", "date": "2026-04-02", "what": "Acid feed"}


def test_a_treatment() -> None:
    cells = {**TREATMENT, "time": "07:30", "product": "21-7-7", "rate": "150 ppm", "person": "IF"}
    found = row(one("treatments", cells))
    assert (found["lot_code"], found["treated_on"], found["treated_time"]) == (
        "A1",
        date(2026, 4, 2),
        time(7, 30),
    )
    assert (found["treatment"], found["product"], found["rate"]) == ("acid_feed", "21-7-7", "150 ppm")


def test_a_treatment_in_the_site_s_own_word() -> None:
    cells = {**TREATMENT, "what": "Säuredüngung"}
    found = one("treatments", cells, values={"what": {"säuredüngung": "acid_feed"}})
    assert row(found)["treatment"] == "acid_feed"


@pytest.mark.parametrize(
    ("blank", "why"),
    [
        ("what", 'the column "what" is blank; write what was done'),
        ("date", 'the column "date" is blank; write the date in it'),
        ("lot", 'the column "lot" is blank; write which lot was treated, or the house'),
    ],
)
def test_a_treatment_lacks_something(blank: str, why: str) -> None:
    assert problems(one("treatments", {**TREATMENT, blank: ""})) == [("missing", why)]


def test_a_treatment_that_nobody_knows() -> None:
    ((code, sentence),) = problems(one("treatments", {**TREATMENT, "what": "magic"}))
    assert code == "value_unknown"
    assert sentence.startswith('what "magic" is none of leaching, clear_water, acid_feed')


def test_a_feed_check_in_our_units() -> None:
    cells = {
        "date": "2026-04-02",
        "place": "hose end",
        "house": "3",
        "injector": "D14",
        "ec": "1850",
        "temperature": "68",
        "ph": "6.1",
        "alkalinity": "2.4",
        "nitrogen": "150 ppm",
        "target_ec": "2.1",
    }
    units = {"ec": "µS/cm", "temperature": "°F", "alkalinity": "meq/L", "target_ec": "mS/cm"}
    found = row(one("feed_checks", cells, units, ec_compensated=False))
    assert found["place"] == "hose_end"
    assert found["ec_ms_cm"] == Decimal("1.8500")
    assert found["temperature_c"] == Decimal("20.00")
    # 2.4 meq/L times 50.04
    assert found["alkalinity_mg_l"] == Decimal("120.10")
    assert found["nitrogen_ppm"] == Decimal("150.00")
    assert found["target_ec_ms_cm"] == Decimal("2.1000")
    assert found["ec_compensated"] is False


def test_a_feed_check_without_a_figure() -> None:
    cells = {"date": "2026-04-02", "place": "tank", "ec": "", "ph": ""}
    ((code, sentence),) = problems(one("feed_checks", cells, {"ec": "mS/cm"}))
    assert code == "nothing_measured"
    assert sentence == 'the column "ec" or "ph" is blank; enter what was measured, or take the line out'


EXEMPTION = {
    "lot": "A1",
    "from": "2026-04-01",
    "until": "2026-04-14",
    "reason": "sold out",
    "person": "Ines",
}


def test_an_excuse_of_one_purpose() -> None:
    found = row(one("exemptions", {**EXEMPTION, "purpose": "routine", "entered_on": "2026-04-03"}))
    assert (found["purpose"], found["from_on"], found["until_on"]) == (
        "routine",
        date(2026, 4, 1),
        date(2026, 4, 14),
    )
    assert found["entered_on"] == date(2026, 4, 3)


def test_an_excuse_of_one_day_ends_as_it_begins() -> None:
    assert row(one("exemptions", {**EXEMPTION, "until": "2026-04-01"}))["until_on"] == date(2026, 4, 1)


def test_an_excuse_that_ends_before_it_begins() -> None:
    assert problems(one("exemptions", {**EXEMPTION, "until": "2026-03-14"})) == [
        (
            "until_before_from",
            'until "2026-03-14" lies before the first day of the excuse, 2026-04-01; correct one of them',
        )
    ]


@pytest.mark.parametrize("blank", ["lot", "from", "until", "reason", "person"])
def test_an_excuse_needs_lot_days_reason_and_name(blank: str) -> None:
    assert [code for code, _ in problems(one("exemptions", {**EXEMPTION, blank: ""}))] == ["missing"]


def test_a_planted_lot() -> None:
    cells = {"lot": "A1", "crop": "pansy", "planted": "", "ships": "2026-05-08", "plants": "1200"}
    found = row(one("plantings", cells))
    assert (found["lot_code"], found["planted_on"], found["ships_on"], found["plants"]) == (
        "A1",
        None,
        date(2026, 5, 8),
        1200,
    )


def test_a_planted_lot_without_a_day() -> None:
    assert problems(one("plantings", {"lot": "A1", "planted": "", "ships": ""})) == [
        (
            "missing",
            'the column "planted" or "ships" is blank; write when the lot is planted or when it ships',
        )
    ]


def test_a_person() -> None:
    cells = {"name": "IF", "role": "head grower", "trained_on": "2025-11-03", "trained_by": "Bo", "until": ""}
    assert row(one("people", cells)) == {
        "name": "IF",
        "role": "head grower",
        "trained_on": date(2025, 11, 3),
        "trained_by": "Bo",
        "until_on": None,
        "note": None,
    }


def test_somebody_without_a_name() -> None:
    assert [code for code, _ in problems(one("people", {"name": "", "role": "x"}))] == ["missing"]
