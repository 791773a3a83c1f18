"""Which prior of what photographs measure foretells new patches best, where nothing is graded?

Studios of the population (`studios.py`) fire random patches (`bench_honesty.py`) and measure each
after every firing: 0.4 mm for a typical step of spread, with the limit of a fine edge at its cut,
and shares likewise on the scale of the models; a picture is off by 0.05 mm and a tenth of a logit.
The pairs are judged by the measurements alone.

    python tests/benchmarks/bench_measure_prior.py 24 FOLDER [ARM ...]
"""

import sys
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from bench_honesty import (
    COLOURS,
    COLUMNS,
    SCORES,
    SETTING,
    Kind,
    figures,
    measure,
    random_series,
)
from studios import Population, ending_shares

from kit.mixed import Prior
from kit.model import (
    MEASURE_OF,
    every_pair,
    fit_measurements,
    measured_pair_table,
    recipes,
    scale_to_share,
    share_to_scale,
    state_by_measurements,
    verdicts,
)
from kit.model.series_prior import MEASURE_PRIOR
from kit.series import Series, join_measurements
from kit.studio import Truth, fire
from kit.studio.kiln import latent_truth

KINDS = (Kind(36, 1), Kind(72, 1), Kind(96, 1))
LIMITS = {"spread": SETTING.fine_edge_mm, "pull_through": SETTING.fine_edge_share}
A_STEP = {"spread": 0.4, "pull_through": 1.2}
OFF = {"spread": 0.05, "pull_through": 0.1}
SHOWN = [
    "log score",
    "error fine edge",
    "cover",
    "given",
    "right",
    "right or rightly open",
    "wrong of given",
]
ARMS = {
    "the kit's": MEASURE_PRIOR,
    **{
        f"effects {effect:g}, rate {rate:g}": Prior(effect_sd=effect, sd_rate=rate)
        for effect, rate in [(2, 4), (4, 4), (2, 6), (2, 9), (4, 9), (2, 12)]
    },
}


def above_limit(truth: Truth, score: str, latent: np.ndarray) -> np.ndarray:
    """What is measured of a latent value, above the limit, on the scale of the models."""
    own = truth.scales[score]
    per_unit = A_STEP[score] / float(np.mean(np.diff(own.cuts)))
    return per_unit * (latent - own.cuts[SETTING.fine_edge_at_most])


def measured(series: Series, truth: Truth, seed: int) -> Series:
    seen = latent_truth(series, truth, seed)
    random, n = np.random.default_rng(seed + 99), len(seen)
    value = {
        score: above_limit(truth, score, seen[score].to_numpy()) + random.normal(0, OFF[score], n)
        for score in SCORES
    }
    middle = share_to_scale(np.array([LIMITS["pull_through"]]))[0]
    table = series.measurements.reindex(range(n)).assign(
        patch=seen["patch"],
        firing=seen["firing"],
        spread_mm=LIMITS["spread"] + value["spread"],
        spread_mm_se=OFF["spread"],
        pull_through_share=scale_to_share(middle + value["pull_through"]),
        pull_through_share_se=0.01,
        **{"quality": "good", "accepted": "", "picture": "p.jpg", "picture_sha256": "0"},
    )
    return replace(series, measurements=table)


def measure_one(kind: Kind, seed: int, prior: Prior) -> pd.DataFrame:
    truth = Population().draw(COLOURS, seed)
    series = measured(fire(random_series(kind, seed), truth, seed), truth, seed)
    rows = join_measurements(series)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        own = {s: fit_measurements(rows, MEASURE_OF[s], prior) for s in SCORES}
        fits = {MEASURE_OF[s]: fit for s, fit in own.items()}
        table = measured_pair_table(fits, COLOURS, SETTING, [1, 2, 3])
    recipe = recipes(every_pair(COLOURS), SETTING, [1, 2, 3], fits)
    shares = ending_shares(truth, recipe, SETTING.rule)
    undecided = (shares.max(axis=1) < SETTING.confidence).astype(float)
    z = {}
    for score, fit in own.items():
        known = state_by_measurements(fit, recipe, LIMITS[score])
        off = above_limit(truth, score, truth.latent(recipe, score)) - known.mean[:, 0]
        z[f"{score}_z"] = off / np.sqrt(known.variance[:, 0])
    return table.assign(
        true_verdict=verdicts(shares, undecided, SETTING.confidence),
        **dict(zip([f"true_{column}" for column in COLUMNS], shares.T, strict=True)),
        **z,
        kind=kind.name,
        size=kind.patches,
        seed=seed,
    )


if __name__ == "__main__":
    studios, folder = int(sys.argv[1]), Path(sys.argv[2])
    for name in sys.argv[3:] or list(ARMS):
        pairs = measure(
            range(1000, 1000 + studios),
            KINDS,
            lambda kind, seed, prior=ARMS[name]: measure_one(kind, seed, prior),
            folder / name,
        )
        for kind, own in pairs.groupby("kind", sort=False):
            told = figures(own)
            print(f"| {name} | {kind} |", " | ".join(f"{told[s]:.3f}" for s in SHOWN), "|")
        sys.stdout.flush()
