"""A sample of the script beside it: any bytes through the whole receive."""

from __future__ import annotations

from tests.faults.any_bytes import SEED, run


def test_any_bytes_under_any_export_balance() -> None:
    seen = run(100, SEED)
    assert seen.files >= 100
    # Not everything is noise: lines were used, and files were held whole.
    assert seen.usable > 0
    assert seen.file_problems is not None
    assert set(seen.file_problems) > {"none", "encoding"}
