"""Dossiers below out/audit: whether they are, byte by byte, what an audit wrote and noted in the ledger."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

from pipeline.intake import ledger
from pipeline.verify.archived import Numbered
from pipeline.verify.findings import Finding
from pipeline.warehouse.sealed import file_seal

_MEND = "make it again with `leachbook audit`, or bring it back from a backup."


def check_dossiers(home: Path, entries: Numbered) -> tuple[list[Finding], int]:
    """Findings, and the number of folders with a dossier that are what the ledger says.

    A folder that somebody took away is no finding: a dossier is handed out, and its hash stays in the ledger. Files
    that no audit wrote are let alone, but for a `dossier.pdf`: that one would be taken for one.
    """
    audits = [one for _, one in entries if one.get("kind") == ledger.AUDIT]
    hashes = {str(one.get("sha256")) for one in audits}
    written = _written(audits)
    findings: list[Finding] = []
    good = 0
    folders = sorted(path.parent for path in (home / "out" / "audit").glob("*/dossier.pdf"))
    known = [home / "out" / "audit" / name for name in written]
    for folder in sorted({*folders, *(path for path in known if path.is_dir())}):
        files = written.get(folder.name)
        wrong = list(_check_noted(folder, files) if files else _check_pdf(folder, hashes))
        findings += [
            Finding("dossiers", f"{(folder / name).relative_to(home)}: {what}; {_MEND}")
            for name, what in wrong
        ]
        good += not wrong
    return findings, good


def _written(audits: list[ledger.Entry]) -> dict[str, dict[str, str]]:
    """Hash of each file by folder; an audit that was made again takes the place of the one before."""
    found: dict[str, dict[str, str]] = {}
    for one in audits:
        folder, files = one.get("folder"), one.get("files")
        # Names that would lead out of out/audit are nothing that an audit writes.
        if isinstance(folder, str) and Path(folder).name == folder and isinstance(files, Mapping):
            found.setdefault(folder, {}).update({str(name): str(sha256) for name, sha256 in files.items()})
    return found


def _check_noted(folder: Path, files: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    for name, sha256 in files.items():
        try:
            if file_seal(folder / Path(name).name).sha256 != sha256:
                yield name, "is not what the audit wrote"
        except OSError:
            yield name, "is missing or cannot be read"


def _check_pdf(folder: Path, hashes: set[str]) -> Iterator[tuple[str, str]]:
    """A dossier whose audit noted no folder: by the hash of its PDF alone."""
    try:
        if file_seal(folder / "dossier.pdf").sha256 not in hashes:
            yield "dossier.pdf", "no entry of the ledger knows it"
    except OSError:
        yield "dossier.pdf", "cannot be read"
