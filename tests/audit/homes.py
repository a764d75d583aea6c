"""A home with three nights: a lot that comes later, a reading that is corrected, a lot that nobody samples in time."""

from __future__ import annotations

import io
from datetime import date
from pathlib import Path

import pikepdf

from tests.home import (
    GOOD_PH,
    GOOD_PH_2,
    GROUP,
    LOTS,
    READINGS_HEADER,
    SITE,
    Ran,
    drop,
    make_home,
    night,
    pots,
    run_cli,
)

FROM, TO = date(2026, 3, 2), date(2026, 4, 6)
NIGHTS = (date(2026, 4, 2), date(2026, 4, 6), date(2026, 4, 20))
MARCH = READINGS_HEADER + pots("H-1", "2026-03-08", GOOD_PH) + pots("H-2", "2026-03-06", GOOD_PH_2, ec="3.00")


def make_audited_home(home: Path, *, group: str = GROUP, site: str = SITE) -> Path:
    """Two nights, of 2 and of 6 April; the second brings a corrected pH and a formula as a note."""
    make_home(home, site=site, **{"readings_2026-03-08.csv": MARCH})
    (home / "leachbook.toml").write_text(group, encoding="utf-8")
    night(home, NIGHTS[0])
    corrected = MARCH.replace("H-1,2026-03-08,routine,1,5.7,", "H-1,2026-03-08,routine,1,5.6,")
    drop(home, "readings_2026-04-05.csv", corrected.replace(",50,M1,\n", ",50,M1,=1+1\n", 1))
    night(home, NIGHTS[1])
    return home


def correct_later(home: Path) -> None:
    """A third night that takes the sampling of 8 March back, all but one pot, and lists another lot."""
    lines = "".join(f"H-1,2026-03-08,routine,{pot},,2.6,50,M1,dry\n" for pot in range(2, 6))
    drop(home, "readings_2026-04-18.csv", READINGS_HEADER + lines)
    drop(home, "lots.csv", LOTS + "H-3,1,petunia,pot_4in,2026-03-10,2026-05-20,300\n")
    night(home, NIGHTS[2])


def audit(home: Path, *more: object) -> Ran:
    return run_cli("audit", home, "--from", FROM, "--to", TO, *more)


def attachments(pdf: bytes | Path) -> dict[str, bytes]:
    """Files that a PDF carries."""
    opened = pikepdf.open(io.BytesIO(pdf) if isinstance(pdf, bytes) else pdf)
    with opened:
        return {name: opened.attachments[name].get_file().read_bytes() for name in opened.attachments}
