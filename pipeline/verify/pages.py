"""The pages of the newest night: whether they are, byte by byte, what that night wrote."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from pipeline.intake import ledger
from pipeline.publish import LATEST, find_altered, sealed_pages
from pipeline.verify.archived import Numbered
from pipeline.verify.findings import Finding

SHOWN = 12
"""So many signs of the digest stand at the foot of each page."""


def check_pages(home: Path, entries: Numbered) -> Iterator[Finding]:
    """Document, pages and PDFs have the hashes that the ledger has of them, and `latest` points to them."""
    nights = [one for _, one in entries if one.get("kind") == ledger.NIGHT]
    if not nights:
        return
    day, facts = str(nights[-1].get("as_of")), str(nights[-1].get("facts"))
    folder = home / "out" / day
    mend = f"run `leachbook nightly {home} --as-of {day}`, which makes them again."
    sealed = sealed_pages([one for _, one in entries])
    for name, wrong in find_altered(folder, sealed):
        yield Finding("pages", f"out/{day}/{name}: {wrong}; {mend}")
    if not sealed:
        yield from _check_marks(home, folder, facts, mend)
    link = home / "out" / LATEST
    if not link.is_symlink() or str(link.readlink()) != day:
        yield Finding("pages", f"out/{LATEST}: does not point to the pages of {day}; {mend}")


def _check_marks(home: Path, folder: Path, facts: str, mend: str) -> Iterator[Finding]:
    """Pages of a night that hashed none: the document and each page carry the digest of its facts."""
    day = folder.name
    try:
        told = json.loads((folder / "summary.json").read_bytes())["night"]["facts_digest"]
    except (OSError, ValueError, KeyError, TypeError):
        yield Finding("pages", f"out/{day}/summary.json: is missing or cannot be read; {mend}")
        return
    if told != facts:
        yield Finding("pages", f"out/{day}/summary.json: has other facts than the ledger for {day}; {mend}")
    for page in sorted(folder.rglob("*.html")):
        if facts[:SHOWN] not in page.read_text(encoding="utf-8", errors="replace"):
            yield Finding(
                "pages",
                f"{page.relative_to(home)}: does not carry the digest of the facts of {day}; {mend}",
            )
