"""The dossier as PDF/A-3: metadata, output intent, fonts, attachments, tags, no script; and the same bytes again.

What is looked at here is listed in DEVELOPERS.md, and so is what is not: no validator of PDF/A is at hand.
Points after ISO 19005-3:2012 (from memory): 6.2.3 output intent, 6.2.11 fonts embedded, 6.6.2 metadata with part and
level, 6.8 associated files with relationship and type, 6.4 and 6.6.1 no script, no action, no encryption.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pdfplumber
import pikepdf
import pytest
from pdfua import Severity, validate

from pipeline.audit.evidence import ORDER
from tests.audit.homes import audit, make_audited_home

PDFA = "{http://www.aiim.org/pdfa/ns/id/}"


@pytest.fixture(scope="module")
def dossier(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = make_audited_home(tmp_path_factory.mktemp("pdf") / "home")
    ran = audit(home, "--json")
    assert ran.code == 0, ran.err
    return Path(ran.json["dossier"])


def dictionaries(pdf: pikepdf.Pdf) -> list[Any]:
    return [one for one in pdf.objects if isinstance(one, pikepdf.Dictionary)]


def test_metadata_say_part_and_level_and_agree_with_the_title(dossier: Path) -> None:
    with pikepdf.open(dossier) as pdf:
        meta = pdf.open_metadata()
        assert (meta[f"{PDFA}part"], meta[f"{PDFA}conformance"]) == ("3", "A")
        assert "Audit dossier: Hill" in str(meta["{http://purl.org/dc/elements/1.1/}title"])
        assert str(pdf.docinfo["/Title"]) == "Audit dossier: Hill"


def test_the_colours_have_an_output_intent(dossier: Path) -> None:
    with pikepdf.open(dossier) as pdf:
        (intent,) = pdf.Root.OutputIntents
        assert intent.S == "/GTS_PDFA1"
        assert intent.DestOutputProfile.N == 3
        # an ICC profile begins with its size and has its signature at byte 36
        assert intent.DestOutputProfile.read_bytes()[36:40] == b"acsp"


def test_every_font_is_embedded(dossier: Path) -> None:
    with pikepdf.open(dossier) as pdf:
        fonts = [one for one in dictionaries(pdf) if one.get("/Type") == "/FontDescriptor"]
        assert fonts
        for font in fonts:
            assert any(key in font for key in ("/FontFile", "/FontFile2", "/FontFile3")), font.FontName


def test_each_attachment_is_associated_with_a_type_a_relationship_and_a_description(dossier: Path) -> None:
    with pikepdf.open(dossier) as pdf:
        # WeasyPrint 70 lists each of them twice
        specs = {str(spec.UF): spec for spec in pdf.Root.AF}
        assert set(specs) == set(pdf.attachments)
        assert sorted(specs) == sorted(f"{name}.csv" for name in ("index", *ORDER))
        assert len(specs) == 35
        for spec in specs.values():
            assert spec.AFRelationship == "/Data"
            assert str(spec.UF).endswith(".csv")
            assert str(spec.Desc)
            assert spec.EF.F.Subtype == "/text/csv"
            assert "/ModDate" in spec.EF.F.Params


def test_it_is_tagged_in_english_with_alternatives_for_its_pictures(dossier: Path) -> None:
    with pikepdf.open(dossier) as pdf:
        assert pdf.Root.Lang == "en"
        assert bool(pdf.Root.MarkInfo.Marked)
        figures = [one for one in dictionaries(pdf) if one.get("/S") == "/Figure"]
        # two lots and one meter
        assert len(figures) == 3
        assert all(str(one.get("/Alt", "")) for one in figures)
        tables = [one for one in dictionaries(pdf) if one.get("/S") == "/Table"]
        heads = [one for one in dictionaries(pdf) if one.get("/S") == "/TH"]
        assert len(tables) > 10
        assert heads


def test_the_checks_of_pdf_ua_find_nothing_but_the_missing_mark(dossier: Path) -> None:
    """UA-28-004: PDF/A-3 carries no mark of PDF/UA; UA-15-003: see DEVELOPERS.md."""
    found = {one.rule_id for one in validate(str(dossier)).findings if one.severity != Severity.INFO}
    assert found <= {"UA-15-003", "UA-28-004"}


def test_it_has_no_script_no_action_and_no_encryption(dossier: Path) -> None:
    with pikepdf.open(dossier) as pdf:
        assert not pdf.is_encrypted
        assert "/OpenAction" not in pdf.Root
        assert "/AA" not in pdf.Root
        assert "/JavaScript" not in pdf.Root.get("/Names", {})
        for one in dictionaries(pdf):
            assert one.get("/S") not in ("/JavaScript", "/Launch", "/URI", "/SubmitForm", "/ImportData")
            assert "/JS" not in one


def test_every_page_says_which_and_what_it_is_about(dossier: Path) -> None:
    with pdfplumber.open(dossier) as pdf:
        texts = [page.extract_text() for page in pdf.pages]
    told = " ".join(" ".join(texts).split())
    # a source that says so itself is not called published twice
    assert "published worksheet on slope" in told
    assert "published: published" not in told
    for number, text in enumerate(texts, start=1):
        assert f"page {number} of {len(texts)}" in text
        assert "Audit 2026-03-02 to 2026-04-06, as known 2026-04-06" in text
    whole = " ".join(" ".join(texts).split())
    assert "\ufffd" not in whole
    assert "(cid:" not in whole


def test_nothing_lies_outside_the_paper(dossier: Path) -> None:
    with pdfplumber.open(dossier) as pdf:
        for page in pdf.pages:
            for letter in page.chars:
                assert letter["x0"] >= 30
                assert letter["x1"] <= page.width - 30, letter["text"]


def test_how_samplings_were_done_is_told_by_site_house_and_grower(dossier: Path) -> None:
    with pdfplumber.open(dossier) as pdf:
        lines = [line for page in pdf.pages for line in page.extract_text().splitlines()]
    start = lines.index("Was it done properly?")
    told = lines[start : lines.index("What was late, missed or open", start)]
    with pikepdf.open(dossier) as pdf:
        data = pdf.attachments["compliance.csv"].get_file().read_bytes().decode("utf-8-sig")
    rows = {row["level"]: row for row in csv.DictReader(data.splitlines()) if row["part"] == "all"}
    for caption, level, name in (
        ("Routine samplings and retests of the period, by site", "site", "Hill"),
        ("The same by house", "house", "Hill 1"),
        ("The same by grower", "grower", "Hill nobody named"),
    ):
        after = told[told.index(caption) :]
        row, one = next(line for line in after if line.startswith(f"{name} ")), rows[level]
        assert row.startswith(f"{name} {one['samplings']} {one['counting']} {one['volumes_right']} ")
        assert f"{one['proper']} of {one['samplings']} (" in row
