"""Whatever bytes a file has, it ends in a proposal or in one sentence; what is written reads the same again."""

from __future__ import annotations

import csv
import io
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.adopt import Proposal, adopt_file, append_block, propose
from pipeline.adopt.preview import read_preview
from pipeline.errors import AdoptError
from pipeline.settings import load_settings
from pipeline.settings.words import KINDS
from tests.adopt.helpers import SITE, answer_all

GROUP = 'name = "Group"\ntime_zone = "UTC"\n'
SITE_TEXT = '# A remark that stays.\nid = "hill"\nname = "Hill"   # and this one\nextraction_method = "pour-through"\n'

_WORDS = ("Datum", "Date", "pH", "EC", "LF (µS/cm)", "Lot", "Partie", "sep=;", "Summe", "°C", "Week")
_CELLS = ("5,8", "6.1", "1.234", "03/04/2026", "2026-04-03", "½", "14", "é", "", " ")
_SIGNS = (";", ",", "\t", "|", "\n", "\r\n", '"', "#", "\x00", "\ufeff")
_PIECES = st.sampled_from((*_WORDS, *_CELLS, *_SIGNS))
_TEXTS = st.lists(_PIECES, max_size=60).map("".join)
_ENCODED = st.tuples(_TEXTS, st.sampled_from(["utf-8", "utf-16", "cp1252", "latin-1", "utf-8-sig"])).map(
    lambda pair: pair[0].encode(pair[1], "replace")
)


@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.one_of(st.binary(max_size=400), _ENCODED), st.sampled_from([None, *KINDS]))
def test_any_bytes_end_in_a_proposal_or_a_sentence(data: bytes, kind: str | None) -> None:
    outcome = _propose(data, kind)
    if isinstance(outcome, Proposal):
        read_preview(data, outcome.export, SITE)
    else:
        assert outcome
        assert "\n" not in outcome


def _propose(data: bytes, kind: str | None) -> Proposal | str:
    try:
        return propose(data, "file.csv", SITE, kind)
    except AdoptError as error:
        return str(error)


_HEADERS = {
    "en": ["Date", "Lot", "Pot", "pH", "EC (mS/cm)", "Leachate (mL)", "Notes"],
    "es": ["Fecha", "Lote", "Maceta", "pH", "CE (mS/cm)", "Lixiviado (mL)", "Notas"],
    "de": ["Datum", "Partie", "Topf", "pH", "LF (mS/cm)", "Sickerwasser (mL)", "Bemerkung"],
    "nl": ["Datum", "Partij", "Pot", "pH", "EC (mS/cm)", "Drainwater (mL)", "Opmerking"],
    "fr": ["Date", "Lot", "Pot", "pH", "CE (mS/cm)", "Lixiviat (mL)", "Remarque"],
}
_FIGURES = st.tuples(st.integers(40, 79), st.integers(1, 8), st.integers(30, 70))


@st.composite
def _exports(draw: st.DrawFn) -> bytes:
    """A table of readings in a drawn dialect; the first day is above 12, so the order of the date is told."""
    headers = _HEADERS[draw(st.sampled_from(sorted(_HEADERS)))]
    decimal = draw(st.sampled_from([".", ","]))
    delimiter = draw(st.sampled_from([";", "\t", "|"] if decimal == "," else [",", ";", "\t", "|"]))
    form = draw(
        st.sampled_from(["{2}-{1:02}-{0:02}", "{0:02}.{1:02}.{2}", "{0:02}/{1:02}/{2}", "{1:02}/{0:02}/{2}"])
    )
    note = st.text(st.characters(codec="cp1252", exclude_categories=("Cc", "Zl", "Zp")), max_size=8)
    days = [28, *draw(st.lists(st.integers(1, 28), min_size=1, max_size=7))]
    out = io.StringIO()
    title = draw(st.sampled_from(["", "Nursery log\n", "# remark\n"]))
    out.write(title)
    writer = csv.writer(out, delimiter=delimiter, lineterminator=draw(st.sampled_from(["\n", "\r\n"])))
    writer.writerow(headers)
    for number, day in enumerate(days, 1):
        ph, ec, leachate = draw(_FIGURES)
        cells = [
            form.format(day, 3, 2026),
            f"A-{100 + number}",
            str(number),
            f"{ph / 10:.1f}".replace(".", decimal),
        ]
        cells += [f"{ec}.{number % 10}".replace(".", decimal), str(leachate), draw(note).strip()]
        writer.writerow(cells)
    return out.getvalue().encode(draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"])))


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=_exports())
def test_a_written_block_reads_the_same_rows(line_end: str, data: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        site_file = home / "sites" / "hill" / "site.toml"
        (site_file.parent / "drop").mkdir(parents=True)
        (home / "leachbook.toml").write_text(GROUP, encoding="utf-8")
        before = SITE_TEXT.replace("\n", line_end).encode()
        site_file.write_bytes(before)
        file = home / "log_2026-03-28.csv"
        file.write_bytes(data)
        site = load_settings(home).sites[0]
        _, answers = answer_all(data, file.name, site)
        adoption = adopt_file(home, "hill", file, None, answers)
        append_block(home, adoption)
        assert site_file.read_bytes().startswith(before)
        (site,) = load_settings(home).sites
        again = read_preview(data, site.exports[0], site)
        assert site.exports == (adoption.proposal.export,)
        assert again.rows == adoption.preview.rows
        assert len(again.rows) == min(5, again.data_lines)
        assert {"lot_code", "sampled_on", "ph", "ec_ms_cm", "leachate_ml"} <= set(again.rows[0])
        assert again.rows[0]["sampled_on"] == "2026-03-28"
