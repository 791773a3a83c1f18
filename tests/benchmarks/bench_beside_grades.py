"""What photographs add to grades, and whether the chances stay honest.

Invented studios fire 72 patches, two graders grade them, and every tile is measured after each
firing, straight from the latent values that were graded, in four worlds: no photographs;
millimetres on a line; a patch's photographs all off by the same; and millimetres and shares as the
invented studio draws them, flat near nothing.

Run: python tests/benchmarks/bench_beside_grades.py [studios]
"""

import sys
import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
from bench_honesty import COLOURS, COLUMNS, SCORES, SETTING, Kind, random_series
from studios import Population, ending_shares

from kit.model import (
    NOT_KNOWN,
    every_pair,
    fit_series,
    pair_table,
    recipes,
    scale_to_share,
    state_by_grades,
    verdicts,
)
from kit.series import Series
from kit.studio import Truth, fire
from kit.studio.fire import latent_truth
from kit.studio.photo_shoot import HALF_GONE, SHARE_UNIT, pull_through_share, spread_mm

KIND = Kind(72, 2)
WORLDS = ("no photographs", "on a line", "off by patch", "flat near nothing")
FIRST_SEED = 100


def photographed(series: Series, truth: Truth, seed: int, world: str) -> Series:
    """The series with measurements of every patch after each firing."""
    if world == "no photographs":
        return series
    seen = latent_truth(series, truth, seed)
    random, n = np.random.default_rng(seed + 99), len(seen)
    codes, patches = pd.factorize(seen["patch"])
    logit = (seen["pull_through"].to_numpy() - HALF_GONE) / SHARE_UNIT
    mm = 0.3 + 0.3 * seen["spread"].to_numpy()
    if world == "on a line":
        mm = mm + random.normal(0, 0.1, n)
        share = scale_to_share(logit + random.normal(0, 0.2, n))
    elif world == "off by patch":
        mm = mm + random.normal(0, 0.2, len(patches))[codes] + random.normal(0, 0.05, n)
        by_patch = random.normal(0, 0.5, len(patches))[codes]
        share = scale_to_share(logit + by_patch + random.normal(0, 0.1, n))
    else:
        mm = spread_mm(seen["spread"]) + random.normal(0, 0.05, n)
        share = pull_through_share(seen["pull_through"]) + random.normal(0, 0.01, n)
    table = series.measurements.reindex(range(n)).assign(
        patch=seen["patch"],
        firing=seen["firing"],
        spread_mm=mm,
        spread_mm_se=0.04,
        pull_through_share=np.clip(share, 0, 1),
        pull_through_share_se=0.008,
        **{"quality": "good", "accepted": "", "picture": "p.jpg", "picture_sha256": "0"},
    )
    return replace(series, measurements=table)


def measure_one(seed: int, world: str) -> dict[str, object]:
    """Hold what is said of one studio's pairs against its truth."""
    truth = Population().draw(COLOURS, seed)
    series = photographed(fire(random_series(KIND, seed), truth, seed), truth, seed, world)
    fits = {score: fit_series(series, score) for score in SCORES}
    table = pair_table(fits, COLOURS, SETTING, [1, 2, 3])
    recipe = recipes(every_pair(COLOURS), SETTING, [1, 2, 3], fits)
    shares = ending_shares(truth, recipe, SETTING.rule)
    undecided = (shares.max(axis=1) < SETTING.confidence).astype(float)
    right = table["verdict"].to_numpy() == verdicts(shares, undecided, SETTING.confidence)
    known = (table["verdict"] != NOT_KNOWN).to_numpy()
    chances = table[list(COLUMNS)].to_numpy()
    told = {
        "world": world,
        "error of chances": float(np.sqrt(((chances - shares) ** 2).mean())),
        "known": known.mean(),
        "right": (right & known).mean(),
        "wrong of known": 1 - right[known].mean(),
    }
    for score, fit in fits.items():
        state = state_by_grades(fit, recipe, SETTING.rule)
        true = truth.latent(recipe, score) - truth.scales[score].cuts[SETTING.fine_edge_at_most]
        off = true - state.mean[:, state.fine]
        inside = np.abs(off) < 1.645 * np.sqrt(state.variance[:, state.fine])
        told |= {f"{score}: cover of 90 %": inside.mean(), f"{score}: off": (off**2).mean() ** 0.5}
    return told


def main(studios: int) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        seeds = range(FIRST_SEED, FIRST_SEED + studios)
        rows = [measure_one(seed, world) for seed in seeds for world in WORLDS]
    print(pd.DataFrame(rows).groupby("world", sort=False).mean().round(3).T.to_string())


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10)
