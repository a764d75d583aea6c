"""Whose lots a head grower's message is about. Pure."""

from __future__ import annotations

from pipeline.reports.summary import Grower, Lot, Site
from pipeline.settings.benches import fold_name


def is_hers(lot: Lot, grower: Grower) -> bool:
    """Whether a lot is this grower's: the lot list names her, or it stands in one of her houses (none named: all)."""
    if lot.grower_id == grower.grower_id:
        return True
    return not grower.houses or fold_name(lot.house or "") in {fold_name(house) for house in grower.houses}


def take_lots(site: Site, growers: list[Grower]) -> list[Lot]:
    """The lots of these growers of a site, in order of attention.

    A lot that is named as another grower's is hers alone; one that is nobody's is told to everybody.
    """
    known = {grower.grower_id for grower in site.growers}
    ours = {grower.grower_id for grower in growers}

    def is_ours(lot: Lot) -> bool:
        if lot.grower_id in known:
            return lot.grower_id in ours
        owners = [one for one in site.growers if is_hers(lot, one)]
        return not owners or any(one.grower_id in ours for one in owners)

    return [lot for lot in site.lots if is_ours(lot)]
