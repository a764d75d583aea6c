"""Lots drawn for an auditor's own check: each with the same chance, by site, and the same with the same seed."""

from collections import Counter
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from pipeline.audit.draw import draw_lots

LOTS = [(site, f"l{number}") for site, count in (("a", 6), ("b", 3), ("c", 1)) for number in range(count)]
keys = st.lists(st.tuples(st.sampled_from("abcd"), st.integers(0, 12).map(str)), unique=True, max_size=30)


@given(lots=keys, number=st.integers(1, 40), seed=st.text(max_size=5), data=st.data())
def test_each_site_gets_its_share_up_or_down_and_no_lot_comes_twice(
    lots: list[tuple[str, str]], number: int, seed: str, data: st.DataObject
) -> None:
    drawn = draw_lots(lots, number, seed)
    assert len(drawn) == len(set(drawn)) == min(number, len(lots))
    assert set(drawn) <= set(lots)
    of_site, sizes = Counter(site for site, _ in drawn), Counter(site for site, _ in lots)
    for site, size in sizes.items():
        share = Fraction(min(number, len(lots)) * size, len(lots))
        assert abs(of_site[site] - share) < 1
    assert drawn == draw_lots(data.draw(st.permutations(lots)), number, seed)


def test_another_seed_draws_others() -> None:
    assert len({tuple(draw_lots(LOTS, 3, str(seed))) for seed in range(20)}) > 10


def test_every_lot_has_the_same_chance() -> None:
    """Chi-square over 3,000 seeds; its 99.9 % point with 9 degrees of freedom is 27.9 (NIST e-Handbook 1.3.6.7.4)."""
    seeds, number = 3000, 3
    counts = Counter(lot for seed in range(seeds) for lot in draw_lots(LOTS, number, f"seed {seed}"))
    expected = seeds * number / len(LOTS)
    assert sum((counts[lot] - expected) ** 2 / expected for lot in LOTS) < 27.9


def test_no_lot_is_no_draw() -> None:
    assert draw_lots([], 5, "seed") == []
