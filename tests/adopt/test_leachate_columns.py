"""Headers that name pH or EC together with the water that was measured: leachate, feed, tap."""

from __future__ import annotations

import pytest

from pipeline.adopt import Proposal, propose
from tests.adopt.helpers import SITE, keys, mapped, table

NAME = "log_2026-04-21.csv"


def _readings(header: str, *rows: str) -> Proposal:
    return propose(table("\n".join([header, *rows])), NAME, SITE, None, {"mode": "increment"})


def test_ph_and_ec_of_the_runoff_are_taken_and_those_of_the_feed_left_out() -> None:
    proposal = _readings(
        "Lot,Date,Feed pH,Feed EC,Runoff pH,Runoff EC",
        "A1,2026-04-21,5.8,1.1,6.2,2.4",
        "A1,2026-04-21,5.9,1.2,6.3,2.5",
    )
    assert mapped(proposal) == {"lot": "Lot", "date": "Date", "ph": "Runoff pH", "ec": "Runoff EC"}
    assert [one.header for one in proposal.left_out] == ["Feed pH", "Feed EC"]
    assert not proposal.questions


@pytest.mark.parametrize(
    "water",
    [
        *("Runoff", "Leachate", "Drain", "Drainage", "Percolate", "Pour-thru"),
        *("Tropfwasser", "Sickerwasser", "Drainwasser", "Perkolat", "Ablauf"),
        *("lixiviado", "drenaje", "percolado", "del lixiviado"),
        *("drainwater", "lekwater", "uitlekwater", "percolaat"),
        *("lixiviat", "percolat", "eau de drainage", "du lixiviat", "égouttage"),
    ],
)
@pytest.mark.parametrize("quantity", ["EC", "CE", "LF", "Leitfähigkeit", "conductivity", "geleidbaarheid"])
def test_an_ec_of_leachate_is_no_volume(water: str, quantity: str) -> None:
    for header in (f"{quantity} {water}", f"{water} {quantity}"):
        proposal = _readings(f"Lot,Date,pH,{header}", "A1,2026-04-21,5.8,1.8", "A1,2026-04-21,5.9,2.4")
        assert mapped(proposal) == {"lot": "Lot", "date": "Date", "ph": "pH", "ec": header}


@pytest.mark.parametrize("water", ["runoff", "Tropfwasser", "drenaje", "lekwater", "percolat"])
def test_a_ph_of_leachate_is_no_volume(water: str) -> None:
    for header in (f"pH {water}", f"{water} pH", f"pH-Wert {water}", f"{water}-pH (Mittel)"):
        proposal = _readings(f"Lot,Date,{header},EC", "A1,2026-04-21,5.8,1.8", "A1,2026-04-21,5.9,2.4")
        assert mapped(proposal) == {"lot": "Lot", "date": "Date", "ph": header, "ec": "EC"}


@pytest.mark.parametrize(
    "header", ["Drip EC", "EC Gießwasser", "CE eau", "CE agua de riego", "EC gietwater", "Tap water EC"]
)
def test_an_ec_of_another_water_is_left_out_beside_that_of_the_leachate(header: str) -> None:
    proposal = _readings(
        f"Lot;Date;pH;{header};EC drain", "A1;2026-04-21;5,8;0,4;2,1", "A1;2026-04-21;5,9;0,5;2,2"
    )
    assert mapped(proposal) == {"lot": "Lot", "date": "Date", "ph": "pH", "ec": "EC drain"}
    assert [one.header for one in proposal.left_out] == [header]
    assert not proposal.questions


def test_two_waters_that_dripped_out_are_asked_about_and_neither_is_a_volume() -> None:
    proposal = _readings(
        "Probe\tPartie\tDatum\tpH-Wert soll\tpH-Wert ist\tEC Tropfwasser\tEC Drain",
        "1\tX1\t05.04.2026 08:30\t5,8\t6,1\t1,8\t2,4",
        "2\tX1\t05.04.2026 08:31\t5,8\t6,2\t1,8\t2,5",
    )
    found = mapped(proposal)
    assert found["ph"] == "pH-Wert ist"
    assert found["ec"] in ("EC Tropfwasser", "EC Drain")
    assert not {"poured", "leachate", "drain"} & set(found)
    (question,) = (one for one in proposal.questions if one.key == "column.ec")
    assert {choice.value for choice in question.choices} == {"EC Tropfwasser", "EC Drain"}


def test_an_ec_of_the_tropfwasser_alone_is_ec() -> None:
    proposal = _readings(
        "Partie\tDatum\tpH\tEC Tropfwasser", "X1\t05.04.2026\t6,1\t1,8", "X1\t06.04.2026\t6,2\t1,9"
    )
    assert mapped(proposal)["ec"] == "EC Tropfwasser"
    assert {one.field: one.unit.value for one in proposal.columns if one.unit} == {"ec": "mS/cm"}


def test_volumes_and_times_of_leachate_stay_what_they_are() -> None:
    proposal = _readings(
        "Lot,Date,pH,EC (mS/cm),Runoff,Drain time (min),Leachate temp (°C)",
        "A1,2026-04-21,5.8,1.8,52,60,19.5",
        "A1,2026-04-21,5.9,2.4,55,60,19.6",
    )
    assert mapped(proposal) == {
        "lot": "Lot",
        "date": "Date",
        "ph": "pH",
        "ec": "EC (mS/cm)",
        "leachate": "Runoff",
        "drain": "Drain time (min)",
        "temperature": "Leachate temp (°C)",
    }


def test_every_column_whose_figures_fit_is_on_offer() -> None:
    header = "Lot,Date,Wert,Feed pH,Tank reading,Weather"
    rows = ("A1,2026-04-21,6.2,5.8,5.5,sun", "A1,2026-04-21,6.3,5.9,5.6,rain")
    data = table("\n".join([header, *rows]))
    proposal = propose(data, NAME, SITE, "readings", {"mode": "increment"})
    (question,) = (one for one in proposal.questions if one.key == "column.ph")
    assert {choice.value for choice in question.choices} >= {"Wert", "Feed pH", "Tank reading"}
    assert "Weather" not in {choice.value for choice in question.choices}
    answers = {"mode": "increment", "column.ph": "Feed pH"}
    assert mapped(propose(data, NAME, SITE, "readings", answers))["ph"] == "Feed pH"


def test_a_column_that_another_field_took_without_certainty_is_on_offer_too() -> None:
    proposal = _readings(
        "Lot,Date,Value,EC (mS/cm),Solution temp probe",
        "A1,2026-04-21,6.2,2.4,5.8",
        "A1,2026-04-21,6.3,2.5,5.9",
    )
    assert mapped(proposal)["temperature"] == "Solution temp probe"
    (question,) = (one for one in proposal.questions if one.key == "column.ph")
    assert [choice.value for choice in question.choices][:2] == ["Value", "Solution temp probe"]
    assert "column.ph" in keys(proposal)


def test_feed_alone_is_asked_about_and_not_taken() -> None:
    data = table("Lot,Date,Water pH,Water EC\nA1,2026-04-21,5.8,1.1\nA1,2026-04-21,5.9,1.2")
    proposal = propose(data, NAME, SITE, "readings", {"mode": "increment"})
    (question,) = (one for one in proposal.questions if one.key == "column.ph")
    assert [choice.value for choice in question.choices] == ["Water pH"]
