"""The one font of every page: Source Sans 3 from its package, never what a machine happens to have."""

from __future__ import annotations

import base64
import os
import shutil
import tempfile
import unicodedata
from functools import cache
from io import BytesIO
from multiprocessing import util
from pathlib import Path
from xml.sax.saxutils import escape

from pipeline.assets import templates_folder
from pipeline.errors import ReportError

UPRIGHT = "SourceSans3[wght].ttf"

# Letters of the font that HTML pages carry with them: Latin with its accents, punctuation, marks and units.
# Anything else is shown by a font of the reader's machine.
PAGE_LETTERS = (
    "".join(chr(code) for code in (*range(0x20, 0x7F), *range(0xA0, 0x180)))
    + "–—‘’“”„…•†‡′″€←→≤≥±−×✓●○■□◆▲△▼▽µμκΩ₂₃₄"
)


@cache
def find_font_folder() -> Path:
    """Return the folder of the font package. Raises ReportError when the font is not in it."""
    import fontpkg_source_sans_3

    folder = Path(fontpkg_source_sans_3.__file__).parent / "files"
    if not (folder / UPRIGHT).is_file():
        raise ReportError(f"The font {UPRIGHT} is missing in {folder}: install fontpkg-source-sans-3 again.")
    return folder


@cache
def read_covered_letters() -> frozenset[int]:
    """Return the code points that the font can draw."""
    from fontTools.ttLib import TTFont

    with TTFont(find_font_folder() / UPRIGHT, lazy=True) as font:
        return frozenset(font.getBestCmap())


def is_unsafe_control(letter: str) -> bool:
    """Tell whether a letter is a control character or turns the reading direction of what follows."""
    return letter not in "\n\t" and (
        unicodedata.category(letter) == "Cc" or letter in "\u202a\u202b\u202d\u202e\u2066\u2067\u2068\u2069"
    )


def make_printable(text: str) -> str:
    """Replace every letter that the font lacks by a visible code such as `[U+1F331]`.

    A missing letter would print as an empty box, which PDF/UA forbids and which hides what the site wrote.
    """
    covered = read_covered_letters()
    return "".join(
        letter
        if letter in "\n\t" or (ord(letter) in covered and not is_unsafe_control(letter))
        else name_letter(letter)
        for letter in text
    )


def make_displayable(text: str) -> str:
    """Replace control characters by a visible code and keep every other letter: a browser has other fonts."""
    return "".join(name_letter(letter) if is_unsafe_control(letter) else letter for letter in text)


def name_letter(letter: str) -> str:
    """Return the visible code of a letter, for example `[U+1F331]`."""
    return f"[U+{ord(letter):04X}]"


@cache
def make_page_font() -> str:
    """Return the font cut down to PAGE_LETTERS, all weights, as base64 of WOFF2 (about 45 kB)."""
    from fontTools import subset
    from fontTools.ttLib import TTFont

    options = subset.Options(
        flavor="woff2",
        layout_features=["kern", "liga", "ccmp", "locl", "mark", "mkmk", "tnum"],
        hinting=False,
        recalc_timestamp=False,
    )
    font = TTFont(find_font_folder() / UPRIGHT, recalcTimestamp=False)
    subsetter = subset.Subsetter(options)
    subsetter.populate(text=PAGE_LETTERS)
    subsetter.subset(font)
    font.flavor = "woff2"
    out = BytesIO()
    font.save(out)
    return base64.b64encode(out.getvalue()).decode("ascii")


@cache
def use_only_the_package_font() -> Path:
    """Point fontconfig at the font package alone, for this process; return the configuration file.

    Must run before the first use of WeasyPrint.
    """
    folder = Path(tempfile.mkdtemp(prefix="leachbook-fonts-"))
    # Not atexit: a worker process ends without it and would leave its folder behind.
    util.Finalize(None, shutil.rmtree, args=(folder,), kwargs={"ignore_errors": True}, exitpriority=10)
    text = templates_folder("fonts.conf").read_text("utf-8")
    text = text.replace("{{ font_folder }}", escape(str(find_font_folder())))
    text = text.replace("{{ cache_folder }}", escape(str(folder / "cache")))
    file = folder / "fonts.conf"
    file.write_text(text, "utf-8")
    os.environ["FONTCONFIG_FILE"] = str(file)
    return file
