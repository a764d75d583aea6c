"""A head grower's message as plain text and as HTML. Pure but for reading the template."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Final

from pipeline.delivery.week_view import Item, Line, Week
from pipeline.reports.formats import Phrases, Voice
from pipeline.reports.pages import make_environment

WIDTH: Final = 72


def render_text(
    week: Week, files: Sequence[tuple[str, str]], closing: Sequence[str], words: Phrases, link: str = ""
) -> str:
    """The message as text of at most 72 letters a line.

    `files`: name and meaning; `closing`: the last sentences; `link`: where the report is that is too large for mail.
    """
    blocks = [
        f"{week.title}\n{'=' * len(week.title)}",
        *([_write_correction(week, words)] if week.changes else []),
        "\n".join(_fill(text, "", "") for text in (week.as_of, week.total, week.scope)),
        *(_write_line(line) for line in week.lines),
        *([_write_files(files, words)] if files else []),
        *([f"{words('linked')}\n{link}"] if link else []),
        "\n".join(_fill(text, "", "") for text in closing),
    ]
    return "\n\n".join(_clean(block) for block in blocks) + "\n"


def render_html(
    week: Week,
    files: Sequence[tuple[str, str]],
    closing: Sequence[str],
    voice: Voice,
    words: Phrases,
    link: str = "",
) -> str:
    """The message as HTML that needs nothing from outside, its styles in the tags: mail programs drop style sheets."""
    template = make_environment(voice, "screen").get_template("mail/week.html")
    return template.render(
        week=week, files=files, closing=closing, link=link, words=words, language=voice.language
    )


def _write_correction(week: Week, words: Phrases) -> str:
    lead = _fill(f"{words('correction.heading')}: {week.correction_lead}", "", "")
    return "\n".join([lead, *(_fill(change, "- ", "  ") for change in week.changes)])


def _write_line(line: Line) -> str:
    return "\n".join([line.label, *(_write_item(item) for item in line.items)])


def _write_item(item: Item) -> str:
    text = f"{item.head}: {item.text}" if item.head else item.text
    return _fill(text, "- ", "  ")


def _write_files(files: Sequence[tuple[str, str]], words: Phrases) -> str:
    told = [f"- {name}\n{_fill(what, '  ', '  ')}" for name, what in files]
    return "\n".join([words("attached"), *told])


def _fill(text: str, first: str, other: str) -> str:
    return textwrap.fill(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=other,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _clean(text: str) -> str:
    """Without control characters, whatever an export had."""
    return "".join(letter if letter.isprintable() or letter == "\n" else " " for letter in text)
