"""A drop folder full of bad files beside good ones: one night over all of them."""

from __future__ import annotations

import os
from pathlib import Path

from tests.home import DROP, LOTS, READINGS_HEADER, drop, make_home, pots

PH = ("5.7", "5.8", "5.9", "5.8", "5.8")
SEMICOLONS = (READINGS_HEADER + pots("H-1", "2026-03-06", PH)).replace(",", ";")
SIX_CELLS = "H-1,2026-03-07,routine,1,5.8,2.00\n"
WITH_NUL = "H-1,2026-03-08,routine,1,5.\x008,2.00,50,M1,\n"


def make_bad_home(home: Path) -> Path:
    """Every kind of bad file in one drop folder; each readings file has a day of its own."""
    make_home(home, **{"lots.csv": LOTS + "H-3,1,pansy,pot_4in,,2026-05-20,100\n"})
    drop(home, "readings_empty.csv", b"")
    drop(home, "readings_header.csv", READINGS_HEADER)
    renamed = READINGS_HEADER.replace("EC (mS/cm)", "EC mS/cm")
    drop(home, "readings_renamed.csv", renamed + pots("H-1", "2026-03-04", PH))
    accented = READINGS_HEADER + "H-1,2026-03-05,routine,1,5.8,2.00,50,M1,Müller\n"
    drop(home, "readings_encoding.csv", accented.encode("cp1252"))
    drop(home, "readings_delimiter.csv", SEMICOLONS)
    drop(home, "readings_ragged.csv", READINGS_HEADER + pots("H-1", "2026-03-07", PH) + SIX_CELLS)
    drop(home, "readings_nul.csv", READINGS_HEADER + pots("H-1", "2026-03-09", PH) + WITH_NUL)
    (home / DROP / "readings_folder.csv").mkdir()
    (home / DROP / "readings_dangling.csv").symlink_to("gone.csv")
    (home / DROP / "readings_loop.csv").symlink_to("readings_loop.csv")
    (home / DROP / "readings_outside.csv").symlink_to(home / "leachbook.toml")
    os.mkfifo(home / DROP / "readings_pipe.csv")
    (home / DROP / os.fsdecode(b"readings_\xff.csv")).write_text(READINGS_HEADER, encoding="utf-8")
    drop(home, "readings_no_start.csv", READINGS_HEADER + pots("H-3", "2026-04-01", PH))
    two_lines = 'H-1,2026-03-10,routine,6,5.8,2.00,50,M1,"dry,\nwatered again"\n'
    drop(home, "readings_two_lines.csv", READINGS_HEADER + pots("H-1", "2026-03-10", PH) + two_lines)
    open_quote = 'H-1,2026-03-11,routine,6,5.8,2.00,50,M1,"dry\n'
    drop(home, "readings_quote.csv", READINGS_HEADER + open_quote + pots("H-1", "2026-03-11", PH))
    drop(home, "readings_scale.csv", READINGS_HEADER + pots("H-1", "2026-03-12", PH[:1], ec="2150"))
    bad_cells = 'H-1,12.03.2026,routine,1,5.8,2.00,50,M1,\nH-1,2026-03-13,routine,1,"5,8",2.00,50,M1,\n'
    drop(home, "readings_cells.csv", READINGS_HEADER + bad_cells)
    drop(home, "readings_utf16.csv", (READINGS_HEADER + pots("H-1", "2026-03-14", PH)).encode("utf-16"))
    drop(home, "notes.txt", "call the supplier\n")
    return home
