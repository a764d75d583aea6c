"""Compares a summary.json with the oracle: python -m tests.oracle DEMO_SITES SUMMARY [LIMIT]."""

from __future__ import annotations

import json
import sys
from datetime import date
from pathlib import Path

from tests.oracle.compare import compare
from tests.oracle.nights import demo_nights
from tests.oracle.summary import compute


def main() -> None:
    demo, summary = Path(sys.argv[1]), Path(sys.argv[2])
    reference = Path(__file__).parents[2] / "pipeline" / "reference"
    oracle = compute(demo, demo_nights(demo, date(2026, 4, 2), date(2026, 4, 6)), reference)
    if not summary.exists():
        summary.write_text(json.dumps(oracle, indent=1, ensure_ascii=False), encoding="utf-8")
        return
    differences = compare(json.loads(summary.read_text(encoding="utf-8")), oracle)
    for line in [*differences, f"{len(differences)} differences"]:
        sys.stdout.write(line + "\n")


if __name__ == "__main__":
    main()
