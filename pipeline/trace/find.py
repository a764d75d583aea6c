"""Sites and lots by what somebody typed."""

from __future__ import annotations

import json
from collections.abc import Sequence
from difflib import get_close_matches
from typing import Final

from pipeline.errors import SiteNotFound
from pipeline.settings import Settings, SiteSettings

LISTED: Final = 12


def find_site(settings: Settings, site_id: str) -> SiteSettings:
    """The site with this id or name. Raises SiteNotFound with the nearest one."""
    for site in settings.sites:
        if site_id.strip().lower() in (site.id, site.name.lower()):
            return site
    raise SiteNotFound(
        f"There is no site {site_id}: {list_nearest(site_id, [site.id for site in settings.sites])}."
    )


def header_of(stored: str | None) -> list[str] | None:
    """A file's header as the warehouse keeps it, a JSON list; None where none could be read."""
    if stored is None:
        return None
    header: list[str] = json.loads(stored)
    return header


def list_nearest(word: str, known: Sequence[str]) -> str:
    """The nearest of the known names, and a list of them."""
    folded = {one.lower(): one for one in known}
    near = get_close_matches(word.lower(), folded, n=1)
    listed = ", ".join(known[:LISTED]) + (f" and {len(known) - LISTED} more" if len(known) > LISTED else "")
    hint = f"the nearest is {folded[near[0]]}; " if near else ""
    return f"{hint}there are {listed}" if known else "there is none yet"
