"""Bytes into text and text into physical lines: nothing is guessed, nothing is dropped."""

from __future__ import annotations

import codecs
import io
import re
from dataclasses import dataclass

BOM = "\ufeff"
UTF16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
# Control characters in latin-1, which no export writes; in cp1252 quotation marks, dashes and the sign of the euro.
_CONTROLS = re.compile(rb"[\x80-\x9f]")
# So much of every second byte is zero where Western text is utf-16, and so little of the others.
_MANY_ZEROS, _FEW_ZEROS = 0.5, 0.05


@dataclass(frozen=True)
class FileProblem:
    """Why a whole file is held.

    `sentence` starts after the file's name, which the caller puts before it with a colon; `mend` says what
    to do, as a clause that can follow a semicolon.
    """

    code: str
    sentence: str
    mend: str


def decode(data: bytes, encoding: str) -> tuple[str, FileProblem | None]:
    """Decode a file by the encoding of its export; a byte order mark is dropped.

    Where the bytes are not in that encoding, the text has replacement characters (for display only) and the
    problem names the first wrong byte, its line and an encoding that would read the whole file.
    """
    problem = (
        _foreign_mark(data, encoding)
        or _unmarked_utf16(data, encoding)
        or _strict_failure(data, encoding)
        or _hidden_utf8(data, encoding)
        or _hidden_cp1252(data, encoding)
    )
    text = _decode(data, shown_encoding(data, encoding), "replace" if problem else "strict")
    # Python's utf-16 has taken its mark already; what looks like a second one is text.
    is_taken = encoding == "utf-16" and data.startswith(UTF16_MARKS)
    return (text if is_taken else text.removeprefix(BOM)), problem


def shown_encoding(data: bytes, encoding: str) -> str:
    """The encoding by which a file's lines are told and shown: its export's, unless this would melt them all into one.

    A file that is plainly not the utf-16 that its export says is held, and its lines are still to be seen and counted.
    """
    if encoding == "utf-16" and not data.startswith(UTF16_MARKS):
        if b"\0" not in data:
            return "utf-8"
        if _order_of_bytes(data) == "big":
            return "utf-16-be"
    return encoding


def split_lines(text: str) -> list[str]:
    """Physical lines with their line ends (LF, CRLF or a lone CR), as an editor would count them."""
    return list(io.StringIO(text, newline=""))


def _decode(data: bytes, encoding: str, errors: str) -> str:
    if encoding == "utf-8-sig":
        encoding = "utf-8"
    if encoding == "utf-16" and not data.startswith(UTF16_MARKS):
        # Python takes the machine's byte order here; files without a mark are little-endian in practice.
        encoding = "utf-16-le"
    return data.decode(encoding, errors)


def _decodes(data: bytes, encoding: str) -> bool:
    try:
        _decode(data, encoding, "strict")
    except UnicodeDecodeError:
        return False
    return encoding != "latin-1" or _CONTROLS.search(data) is None


def _readable_as(data: bytes, declared: str) -> str | None:
    """The first other encoding that would read the whole file; latin-1 reads nearly anything, so it comes last."""
    if data.startswith(UTF16_MARKS):
        return "utf-16" if declared != "utf-16" and _decodes(data, "utf-16") else None
    if data.startswith(codecs.BOM_UTF8) and _decodes(data, "utf-8"):
        return "utf-8-sig"
    others = ("utf-8", "cp1252", "latin-1")
    declared = "utf-8" if declared == "utf-8-sig" else declared
    return next((name for name in others if name != declared and _decodes(data, name)), None)


def _mend(data: bytes, declared: str) -> str:
    other = _readable_as(data, declared)
    if other is None:
        return "no known encoding reads the file; ask the site to export it again"
    return f'set encoding = "{other}" in site.toml, which reads it, or export the file as {declared}'


def _foreign_mark(data: bytes, encoding: str) -> FileProblem | None:
    """A byte order mark that contradicts the declared encoding."""
    if data.startswith(UTF16_MARKS) and encoding != "utf-16":
        found = "utf-16"
    elif data.startswith(codecs.BOM_UTF8) and encoding not in ("utf-8", "utf-8-sig"):
        found = "utf-8"
    elif encoding == "utf-16" and data and not data.startswith(UTF16_MARKS) and b"\0" not in data:
        # Western text in utf-16 has a zero byte in every second place.
        sentence = "the file has neither the mark nor the zero bytes of utf-16 (line 1, byte 1)"
        return FileProblem("encoding", sentence, _mend(data, encoding))
    else:
        return None
    mark = " ".join(f"{byte:02X}" for byte in data[: 2 if found == "utf-16" else 3])
    sentence = f"the bytes {mark} at the start of line 1 are the mark of {found}, not of {encoding}"
    return FileProblem("encoding", sentence, _mend(data, encoding))


def _unmarked_utf16(data: bytes, encoding: str) -> FileProblem | None:
    """Text of two bytes a sign that no mark announces; little-endian is what utf-16 is taken for without one."""
    order = _order_of_bytes(data)
    if order is None or (encoding == "utf-16" and order == "little"):
        return None
    looks = f"the file looks like utf-16 without a mark, {order}-endian (every second byte is zero from line 1 on)"
    if encoding == "utf-16":
        mend = "export it with the mark of utf-16 (FE FF) at its start, or as utf-8"
        return FileProblem("encoding", f"{looks}, and is read little-endian without one", mend)
    if order == "little":
        mend = f'set encoding = "utf-16" in site.toml, which reads it, or export the file as {encoding}'
    else:
        mend = f'export it as {encoding}, or with a mark (FE FF) and set encoding = "utf-16" in site.toml'
    return FileProblem("encoding", f"{looks}, not {encoding}", mend)


def _order_of_bytes(data: bytes) -> str | None:
    """little or big where zero bytes stand as in Western text in utf-16 without a mark, otherwise None."""
    if len(data) < 2 or b"\0" not in data or data.startswith((*UTF16_MARKS, codecs.BOM_UTF8)):
        return None
    even, odd = (part.count(0) / len(part) for part in (data[::2], data[1::2]))
    if odd >= _MANY_ZEROS and even <= _FEW_ZEROS:
        return "little"
    return "big" if even >= _MANY_ZEROS and odd <= _FEW_ZEROS else None


def _hidden_cp1252(data: bytes, encoding: str) -> FileProblem | None:
    """Bytes that latin-1 takes for control characters, where cp1252 has letters and signs."""
    found = _CONTROLS.search(data) if encoding == "latin-1" else None
    if found is None:
        return None
    line = _line_of(data, found.start(), encoding)
    shown = found[0].decode("cp1252", "replace")
    reads = f' and "{shown}" in cp1252' if _decodes(data, "cp1252") else ""
    sentence = f"the byte {found[0][0]:02X} at line {line} is a control character in latin-1{reads}"
    return FileProblem("encoding", sentence, _mend(data, encoding))


def _strict_failure(data: bytes, encoding: str) -> FileProblem | None:
    try:
        _decode(data, encoding, "strict")
    except UnicodeDecodeError as error:
        # An unfinished last character may start beyond the data that the codec reports.
        at = min(error.start, len(data) - 1)
        sentence = f"the byte {data[at]:02X} at line {_line_of(data, at, encoding)} is not {encoding}"
        return FileProblem("encoding", sentence, _mend(data, encoding))
    return None


def _hidden_utf8(data: bytes, encoding: str) -> FileProblem | None:
    """Bytes that a one-byte encoding reads without complaint, but as Ã¼ instead of ü.

    Text in cp1252 is practically never valid utf-8 once it has a letter beyond ASCII.
    """
    if encoding not in ("cp1252", "latin-1") or data.isascii() or not _decodes(data, "utf-8"):
        return None
    at = next(index for index, byte in enumerate(data) if byte > 0x7F)
    line = _line_of(data, at, encoding)
    pair = " ".join(f"{byte:02X}" for byte in data[at : at + 2])
    shown = data[at : at + 2].decode(encoding, "replace")
    sentence = f'the bytes {pair} at line {line} are a utf-8 letter, which {encoding} would read as "{shown}"'
    return FileProblem("encoding", sentence, _mend(data, encoding))


def _line_of(data: bytes, at: int, encoding: str) -> int:
    before = _decode(data[:at], encoding, "replace")
    lines = split_lines(before)
    return max(1, len(lines) + (1 if lines and lines[-1].endswith(("\n", "\r")) else 0))
