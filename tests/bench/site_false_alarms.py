"""How often what is said of whole sites speaks by chance: sites held against each other, and a jump of scale.

    python -m tests.bench.site_false_alarms

prints two Markdown tables. Lots are steady and sites alike by construction: true EC means spread evenly over 2.5 to
4.5 mS/cm and pH over 5.8 to 6.2, five pots a sampling with SD 0.40 mS/cm and 0.15 pH, each sampling as a whole off by
another 0.15 mS/cm and 0.05 pH, as in tests.bench.false_alarms. The seed is fixed.
"""

from __future__ import annotations

import click
import numpy as np
import polars as pl

from pipeline.measures.contrasts import site_contrasts
from pipeline.settings.policy import PolicyValues
from tests.bench.false_alarms import SEED, table

POTS = 5
SPREADS = {"ph": (5.8, 6.2, 0.15, 0.05), "ec": (2.5, 4.5, 0.40, 0.15)}
FACTORS = (1000.0, 0.001, 2.0, 0.5, 0.7, 1 / 0.7)
NEAR = 0.1
"""As in sql/judgement/site_questions.sql."""


def read_lots(
    rng: np.random.Generator, shape: tuple[int, ...], quantity: str, samplings: int = 1
) -> np.ndarray:
    """Pots of lots: shape x samplings x pots."""
    low, high, pots, between = SPREADS[quantity]
    lots = rng.uniform(low, high, (*shape, 1, 1))
    days = rng.normal(0, between, (*shape, samplings, 1))
    return lots + days + rng.normal(0, pots, (*shape, samplings, POTS))


def clear_share(rng: np.random.Generator, quantity: str, lots: int, crops: int = 4000) -> float:
    """Of 100 crops that two sites grow in so many lots each, how many are called clearly different on one day."""
    means = read_lots(rng, (2, crops, lots), quantity).mean(axis=(3, 4))
    site, crop, _ = np.indices(means.shape)
    frame = pl.DataFrame(
        {
            "site_id": np.where(site.ravel() == 0, "a", "b"),
            "crop_key": crop.ravel().astype(str),
            "container_class": "pot_4in",
            "mean": means.ravel(),
        }
    )
    policy = PolicyValues()
    step = float(policy.step_ph if quantity == "ph" else policy.step_ec_ms_cm)
    found = site_contrasts(frame, step)
    return 100 * int((found["word"] == "clear").sum()) / crops


def jump_share(rng: np.random.Generator, lots: int, sites: int = 2000) -> float:
    """Of 100 sites on one day, at how many the median EC of 14 days seems to have another scale than the 42 before."""
    found = 0
    for _ in range(sites):
        pots = read_lots(rng, (lots,), "ec", samplings=4)
        ratio = np.median(pots[:, -1]) / np.median(pots[:, :-1])
        found += any(abs(ratio / factor - 1) <= NEAR for factor in FACTORS)
    return 100 * found / sites


def main() -> None:
    """Print both tables."""
    rng = np.random.default_rng(SEED)
    sizes = (3, 5, 10, 20)
    rows = {
        name: [f"{clear_share(rng, quantity, lots):.1f}" for lots in sizes]
        for quantity, name in (("ph", "site against site: pH"), ("ec", "site against site: EC"))
    }
    click.echo(
        "\n".join(
            table(["`clear` by chance per 100 pairs of sites", *(f"{n} lots each" for n in sizes)], rows)
        )
    )
    jumps = {"scale_jump": [f"{jump_share(rng, lots):.2f}" for lots in sizes]}
    click.echo("\n".join(table(["per 100 sites", *(f"{n} lots" for n in sizes)], jumps)))


if __name__ == "__main__":
    main()
