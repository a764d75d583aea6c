import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.intake.read import RECORDS_SCHEMA, read_records
from tests.intake.samples import READING_HEADER, covered_lines, make_export, read_body, read_text


def kinds(text: str, **changes: object) -> list[tuple[int, int, str]]:
    records = read_text(text, **changes).records
    return list(records.select("line_from", "line_to", "kind").iter_rows())


def test_clean_file() -> None:
    result = read_body("A1,2026-04-05,5.8,1.9", "A1,2026-04-05,5.9,2.0")
    assert_frame_equal(
        result.records,
        pl.DataFrame(
            [
                (1, 1, 1, READING_HEADER, "header", None, None),
                (2, 2, 2, "A1,2026-04-05,5.8,1.9", "data", None, None),
                (3, 3, 3, "A1,2026-04-05,5.9,2.0", "data", None, None),
            ],
            schema=RECORDS_SCHEMA,
            orient="row",
        ),
    )
    assert_frame_equal(
        result.cells,
        pl.DataFrame(
            {
                "record_no": [2, 3],
                "c0": ["A1", "A1"],
                "c1": ["2026-04-05", "2026-04-05"],
                "c2": ["5.8", "5.9"],
                "c3": ["1.9", "2.0"],
            }
        ),
    )
    assert (result.header, result.lines, result.file_problem) == (["Lot", "Date", "pH", "EC"], 3, None)


def test_what_is_not_data_keeps_its_lines() -> None:
    text = (
        "Greenhouse log;printed 5 April\n"
        '"\n'
        "\n"
        "# made by hand\n"
        "Lot;Date;pH;EC\n"
        ";;;\n"
        "A1;2026-04-05;5.8;1.9\n"
        "  \t\n"
        '# quote " in a comment\n'
        '"";"";"";" "\n'
        "Total;;12\n"
        " average: ;;5.8;1.9\n"
        "Totals house;2026-04-05;5.8;1.9\n"
    )
    assert kinds(text, delimiter=";", title_lines=2) == [
        (1, 1, "title"),
        (2, 2, "title"),
        (3, 3, "blank"),
        (4, 4, "comment"),
        (5, 5, "header"),
        (6, 6, "blank"),
        (7, 7, "data"),
        (8, 8, "blank"),
        (9, 9, "comment"),
        (10, 10, "blank"),
        (11, 11, "total"),
        (12, 12, "total"),
        (13, 13, "data"),
    ]


def test_header_that_begins_with_the_comment_prefix() -> None:
    columns = {"pot": "#", "lot": "Lot", "date": "Date", "ph": "pH"}
    assert kinds("#,Lot,Date,pH\n1,A1,2026-04-05,5.8\n", columns=columns) == [
        (1, 1, "header"),
        (2, 2, "data"),
    ]


def test_no_comment_prefix_means_no_comments() -> None:
    assert kinds(f"{READING_HEADER}\n#7,2026-04-05,5.8,1.9\n", comment_prefix="")[1] == (2, 2, "data")


def test_own_total_words() -> None:
    text = f"{READING_HEADER}\nSumme,,5.8,\nTotal,2026-04-05,5.8,1.9\n"
    assert [kind for *_, kind in kinds(text, total_words=["Summe"])] == ["header", "total", "data"]


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("is_closed", [True, False])
def test_line_ends(ending: str, is_closed: bool) -> None:
    text = ending.join([READING_HEADER, "A1,2026-04-05,5.8,1.9"]) + (ending if is_closed else "")
    result = read_text(text)
    assert result.lines == 2
    assert result.records["text"].to_list() == [READING_HEADER, "A1,2026-04-05,5.8,1.9"]
    assert result.cells["c3"].to_list() == ["1.9"]


def test_problem_records_have_no_cells_and_keep_their_text() -> None:
    result = read_body(
        "A1,2026-04-05,5.8", 'A2,"2026"x,5.8,1', "A3,2026-04-05,5.8\0,1", "A4,2026-04-05,5.8,1.9"
    )
    assert result.records["problem"].to_list() == [None, "ragged", "quoting", "nul_bytes", None]
    assert result.records["text"].to_list()[1:4] == [
        "A1,2026-04-05,5.8",
        'A2,"2026"x,5.8,1',
        "A3,2026-04-05,5.8\0,1",
    ]
    assert result.cells["record_no"].to_list() == [5]
    assert result.file_problem is None


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "the file is empty"),
        (b"\xef\xbb\xbf", "the file is empty"),
        (b"\n \n", "the file has no header, only blank or comment lines (2 lines)"),
        (b"# nothing\n", "the file has no header, only blank or comment lines (1 line)"),
    ],
)
def test_empty_file(data: bytes, sentence: str) -> None:
    result = read_records(data, make_export())
    assert result.file_problem is not None
    assert (result.file_problem.code, result.file_problem.sentence) == ("empty_file", sentence)
    assert result.header is None
    assert "data" not in result.records["kind"].to_list()


def test_file_of_titles_only_is_empty() -> None:
    problem = read_text("Log\n", title_lines=2).file_problem
    assert problem is not None
    assert problem.sentence == "no header stands below the 2 lines above it (1 line)"


def test_header_only_is_said_and_holds_nothing() -> None:
    result = read_body("Total,,,", "")
    assert result.file_problem is not None
    assert (result.file_problem.code, result.file_problem.sentence) == (
        "header_only",
        "only a header and no data in 3 lines",
    )
    assert result.records["problem"].null_count() == 3
    assert result.cells.columns == ["record_no", "c0", "c1", "c2", "c3"]


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"Lot;Date;pH;EC\nA1;2026-04-05;5.8;1.9\n\nA1;2026-04-05;5.8\n", "delimiter"),
        (b"Lot,Date,pH value,EC\nA1,2026-04-05,5.8,1.9\n\nA1,2026-04-05\n", "columns_changed"),
        (b"Lot,Date,pH,EC,pH\nA1,2026-04-05,5.8,1.9,5.8\n\nA1\n", "columns_changed"),
        (b'"Lot"x,Date,pH,EC\nA1,2026-04-05,5.8,1.9\n\nA1\n', "columns_changed"),
        (b"Lot,Date,pH,EC\nA\xfc,2026-04-05,5.8,1.9\n\nA1\n", "encoding"),
    ],
)
def test_problem_of_the_file_holds_every_data_record_and_no_line_is_lost(data: bytes, code: str) -> None:
    result = read_records(data, make_export())
    assert result.file_problem is not None
    assert result.file_problem.code == code
    assert result.records["kind"].to_list() == ["header", "data", "blank", "data"]
    assert result.records["problem"].to_list() == [None, code, None, code]
    expected = f"{result.file_problem.sentence}; {result.file_problem.mend}"
    assert result.records["problem_detail"].to_list() == [None, expected, None, expected]
    assert result.cells.is_empty()
    assert covered_lines(result) == [1, 2, 3, 4]


def test_unreadable_header_says_where_and_why() -> None:
    problem = read_records(b'\n"Lot"x,Date\nA1\n', make_export()).file_problem
    assert problem is not None
    assert problem.sentence.startswith(
        "the header on line 2 cannot be read: text stands after a closing quotation mark"
    )


def test_header_over_two_lines() -> None:
    columns = {"lot": "Lot", "date": "Date", "ph": "pH value"}
    result = read_text('Lot,Date,"pH\nvalue"\nA1,2026-04-05,5.8\n', columns=columns)
    assert result.file_problem is None
    assert result.records["line_to"].to_list() == [2, 3]


def test_columns_to_look_for_can_be_given() -> None:
    export = make_export()
    data = b"Lot,Date,pH\nA1,2026-04-05,5.8\n"
    assert read_records(data, export).file_problem is not None
    assert read_records(data, export, ["Lot", "Date", "pH"]).file_problem is None


def test_a_file_whose_columns_moved_is_held_whole() -> None:
    data = b"Lot,Date,EC,pH\nA1,2026-04-05,1.9,5.8\n"
    held = read_records(data, make_export(), earlier_header=["Lot", "Date", "pH", "EC"])
    assert held.file_problem is not None
    assert held.records["problem"].to_list() == [None, "columns_moved"]
    assert held.cells.is_empty()
    free = read_records(data, make_export(column_order="any"), earlier_header=["Lot", "Date", "pH", "EC"])
    assert free.file_problem is None


@pytest.mark.parametrize("first", ["sep=;", '"sep=;"', "SEP=;;;;", '"sep=;";;;'])
def test_a_line_that_names_the_delimiter_is_known_as_it_is_saved_again(first: str) -> None:
    text = f"{first}\nLot;Date;pH;EC\nA;2026-04-02;5.8;2.0\n"
    result = read_text(text, delimiter=";")
    assert (result.records["kind"].to_list(), result.file_problem) == (["separator", "header", "data"], None)
    other = read_text(text, delimiter=",")
    assert other.file_problem is not None
    assert other.file_problem.code == "delimiter"


@pytest.mark.parametrize("first", ["sep=", 'sep=;"', '"sep=;', "sep=;x", "sep=;; 1"])
def test_what_only_begins_like_it_is_no_such_line(first: str) -> None:
    result = read_text(f"{first}\nLot;Date;pH;EC\n", delimiter=";")
    assert result.records["kind"][0] == "header"


@pytest.mark.parametrize(
    ("titles", "above", "stands", "should_be", "right"),
    [
        (0, "Log\nof house 1\n", 3, 1, 2),
        (0, "sep=,\nLog\n", 3, 2, 1),
        (2, "Log\n", 2, 3, 1),
        (1, "", 1, 2, 0),
    ],
)
def test_a_header_that_stands_elsewhere_is_found_and_the_mend_reads_the_file(
    titles: int, above: str, stands: int, should_be: int, right: int
) -> None:
    text = f"{above}{READING_HEADER}\nA1,2026-04-05,5.8,1.9\nA1,2026-04-05,5.9,1.8\n"
    problem = read_text(text, title_lines=titles).file_problem
    assert problem is not None
    assert problem.code == "columns_changed"
    assert (
        problem.sentence
        == f"the header stands on line {stands}, and by the settings it should be line {should_be}"
    )
    assert problem.mend.startswith(f"set title_lines = {right} ")
    assert read_text(text, title_lines=right).file_problem is None


def test_a_file_in_another_encoding_than_utf_16_shows_each_of_its_lines_as_held() -> None:
    data = f"{READING_HEADER}\nA1,2026-04-05,5.8,1.9\nA1,2026-04-05,5.9,1.8\n".encode()
    result = read_records(data, make_export(encoding="utf-16"))
    assert result.records["kind"].to_list() == ["header", "data", "data"]
    assert result.records["problem"].to_list() == [None, "encoding", "encoding"]
