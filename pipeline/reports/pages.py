"""View models to HTML, by the Jinja2 templates. Pure but for reading the templates.

Text of an export is data: everything is escaped, control characters become visible codes, and in print every
letter that the font lacks does too.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from typing import Any, Literal

from jinja2 import BytecodeCache, Environment, FileSystemLoader, StrictUndefined
from jinja2.bccache import Bucket
from markupsafe import Markup, escape

from pipeline.assets import templates_folder
from pipeline.reports.charts import Chart
from pipeline.reports.fonts import make_displayable, make_printable
from pipeline.reports.formats import Voice
from pipeline.reports.summary import Pot

Medium = Literal["screen", "print"]
Paper = Literal["a4", "letter"]
PAPER_SIZES: dict[Paper, str] = {"a4": "A4", "letter": "letter"}
MOST_FOOT_LETTERS = 60  # a line of the page's foot holds them, whatever letters they are
# A printed row that is higher than a page would leave its table's heading alone on a page, and its first part
# without column heads. Letters of a cell, as they are printed.
MOST_CELL_LETTERS = 300
MOST_NAME_LETTERS = 160
# Marks between the cells of a line, or the parts of a path; a comma may be a decimal mark where semicolons part cells.
_MARKS = re.compile(r"(?<=[,|_\t])(?=\S)|(?<=\D/)(?=\S)")
_SEMICOLONS = re.compile(r"(?<=;)(?=\S)")
REPLACERS: dict[Medium, Callable[[str], str]] = {"screen": make_displayable, "print": make_printable}


@dataclass(slots=True)
class Pictures:
    """The charts that a page refers to, in order; print looks them up by address, a screen page carries them."""

    medium: Medium
    svgs: dict[str, bytes] = field(default_factory=dict)

    def place(self, chart: Chart) -> Markup:
        """Return the markup that shows a chart with its text alternative."""
        alt = REPLACERS[self.medium](chart.alt)
        if self.medium == "screen":
            svg = Markup(chart.svg)  # noqa: S704 (drawn by us from numbers)
            return Markup('<div class="picture" role="img" aria-label="{}">{}</div>').format(alt, svg)
        address = f"chart:{len(self.svgs) + 1}"
        self.svgs[address] = chart.svg.encode()
        return Markup('<img alt="{}" src="{}">').format(alt, address)


@dataclass(frozen=True, slots=True)
class Page:
    """A rendered page and the pictures it refers to."""

    html: str
    pictures: Mapping[str, bytes]


def shorten(text: str, most: int) -> str:
    """Cut a text that is longer than so many letters, and show that it was cut."""
    return text if len(text) <= most else text[: most - 1] + "…"


def fit_cell(text: str | None, medium: Medium, most: int) -> str:
    """Cut a text for a cell in print by the letters that are printed; the screen's page keeps all of it."""
    return shorten(make_printable(text or ""), most) if medium == "print" else text or ""


def break_after_marks(text: str) -> Markup:
    """A cell of print whose long runs of letters may go over after a mark of a line or path, before inside a word."""
    marks = _SEMICOLONS if ";" in text else _MARKS
    escaped = [str(escape(part)) for part in marks.split(make_printable(text))]
    return Markup("<wbr>".join(escaped))  # noqa: S704 (each part is escaped)


@cache
def read_style(name: str) -> Markup:
    """Return a style sheet of the templates."""
    return Markup(templates_folder("css", name).read_text("utf-8"))  # noqa: S704


@cache
def read_script() -> tuple[Markup, str]:
    """Return the one script of the screen pages and its hash for the content policy."""
    text = templates_folder("js", "sort.js").read_text("utf-8")
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")
    return Markup(text), f"sha256-{digest}"  # noqa: S704


class Compiled(BytecodeCache):
    """Keeps each template's code for the life of the process: a night makes many environments of the same files.

    Jinja names an entry by the template and its text's hash, so a changed template is compiled anew.
    """

    def __init__(self) -> None:
        self._code: dict[tuple[str, str], bytes] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        """Hand out the code of a template that was compiled before."""
        code = self._code.get((bucket.key, bucket.checksum))
        if code is not None:
            bucket.bytecode_from_string(code)

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep the code of a template."""
        self._code[bucket.key, bucket.checksum] = bucket.bytecode_to_string()


COMPILED = Compiled()


def make_finalizer(medium: Medium) -> Callable[[Any], Any]:
    """Return what happens to every value that a template prints, before it is escaped."""
    replace = REPLACERS[medium]

    def finalize(value: Any) -> Any:
        return replace(value) if isinstance(value, str) and not isinstance(value, Markup) else value

    return finalize


def describe_use(pot: Pot, voice: Voice) -> str:
    """Say which statistics a pot is used for, and why not for EC."""
    if pot.usable_ph and pot.usable_ec:
        return voice.say("use.full")
    if pot.usable_ph:
        return voice.say.name("use", pot.why_not_ec or "over_collected")
    return voice.say("use.ec_only" if pot.usable_ec else "use.none")


def make_environment(voice: Voice, medium: Medium) -> Environment:
    """Return the template environment of one page: everything escaped, every missing name an error."""
    environment = Environment(
        loader=FileSystemLoader(templates_folder()),
        autoescape=True,
        bytecode_cache=COMPILED,
        undefined=StrictUndefined,
        finalize=make_finalizer(medium),
        trim_blocks=True,
        lstrip_blocks=True,
    )

    def write_days(days: Iterable[date]) -> str:
        return ", ".join(voice.day(day) for day in days)

    environment.filters |= {
        "count": voice.count,
        "decimals": voice.number,
        "day": voice.day,
        "days": write_days,
        "known": lambda code: voice.say.name("known", code),
        "kind": lambda code: voice.say.name("kind", code),
        "use": lambda pot: describe_use(pot, voice),
        "for_foot": lambda text: shorten(REPLACERS[medium](text), MOST_FOOT_LETTERS),
        "for_cell": lambda text: fit_cell(text, medium, MOST_CELL_LETTERS),
        "breakable": break_after_marks,
        "for_name": lambda text: fit_cell(text, medium, MOST_NAME_LETTERS),
        "own_cautions": lambda text: write_own_cautions(text, voice),
        "ours": voice.say.text,
        "sentences": lambda text: write_sentences(text, voice),
        "stopped": lambda text: text if text.endswith((".", "!", "?")) else f"{text}.",
        "after_number": lambda text: text.partition(" ")[2],
    }
    return environment


# The line above the options says these for all of them; each option says what is its own.
COMMON_CAUTIONS = (
    "Try it on a few plants first.",
    "Follow the product label and local rules, and ask the local extension service or a licensed adviser.",
)


def write_own_cautions(cautions: str, voice: Voice) -> str:
    """The cautions of one option without the common ones, in the language of the page, sentence by sentence."""
    return write_sentences(leave_out_common_cautions(cautions), voice)


def write_sentences(text: str, voice: Voice) -> str:
    """A text of ours in the language of the page, sentence by sentence."""
    return " ".join(map(voice.say.text, split_sentences(text)))


def split_sentences(text: str) -> list[str]:
    """A text of ours as its sentences, so that one that stands in many texts is translated once."""
    return re.split(r"(?<=[.!?]) (?=[A-Z])", text)


def leave_out_common_cautions(cautions: str) -> str:
    """The cautions of one option without those that stand above all options; all of them if none is left."""
    text = cautions
    for common in COMMON_CAUTIONS:
        text = text.replace(common, "")
    return " ".join(text.split()) or cautions


def render_page(
    template: str, view: Any, voice: Voice, *, medium: Medium, paper: Paper, page_font: str = ""
) -> Page:
    """Render a view by a template. `page_font` is the base64 font that a screen page carries."""
    pictures = Pictures(medium)
    script, script_hash = read_script()
    html = (
        make_environment(voice, medium)
        .get_template(template)
        .render(
            view=view,
            say=voice.say,
            language=voice.language,
            medium=medium,
            paper=PAPER_SIZES[paper],
            css=read_style,
            script=script,
            script_hash=script_hash,
            page_font=Markup(page_font),  # noqa: S704
            picture=pictures.place,
        )
    )
    return Page(html, pictures.svgs)
