"""Properties of the reader: any bytes balance, any table reads back, strict csv agrees."""

import csv
import io
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.intake.decode import decode, split_lines
from pipeline.intake.read import ReadResult, read_records
from pipeline.intake.translate import translate
from pipeline.settings import Export
from tests.examples import examples
from tests.intake.samples import READING_HEADER, covered_lines, make_export, make_site

LIMITS = settings(
    max_examples=examples(500),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)

EXPORTS = st.builds(
    make_export,
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252", "latin-1"]),
    delimiter=st.sampled_from([",", ";", "\t", "|"]),
    decimal=st.sampled_from([".", ","]),
    title_lines=st.integers(0, 3),
    comment_prefix=st.sampled_from(["#", "", "//"]),
    units_row=st.booleans(),
    column_order=st.sampled_from(["fixed", "any"]),
    extra_columns=st.sampled_from(["ignore", "note"]),
    number_marks=st.sampled_from([(), ("*",)]),
    kind=st.just("readings"),
)
EARLIER = st.sampled_from([None, ["Lot", "Date", "pH", "EC"], ["Date", "Lot", "EC", "pH", "Note"], []])
# Pieces from which trouble is made, beside wholly random bytes.
PIECES = st.sampled_from(
    [b"Lot", b"Date", b"pH", b"EC", b",", b";", b"\t", b'"', b'""', b"\n", b"\r", b"\r\n", b"\0", b"\xfc",
     b"\xc3\xbc", b"\xff\xfe", b"\xef\xbb\xbf", b"5.8", b"5,8x", b"2026-04-05", b"A1", b" ", b"#", b"Total",
     b"sep=,\n", b"sep=;\n", b",,,mS/cm\n", b",,,\xb5S/cm\n", b"EC,Date,pH,Lot,Note\n",
     READING_HEADER.encode(), b"\nA1,2026-04-05,5.8,1.9\n", b"\x1f", b"\xe2\x80\xa8", b"\x85"]
)  # fmt: skip
BYTES = st.binary(max_size=200) | st.lists(PIECES, max_size=40).map(b"".join)
BODIES = st.lists(PIECES, max_size=40).map(lambda parts: READING_HEADER.encode() + b"\n" + b"".join(parts))


def check_balance(data: bytes, export: Export, result: ReadResult) -> None:
    lines = split_lines(decode(data, export.encoding)[0])
    assert result.lines == len(lines)
    assert covered_lines(result) == list(range(1, len(lines) + 1))
    assert result.records["record_no"].to_list() == list(range(1, result.records.height + 1))
    for first, last, text in result.records.select("line_from", "line_to", "text").iter_rows():
        whole = "".join(lines[first - 1 : last])
        assert whole.startswith(text)
        assert whole[len(text) :] in ("", "\n", "\r", "\r\n")
    data_records = result.records.filter(kind="data")
    readable = data_records.filter(data_records["problem"].is_null())["record_no"].to_list()
    assert result.cells["record_no"].to_list() == readable


@LIMITS
@given(BYTES | BODIES, EXPORTS, EARLIER)
def test_any_bytes_balance_and_nothing_is_changed(
    data: bytes, export: Export, earlier: list[str] | None
) -> None:
    result = read_records(data, export, earlier_header=earlier)
    check_balance(data, export, result)
    translated = translate(result, export, make_site())
    assert translated.rows["record_no"].to_list() == (
        result.records.filter(kind="data")["record_no"].to_list()
    )
    assert set(translated.problems["record_no"]) <= set(result.cells["record_no"])


@LIMITS
@given(BODIES)
def test_any_body_below_a_good_header(data: bytes) -> None:
    export = make_export(encoding="latin-1")
    result = read_records(data, export)
    check_balance(data, export, result)


# Letters that all five encodings have; utf-8 in disguise ("Ã¼") is refused on purpose, so no Ã or Â.
LETTERS = st.sampled_from("abcXYZ 0123456789.,;|\t\"'#-_ßüñé€/\n")
CELLS = st.text(LETTERS, max_size=8)
NAMES = st.text(st.sampled_from('abcdefXYZ,;|\t"é'), min_size=1, max_size=6).map(lambda text: f"n{text}n")


@st.composite
def dialect_tables(draw: st.DrawFn) -> tuple[bytes, Export, list[str], list[list[str]]]:
    delimiter = draw(st.sampled_from([",", ";", "\t", "|"]))
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]))
    header = draw(
        st.lists(NAMES, min_size=2, max_size=5, unique_by=lambda name: " ".join(name.split()).casefold())
    )
    # A line inside a cell that looks like a whole record is doubted on purpose, and a first cell keeps a
    # record from being blank, a comment or a total.
    inner = CELLS.filter(lambda text: not ("\n" in text and delimiter in text))
    rows = draw(st.lists(st.tuples(*[inner] * len(header)), min_size=1, max_size=8))
    table = [[f"k{row[0]}", *row[1:]] for row in rows]
    stream = io.StringIO()
    writer = csv.writer(
        stream,
        delimiter=delimiter,
        lineterminator=draw(st.sampled_from(["\n", "\r\n"])),
        quoting=draw(st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL])),
    )
    titles = draw(st.integers(0, 2))
    stream.write("a title\n" * titles)
    writer.writerows([header, *table])
    columns: dict[str, Any] = dict(zip(("lot", "date", "ph", "note", "bench"), header, strict=False))
    export = make_export(delimiter=delimiter, encoding=encoding, title_lines=titles, columns=columns)
    return stream.getvalue().encode(encoding), export, header, table


@LIMITS
@given(dialect_tables())
def test_any_table_in_any_dialect_reads_back_the_same(
    written: tuple[bytes, Export, list[str], list[list[str]]],
) -> None:
    data, export, header, table = written
    result = read_records(data, export)
    assert result.file_problem is None
    assert result.header == header
    assert [list(row) for row in result.cells.drop("record_no").iter_rows()] == table


@LIMITS
@given(st.text(st.sampled_from('ab;"\n\r '), max_size=60))
def test_what_strict_csv_accepts_is_read_as_strict_csv_reads_it(body: str) -> None:
    # Two columns: with three or more a line inside a cell that looks like a record is doubted.
    text = "Lot;pH\n" + body
    try:
        expected = [
            row for row in csv.reader(io.StringIO(text, newline=""), delimiter=";", strict=True) if row
        ]
    except csv.Error:
        expected = []
    is_clean = bool(expected) and all(len(row) == 2 for row in expected)
    export = make_export(delimiter=";", columns={"lot": "Lot", "ph": "pH"})
    result = read_records(text.encode(), export)
    if is_clean:
        wanted = [row for row in expected[1:] if any(cell.strip() for cell in row)]
        assert [list(row) for row in result.cells.drop("record_no").iter_rows()] == wanted
        assert result.records["problem"].null_count() == result.records.height
