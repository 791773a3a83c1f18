"""What photographs add to grades, and whether the chances stay honest.

Invented studios fire 36 or 72 patches, two graders grade them, and every tile is measured after
each firing, straight from the latent values that were graded, in three worlds: millimetres on a
line; a patch's photographs all off by the same; and millimetres and shares as the invented studio
draws them, flat near nothing. Each series is judged by its grades alone, by both, and by its
photographs alone, whose rule is that in millimetres: there the truth is asked by it too.

Run: python tests/benchmarks/bench_beside_grades.py [studios] [first seed] [results.csv]
"""

import itertools
import sys
import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
from bench_honesty import COLOURS, COLUMNS, SCORES, SETTING, Kind, random_series
from studios import Population, ending_shares

from kit.model import (
    MEASURE_OF,
    NOT_KNOWN,
    MeasureFit,
    ScaleFit,
    every_pair,
    fit_measurements,
    fit_series,
    measured_pair_table,
    pair_table,
    recipes,
    scale_to_share,
    state_by_grades,
    verdicts,
)
from kit.series import Series, join_measurements
from kit.studio import Truth, fire
from kit.studio.kiln import latent_truth
from kit.studio.photo_shoot import HALF_GONE, MM_PER_UNIT, SHARE_UNIT, pull_through_share, spread_mm

SIZES = (36, 72)
WORLDS = ("on a line", "off by patch", "flat near nothing")
GAINED = ("error of chances", "known", "right", "wrong of known")
FIRST_SEED = 100
MEASURED_SETTING = replace(SETTING, fine_edge_at_most=0, breaks_through_from=1)
"""The rule in millimetres as one of two steps: within the limit, or not."""


def photographed(series: Series, truth: Truth, seed: int, world: str) -> Series:
    """The series with measurements of every patch after each firing."""
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


def by_millimetres(truth: Truth, world: str) -> Truth:
    """The same truth with cuts where a perfect picture would measure the limits of the rule."""
    mm, share = SETTING.fine_edge_mm, SETTING.fine_edge_share
    spread = np.log(np.expm1(mm / MM_PER_UNIT)) if world == WORLDS[2] else (mm - 0.3) / 0.3
    pull_through = HALF_GONE + SHARE_UNIT * np.log(share / (1 - share))
    at = {"spread": float(spread), "pull_through": float(pull_through)}
    scales = {score: replace(own, cuts=(at[score],)) for score, own in truth.scales.items()}
    return replace(truth, scales=scales)


def measure_one(seed: int, world: str, patches: int) -> list[dict[str, object]]:
    """Hold what is said of one studio's pairs by each source against its truth."""
    truth = Population().draw(COLOURS, seed)
    series = photographed(
        fire(random_series(Kind(patches, 2), seed), truth, seed), truth, seed, world
    )
    rows = []
    for source in ("grades", "both", "photographs"):
        fits: dict[str, ScaleFit | MeasureFit]
        setting, asked = SETTING, truth
        if source == "photographs":
            setting, asked = MEASURED_SETTING, by_millimetres(truth, world)
            seen = join_measurements(series)
            fits = {score: fit_measurements(seen, m) for score, m in MEASURE_OF.items()}
            by_measure = {fit.measure: fit for fit in fits.values()}
            table = measured_pair_table(by_measure, COLOURS, SETTING, [1, 2, 3])
        else:
            beside = source == "both"
            fits = {score: fit_series(series, score, photographs=beside) for score in SCORES}
            table = pair_table(fits, COLOURS, SETTING, [1, 2, 3])
        recipe = recipes(every_pair(COLOURS), SETTING, [1, 2, 3], fits)
        shares = ending_shares(asked, recipe, setting.rule)
        undecided = (shares.max(axis=1) < SETTING.confidence).astype(float)
        right = table["verdict"].to_numpy() == verdicts(shares, undecided, SETTING.confidence)
        known = (table["verdict"] != NOT_KNOWN).to_numpy()
        chances = table[list(COLUMNS)].to_numpy()
        told = {
            "world": world,
            "patches": patches,
            "source": source,
            "seed": seed,
            "error of chances": float(np.sqrt(((chances - shares) ** 2).mean())),
            "known": known.mean(),
            "right": (right & known).mean(),
            "wrong of known": 1 - right[known].mean() if known.any() else 0.0,
        }
        for score, fit in fits.items():
            if source != "photographs":
                state = state_by_grades(fit, recipe, SETTING.rule)
                true = truth.latent(recipe, score)
                true = true - truth.scales[score].cuts[SETTING.fine_edge_at_most]
                off = true - state.mean[:, state.fine]
                inside = np.abs(off) < 1.645 * np.sqrt(state.variance[:, state.fine])
                told |= {f"{score} cover": inside.mean(), f"{score} off": (off**2).mean() ** 0.5}
        rows.append(told)
    return rows


def main(studios: int, first: int, path: str | None) -> None:
    rows: list[dict[str, object]] = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for seed in range(first, first + studios):
            for world, patches in itertools.product(WORLDS, SIZES):
                rows += measure_one(seed, world, patches)
            if path:
                pd.DataFrame(rows).to_csv(path, index=False)
    found = pd.DataFrame(rows)
    kinds = ["world", "patches", "source"]
    each = found.drop(columns="seed").groupby(kinds, sort=False)
    print(each.mean().round(3).to_string())
    print("Standard errors:")
    print(each.sem().round(3).to_string())
    told = found.pivot_table(index="seed", columns=kinds, values=list(GAINED))
    for world in found["world"].unique():
        for patches, by in itertools.product(SIZES, SIZES):
            gain = pd.DataFrame(
                {c: told[c, world, patches, "both"] - told[c, world, by, "grades"] for c in GAINED}
            )
            print(f"{world}: both of {patches} against the grades of {by}, studio by studio:")
            print(pd.DataFrame({"mean": gain.mean(), "se": gain.sem()}).round(4).to_string())


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 10,
        int(sys.argv[2]) if len(sys.argv) > 2 else FIRST_SEED,
        sys.argv[3] if len(sys.argv) > 3 else None,
    )
