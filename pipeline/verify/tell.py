"""A proof in a few lines, for the terminal and for machines."""

from __future__ import annotations

from typing import Any

from pipeline.verify.run import VerifyResult


def describe_verify(result: VerifyResult) -> dict[str, Any]:
    """A proof for machines."""
    return {
        "proven": not result.findings,
        "nights": result.nights,
        "archived_files": result.archived,
        "files": result.balance.files,
        "lines": result.balance.lines,
        "records": result.balance.records,
        "dossiers": result.dossiers,
        "findings": [{"part": one.part, "sentence": one.sentence} for one in result.findings],
    }


def tell_verify(result: VerifyResult) -> list[str]:
    """A proof for a person: what was looked at, then each thing that is wrong."""
    looked = (
        f"{result.nights} nights in the ledger, {result.archived} files in the archive, {result.balance.lines:,} lines "
        f"in {result.balance.records:,} records of {result.balance.files} exports, "
        f"{result.dossiers} dossier{'' if result.dossiers == 1 else 's'}"
    )
    if not result.findings:
        return [f"Proven: {looked}; every block of the warehouse is as the ledger has it."]
    return [f"Not proven ({looked}):", *(f"  {one.sentence}" for one in result.findings)]
