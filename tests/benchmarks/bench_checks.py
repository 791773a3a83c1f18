"""Which check names which wrong world, and how often does a right world raise a false alarm?

Invented studios of `studios.Population` fire 96 patches of random pairs, graded by two; then the
world is made wrong in one way that the model does not know of, or not made wrong at all:

- late cuts: the steps of pull-through from 'broken through' on come 2 to 5 logits later for
  unleaded over leaded;
- late top: so do only the steps above it, which part no endings;
- losses: the worse half of the patches with one family on the other is lost;
- slipped: one grader enters each tile's grades one row down;
- swapped: one grader enters spread for pull-through and the other way round;
- drift: grades rise by one, the more often the later the tile is in its session (up to 0.8);
- odd tile: the grades of one tile are turned over, as if its patches were mixed up;
- pairs: pairs differ with a standard deviation of 2 to 3 logits, colours by 0.2;
- firing: each colour takes each further firing with a standard deviation of 0.8 logits of its own;
- jars: two series are pooled whose jars of one name differ by 0.8 logits; judged with new jars.

For each world the share of series in which a check speaks up (in the right world all of them, in
the others the one that is meant to), how often 90 % intervals of what the
pairs are cover the truth, how far the stated chances are off (calibration error of a fine edge),
and how well one Newton step stands in for true refits.

    python tests/benchmarks/bench_checks.py [series of each] [first seed] [results.csv] [worlds...]
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
    Z90,
    Kind,
    calibration,
    calibration_error,
    random_series,
)
from studios import Population, ending_shares

from kit.design import order_of_work
from kit.model import (
    FALSE_ALARM,
    ScaleFit,
    cuts_differ,
    drift_in_session,
    every_pair,
    fit_observations,
    fit_series,
    grader_slips,
    left_out,
    pair_table,
    recipes,
    state_by_grades,
    tile_influence,
)
from kit.model.drift import turn_in_session
from kit.model.goodness_of_fit import COME_TRUE, TOO_FEW, expected_without
from kit.model.informative_losses import losses_by_family
from kit.series import Series, observations, patches_in_full
from kit.studio import Truth, fire

KIND = Kind(96, 2)
POPULATION = Population()


def right(truth: Truth, seed: int) -> tuple[Truth, Series]:
    return truth, fire(random_series(KIND, seed), truth, seed)


def late_cuts(truth: Truth, seed: int, first: int = 1) -> tuple[Truth, Series]:
    by = np.random.default_rng(seed).uniform(2, 5)
    scale = truth.scales["pull_through"]
    late = replace(scale, cuts=(*scale.cuts[:first], *(cut + by for cut in scale.cuts[first:])))
    moved = replace(truth, scales={**truth.scales, "pull_through": late})
    (_, usual), (_, other) = right(truth, seed), right(moved, seed)
    rows = usual.grades.merge(patches_in_full(usual), on="patch", how="left")
    there = ((rows["base_family"] == "leaded") & (rows["overlay_family"] == "unleaded")).to_numpy()
    grades = usual.grades.assign(
        pull_through=usual.grades["pull_through"].mask(there, other.grades["pull_through"])
    )
    return truth, replace(usual, grades=grades)


def late_top(truth: Truth, seed: int) -> tuple[Truth, Series]:
    return late_cuts(truth, seed, first=2)


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


def own_ways(_: Truth, seed: int) -> tuple[Truth, Series]:
    return right(replace(POPULATION, refirings_sd=(0.8, 0.8)).draw(COLOURS, seed), seed)


def other_jars(truth: Truth, seed: int) -> Truth:
    """The same studio with another jar of every colour."""
    random = np.random.default_rng([seed, 7])

    def moved(by_colour: Mapping[str, float]) -> dict[str, float]:
        return {name: value + random.normal(0, 0.8) for name, value in by_colour.items()}

    scales = {
        name: replace(own, base=moved(own.base), overlay=moved(own.overlay))
        for name, own in truth.scales.items()
    }
    return replace(truth, scales=scales)


def _left_out(series: Series, fits: Mapping[str, ScaleFit]) -> bool:
    found = {left_out(fits, SETTING.rule, by).finding for by in ("tile", "pair")}
    return bool(found - {COME_TRUE, TOO_FEW})


CHECKS: Mapping[str, Callable[[Series, Mapping[str, ScaleFit]], bool]] = {
    "cuts": lambda _, fits: (
        min(cuts_differ(fit) for fit in fits.values()) < FALSE_ALARM["cuts"] / 2
    ),
    "losses": lambda series, _: losses_by_family(series)[1] < FALSE_ALARM["losses"],
    "graders": lambda _, fits: bool(grader_slips(fits)["stands_out"].any()),
    "drift": lambda series, fits: any(
        drift_in_session(fit, turns(series)).stands_out for fit in fits.values()
    ),
    "one tile": lambda _, fits: bool(tile_influence(fits)["stands_out"].any()),
    "tiles or pairs left out": _left_out,
}
"""What the report looks at, by name."""

WORLDS: Mapping[str, tuple[Callable[[Truth, int], tuple[Truth, Series]], tuple[str, ...]]] = {
    "right": (right, tuple(CHECKS)),
    "late cuts": (late_cuts, ("cuts",)),
    "late top": (late_top, ("cuts",)),
    "losses": (lost_patches, ("losses",)),
    "slipped": (slipped, ("graders",)),
    "swapped": (swapped, ("graders",)),
    "drift": (drifting, ("drift",)),
    "odd tile": (odd_tile, ("one tile",)),
    "pairs": (unlike_pairs, ("tiles or pairs left out",)),
    "firing": (own_ways, ("tiles or pairs left out",)),
    "jars": (right, ()),
}
"""How each world is made, and the checks that are asked there: all where it is right."""


def measure_one(world: str, seed: int) -> dict[str, object]:
    """What each check says of one series of a world, and how far its chances are off."""
    truth = POPULATION.draw(COLOURS, seed)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        if world == "jars":
            own = [right(other_jars(truth, k), seed + k)[1] for k in (seed, 1000 + seed)]
            each = [replace(one, name=f"series {k}") for k, one in enumerate(own)]
            fits = {score: fit_series(each, score) for score in SCORES}
            said: dict[str, bool] = {}
            truth = other_jars(truth, 2000 + seed)
        else:
            make, checks = WORLDS[world]
            truth, series = make(truth, seed)
            fits = {score: fit_series(series, score) for score in SCORES}
            said = {name: CHECKS[name](series, fits) for name in checks}
        table = pair_table(fits, COLOURS, SETTING, [1, 2, 3], jars="new")
        recipe = recipes(every_pair(COLOURS), SETTING, [1, 2, 3], fits)
        inside = []
        for score, fit in fits.items():
            state = state_by_grades(fit, recipe, SETTING.rule)
            off = truth.latent(recipe, score) - state.mean[:, state.fine]
            off = off - truth.scales[score].cuts[SETTING.fine_edge_at_most]
            inside.append(np.abs(off) < Z90 * np.sqrt(state.variance[:, state.fine]))
    true = pd.Series(ending_shares(truth, recipe, SETTING.rule)[:, 0])
    error = calibration_error(calibration(table[COLUMNS[0]], true))
    return {
        **{"world": world, "seed": seed, **said, "any": any(said.values())},
        "cover": float(np.mean(inside)),
        "error": error,
    }


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


def report(found: pd.DataFrame) -> str:
    """The measured shares as Markdown, in per cent of series."""
    columns = [*CHECKS, "any"]
    lines = ["| world | series | " + " | ".join(columns) + " | cover | calibration error |"]
    lines.append("| --- |" + " --- |" * (len(columns) + 3))
    for world, own in found.groupby("world", sort=False):
        shares = [own.get(column, pd.Series()).dropna().astype(float) for column in columns]
        told = " | ".join(f"{100 * one.mean():.0f}" if len(one) else "" for one in shares)
        end = f"{100 * own['cover'].mean():.1f} | {own['error'].mean():.3f} |"
        lines.append(f"| {world} | {len(own)} | {told} | {end}")
    return "\n".join(lines)


def main(count: int, first: int, path: str | None, worlds: list[str]) -> None:
    start = time.perf_counter()
    rows = []
    for world in worlds or WORLDS:
        for seed in range(first, first + count):
            rows.append(measure_one(world, seed))
            if path:
                pd.DataFrame(rows).to_csv(path, index=False)
    print(report(pd.DataFrame(rows)))
    if not worlds:
        steps = [newton_against_refits(seed) for seed in range(3)]
        print(f"\nOne Newton step from true refits: {np.mean(steps):.3f} of a chance on average.")
    print(f"Took {time.perf_counter() - start:.0f} s in one process.")


if __name__ == "__main__":
    given = sys.argv[1:]
    main(
        int(given[0]) if given else 20,
        int(given[1]) if len(given) > 1 else 0,
        given[2] if len(given) > 2 else None,
        given[3:],
    )
