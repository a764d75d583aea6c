import codecs

import pytest

from pipeline.intake.decode import decode, split_lines


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252", "latin-1"])
def test_right_encoding_reads_the_text(encoding: str) -> None:
    assert decode("Küche;5,8\r\n".encode(encoding), encoding) == ("Küche;5,8\r\n", None)


def test_byte_order_mark_is_dropped_whatever_utf8_is_called() -> None:
    data = codecs.BOM_UTF8 + "ü".encode()
    assert decode(data, "utf-8") == decode(data, "utf-8-sig") == ("ü", None)


def test_utf16_without_a_mark_is_little_endian() -> None:
    assert decode("ü;5".encode("utf-16-le"), "utf-16") == ("ü;5", None)


@pytest.mark.parametrize(
    ("data", "declared", "sentence", "other"),
    [
        ("a\nb\nü".encode("cp1252"), "utf-8", "the byte FC at line 3 is not utf-8", "cp1252"),
        ("a\r\nü".encode("cp1252"), "utf-8-sig", "the byte FC at line 2 is not utf-8-sig", "cp1252"),
        (
            "a\n5 € “ü”".encode("cp1252"),
            "latin-1",
            'the byte 80 at line 2 is a control character in latin-1 and "€" in cp1252',
            "cp1252",
        ),
        (
            "Lot,pH\n".encode("utf-16-le"),
            "utf-8",
            (
                "the file looks like utf-16 without a mark, little-endian (every second byte is zero from line 1 on), "
                "not utf-8"
            ),
            "utf-16",
        ),
        (
            "a\nMüller".encode(),
            "cp1252",
            'the bytes C3 BC at line 2 are a utf-8 letter, which cp1252 would read as "Ã¼"',
            "utf-8",
        ),
        (
            "a".encode("utf-16"),
            "utf-8",
            "the bytes FF FE at the start of line 1 are the mark of utf-16, not of utf-8",
            "utf-16",
        ),
        (
            codecs.BOM_UTF8 + b"a",
            "cp1252",
            "the bytes EF BB BF at the start of line 1 are the mark of utf-8, not of cp1252",
            "utf-8-sig",
        ),
        (
            b"Lot,pH\n",
            "utf-16",
            "the file has neither the mark nor the zero bytes of utf-16 (line 1, byte 1)",
            "utf-8",
        ),
    ],
)
def test_wrong_encoding_names_byte_line_and_the_right_one(
    data: bytes, declared: str, sentence: str, other: str
) -> None:
    text, problem = decode(data, declared)
    assert problem is not None
    assert (problem.code, problem.sentence) == ("encoding", sentence)
    assert problem.mend == (
        f'set encoding = "{other}" in site.toml, which reads it, or export the file as {declared}'
    )
    assert text


def test_text_in_the_wrong_encoding_is_kept_with_replacement_characters() -> None:
    text, _ = decode("Küche".encode("cp1252"), "utf-8")
    assert text == "K\ufffdche"


def test_bytes_that_no_encoding_has_a_letter_for() -> None:
    for declared, what in [("cp1252", "is not cp1252"), ("latin-1", "is a control character in latin-1")]:
        _, problem = decode(b"a\rb\x81", declared)
        assert problem is not None
        assert problem.sentence == f"the byte 81 at line 2 {what}"
        assert problem.mend == "no known encoding reads the file; ask the site to export it again"


def test_letters_of_latin_1_are_read() -> None:
    assert decode("Küche\xa0é".encode("latin-1"), "latin-1") == ("Küche\xa0é", None)


@pytest.mark.parametrize("declared", ["utf-8", "cp1252", "utf-16"])
def test_utf16_the_other_way_round_is_held_without_its_mark(declared: str) -> None:
    _, problem = decode("Lot,pH\nA1,5.8\n".encode("utf-16-be"), declared)
    assert problem is not None
    assert problem.sentence.startswith("the file looks like utf-16 without a mark, big-endian")
    assert "mark" in problem.mend
    assert decode("Lot,pH\n".encode("utf-16"), "utf-16")[1] is None


@pytest.mark.parametrize("other", ["utf-8", "utf-8-sig", "cp1252", "utf-16-be"])
def test_lines_of_a_file_that_is_not_the_utf_16_it_should_be_are_told_all_the_same(other: str) -> None:
    text, problem = decode("Lot,pH\nA1,5.8\n".encode(other), "utf-16")
    assert problem is not None
    assert split_lines(text) == ["Lot,pH\n", "A1,5.8\n"]


def test_a_few_zero_bytes_are_no_utf16() -> None:
    assert decode(b"Lot,pH\nA\x00,5.8\n", "utf-8") == ("Lot,pH\nA\x00,5.8\n", None)


def test_half_a_letter_at_the_end_of_utf16() -> None:
    text, problem = decode("ab\n".encode("utf-16") + b"c", "utf-16")
    assert problem is not None
    assert problem.sentence == "the byte 63 at line 2 is not utf-16"
    assert problem.mend == "no known encoding reads the file; ask the site to export it again"
    assert text == "ab\n\ufffd"


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        ("", []),
        ("a", ["a"]),
        ("a\n", ["a\n"]),
        ("a\nb\r\nc\rd", ["a\n", "b\r\n", "c\r", "d"]),
        ("\n\r\n\r", ["\n", "\r\n", "\r"]),
        ("a\x0bb\x85c\u2028d\x1ce\n", ["a\x0bb\x85c\u2028d\x1ce\n"]),
    ],
)
def test_lines_end_at_lf_crlf_and_cr_only(text: str, lines: list[str]) -> None:
    assert split_lines(text) == lines


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_one_mark_is_dropped_and_a_second_one_is_text(encoding: str) -> None:
    data = "\ufeff\ufeffLot".encode("utf-16-le" if encoding == "utf-16" else "utf-8")
    assert decode(data, encoding) == ("\ufeffLot", None)
