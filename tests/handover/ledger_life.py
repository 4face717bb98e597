"""Cars that live through ten visits, with their truth kept: drawn without any of the ledger's code.

One panel each. The clear coat is what the factory gave; at every visit the gauge reads it (with the
error of that gauge and the split into layers, the same at every visit), a correction takes a
lognormal cut, and the shop writes down either two gauge readings or an estimate from the process,
which leans on one guess of the paint's softness.
"""

from dataclasses import dataclass

import numpy as np

from leastcut.handover.ledger import Ledger, LedgerEntry, add


@dataclass(frozen=True)
class Life:
    """What the ledger says, and what is true."""

    ledger: Ledger
    clear_um: float
    coming_um: np.ndarray  # cuts of the next corrections, as the paint would take them


LAYERS_SD, GAUGE_SD, READINGS = 2.0, 1.4, 5
SOFTNESS_SD, OWN_SD = 0.25, 0.12
RESERVE_UM = 25.0


def life(rng: np.random.Generator, *, visits: int = 10) -> Life:
    """Return one panel's life of `visits` corrections."""
    clear = rng.uniform(46.0, 58.0)
    shared = rng.normal(0.0, LAYERS_SD)
    softness_guess = np.exp(rng.normal(0.0, SOFTNESS_SD))
    median = rng.uniform(0.6, 1.3)
    entries = []
    for visit in range(visits):
        day = f"{2016 + visit}-05-{1 + int(rng.integers(28)):02d}"
        if visit == 0 or rng.random() < 0.6:
            entries.append(_reading(rng, day, clear, shared))
        cut = median * np.exp(rng.normal(0.0, 0.25))
        clear -= cut
        entries.append(_cut(rng, day, cut, softness_guess))
    coming = median * np.exp(rng.normal(0.0, 0.25, 60))
    return Life(ledger=add(Ledger(car="c"), entries), clear_um=clear, coming_um=coming)


def _reading(rng: np.random.Generator, day: str, clear: float, shared: float) -> LedgerEntry:
    shown = rng.normal(clear, GAUGE_SD, READINGS).mean() + shared
    return LedgerEntry(
        car="c",
        panel="roof",
        when=day,
        kind="clear",
        value=float(shown),
        sd=GAUGE_SD / READINGS**0.5,
        how="measured",
        shared_sd=LAYERS_SD,
        shared_with="layers of roof",
    )


def _cut(rng: np.random.Generator, day: str, cut: float, softness_guess: float) -> LedgerEntry:
    if rng.random() < 0.4:
        sd = GAUGE_SD * (2 / READINGS) ** 0.5
        value = float(cut + rng.normal(0.0, sd))
        return LedgerEntry(
            car="c", panel="roof", when=day, kind="cut", value=value, sd=sd, how="measured"
        )
    value = float(cut * softness_guess * np.exp(rng.normal(0.0, OWN_SD)))
    return LedgerEntry(
        car="c",
        panel="roof",
        when=day,
        kind="cut",
        value=value,
        sd=max(OWN_SD * value, 0.02),
        how="estimated",
        shared_sd=SOFTNESS_SD * value,
        shared_with="softness of the paint",
    )
