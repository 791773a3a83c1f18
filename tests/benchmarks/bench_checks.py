"""Which check names which wrong world, and how often does a right world raise a false alarm?

Invented studios of `studios.Population` fire 96 patches of random pairs, graded by two; then the
world is made wrong in one way that the model does not know of, or not made wrong at all:

- cuts: the upper steps of pull-through come 2 to 5 logits later for unleaded over leaded;
- losses: the worse half of the patches with one family on the other is lost;
- slipped: one grader enters each tile's grades one row down;
- swapped: one grader enters spread for pull-through and the other way round;
- drift: grades rise by one, the more often the later the tile is in its session (up to 0.8);
- odd tile: the grades of one tile are turned over, as if its patches were mixed up;
- pairs: pairs differ with a standard deviation of 2 to 3 logits, colours by 0.2.

For each world the share of series in which a check speaks up, how far the stated chances are off
(calibration error of a fine edge), and how well one Newton step stands in for true refits.

    python tests/benchmarks/bench_checks.py 10
"""

import sys
import time
import warnings
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
import pandas as pd
from bench_honesty import (
    COLOURS,
    COLUMNS,
    SCORES,
    SETTING,
    Kind,
    calibration,
    calibration_error,
    random_series,
)
from studios import Population, ending_shares

from kit.design import order_of_work
from kit.model import (
    ScaleFit,
    cuts_differ,
    drift_in_session,
    every_pair,
    fit_observations,
    grader_slips,
    left_out,
    loss_bias,
    pair_table,
    recipes,
    tile_influence,
)
from kit.model.cross_validation import COME_TRUE, TOO_FEW, expected_without
from kit.model.drift import turn_in_session
from kit.series import Series, observations, patches_in_full
from kit.studio import Truth, fire

KIND = Kind(96, 2)
CUTS_LEVEL = 0.02
"""Chance of a false alarm of the cuts on either scale."""

POPULATION = Population()


def right(truth: Truth, seed: int) -> tuple[Truth, Series]:
    return truth, fire(random_series(KIND, seed), truth, seed)


def late_cuts(truth: Truth, seed: int) -> tuple[Truth, Series]:
    by = np.random.default_rng(seed).uniform(2, 5)
    scale = truth.scales["pull_through"]
    late = replace(scale, cuts=(*scale.cuts[:2], scale.cuts[2] + by, scale.cuts[3] + by))
    moved = replace(truth, scales={**truth.scales, "pull_through": late})
    (_, usual), (_, other) = right(truth, seed), right(moved, seed)
    rows = usual.grades.merge(patches_in_full(usual), on="patch", how="left")
    there = ((rows["base_family"] == "leaded") & (rows["overlay_family"] == "unleaded")).to_numpy()
    grades = usual.grades.assign(
        pull_through=usual.grades["pull_through"].mask(there, other.grades["pull_through"])
    )
    return truth, replace(usual, grades=grades)


def lost_patches(truth: Truth, seed: int) -> tuple[Truth, Series]:
    _, series = right(truth, seed)
    full = patches_in_full(series).set_index("patch")
    cross = full.index[full["base_family"] != full["overlay_family"]]
    worst = series.grades.groupby("patch")[list(SCORES)].mean().max(axis=1)
    gone = worst.reindex(cross).sort_values(ascending=False).index[: len(cross) // 2]
    lost = series.patches["patch"].isin(gone)
    accident = np.where(lost, "lost", series.patches["accident"])
    return truth, replace(series, patches=series.patches.assign(accident=accident))


def slipped(truth: Truth, seed: int) -> tuple[Truth, Series]:
    _, series = right(truth, seed)
    grades = series.grades.merge(series.patches[["patch", "tile"]], on="patch", how="left")
    own = (grades["grader"] == "grader 1").to_numpy()
    sheet = grades[own].groupby(["tile", "firing"])
    moved = series.grades.copy()
    for score in SCORES:
        down = sheet[score].transform(lambda column: np.roll(column.to_numpy(), 1))
        moved.loc[own, score] = down.astype("Int64")
    return truth, replace(series, grades=moved)


def swapped(truth: Truth, seed: int) -> tuple[Truth, Series]:
    _, series = right(truth, seed)
    own = series.grades["grader"] == "grader 1"
    moved = series.grades.copy()
    for score, other in (SCORES, SCORES[::-1]):
        moved.loc[own, score] = series.grades.loc[own, other]
    return truth, replace(series, grades=moved)


def turns(series: Series) -> pd.DataFrame:
    work = order_of_work(series)
    return work.loc[work["action"] == "fire", ["tile", "firing", "step"]]


def drifting(truth: Truth, seed: int) -> tuple[Truth, Series]:
    _, series = right(truth, seed)
    rows = observations(series)
    late = turn_in_session(rows, turns(series)) + 0.5
    up = np.random.default_rng(seed).random(len(rows)) < 0.8 * late
    raised = rows.assign(**{s: (rows[s] + up).clip(upper=4).astype("Int64") for s in SCORES})
    return truth, replace(series, grades=raised[list(series.grades.columns)])


def odd_tile(truth: Truth, seed: int) -> tuple[Truth, Series]:
    _, series = right(truth, seed)
    tile = np.random.default_rng(seed).choice(series.tiles["tile"])
    own = series.patches.loc[series.patches["tile"] == tile, "patch"]
    turned = series.grades.copy()
    there = turned["patch"].isin(own)
    for score in SCORES:
        turned.loc[there, score] = 4 - turned.loc[there, score]
    return truth, replace(series, grades=turned)


def unlike_pairs(_: Truth, seed: int) -> tuple[Truth, Series]:
    odd = replace(POPULATION, base_sd=(0.2, 0.2), overlay_sd=(0.2, 0.2), pair_sd=(2.0, 3.0))
    return right(odd.draw(COLOURS, seed), seed)


WORLDS: Mapping[str, Callable[[Truth, int], tuple[Truth, Series]]] = {
    "right": right,
    "cuts": late_cuts,
    "losses": lost_patches,
    "slipped": slipped,
    "swapped": swapped,
    "drift": drifting,
    "odd tile": odd_tile,
    "pairs": unlike_pairs,
}


def measure_one(world: str, seed: int) -> dict[str, float]:
    """What each check says of one series of a world, and how far its chances are off."""
    truth, series = WORLDS[world](POPULATION.draw(COLOURS, seed), seed)
    frame = observations(series)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fits = {score: fit_observations(frame, score) for score in SCORES}
        table = pair_table(fits, COLOURS, SETTING, [1, 2, 3])
        calm = {COME_TRUE, TOO_FEW}
        said = {
            "cuts": min(cuts_differ(fit) for fit in fits.values()) < CUTS_LEVEL / 2,
            "losses": loss_bias(series).uneven,
            "graders": bool(grader_slips(fits)["stands_out"].any()),
            "drift": any(drift_in_session(fit, turns(series)).stands_out for fit in fits.values()),
            "one tile": any(tile_influence(fit)["stands_out"].any() for fit in fits.values()),
            "tiles left out": left_out(fits, SETTING.rule, "tile").finding not in calm,
            "pairs left out": left_out(fits, SETTING.rule, "pair").finding not in calm,
        }
        recipe = recipes(every_pair(COLOURS), SETTING, [1, 2, 3], fits)
    true = pd.Series(ending_shares(truth, recipe, SETTING.rule)[:, 0])
    error = calibration_error(calibration(table[COLUMNS[0]], true))
    return {**said, "any": any(said.values()), "error": error}


def newton_against_refits(seed: int, tiles: int = 6) -> float:
    """Mean distance of chances without a tile by one Newton step from those of a true refit."""
    _, series = right(POPULATION.draw(COLOURS, seed), seed)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit: ScaleFit = fit_observations(observations(series), "spread")
        step = SETTING.fine_edge_at_most
        quick = expected_without(fit, step, "tile")
        off = []
        for tile in quick["group"].unique()[:tiles]:
            rows = (quick["group"] == tile).to_numpy()
            without = fit_observations(fit.frame[~rows], "spread").results
            told = without.at_most(fit.frame[rows])[step].to_numpy()
            off.append(float(np.abs(quick.loc[rows, "expected"] - told).mean()))
    return float(np.mean(off))


def report(found: Mapping[str, pd.DataFrame]) -> str:
    """The measured shares as Markdown, in per cent of series."""
    columns = [column for column in next(iter(found.values())).columns if column != "error"]
    lines = ["| world | " + " | ".join(columns) + " | calibration error |"]
    lines.append("| --- |" + " --- |" * (len(columns) + 1))
    for world, own in found.items():
        shares = " | ".join(f"{100 * own[column].mean():.0f}" for column in columns)
        lines.append(f"| {world} | {shares} | {own['error'].mean():.3f} |")
    return "\n".join(lines)


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    start = time.perf_counter()
    worlds = {}
    for name in WORLDS:
        worlds[name] = pd.DataFrame([measure_one(name, seed) for seed in range(count)])
        print(f"{name}: {count} series", file=sys.stderr)
    print(f"{count} studios for each world.\n")
    print(report(worlds))
    steps = [newton_against_refits(seed) for seed in range(3)]
    print(f"\nOne Newton step from true refits: {np.mean(steps):.3f} of a chance on average.")
    print(f"Took {time.perf_counter() - start:.0f} s in one process.")
