"""Numbers and dates as printed."""

from __future__ import annotations

import json
import re
from datetime import date
from pathlib import Path

import pytest

from pipeline.assets import templates_folder
from pipeline.reports import view
from pipeline.reports.formats import (
    Voice,
    format_count,
    format_number,
    format_signed,
    load_phrases,
    writes_month_first,
)


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [
        (5.4, 2, "5.40"),
        (5.445, 2, "5.45"),  # half up on the written digits, whatever the binary value
        (2.675, 2, "2.68"),
        (-4.25, 1, "\u22124.3"),
        (-0.001, 1, "0.0"),
        (1234.5, 0, "1235"),
        (1e-7, 2, "0.00"),
        (None, 2, "–"),
    ],
)
def test_numbers_have_fixed_decimals(value: float | None, decimals: int, text: str) -> None:
    assert format_number(value, decimals) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.105, "+0.10"), (-0.3, "-0.30"), (0.004, "0.00"), (-0.004, "0.00"), (0.0, "0.00"), (0.006, "+0.01")],
)
def test_a_change_that_rounds_to_nothing_has_no_sign(value: float, text: str) -> None:
    assert format_signed(value) == text


def test_counts_have_marks_between_thousands() -> None:
    assert [format_count(n) for n in (0, 999, 1200, None)] == ["0", "999", "1,200", "–"]


@pytest.mark.parametrize(
    ("number", "text"),
    [(1, "1st"), (2, "2nd"), (3, "3rd"), (4, "4th"), (11, "11th"), (12, "12th"), (22, "22nd")],
)
def test_ordinals(number: int, text: str) -> None:
    assert load_phrases("en").ordinal(number) == text


def test_dates_follow_the_site_and_not_the_locale_of_the_machine() -> None:
    phrases = load_phrases("en")
    day = date(2026, 4, 6)
    assert phrases.day(day, "%d.%m.%Y") == "06.04.2026"
    assert phrases.day(day, "%a %-d %B %Y, 100%%") == "Mon 6 April 2026, 100%"
    assert Voice(phrases, "%m/%d/%Y").weekday_and_day(day) == "Mon 04/06/2026"
    assert Voice(phrases, "%m/%d/%Y").day(None) == "–"


@pytest.mark.parametrize(
    ("pattern", "is_first"),
    [("%m/%d/%Y", True), ("%b %-d", True), ("%d.%m.%Y", False), ("%Y-%m-%d", False), ("%-d %b %Y", False)],
)
def test_month_first_is_seen_in_the_pattern(pattern: str, is_first: bool) -> None:
    assert writes_month_first(pattern) is is_first


def test_one_and_many() -> None:
    say = load_phrases("en")
    assert [say("site.lots", n=n) for n in (0, 1, 2)] == ["0 lots", "1 lot", "2 lots"]


def test_a_code_without_a_phrase_shows_itself() -> None:
    assert load_phrases("en").name("purpose", "after_leaching") == "after leaching"


def test_an_unknown_phrase_is_a_defect() -> None:
    with pytest.raises(KeyError):
        load_phrases("en")("no.such.phrase")


def test_a_language_without_phrases_speaks_english_and_says_so() -> None:
    assert load_phrases("xx").language == "en"


def test_every_phrase_that_a_template_names_exists_and_every_plain_phrase_is_used() -> None:
    phrases = json.loads(templates_folder("phrases", "en.json").read_text("utf-8"))
    root = templates_folder()
    files = [*root.rglob("*.html"), *Path(view.__file__).parent.glob("*.py")]
    # The sampling sheet has phrases of its own, held in test_sheet_pdf.py.
    of_sheet = ("sheet.html", "sheet_style.html", "view_sheet.py")
    texts = [file.read_text("utf-8") for file in files if file.name not in of_sheet]
    source = "\n".join(texts)
    spoken = set(re.findall(r"""say\(\s*["']([a-z_]+\.[a-z_.]+)["']""", source))
    quoted = set(re.findall(r"""["']([a-z_]+(?:\.[a-z_]+)*)["']""", source))
    built = {f"{group}." for group in re.findall(r"""["']([a-z_]+)\.["'] ~""", source)}
    built |= {f"{group}." for group in re.findall(r'f"([a-z_]+)\.\{', source)}
    built |= {f"{group}." for group in re.findall(r"""\.name\(\s*[\"']([a-z_]+)[\"']""", source)}
    assert len(spoken) > 80
    assert spoken <= phrases.keys()
    assert {key for key in phrases if key not in quoted and not key.startswith(tuple(built))} == set()
