"""pH and EC exchanged in a whole file: held, and told so."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.home import READINGS_HEADER, make_home, night, only_site, pots


@pytest.mark.parametrize(
    ("ph", "ec", "held"),
    [
        ("2.5", "6.0", True),
        ("3.6", "6.0", False),
        ("2.5", "3.9", False),
        ("2.5", "9.1", False),
        ("5.8", "2.0", False),
    ],
)
def test_a_file_with_ph_and_ec_exchanged_is_held(tmp_path: Path, ph: str, ec: str, held: bool) -> None:
    readings = READINGS_HEADER + pots("H-1", "2026-04-02", (ph,) * 5, ec=ec)
    site = only_site(night(make_home(tmp_path / "home", **{"readings_2026-04-02.csv": readings})).summary)
    assert ("ph_ec_swapped" in {one.cause for one in site.held}) is held
    assert site.lines.held == (5 if held else 0)
    if held:
        assert site.held[0].sentence == (
            "5 lines: for example the file's median pH is 2.50 and its median EC 6.00 mS/cm: pH and EC look swapped; "
            "exchange the columns ph and ec under [export.columns] in site.toml, or mend the export."
        )


def test_a_single_odd_line_proves_nothing(tmp_path: Path) -> None:
    readings = READINGS_HEADER + pots("H-1", "2026-04-02", ("2.5", "2.5"), ec="6.0")
    site = only_site(night(make_home(tmp_path / "home", **{"readings_2026-04-02.csv": readings})).summary)
    assert site.lines.held == 0
