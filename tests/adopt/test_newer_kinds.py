"""Treatments, feed checks, exemptions, planting lists and people: what is proposed, and what is asked instead."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.adopt import Proposal, adopt_file, append_block, propose
from pipeline.errors import AdoptError
from pipeline.intake.collect import list_site, plan_collection
from pipeline.settings import Export, load_settings
from pipeline.settings.words import KINDS
from tests.adopt.helpers import SITE, keys, mapped, table
from tests.home import run_cli

DEMO = Path(__file__).parents[2] / "demo_sites"
NEWER = KINDS[3:]


def _units(proposal: Proposal) -> dict[str, str]:
    return {one.field: one.unit.value for one in proposal.columns if one.unit}


def _feed(rows: str, header: str) -> Proposal:
    return propose(table(f"{header}\n{rows}"), "checks.csv", SITE, None, {"mode": "increment"})


def test_french_treatments_by_the_week() -> None:
    data = table("""
        Année;Semaine;Serre;Intervention;Produit;Dose;Opérateur
        2026;12;S1;lessivage;;2 volumes;MD
        2026;13;S2;chélate de fer;EDDHA;3 g/hL;MD
    """)
    proposal = propose(data, "interventions.csv", SITE, None, {"mode": "increment"})
    assert proposal.kind.value == "treatments"
    assert mapped(proposal) == {
        "year": "Année",
        "week": "Semaine",
        "house": "Serre",
        "what": "Intervention",
        "product": "Produit",
        "rate": "Dose",
        "person": "Opérateur",
    }
    assert proposal.export.values["what"] == {"lessivage": "leaching", "chélate de fer": "iron_drench"}
    assert proposal.export.week_rule == "iso"
    assert not proposal.questions


def test_acid_is_a_word_of_the_trade() -> None:
    data = table("""
        Datum;Partie;Maßnahme;Mittel
        12.11.2026;L-01;Säure;Salpetersäure 60 %
        19.11.2026;L-03;Ansäuern;
    """)
    proposal = propose(data, "Behandlungen.csv", SITE, None, {"mode": "increment"})
    assert proposal.export.values["what"] == {"Säure": "acid_feed", "Ansäuern": "acid_feed"}


def test_treatments_whose_words_nobody_knows_are_only_likely() -> None:
    data = table("""
        Date,Greenhouse,Treatment,Product,Rate
        2026-03-12,3,sprayed for thrips,Sheen,1 oz/gal
        2026-03-13,3,shorter plants,Sheen,2 ppm
    """)
    proposal = propose(data, "log.csv", SITE)
    assert (proposal.kind.value, proposal.kind.sure) == ("treatments", "likely")
    assert "no word in what is known" in proposal.kind.why
    assert [one.word for one in proposal.words["what"]] == [None, None]


def test_a_log_without_what_was_done_is_one_sentence() -> None:
    data = table("Date,House,Product,Rate,Applicator\n2026-03-12,3,Sheen,1 oz/gal,MD")
    with pytest.raises(AdoptError, match="no column for what is found"):
        propose(data, "log.csv", SITE)


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("Alkalinity (ppm CaCO3)", "ppm CaCO3"),
        ("Alk mg/L as CaCO3", "mg/L CaCO3"),
        ("CaCO3 (mg/L)", "mg/L CaCO3"),
        ("Alcalinidad (meq/l)", "meq/L"),
        ("Säurekapazität KS4,3 (mmol/L)", "meq/L"),
        ("HCO3 mmol/l", "meq/L"),
        ("SBV (mval/l)", "meq/L"),
    ],
)
def test_alkalinity_in_a_unit_that_the_header_says(header: str, unit: str) -> None:
    proposal = _feed("2026-03-13;well;7.2;3.4\n2026-03-13;hose;6.2;1.4", f"Date;Where;pH;{header}")
    assert _units(proposal) == {"alkalinity": unit}
    assert not proposal.questions


@pytest.mark.parametrize(
    ("header", "cell", "choices"),
    [
        ("Alkalinity (mmol/L)", "3.4", ["meq/L", "none"]),
        ("Alkalinity (mg/L)", "180", ["mg/L CaCO3", "none"]),
        ("Alkalinity", "180", ["mg/L CaCO3", "meq/L", "none"]),
        ("Alcalinité", "3.4", ["meq/L", "mg/L CaCO3", "none"]),
    ],
)
def test_alkalinity_of_something_unsaid_is_asked(header: str, cell: str, choices: list[str]) -> None:
    data = table(f"Date;Where;pH;{header}\n2026-03-13;well;7.2;{cell}")
    proposal = propose(data, "checks.csv", SITE, None, {"mode": "increment"})
    (question,) = proposal.questions
    assert question.key == "unit.alkalinity"
    assert [choice.value for choice in question.choices] == choices
    without = propose(data, "checks.csv", SITE, None, {"mode": "increment", "unit.alkalinity": "none"})
    assert "alkalinity" not in mapped(without)
    assert [one.header for one in without.left_out] == [header]


@pytest.mark.parametrize(
    "header", ["Karbonathärte (°dKH)", "HCO3 (mg/L)", "Alkalinity (mg/L HCO3)", "KH °dH"]
)
def test_alkalinity_in_a_unit_that_the_settings_do_not_know_is_left_out_and_said(header: str) -> None:
    proposal = _feed("2026-03-13;well;7.2;9.5\n2026-03-13;hose;6.2;4.1", f"Date;Where;pH;{header}")
    assert "alkalinity" not in mapped(proposal)
    (left,) = proposal.left_out
    assert "export it in mg/L CaCO3 or meq/L" in left.why


def test_the_target_is_on_the_scale_of_the_ec_beside_it() -> None:
    header, row = "Date;Where;EC (ppm);Target EC (ppm)", "2026-03-13;hose;1010;1050"
    assert keys(_feed(row, header)) == {"unit.ec"}
    answers = {"mode": "increment", "unit.ec": "ppm 640"}
    proposal = propose(table(f"{header}\n{row}"), "checks.csv", SITE, None, answers)
    assert _units(proposal) == {"ec": "ppm 640", "target_ec": "ppm 640"}
    assert not proposal.questions


def test_a_target_of_ph_a_nitrate_and_a_hardness_are_no_field_of_water() -> None:
    proposal = _feed(
        "2026-03-13,tap,7.2,6.0,6.0,33,210",
        "Date,Sample Point,pH,Target pH,Target,Nitrate (ppm),Total hardness (mg/L CaCO3)",
    )
    assert mapped(proposal) == {"date": "Date", "place": "Sample Point", "ph": "pH"}


def test_words_alone_make_the_column_of_the_place() -> None:
    given = propose(
        table("Date,Blah,pH\n2026-03-13,well,7.2\n2026-03-13,hose end,6.2"), "checks.csv", SITE, "feed_checks"
    )
    assert mapped(given) == {"date": "Date", "place": "Blah", "ph": "pH"}
    assert next(one.guess.sure for one in given.columns if one.field == "place") == "likely"


def test_readings_from_places_on_the_bench_are_no_checks_of_water() -> None:
    data = table("Date,House,Where,pH,EC (mS/cm)\n2026-04-03,1,edge,5.8,1.9\n2026-04-03,1,middle,5.9,2.9")
    assert propose(data, "log.csv", SITE).kind.value == "readings"


def test_spanish_exemptions() -> None:
    data = table("""
        Lote;Motivo;Desde;Hasta;Autorizado por;Registrado el
        A-1;vendido;20/03/2026;05/04/2026;Ana;19/03/2026
        A-2;plantas tiradas;20/03/2026;12/04/2026;Ana;19/03/2026
    """)
    proposal = propose(data, "excusas.csv", SITE, None, {"mode": "increment"})
    assert proposal.kind.value == "exemptions"
    assert mapped(proposal) == {
        "lot": "Lote",
        "reason": "Motivo",
        "from": "Desde",
        "until": "Hasta",
        "person": "Autorizado por",
        "entered_on": "Registrado el",
    }
    assert proposal.export.date_format == "%d/%m/%Y"


def test_little_words_name_a_span_only_alone() -> None:
    data = table("""
        Lot;Du;Au;Motif;Par;Date du contrôle
        A-1;20/03/2026;05/04/2026;vendu;MD;19/03/2026
    """)
    proposal = propose(data, "dispenses.csv", SITE)
    assert mapped(proposal)["from"] == "Du"
    assert "entered_on" not in mapped(proposal)
    assert [one.header for one in proposal.left_out] == ["Date du contrôle"]


def test_a_planting_list_and_a_list_of_lots_are_told_apart_by_their_pots() -> None:
    rows = "A-1;petunia;red;{}20.01.2026;20.04.2026;1200"
    plan = table("Partie;Kultur;Sorte;Pflanzdatum;Verkauf;Stück\n" + rows.format(""))
    lots = table("Partie;Kultur;Sorte;Topf;Pflanzdatum;Verkauf;Stück\n" + rows.format("12 cm;"))
    strange = table("Partie;Kultur;Sorte;Xyz;Pflanzdatum;Verkauf;Stück\n" + rows.format("12 cm;"))
    assert propose(plan, "plan.csv", SITE).kind.value == "plantings"
    assert propose(lots, "partien.csv", SITE).kind.value == "lots"
    assert "kind" in keys(propose(strange, "liste.csv", SITE))


def test_people_are_asked_by_which_name_the_readings_know_them() -> None:
    data = table("""
        Naam;Initialen;Functie;Opgeleid op;Opgeleid door;Dienst
        Jelle Zandhof;JZ;teler;23-02-2026;Femke;dag
        Femke Bosveld;FB;hoofd;13-02-2025;extern;dag
    """)
    proposal = propose(data, "mensen.csv", SITE)
    assert proposal.kind.value == "people"
    (question,) = proposal.questions
    assert question.key == "column.name"
    assert {choice.value for choice in question.choices} == {"Naam", "Initialen"}
    chosen = propose(data, "mensen.csv", SITE, None, {"column.name": "Initialen"})
    assert mapped(chosen) == {
        "name": "Initialen",
        "role": "Functie",
        "trained_on": "Opgeleid op",
        "trained_by": "Opgeleid door",
    }
    assert chosen.export.mode == "cumulative"


def test_names_alone_are_no_list_of_people() -> None:
    proposal = propose(table("Name,Notes,Wert\nAnna,x,rot\nBert,y,blau"), "x.csv", SITE)
    question = next(one for one in proposal.questions if one.key == "kind")
    assert {choice.value for choice in question.choices} == set(KINDS)
    assert all(choice.why for choice in question.choices)


def test_the_mode_is_asked_while_the_days_are_in_question() -> None:
    """Read one way the days span a week, read the other way most of a year."""
    data = table("Date,Where,pH\n3/2/2026,well,7.2\n3/11/2026,hose,6.2")
    assert {"date_format", "mode"} <= keys(propose(data, "checks.csv", SITE))


@pytest.mark.parametrize("kind", KINDS)
def test_the_command_takes_each_kind_of_the_settings(tmp_path: Path, kind: str) -> None:
    missing = run_cli("adopt", tmp_path, "nowhere", tmp_path / "none.csv", "--kind", kind)
    assert "--kind" not in missing.err
    assert kind in run_cli("adopt", "--help").out


def test_the_command_refuses_a_kind_that_is_none(tmp_path: Path) -> None:
    ran = run_cli("adopt", tmp_path, "nowhere", tmp_path / "none.csv", "--kind", "weather")
    assert ran.code == 2
    assert "'weather' is not one of 'readings', 'lots'" in ran.err


def _newer_exports() -> Iterator[tuple[str, str, str]]:
    for site in load_settings(DEMO).sites:
        for claim in plan_collection(site.exports, list_site(site)).claims:
            kind = site.exports[claim.export_no - 1].kind
            if kind in NEWER:
                yield site.folder.name, kind, claim.name


def _without(text: str, kind: str) -> str:
    """site.toml without the blocks of a kind."""
    head, *blocks = re.split(r"(?m)^(?=\[\[export\]\])", text)
    kept = [block for block in blocks if f'kind = "{kind}"' not in block]
    assert len(kept) < len(blocks)
    return head + "".join(kept)


def _read_as(export: Export) -> dict[str, object]:
    """What the block says, without what says the same in another way: words that are ours, the pattern, a remark."""
    said = export.model_dump(exclude={"files", "values"})
    values = {field: dict(words) for field, words in export.values.items()}
    # A cell that is our word but for case and blanks needs no line of its own.
    return said | {
        "values": {
            field: kept
            for field, words in values.items()
            if (
                kept := {
                    cell: word for cell, word in words.items() if cell.casefold().replace(" ", "_") != word
                }
            )
        }
    }


@pytest.mark.parametrize(("site_name", "kind", "name"), list(_newer_exports()))
def test_a_block_that_was_taken_out_of_the_demo_comes_back(
    tmp_path: Path, site_name: str, kind: str, name: str
) -> None:
    home = tmp_path / "home"
    shutil.copytree(DEMO, home, ignore=shutil.ignore_patterns("*.py", "run", "second_night", "plan"))
    path = home / "sites" / site_name / "site.toml"
    (site,) = [one for one in load_settings(home).sites if one.folder.name == site_name]
    (by_hand,) = [one for one in site.exports if one.kind == kind]
    path.write_text(_without(path.read_text(encoding="utf-8"), kind), encoding="utf-8")
    before = path.read_bytes()
    file = site.folder / name
    open_keys = {one.key for one in adopt_file(home, site.id, file).proposal.questions}
    assert open_keys <= {"mode", "date_format"}
    answers = {key: str(getattr(by_hand, key)) for key in open_keys}
    adoption = adopt_file(home, site.id, file, None, answers)
    assert adoption.preview.rows
    assert not adoption.preview.unread
    append_block(home, adoption)
    assert path.read_bytes().startswith(before)
    (site,) = [one for one in load_settings(home).sites if one.folder.name == site_name]
    (proposed,) = [one for one in site.exports if one.kind == kind]
    assert _read_as(proposed) == _read_as(by_hand)
