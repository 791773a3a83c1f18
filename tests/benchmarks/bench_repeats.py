"""Does it pay to spend patches on repeats, so that a pair and its patches can be told apart?

Studios of the population (`studios.py`) fire 36 or 72 patches on tiles of four, graded by two.
Where a base has a second tile (at 72 patches six of twelve do, at 36 each of the repeating plans
gives up as many bases), that carries none, some or all of the overlays of the first. All 132 pairs
are judged. The number of patches is always the same.

    python tests/benchmarks/bench_repeats.py 30 FOLDER
"""

import sys
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from bench_honesty import (
    COLOURS,
    SCORES,
    SETTING,
    Kind,
    against_truth,
    figures,
    measure,
    random_series,
)
from studios import Population

from kit.model import fit_series, pair_table
from kit.series import Series
from kit.studio import fire

SHOWN = ["log score", "cover", "given", "right", "right or rightly open", "wrong of given"]
ARMS = {
    "36 patches, none": (Kind(36, 2), 0, 0),
    "36 patches, 4 repeats": (Kind(36, 2), 1, 4),
    "36 patches, 8 repeats": (Kind(36, 2), 2, 4),
    "72 patches, none": (Kind(72, 2), 6, 0),
    "72 patches, 6 repeats": (Kind(72, 2), 6, 1),
    "72 patches, 12 repeats": (Kind(72, 2), 6, 2),
    "72 patches, 24 repeats": (Kind(72, 2), 6, 4),
}


def repeating(kind: Kind, seed: int, doubled: int, each: int) -> Series:
    """A random series with `each` overlays of so many doubled bases on both of their tiles."""
    series = random_series(kind, seed)
    random = np.random.default_rng(seed + 5000)
    names = COLOURS["colour"].to_numpy()
    count = len(series.tiles)
    single = random.permutation(names)[: count - doubled]
    bases = [str(name) for name in (*single, *single[:doubled])]
    of_base: dict[str, list[str]] = {}
    overlays: list[str] = []
    for base in bases:
        others = [str(n) for n in random.permutation(names) if n != base]
        before = of_base.get(base, [])
        again = [str(n) for n in random.permutation(before)[:each]]
        fresh = [n for n in others if n not in before][: 4 - len(again)]
        of_base[base] = [*again, *fresh]
        overlays += of_base[base]
    order = random.permutation(count)
    tiles = series.tiles.assign(base=pd.Series([bases[k] for k in order], dtype="str"))
    laid = [overlays[4 * k + place] for k in order for place in range(4)]
    return replace(
        series, tiles=tiles, patches=series.patches.assign(overlay=pd.Series(laid, dtype="str"))
    )


def measure_one(kind: Kind, seed: int, doubled: int, each: int) -> pd.DataFrame:
    truth = Population().draw(COLOURS, seed)
    series = fire(repeating(kind, seed, doubled, each), truth, seed)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fits = {score: fit_series(series, score) for score in SCORES}
        table = pair_table(fits, COLOURS, SETTING, [1, 2, 3])
    return against_truth(table, fits, truth).assign(kind=kind.name, size=kind.patches, seed=seed)


if __name__ == "__main__":
    studios, folder = int(sys.argv[1]), Path(sys.argv[2])
    per_studio = {}
    for name, (kind, doubled, each) in ARMS.items():
        pairs = measure(
            range(studios),
            [kind],
            lambda kind, seed, d=doubled, e=each: measure_one(kind, seed, d, e),
            folder / name,
        )
        told = figures(pairs)
        per_studio[name] = pd.Series(
            {seed: figures(own)["right or rightly open"] for seed, own in pairs.groupby("seed")}
        )
        off = per_studio[name] - per_studio[f"{kind.patches} patches, none"]
        shown = " | ".join(f"{told[s]:.3f}" for s in SHOWN)
        print(f"| {name} | {shown} | {off.mean():+.1f} ({off.sem():.1f}) |", flush=True)
