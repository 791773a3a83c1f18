"""Which prior foretells new patches best, over a wide population of invented studios?

Each prior is given to the same studios (`bench_honesty.py`), which are others than those that the
figures of honesty are taken from, and scored by the mean log of the chance that it gave to what a
new patch then comes to. The one that the kit takes is the best of them that also covers as stated.
Because the kit's prior expects colours to differ more than tiles, sessions and patches, it is tried
in a population where that is the other way round, too.

    python tests/benchmarks/bench_prior.py 24 FOLDER [ARM ...]
"""

import sys
from dataclasses import replace
from pathlib import Path

from bench_honesty import Kind, figures, measure, measure_one
from studios import Population

from kit.mixed import Amount, Prior
from kit.model import SERIES_PRIOR

KINDS = (Kind(36, 1), Kind(36, 2), Kind(72, 2), Kind(96, 2))
SHOWN = [
    "log score",
    "error fine edge",
    "cover",
    "given",
    "right",
    "right or rightly open",
    "wrong of given",
]
FIRST_SEED = 1000
TURNED = Population(
    base_sd=(0.1, 0.8),
    overlay_sd=(0.1, 0.8),
    pair_sd=(0.1, 0.8),
    tile_sd=(0.2, 1.6),
    patch_sd=(0.2, 1.4),
    session_sd=(0.1, 1.2),
    refirings_sd=(0.1, 1.0),
    step=(0.8, 6.0),
)
"""Colours alike, and everything else unruly."""

WEAK = Prior(effect_sd=4.0, sd_rate=3.5)
"""One belief for all sources."""

ROLES = {
    "base": 2.5,
    "overlay": 2.0,
    "base:overlay": 3.0,
    "tile": 4.0,
    "patch": 4.0,
    "grader": 4.0,
    "session": 6.0,
    "base.refirings": 8.0,
    "overlay.refirings": 8.0,
}
"""Rates of gamma distributions of shape 2: colours differ most, sessions and ways of taking
repeated firing least."""

BY_SOURCE = {name: Amount(2.0, rate) for name, rate in ROLES.items()}
NARROWER = {name: Amount(3.0, 1.5 * rate) for name, rate in ROLES.items()}

ARMS = {
    "one belief for all": WEAK,
    "by source": replace(WEAK, sources=BY_SOURCE),
    "by source, shape 3": replace(WEAK, sources=NARROWER),
    "steps": replace(WEAK, step_shape=4.0, step_rate=1.5),
    "by source, steps": replace(WEAK, sources=BY_SOURCE, step_shape=4.0, step_rate=1.5),
    "by source 3, steps": replace(WEAK, sources=NARROWER, step_shape=4.0, step_rate=1.5),
    "the kit's": SERIES_PRIOR,
}

if __name__ == "__main__":
    studios, folder = int(sys.argv[1]), Path(sys.argv[2])
    for name in sys.argv[3:] or list(ARMS):
        for where, population in (("", None), (" (turned)", TURNED)):

            def one(kind, seed, prior=ARMS[name], population=population):
                return measure_one(kind, seed, lambda truth, score: prior, population)

            seeds = range(FIRST_SEED, FIRST_SEED + studios)
            pairs = measure(seeds, KINDS, one, folder / f"{name}{where}")
            for kind, own in pairs.groupby("kind", sort=False):
                told = figures(own)
                shown = (f"{told[s]:.3f}" for s in SHOWN)
                print(f"| {name}{where} | {kind} |", " | ".join(shown), "|", flush=True)
