"""Are 36 patches after three earlier series judged as well as 72 without?

Each studio of the population (`studios.py`) has four stocks of twelve colours. Three earlier series
of 36 random patches, each of a stock of its own, are fired before; then 36 of the fourth stock,
whose 132 pairs are judged: alone, with the earlier series as their prior (`learns_from`), and with
all grades pooled; and 72 patches of that stock alone. Two graders.

    python tests/benchmarks/bench_earlier.py 60 FOLDER
"""

import sys
import warnings
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

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
from kit.studio import Truth, fire

STOCKS = [COLOURS.assign(colour=f"{name} " + COLOURS["colour"]) for name in ("a", "b", "c")]
EARLIER, HALF, WHOLE = Kind(36, 2), Kind(36, 2), Kind(72, 2)
SHOWN = [
    "log score",
    "error fine edge",
    "cover",
    "given",
    "right",
    "right or rightly open",
    "wrong of given",
]


def fired(truth: Truth, kind: Kind, seed: int, colours: pd.DataFrame, name: str) -> Series:
    return replace(fire(random_series(kind, seed, colours), truth, seed), name=name)


def judged(
    truth: Truth, several: list[Series], learns_from: tuple[Series, ...] = ()
) -> pd.DataFrame:
    newest = replace(several[-1], earlier=learns_from)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fits = {score: fit_series([*several[:-1], newest], score) for score in SCORES}
        table = pair_table(fits, COLOURS, SETTING, [1, 2, 3])
    return against_truth(table, fits, truth)


def measured(arm: str) -> Callable[[Kind, int], pd.DataFrame]:
    def one(kind: Kind, seed: int) -> pd.DataFrame:
        truth = Population().draw(pd.concat([COLOURS, *STOCKS], ignore_index=True), seed)
        before = [
            fired(truth, EARLIER, 100 * seed + k, stock, f"earlier {k}")
            for k, stock in enumerate(STOCKS)
        ]
        own = fired(truth, kind, seed, COLOURS, "newest")
        learns = tuple(before) if arm == "learned" else ()
        several = [*before, own] if arm == "pooled" else [own]
        return judged(truth, several, learns).assign(kind=arm, size=kind.patches, seed=seed)

    return one


ARMS = {
    "36 patches alone": ("alone", HALF),
    "36 patches, earlier series learned from": ("learned", HALF),
    "36 patches, earlier series pooled": ("pooled", HALF),
    "72 patches alone": ("alone", WHOLE),
}

if __name__ == "__main__":
    studios, folder = int(sys.argv[1]), Path(sys.argv[2])
    per_studio = {}
    for name, (arm, kind) in ARMS.items():
        pairs = measure(range(studios), [kind], measured(arm), folder / arm)
        told = figures(pairs)
        print(name, "|", *(f"{told[s]:.3f}" for s in SHOWN), flush=True)
        per_studio[name] = pairs.groupby("seed").apply(
            lambda own: figures(own)["right or rightly open"], include_groups=False
        )
    table = pd.DataFrame(per_studio)
    for name in list(ARMS)[:3]:
        off = table[name] - table["72 patches alone"]
        print(f"{name} against 72 alone: {off.mean():+.1f} ({off.sem():.1f})")
