"""Letters in print and on the screen."""

from __future__ import annotations

import base64
from io import BytesIO

from fontTools.ttLib import TTFont

from pipeline.reports.fonts import (
    PAGE_LETTERS,
    make_displayable,
    make_page_font,
    make_printable,
    read_covered_letters,
)


def test_a_letter_that_the_font_lacks_becomes_a_visible_code() -> None:
    assert make_printable("Rosa 🌱 بت") == "Rosa [U+1F331] [U+0628][U+062A]"


def test_letters_of_the_font_stay() -> None:
    text = "Pelargonie ‘Müller’ 5.4–6.2 ≥ µS/cm ■□◆●▲▼△▽×†\n\tčžß"
    assert make_printable(text) == text


def test_controls_and_turned_directions_are_shown() -> None:
    assert make_displayable("a\u202eb\x07c🌱") == "a[U+202E]b[U+0007]c🌱"
    assert make_printable("a\u202eb\x07c") == "a[U+202E]b[U+0007]c"


def test_every_letter_that_pages_carry_is_in_the_font() -> None:
    assert {letter for letter in PAGE_LETTERS if ord(letter) not in read_covered_letters()} == set()


def test_the_page_font_is_small_and_holds_the_letters() -> None:
    data = base64.b64decode(make_page_font())
    assert len(data) < 60_000
    assert {ord(letter) for letter in PAGE_LETTERS} <= TTFont(BytesIO(data)).getBestCmap().keys()
