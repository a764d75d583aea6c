"""A dossier in the group's or site's language: messages put into it, data left alone, the same proof."""

from __future__ import annotations

import csv
import re
from decimal import Decimal
from pathlib import Path

import pdfplumber
import pikepdf
import pytest

from pipeline.audit.messages import join, plain, shared, speak, speak_fixed, tell, tell_many
from pipeline.audit.sheet import say_share
from pipeline.languages import load_tongue
from tests.audit.homes import attachments, audit, make_audited_home
from tests.home import GROUP, SITE, run_cli

SPANISH, ENGLISH = load_tongue("es"), load_tongue("en")


def test_a_message_is_english_text_until_it_is_put_into_a_language() -> None:
    told = tell("late by {days}", days=tell_many("{n} day", "{n} days", 1))
    assert (told, speak(told, ENGLISH), speak(told, SPANISH)) == ("late by 1 day",) * 2 + ("tarde por 1 día",)
    both = join((plain("not_shown"), say_share(Decimal("0.4167"))))
    assert (str(both), speak(both, SPANISH)) == ("not shown, 41.7 %", "no consta, 41,7 %")
    assert speak(shared("plugs", "container.plug"), SPANISH) != "plugs"


def test_data_stays_as_it_is_though_it_is_a_word_of_ours() -> None:
    assert speak("routine", SPANISH) == "routine"
    assert speak(join(("routine", plain("routine"))), SPANISH) == "routine, rutina"
    assert speak(tell("house {name}", name="{days} routine"), SPANISH) == "invernadero {days} routine"
    assert speak_fixed("Each lot", SPANISH) == "Cada lote"


@pytest.fixture(scope="module")
def spanish(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    folder = tmp_path_factory.mktemp("spanish") / "home"
    home = make_audited_home(folder, group=f'{GROUP}language = "es"\n')
    ran = audit(home, "--json", "--draw", "1", "--seed", "oak")
    assert ran.code == 0, ran.err
    return home, Path(ran.json["dossier"])


def text_of(path: Path) -> str:
    with pdfplumber.open(path) as pdf:
        return " ".join(" ".join(page.extract_text() for page in pdf.pages).split())


def test_a_dossier_speaks_the_group_s_language(spanish: tuple[Path, Path]) -> None:
    _, dossier = spanish
    with pikepdf.open(dossier) as pdf:
        assert str(pdf.Root.Lang) == "es"
        assert str(pdf.docinfo["/Title"]) == "Expediente de auditoría: Hill"
    text = text_of(dossier)
    for said in (
        "¿Se muestreó cada lote a tiempo?",
        "Índice de la evidencia, pág.",
        "Lo tardío, omitido o abierto",
    ):
        assert said in text
    # words that English alone has; names of files and crops and titles of sources stay as they are
    left = re.findall(r"\b(?:samplings|dues|was|which|lots|late|missed|the file|page|of the)\b", text)
    assert {word for word in left if f"{word}.csv" not in text} <= {"of the"}
    assert "Lotes sorteados para una comprobación propia: 1" in text_of(dossier.with_name("drawn_1_oak.pdf"))


def test_what_is_attached_keeps_its_names_and_is_proven_in_any_language(spanish: tuple[Path, Path]) -> None:
    home, dossier = spanish
    rows = list(csv.DictReader(attachments(dossier)["dues.csv"].decode("utf-8-sig").splitlines()))
    assert {"why", "state", "due_on"} <= set(rows[0])
    assert {row["state"] for row in rows} <= {"on_time", "late", "missed", "open", "excused", "not_knowable"}
    told = run_cli("verify", dossier, "--archive", home / "archive", "--json")
    assert told.code == 0, told.out


def test_a_dossier_of_one_site_speaks_that_site_s_language(tmp_path: Path) -> None:
    site = SITE.replace('name = "Hill"', 'name = "Hill"\nlanguage = "es"', 1)
    home = make_audited_home(tmp_path / "home", site=site)
    for more, language in (((), "en"), (("--site", "hill"), "es")):
        ran = audit(home, "--json", *more)
        with pikepdf.open(ran.json["dossier"]) as pdf:
            assert str(pdf.Root.Lang) == language
