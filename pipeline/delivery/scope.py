"""Whose lots a head grower's message is about. Pure."""

from __future__ import annotations

from pipeline.reports.summary import Grower, Lot, Site


def take_lots(site: Site, growers: list[Grower]) -> list[Lot]:
    """The lots for which these growers of a site answer (sql/samplings/lot_growers), in order of attention.

    One for which nobody answers whom a message can reach is told to everybody.
    """
    known = {grower.grower_id for grower in site.growers}
    ours = {grower.grower_id for grower in growers}
    return [
        lot for lot in site.lots if not ours.isdisjoint(lot.grower_ids) or known.isdisjoint(lot.grower_ids)
    ]
