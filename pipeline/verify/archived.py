"""The archive: each file that the ledger or a version of the settings names, hashed again, and what nobody names."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from pipeline.intake import archive, ledger
from pipeline.verify.findings import Finding

Numbered = Sequence[tuple[int, ledger.Entry]]
_OWN_FILES = {"ledger.jsonl", "ledger.head", "night.announced"}


def check_archive(home: Path, entries: Numbered, *, is_whole: bool = True) -> tuple[list[Finding], int]:
    """Findings, and the number of files that are what their names say."""
    named = _named_files(home, entries)
    findings = [finding for sha256, what in named.items() for finding in _check_file(home, sha256, what)]
    good = len(named) - len(findings)
    known = {archive.file_path(home, sha256) for sha256 in named}
    return [*findings, *_unknown_files(home, known, is_whole)], good


def count_lines(data: bytes, encoding: str) -> int:
    """Physical lines, counted on the bytes: LF, CRLF and a lone CR end one, a rest without an end is one."""
    if encoding.startswith("utf-16"):
        marks = (b"\xff\xfe", b"\xfe\xff")
        order = "utf-16-be" if encoding == "utf-16-be" or data.startswith(marks[1]) else "utf-16-le"
        body = data[2:] if data.startswith(marks) else data
        # One byte a sign: the count needs no letters, and half a sign at the end is a sign.
        data = body.decode(order, "replace").encode("latin-1", "replace")
    elif encoding.startswith("utf-8"):
        data = data.removeprefix(b"\xef\xbb\xbf")
    ends = data.count(b"\n") + data.count(b"\r") - data.count(b"\r\n")
    return ends + (1 if data and not data.endswith((b"\n", b"\r")) else 0)


def _named_files(home: Path, entries: Numbered) -> dict[str, str]:
    """Hash of each file that must be there, and what it is."""
    named: dict[str, str] = {}
    versions: dict[str, str] = {}
    for line, entry in entries:
        if entry.get("kind") == ledger.RECEIPT:
            named.setdefault(
                str(entry.get("sha256")), f"{entry.get('name')} of {entry.get('site')}, ledger line {line}"
            )
        elif entry.get("kind") == ledger.NIGHT:
            versions.setdefault(
                str(entry.get("settings")), f"the settings of {entry.get('as_of')}, ledger line {line}"
            )
            if "calendars" in entry:
                named.setdefault(
                    str(entry["calendars"]), f"the calendars of {entry.get('as_of')}, ledger line {line}"
                )
    for sha256, what in versions.items():
        named.setdefault(sha256, what)
        for name, file in _listed_settings(home, sha256).items():
            named.setdefault(file, f"{name} in {what}")
    return named


def _listed_settings(home: Path, sha256: str) -> Mapping[str, str]:
    """Files of one version of the settings; none where the version is not whole, which is a finding of its own."""
    try:
        listed = json.loads(archive.file_path(home, sha256).read_bytes())["settings"]
    except (OSError, ValueError, KeyError, TypeError):
        return {}
    return listed if isinstance(listed, dict) else {}


def _check_file(home: Path, sha256: str, what: str) -> Iterator[Finding]:
    if not re.fullmatch(r"[0-9a-f]{64}", sha256):
        yield Finding(
            "archive",
            f"archive/ledger.jsonl: names no hash for {what}; bring the ledger back from a backup.",
        )
        return
    path = archive.file_path(home, sha256)
    place = path.relative_to(home)
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        yield Finding(
            "archive", f"{place}: is missing ({what}); bring it back from a backup, or from where it came."
        )
    except OSError as error:
        yield Finding(
            "archive",
            f"{place}: cannot be read ({error.strerror}; {what}); let this account read it, or bring it back.",
        )
    else:
        if hashlib.sha256(data).hexdigest() != sha256:
            yield Finding(
                "archive",
                f"{place}: was altered ({what}); bring it back from a backup, or from where it came.",
            )


def _unknown_files(home: Path, known: set[Path], is_whole: bool) -> Iterator[Finding]:
    # What a ledger that lost entries does not name may be the only copy of an export.
    told = (
        "a night that died may have left it, or somebody put it there: take it away."
        if is_whole
        else "the entry that named it may be one of those that the ledger lost: leave it until the ledger is back."
    )
    folder = home / "archive"
    for path in sorted(folder.rglob("*")):
        if path.is_dir() and not path.is_symlink():
            continue
        if path in known or (path.parent == folder and path.name in _OWN_FILES):
            continue
        yield Finding(
            "archive",
            f"{path.relative_to(home)}: no entry of the ledger names it; {told}",
        )
