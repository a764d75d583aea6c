"""Header words and cell words of the fields that readings, lots and calibrations got later, in five languages."""

from __future__ import annotations

import pytest

from pipeline.adopt import Proposal, propose
from pipeline.adopt.dictionary import header_words
from pipeline.settings.words import FIELDS
from tests.adopt.helpers import SITE, mapped, table

NAME = "log_2026-04-21.csv"


def _propose(header: str, *rows: str, kind: str | None = None) -> Proposal:
    return propose(table("\n".join([header, *rows])), NAME, SITE, kind, {"mode": "increment"})


@pytest.mark.parametrize("kind", ["readings", "lots", "calibrations"])
def test_every_field_of_the_old_kinds_has_words(kind: str) -> None:
    assert {word.field for word in header_words()[kind]} >= set(FIELDS[kind].known)


@pytest.mark.parametrize(
    ("poured_with", "poured_ec", "cell", "word"),
    [
        ("Poured with", "EC of poured water", "DI water", "deionised"),
        ("Tipo de agua", "CE agua vertida", "agua de lluvia", "rain"),
        ("Wasserart", "EC Aufguss", "dest. Wasser", "distilled"),
        ("Soort water", "EC opgegoten water", "kraanwater", "tap"),
        ("Type d'eau", "CE eau versée", "eau distillée", "distilled"),
    ],
)
def test_the_water_that_was_poured(poured_with: str, poured_ec: str, cell: str, word: str) -> None:
    proposal = _propose(
        f"Lot;Date;pH;EC (mS/cm);{poured_with};{poured_ec}",
        f"A1;2026-04-21;5,8;2,1;{cell};0,05",
        f"A1;2026-04-21;5,9;2,2;{cell};0,06",
    )
    found = mapped(proposal)
    assert (found["poured_with"], found["poured_ec"], found["ec"]) == (poured_with, poured_ec, "EC (mS/cm)")
    assert "poured" not in found
    assert proposal.export.values["poured_with"] == {cell: word}
    assert proposal.export.columns["poured_ec"].unit == "mS/cm"
    assert not proposal.questions


@pytest.mark.parametrize(
    ("valid_from", "parent", "event", "cell", "word"),
    [
        ("Valid from", "Parent lot", "Event", "Split", "split"),
        ("Vigente desde", "Lote de origen", "Evento", "trasladado", "moved"),
        ("Gültig ab", "Mutterpartie", "Vorgang", "ausgeliefert", "shipped"),
        ("Geldig vanaf", "Moederpartij", "Gebeurtenis", "verplaatst", "moved"),
        ("Valable à partir du", "Lot d'origine", "Évènement", "divisé", "split"),
    ],
)
def test_what_befalls_a_lot(valid_from: str, parent: str, event: str, cell: str, word: str) -> None:
    proposal = _propose(
        f"Lot,Crop,Container,Started,{valid_from},{parent},{event}",
        "A1,petunia,10 cm,2026-02-01,2026-02-01,,",
        f"A1b,petunia,10 cm,2026-02-01,2026-03-15,A1,{cell}",
    )
    assert proposal.kind.value == "lots"
    assert mapped(proposal) == {
        "lot": "Lot",
        "crop": "Crop",
        "container": "Container",
        "started": "Started",
        "valid_from": valid_from,
        "parent": parent,
        "event": event,
    }
    # Ours are compared without case, so a word that is ours needs no line.
    assert proposal.export.values.get("event", {}) == ({} if cell.casefold() == word else {cell: word})


def test_a_day_of_sale_from_which_plants_can_be_had_is_no_day_from_which_a_line_holds() -> None:
    proposal = _propose(
        "Partie,Kultur,Gefäß,Beginn,Lieferbar ab", "A1,Petunie,10 cm,2026-02-01,2026-05-01", kind="lots"
    )
    assert "valid_from" not in mapped(proposal)


CALIBRATIONS = [
    (
        "Stage,As found pH 4,As found pH 7.00,pH 10.01 found,As left pH 4,Left pH 7,pH 10 as left",
        "As found",
        "as_found",
    ),
    (
        "Fase,pH 4 antes,pH 7 antes,pH 10 encontrado,pH 4 después,pH 7 después,pH 10 dejado",
        "antes",
        "as_found",
    ),
    (
        "Vorher/nachher,pH 4 vorher,pH 7 vorgefunden,pH 10 vor Justierung,pH 4 nachher,pH 7 nach Justierung,pH 10 nach",
        "nachher",
        "as_left",
    ),
    ("Voor of na,pH 4 voor,pH 7.01 gevonden,pH 10 voor,pH 4 na,pH 7.01 na,pH 10 na", "na", "as_left"),
    (
        "Étape,pH 4 avant,pH 7 trouvé,pH 10 avant réglage,pH 4 après,pH 7 laissé,pH 10 après réglage",
        "avant et après",
        "both",
    ),
]
BUFFERS = ("found_4", "found_7", "found_10", "left_4", "left_7", "left_10")


@pytest.mark.parametrize(("headers", "cell", "word"), CALIBRATIONS)
def test_readings_in_buffers_as_found_and_as_left(headers: str, cell: str, word: str) -> None:
    proposal = _propose(
        f"Meter,Date,{headers}",
        f"M1,2026-04-13,{cell},4.05,7.08,10.11,4.01,7.00,10.02",
        f"M1,2026-04-14,{cell},4.06,7.09,10.12,4.01,7.01,10.03",
    )
    assert proposal.kind.value == "calibrations"
    stage, *columns = headers.split(",")
    assert mapped(proposal) == {
        "meter": "Meter",
        "date": "Date",
        "stage": stage,
        **dict(zip(BUFFERS, columns, strict=True)),
    }
    assert proposal.export.values.get("stage", {}).get(cell, word) == word
    assert not proposal.questions


@pytest.mark.parametrize(
    ("four", "seven", "ten"),
    [
        ("mV pH 4", "mV pH 7", "mV pH 10"),
        ("pH 4.01 (mV)", "pH 7.00 (mV)", "pH 10.01 (mV)"),
        ("Buffer 4 mV", "Buffer 7 mV", "Buffer 10 mV"),
        ("mV tampón 4", "mV tampón 7", "mV tampón 10"),
        ("Puffer 4 (mV)", "Puffer 7 (mV)", "Puffer 10 (mV)"),
        ("mV ijkvloeistof 4", "mV ijkvloeistof 7", "mV ijkvloeistof 10"),
        ("Tampon 4 (mV)", "Tampon 7 (mV)", "Tampon 10 (mV)"),
    ],
)
def test_millivolts_in_buffers(four: str, seven: str, ten: str) -> None:
    proposal = _propose(
        f"Meter,Date,{four},{seven},{ten}",
        "M1,2026-04-13,172.5,-3.1,-176.0",
        "M1,2026-04-14,171.0,-3.0,-175.5",
    )
    assert mapped(proposal) == {"meter": "Meter", "date": "Date", "mv_4": four, "mv_7": seven, "mv_10": ten}


def test_a_buffer_that_says_neither_found_nor_left_nor_millivolts_is_left_out() -> None:
    proposal = _propose("Meter,Date,pH 4,Slope (%)", "M1,2026-04-13,4.02,98.1", "M1,2026-04-14,4.01,98.0")
    assert mapped(proposal) == {"meter": "Meter", "date": "Date", "slope": "Slope (%)"}
    assert [one.header for one in proposal.left_out] == ["pH 4"]


@pytest.mark.parametrize(
    ("found", "left", "temperature", "solution", "expires"),
    [
        ("EC as found", "EC as left", "Buffer temp (°C)", "Solution lot", "Expiry date"),
        ("CE antes", "CE después", "Temperatura (°C)", "Lote solución", "Caducidad"),
        ("LF vorher", "LF nachher", "Temperatur (°C)", "Charge Lösung", "Haltbar bis"),
        ("EC voor", "EC na", "Temperatuur (°C)", "Lot oplossing", "Houdbaar tot"),
        ("CE avant", "CE après", "Température (°C)", "Lot solution", "Date de péremption"),
    ],
)
def test_ec_as_left_with_its_solution(
    found: str, left: str, temperature: str, solution: str, expires: str
) -> None:
    proposal = _propose(
        f"Meter,Date,EC standard,{found},{left},{temperature},{solution},{expires}",
        "M1,2026-04-13,1413,1440,1412,21.5,K-7711,2027-05-31",
        "M1,2026-04-14,1413,1435,1414,22.0,K-7711,2027-05-31",
    )
    assert mapped(proposal) == {
        "meter": "Meter",
        "date": "Date",
        "ec_standard": "EC standard",
        "ec_found": found,
        "ec_left": left,
        "temperature": temperature,
        "solution": solution,
        "solution_expires": expires,
    }
    units = {one.field: one.unit.value for one in proposal.columns if one.unit}
    assert units == {"ec_standard": "µS/cm", "ec_found": "µS/cm", "ec_left": "µS/cm", "temperature": "°C"}
    assert not proposal.questions


def test_a_solution_without_its_date_is_left_out_and_can_be_taken() -> None:
    data = table("Meter,Date,Slope (%),Solution lot\nM1,2026-04-13,98.1,K-7711")
    proposal = propose(data, NAME, SITE, None, {"mode": "increment"})
    assert [(one.header, "without its date" in one.why) for one in proposal.left_out] == [
        ("Solution lot", True)
    ]
    answers = {"mode": "increment", "column.solution": "Solution lot"}
    assert mapped(propose(data, NAME, SITE, None, answers))["solution"] == "Solution lot"
