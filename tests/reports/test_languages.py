"""Every catalog has every message, says it with the same places, and speaks its language."""

from __future__ import annotations

import string
from datetime import date
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog

from pipeline import languages
from pipeline.assets import templates_folder
from pipeline.languages import ENGLISH, Speech, known_languages, load_tongue
from pipeline.programme.calendar_words import load_words
from pipeline.reports.formats import load_phrases
from pipeline.reports.wording import Wording
from pipeline.reports.wording_held import explain_held
from tests.reports.messages import Said, list_messages, make_catalog

TRANSLATED = [language for language in known_languages() if language != ENGLISH]
ISO = "%Y-%m-%d"
SPANISH = Speech(load_tongue("es"), "%-d %b %Y")
# Words that are the same in both languages, or marks, units, codes and names.
SAME = {
    "general",
    "no",
    "pH",
    "min",
    "mL",
    "mS/cm",
    "SHA-256",
    "mV",
    "s",
    "%",
    "P",
    "C",
    "H",
    "×",
    "plural",
    "normal",
    "bench {bench}",
}


def places(text: str) -> list[str]:
    """Named places of a message with their formats, in any order."""
    return sorted(f"{name}:{spec}" for _, name, spec, _ in string.Formatter().parse(text) if name)


def catalog_of(language: str) -> Catalog:
    catalog = load_tongue(language).catalog
    assert catalog is not None
    return catalog


def forms(catalog: Catalog, said: Said) -> list[str]:
    message = catalog.get(said.english, said.context)
    if message is None or not message.string:
        return []
    return [message.string] if isinstance(message.string, str) else list(message.string)


def test_spanish_is_there() -> None:
    assert TRANSLATED == ["es"]
    assert len(list_messages()) > 1000


@pytest.mark.parametrize("language", TRANSLATED)
def test_no_message_is_missing(language: str) -> None:
    catalog = catalog_of(language)
    lacking = [said for said in list_messages() if said.english and not all(forms(catalog, said) or [""])]
    assert lacking == []


@pytest.mark.parametrize("language", TRANSLATED)
def test_no_message_is_left_over_and_none_is_doubtful(language: str) -> None:
    known = {(said.english, said.context) for said in list_messages()}
    messages = [one for one in catalog_of(language) if one.id]
    ids = {(one.id if isinstance(one.id, str) else one.id[0], one.context) for one in messages}
    assert ids - known == set()
    assert [one.id for one in messages if one.fuzzy] == []


@pytest.mark.parametrize("language", TRANSLATED)
def test_each_form_has_the_places_of_its_english(language: str) -> None:
    catalog = catalog_of(language)
    wrong = []
    for said in list_messages():
        found = forms(catalog, said)
        if said.plural is None:
            wrong += [said for one in found if places(one) != places(said.english)]
        else:
            assert not found or len(found) == catalog.num_plurals, said
            wanted = [places(said.english), *[places(said.plural)] * (catalog.num_plurals - 1)]
            wrong += [said for one, each in zip(found, wanted, strict=False) if places(one) != each]
    assert wrong == []


def test_what_is_a_sentence_in_english_is_another_in_spanish() -> None:
    catalog = catalog_of("es")
    same = {
        said.english
        for said in list_messages()
        if forms(catalog, said) == [said.english]
        # what has no word of four letters outside its places is a mark, a unit or a code
        and any(len(word) > 3 for text, *_ in string.Formatter().parse(said.english) for word in text.split())
    }
    assert same - SAME == set()


@pytest.mark.parametrize("language", TRANSLATED)
def test_a_catalog_is_read_without_a_word(language: str, capsys: pytest.CaptureFixture[str]) -> None:
    load_tongue.__wrapped__(language)
    assert capsys.readouterr() == ("", ""), "it would stand among what a night prints"


def test_blanks_at_the_ends_are_kept() -> None:
    catalog = catalog_of("es")
    for said in list_messages():
        for one in forms(catalog, said):
            assert (one[:1] == " ", one[-1:] == " ") == (said.english[:1] == " ", said.english[-1:] == " "), (
                one
            )


def test_figures_have_the_decimal_mark_of_the_language() -> None:
    assert SPANISH("{readings} after it", readings="5 lecturas") == "5 lecturas después"
    told = SPANISH("slope {slope:g} %, accepted are {low:g}-{high:g} %", slope=84.5, low=85.0, high=105.0)
    assert told == "pendiente 84,5 %, se acepta 85-105 %"
    assert SPANISH.figure(1.25, ".2f") == "1,25"


@pytest.mark.parametrize(("number", "told"), [(0, "0 macetas"), (1, "1 maceta"), (2, "2 macetas")])
def test_a_number_chooses_its_form(number: int, told: str) -> None:
    assert SPANISH.many("{n} pot", "{n} pots", number) == told


def test_a_place_has_the_words_of_the_language_and_the_names_of_the_site() -> None:
    row = {
        "cause": "place_unclear",
        "what": "house B, bench B 2, house plants",
        "records": 1,
        "fitting_lots": 0,
    }
    told, _ = explain_held(row, SPANISH)
    assert told == (
        "1 línea: el lugar «invernadero B, mesa B 2, house plants» no corresponde a ningún lote ese día."
    )


def test_days_and_months_have_their_names() -> None:
    assert SPANISH.day(date(2026, 4, 6)) == "6 abr 2026"
    assert SPANISH.weekday_and_day(date(2026, 4, 6)) == "lun 6 abr 2026"
    assert load_phrases("es").day(date(2026, 1, 31), "%A %d de %B") == "sábado 31 de enero"


def test_a_language_without_a_catalog_speaks_english_and_says_so() -> None:
    assert load_tongue("xx").language == ENGLISH
    assert Speech(load_tongue("xx"), ISO)("{readings} after it", readings="5") == "5 after it"


def test_a_third_language_is_one_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "languages"
    folder.mkdir()
    (folder / "fr.po").write_text(
        'msgid ""\nmsgstr ""\n"Language: fr\\n"\n'
        '"Plural-Forms: nplurals=3; plural=(n <= 1 ? 0 : n % 1000000 == 0 ? 2 : 1);\\n"\n'
        '"Content-Type: text/plain; charset=utf-8\\n"\n\n'
        'msgctxt "decimal mark"\nmsgid "."\nmsgstr ","\n\n'
        'msgid "{n} pot"\nmsgid_plural "{n} pots"\nmsgstr[0] "{n} pot"\n'
        'msgstr[1] "{n} pots"\nmsgstr[2] "{n} de pots"\n\n'
        'msgctxt "overview.sites"\nmsgid "Sites"\nmsgstr "Exploitations"\n',
        encoding="utf-8",
    )

    def find(*parts: str) -> Path:
        return folder if parts == ("languages",) else templates_folder(*parts)

    monkeypatch.setattr(languages, "templates_folder", find)
    load_tongue.cache_clear()
    load_phrases.cache_clear()
    try:
        assert known_languages() == (ENGLISH, "fr")
        french = load_phrases("fr")
        assert (french.language, french("overview.sites")) == ("fr", "Exploitations")
        # what is not translated yet stays English
        assert french("overview.lots_heading") == "Lots that need someone"
        # French has one for none as well
        assert Speech(load_tongue("fr"), ISO).many("{n} pot", "{n} pots", 0) == "0 pot"
        # neither does a language with more forms than English stumble over what it has not translated
        lines = Speech(load_tongue("fr"), ISO).many("{n} line", "{n} lines", 10**6)
        assert (lines, french("site.lots", n=10**6)) == ("1000000 lines", "1000000 lots")
    finally:
        load_tongue.cache_clear()
        load_phrases.cache_clear()


def test_the_group_hears_a_site_in_its_own_language() -> None:
    words = Wording("%d/%m/%Y", "%Y-%m-%d", "es", "en")
    finding = {"code": "never_counted", "days": 9}
    assert words.reason(finding) == "Ningún muestreo que cuente desde que empezó el lote hace 9 días."
    told = words.for_group(lambda one: one.reason(finding))
    assert told == "No sampling that counts since the lot started 9 days ago."
    assert (
        Wording("%Y-%m-%d", "%Y-%m-%d", "es", "es").for_group(lambda one: one.day(date(2026, 4, 6))) is None
    )


def test_an_empty_catalog_for_a_translator_has_every_message() -> None:
    empty = make_catalog("de")
    assert len(empty) == len({(said.english, said.context) for said in list_messages() if said.english})
    assert all(not any(forms(empty, said)) for said in list_messages() if said.english)


def test_events_of_the_calendar_speak_the_catalog_s_language() -> None:
    words = load_words("es")
    assert words.count(1, "overdue") == "1 día de retraso"
    assert words.count(3, "pots") == "3 macetas"
    assert words.why("routine", date(2026, 3, 4), "%a %d %b") == "rutina, última lectura el mié 04 mar"
    assert load_words("en").why("routine", date(2026, 3, 4), "%a %d %b") == "routine, last read Wed 04 Mar"


@pytest.mark.parametrize("language", TRANSLATED)
def test_a_catalog_is_read_without_a_word_on_standard_output(
    language: str, capsys: pytest.CaptureFixture[str]
) -> None:
    # Babel prints what it finds odd, and a command with --json would no longer print JSON.
    load_tongue.cache_clear()
    load_tongue(language)
    assert capsys.readouterr() == ("", "")
