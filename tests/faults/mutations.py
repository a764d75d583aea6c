"""Damage as exports suffer it: cut transfers, slipped lines, other programs, typing hands. Drawn by a seed."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Dialect:
    """What a mutation knows of the file that it spoils; `others` are further files of the same site."""

    encoding: str
    delimiter: str
    decimal: str
    others: Sequence[bytes] = ()


Bytes = Callable[[bytes, random.Random, Dialect], bytes]
Lines = Callable[[list[str], random.Random, Dialect], None]
Cells = Callable[[str, random.Random, Dialect], str]

_PIECES = (
    b"\0",
    b'"',
    b"\r",
    b"\n",
    b"\xff",
    b"\xe2\x80",
    b"\x1f",
    b"\x85",
    b"\xef\xbb\xbf",
    b"\xff\xfe",
    b"'",
    b"\x1a",
)
_UNITS = (
    " mS", " mS/cm", " dS/m", " µS/cm", "uS", " ppm", " ppm 500", "ppm700", " mL", "ml", " fl oz", " oz", " L",
    " °C", "°F", "C", " F", " min", " %", " pH", " mV", "h",
)  # fmt: skip
_MARKS = (
    "*",
    "?",
    " !",
    "e2",
    "E-1",
    "<",
    ">",
    "~",
    "ca. ",
    "+",
    "-",
    "--",
    "'",
    "½",
    " 1/2",
    "/2",
    "٣",
    "５",
)


# Whole files, as bytes.


def _cut(data: bytes, draw: random.Random, _: Dialect) -> bytes:
    return data[: draw.randrange(len(data) + 1)]


def _lose_beginning(data: bytes, draw: random.Random, _: Dialect) -> bytes:
    return data[draw.randrange(len(data) + 1) :]


def _lose_middle(data: bytes, draw: random.Random, _: Dialect) -> bytes:
    at = draw.randrange(len(data) + 1)
    return data[:at] + data[at + draw.randrange(1, 200) :]


def _flip_bytes(data: bytes, draw: random.Random, _: Dialect) -> bytes:
    spoiled = bytearray(data)
    for _number in range(draw.choice((1, 1, 2, 20)) if spoiled else 0):
        spoiled[draw.randrange(len(spoiled))] = draw.randrange(256)
    return bytes(spoiled)


def _insert_bytes(data: bytes, draw: random.Random, _: Dialect) -> bytes:
    at = draw.randrange(len(data) + 1)
    return data[:at] + draw.choice(_PIECES) * draw.choice((1, 1, 3)) + data[at:]


def _recode(data: bytes, draw: random.Random, dialect: Dialect) -> bytes:
    text = data.decode(dialect.encoding, "replace")
    return text.encode(
        draw.choice(("utf-8", "utf-8-sig", "utf-16", "utf-16-be", "cp1252", "latin-1")), "replace"
    )


def _join(data: bytes, draw: random.Random, dialect: Dialect) -> bytes:
    other = draw.choice((data, *dialect.others))
    return data + other if draw.random() < 0.7 else data[: draw.randrange(len(data) + 1)] + other


def _end_otherwise(data: bytes, draw: random.Random, _: Dialect) -> bytes:
    unix = data.replace(b"\r\n", b"\n")
    return unix.replace(b"\n", draw.choice((b"\r\n", b"\r", b"\n\n", b"\r\r\n", b"\n\r")))


# Lines with their ends.


def _repeat_line(lines: list[str], draw: random.Random, _: Dialect) -> None:
    at = draw.randrange(len(lines))
    lines[at:at] = lines[at : at + draw.choice((1, 1, 5))]


def _swap_lines(lines: list[str], draw: random.Random, _: Dialect) -> None:
    first, second = draw.randrange(len(lines)), draw.randrange(len(lines))
    lines[first], lines[second] = lines[second], lines[first]


def _delete_lines(lines: list[str], draw: random.Random, _: Dialect) -> None:
    at = draw.randrange(min(4, len(lines)) if draw.random() < 0.3 else len(lines))
    del lines[at : at + draw.choice((1, 1, 3))]


def _insert_line(lines: list[str], draw: random.Random, dialect: Dialect) -> None:
    line = draw.choice(
        ("\n", " \n", dialect.delimiter * 5 + "\n", f"sep={dialect.delimiter}\n", "sep=|\n", "# note\n", "Total\n",
         f"Summe{dialect.delimiter * 4}12\n", "a title nobody knows\n", '"\n', '""\n', f'"{dialect.delimiter}\n')
    )  # fmt: skip
    lines.insert(draw.choice((0, draw.randrange(len(lines) + 1))), line)


def _call_it(lines: list[str], draw: random.Random, dialect: Dialect) -> None:
    """A line begins like a comment or a total: its first cell gets the mark, or is the word."""
    at = draw.randrange(len(lines))
    first, mark, rest = lines[at].partition(dialect.delimiter)
    word = draw.choice(("#", "# ", "Mean", "Total:", "Summe", "Mittel", "Grand total"))
    lines[at] = (word + first if word.startswith("#") else word) + mark + rest


def _glue_lines(lines: list[str], draw: random.Random, _: Dialect) -> None:
    at = draw.randrange(len(lines))
    lines[at] = lines[at].rstrip("\r\n")


def _break_line(lines: list[str], draw: random.Random, _: Dialect) -> None:
    at = draw.randrange(len(lines))
    into = draw.randrange(len(lines[at]) + 1)
    lines[at] = lines[at][:into] + draw.choice(("\n", "\r\n", "\r")) + lines[at][into:]


def _shuffle(lines: list[str], draw: random.Random, _: Dialect) -> None:
    body = lines[3:]
    draw.shuffle(body)
    lines[3:] = body


# Columns, by plain splitting: a cell with a delimiter in it only makes the damage worse.


def _header_at(rows: list[list[str]]) -> int:
    return next((at for at, row in enumerate(rows) if len(row) > 4), 0)


def _rename_column(rows: list[list[str]], draw: random.Random) -> None:
    header = rows[_header_at(rows)]
    at = draw.randrange(len(header))
    header[at] = draw.choice(
        (header[at] + " ", header[at].upper(), header[at][:-1], "", header[at] + " (new)", "pH")
    )


def _move_column(rows: list[list[str]], draw: random.Random) -> None:
    width = len(rows[_header_at(rows)])
    source, target = draw.randrange(width), draw.randrange(width)
    for row in rows if draw.random() < 0.8 else rows[: _header_at(rows) + 1]:
        if len(row) == width:
            row.insert(target, row.pop(source))


def _double_column(rows: list[list[str]], draw: random.Random) -> None:
    width = len(rows[_header_at(rows)])
    at = draw.randrange(width)
    for row in rows:
        if len(row) == width:
            row.insert(draw.choice((at, width)), row[at])


def _drop_column(rows: list[list[str]], draw: random.Random) -> None:
    width = len(rows[_header_at(rows)])
    at = draw.randrange(width)
    for row in rows:
        if len(row) == width:
            del row[at]


def _add_column(rows: list[list[str]], draw: random.Random) -> None:
    width = len(rows[_header_at(rows)])
    at = draw.randrange(width + 1)
    for number, row in enumerate(rows):
        if len(row) == width:
            row.insert(at, draw.choice(("new", "", "x y")) if number else "Extra")


# One cell.


def _change_digit(cell: str, draw: random.Random, _: Dialect) -> str:
    places = [at for at, letter in enumerate(cell) if letter.isdigit()]
    if not places:
        return cell + "7"
    at = draw.choice(places)
    return cell[:at] + draw.choice("0123456789") + cell[at + 1 :]


def _type_behind(cell: str, draw: random.Random, _: Dialect) -> str:
    return cell + draw.choice(_UNITS)


def _type_mark(cell: str, draw: random.Random, _: Dialect) -> str:
    mark = draw.choice(_MARKS)
    return mark + cell if draw.random() < 0.4 else cell + mark


def _quote(cell: str, draw: random.Random, dialect: Dialect) -> str:
    more = (f'"{cell}"x', f'"{cell}\nmore"', f'"{cell}{dialect.delimiter}"', f'""{cell}')
    return draw.choice((f'"{cell}', f'{cell}"', f'"{cell}"', *more))


def _insert_delimiter(cell: str, draw: random.Random, dialect: Dialect) -> str:
    at = draw.randrange(len(cell) + 1)
    return cell[:at] + dialect.delimiter + cell[at:]


def _other_decimal(cell: str, draw: random.Random, dialect: Dialect) -> str:
    other = "." if dialect.decimal == "," else ","
    return cell.replace(dialect.decimal, other) if dialect.decimal in cell else f"1{draw.choice('.,')}{cell}"


def _blank_in_cell(cell: str, draw: random.Random, _: Dialect) -> str:
    blank = draw.choice((" ", "\t", "\u00a0", "  ", "\u2009", "\u200b"))
    at = draw.choice((0, len(cell), draw.randrange(len(cell) + 1)))
    return cell[:at] + blank + cell[at:]


def _other_cell(_cell: str, draw: random.Random, dialect: Dialect) -> str:
    return draw.choice(
        ("", "n/a", "-", "0", "00", "1e3", "nan", "inf", "99999999999999999999", "5.8", "5,8", "1.234", "1.234,5",
         "=1+1", "2026-02-30", "31/12/2025", "03/04/26", "12.2025", "53", "2026-W14", "true", "#REF!", "a" * 300,
         "1000000", "2147483647", "9223372036854775807", "-27.36", "4801/7.00", "999.9")
    )  # fmt: skip


BYTES: tuple[Bytes, ...] = (
    _cut, _lose_beginning, _lose_middle, _flip_bytes, _flip_bytes, _insert_bytes, _recode, _join, _end_otherwise,
)  # fmt: skip
LINES: tuple[Lines, ...] = (
    _repeat_line, _swap_lines, _delete_lines, _insert_line, _call_it, _glue_lines, _break_line, _shuffle,
)  # fmt: skip
COLUMNS = (_rename_column, _move_column, _double_column, _drop_column, _add_column)
CELLS: tuple[Cells, ...] = (
    _change_digit, _change_digit, _type_behind, _type_mark, _quote, _insert_delimiter, _other_decimal, _blank_in_cell,
    _other_cell,
)  # fmt: skip


def _spoil_text(data: bytes, draw: random.Random, dialect: Dialect, spoil: Callable[[str], str]) -> bytes:
    """Spoil the text and write it as it was written; letters that its encoding lacks become question marks."""
    text = data.decode(dialect.encoding, "replace")
    return spoil(text).encode(dialect.encoding, "replace")


def _spoil_lines(data: bytes, draw: random.Random, dialect: Dialect) -> bytes:
    def spoil(text: str) -> str:
        lines = text.splitlines(keepends=True)
        if lines:
            draw.choice(LINES)(lines, draw, dialect)
        return "".join(lines)

    return _spoil_text(data, draw, dialect, spoil)


def _spoil_columns(data: bytes, draw: random.Random, dialect: Dialect) -> bytes:
    def spoil(text: str) -> str:
        rows = [line.split(dialect.delimiter) for line in text.splitlines()]
        if rows:
            draw.choice(COLUMNS)(rows, draw)
        return "".join(dialect.delimiter.join(row) + "\r\n" for row in rows)

    return _spoil_text(data, draw, dialect, spoil)


def _spoil_cells(data: bytes, draw: random.Random, dialect: Dialect) -> bytes:
    def spoil(text: str) -> str:
        lines = text.splitlines(keepends=True)
        for _number in range(draw.choice((1, 3, 12)) if lines else 0):
            at = draw.randrange(len(lines))
            body = lines[at].rstrip("\r\n")
            cells = body.split(dialect.delimiter)
            cell = draw.randrange(len(cells))
            cells[cell] = draw.choice(CELLS)(cells[cell], draw, dialect)
            lines[at] = dialect.delimiter.join(cells) + lines[at][len(body) :]
        return "".join(lines)

    return _spoil_text(data, draw, dialect, spoil)


def _spoil_bytes(data: bytes, draw: random.Random, dialect: Dialect) -> bytes:
    return draw.choice(BYTES)(data, draw, dialect)


KINDS = (*[_spoil_cells] * 3, *[_spoil_lines] * 2, _spoil_columns, _spoil_bytes)


def mutate(data: bytes, draw: random.Random, dialect: Dialect) -> bytes:
    """One to three kinds of damage, cells and lines more often than the rest, since more of those pass unseen."""
    for _number in range(draw.choice((1, 1, 2, 3))):
        kind = draw.choice(KINDS)
        data = kind(data, draw, dialect)
    return data
