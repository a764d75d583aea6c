"""Every message that pages can say, gathered from where it stands: what a catalog has to have.

    python -m tests.reports.messages fr > report_templates/languages/fr.po

writes an empty catalog for a new language.
"""

from __future__ import annotations

import ast
import csv
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from babel.messages.catalog import Catalog
from babel.messages.pofile import write_po

from pipeline.assets import reference_folder
from pipeline.audit import (
    draw,
    meter_chart,
    pages,
    sheet,
    since,
    standards,
    timeline,
    view_lots,
    view_records,
)
from pipeline.audit import messages as dossier
from pipeline.audit import view as view_of_period
from pipeline.audit.evidence import ABOUT
from pipeline.languages import DECIMAL_MARK, NAMES
from pipeline.programme import calendar_words
from pipeline.reports import (
    places,
    wording_dues,
    wording_figures,
    wording_findings,
    wording_held,
    wording_meters,
    wording_notices,
    wording_reasons,
    wording_rereads,
    wording_site,
    wording_targets,
)
from pipeline.reports import wording as wording_facade
from pipeline.reports.charts import CHART_LOCALE, ENGLISH_LOCALE
from pipeline.reports.compile import ORDER_FORMULA
from pipeline.reports.formats import context_of, read_phrases
from pipeline.reports.pages import leave_out_common_cautions, split_sentences
from pipeline.settings import POLICY_CATALOGUE
from pipeline.settings.findings import FINDINGS

_MODULES: Final = (
    places,
    wording_facade,
    wording_dues,
    wording_figures,
    wording_findings,
    wording_held,
    wording_meters,
    wording_notices,
    wording_reasons,
    wording_rereads,
    wording_site,
    wording_targets,
)
_OF_DOSSIERS: Final = (
    *(view_of_period, view_lots, view_records, sheet, pages, standards, timeline, meter_chart, draw, since),
)
# What stands in tables of the code and is said through a name.
_TABLES: Final = (
    wording_figures.QUANTITY_WORDS,
    wording_figures.CONTAINER_WORDS,
    wording_figures.CONTAINERS_WORDS,
    wording_figures.TREATMENT_WORDS,
    wording_figures.SIDE_WORDS,
    wording_targets.GROUP_WORDS,
    wording_findings.WATER_WORDS,
    wording_findings.PURPOSES,
    wording_held.MENDS,
    wording_held.FILE_WORDS,
    wording_held.CELL_WORDS,
    wording_held.TROUBLE_WORDS,
)
_SINGLE: Final = (
    "{n}th",
    wording_held.OTHER_CELL,
    wording_held.OTHER_FILE,
    wording_held.OTHER_MEND,
    wording_held.OTHER_TROUBLE,
    "common practice",
    "set by the site",
    "set by the group",
    "target set by the site",
    "target set by the group",
    "its published ranges hold where no source prints one for the crop",
    ORDER_FORMULA,
)
# A source that is a title stays as it is printed; these are words of ours.
_SOURCES_OF_OURS: Final = ("common practice", "published worksheet", "usual laboratory window", "1.91 %/°C")


@dataclass(frozen=True, slots=True)
class Said:
    """One message: its English, its form for several where it has one, and the key of a phrase."""

    english: str
    plural: str | None = None
    context: str | None = None


def list_messages() -> list[Said]:
    """All messages, each once, in the order in which a translator reads them."""
    return list(
        dict.fromkeys(
            [
                Said(".", context=DECIMAL_MARK),
                Said(ENGLISH_LOCALE, context=CHART_LOCALE),
                *(Said(names, context=group) for group, names in NAMES.items()),
                *_phrases(None),
                *_phrases("sheet"),
                *_phrases("mail"),
                *_calendar(),
                *_in_code(),
                *(Said(text) for table in _TABLES for text in table.values()),
                *map(Said, _SINGLE),
                *map(Said, _policy()),
                *map(Said, _options()),
                *map(Said, _frequencies()),
                *(Said(one.english, one.plural, dossier.CONTEXT) for one in _in_dossiers()),
            ]
        )
    )


def _phrases(part: str | None) -> Iterator[Said]:
    for key, text in read_phrases(part).items():
        one, other = (text, None) if isinstance(text, str) else text
        yield Said(one, other, context_of(key, part))


def _calendar() -> Iterator[Said]:
    for key, text in calendar_words.ENGLISH.items():
        yield Said(text, context=f"{calendar_words.CONTEXT}{key}")
    for key, (one, several) in calendar_words.COUNTS.items():
        yield Said(one, several, f"{calendar_words.CONTEXT}{key}")


def _in_code() -> Iterator[Said]:
    """Calls of a speech, w("...") and w.many("...", "...", n), in the modules that write sentences."""
    for module in _MODULES:
        assert module.__file__ is not None
        for node in ast.walk(ast.parse(Path(module.__file__).read_text("utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            texts = [
                one.value for one in node.args if isinstance(one, ast.Constant) and isinstance(one.value, str)
            ]
            if isinstance(node.func, ast.Name) and node.func.id == "w" and texts:
                yield Said(texts[0])
            elif isinstance(node.func, ast.Attribute) and node.func.attr == "many":
                assert len(texts) == 2, ast.unparse(node)
                yield Said(texts[0], texts[1])


def _in_dossiers() -> Iterator[Said]:
    """Messages of tell and tell_many, headings, captions, titles, and what stands in tables of the dossier's code."""
    for module in _OF_DOSSIERS:
        assert module.__file__ is not None
        for node in ast.walk(ast.parse(Path(module.__file__).read_text("utf-8"))):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
                continue
            texts = [
                one.value for one in node.args if isinstance(one, ast.Constant) and isinstance(one.value, str)
            ]
            yield from (
                Said(one.value.value)
                for one in node.keywords
                if one.arg == "empty"
                and isinstance(one.value, ast.Constant)
                and isinstance(one.value.value, str)
            )
            if node.func.id in ("tell", "Head", "make_table", "_dues_table", "_procedure_table") and texts:
                yield Said(texts[0])
            elif node.func.id == "tell_many":
                yield Said(texts[0], texts[1])
            elif node.func.id == "Section" and len(texts) > 1:
                yield Said(texts[1])
            if node.func.id == "Section" and len(node.args) > 2 and isinstance(node.args[2], ast.Tuple):
                yield from (
                    Said(one.value)
                    for one in node.args[2].elts
                    if isinstance(one, ast.Constant) and isinstance(one.value, str)
                )
            if node.func.id in ("_dues_table", "_procedure_table"):
                yield from (
                    Said(one.value)
                    for one in ast.walk(node.args[1])
                    if isinstance(one, ast.Constant) and isinstance(one.value, str)
                )
    yield from map(Said, ("None.", *dossier.WORDS, *_of_dossier_tables()))


def _of_dossier_tables() -> Iterator[str]:
    yield from (head.text for head in view_of_period._COUNTS)
    yield from (*view_lots._ORIGIN.values(), *standards._KNOWN.values(), *since._COUNTS.values())
    for texts in (view_lots.PARAGRAPHS, view_records.PARAGRAPHS, (view_of_period.COUNTED_SINCE,)):
        yield from texts
    yield from ABOUT.values()
    for point in standards.load_points():
        # what others call their standards stays as it is
        if not point.standard.startswith(("ISO", "USGS")) or " and " in point.standard:
            yield point.standard
        yield from (point.point, point.where)


def _policy() -> Iterable[str]:
    for entry in POLICY_CATALOGUE:
        yield entry.meaning
        if entry.unit:
            yield entry.unit
        if entry.source and entry.source.startswith(_SOURCES_OF_OURS):
            yield entry.source
    yield from (finding.rule for finding in FINDINGS if finding.is_settable)


def _options() -> Iterable[str]:
    with reference_folder("corrective_options.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            yield row["title"]
            yield from split_sentences(row["text"])
            yield row["wait"]
            yield from split_sentences(leave_out_common_cautions(row["cautions"]))
            if row["source"].startswith(_SOURCES_OF_OURS):
                yield row["source"]


def _frequencies() -> Iterable[str]:
    with reference_folder("sampling_frequency.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            if row["container_classes"] and row["interval_high_days"]:
                yield row["frequency_as_printed"]


def make_catalog(language: str, known: Catalog | None = None) -> Catalog:
    """A catalog of a language with every message, filled from a known one where that has it."""
    catalog = Catalog(locale=language, project="Leachbook", charset="utf-8", fuzzy=False)
    for said in list_messages():
        if not said.english:
            continue
        found = None if known is None else known.get(said.english, said.context)
        message = said.english if said.plural is None else (said.english, said.plural)
        string = found.string if found is not None else None
        catalog.add(
            message,
            string or ("" if said.plural is None else ("",) * catalog.num_plurals),
            context=said.context,
        )
    return catalog


if __name__ == "__main__":
    write_po(sys.stdout.buffer, make_catalog(sys.argv[1]), width=120, omit_header=False)
