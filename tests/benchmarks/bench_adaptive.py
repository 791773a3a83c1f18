"""How many patches does it take to judge pairs rightly: at random, in one survey, in rounds?

Invented studios of 12 colours, six of each family. Every plan puts four patches on a tile, fires
three times and has two graders. All are fitted by the kit's model and judged by its pair table.

    random   every tile gets a random base and four random overlays of other colours
    survey   `kit.design.survey`, all at once
    rounds   half the tiles by `survey`, then two rounds of a quarter each by `next_patches`

A verdict is right when it is the one that the truth's own chances give by the same rule (80 %);
pairs that even the truth leaves between verdicts are right as 'not known yet'. `placed` counts
only the pairs that the truth places, and of those the share that got the right verdict.

    OMP_NUM_THREADS=1 python tests/benchmarks/bench_adaptive.py [studios] [first studio] [file.csv]
"""

import sys
import time
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from joblib import Parallel, delayed

from kit.design import next_patches, survey
from kit.errors import StatisticalWarning
from kit.model import SUITED, PairSetting, fit_series, pair_table
from kit.model.verdicts import NOT_KNOWN, verdicts
from kit.series import Series, Settings, new_series, patch_name
from kit.studio import Truth, draw_truth, fire

PER_TILE = 4
STARTS = 2
BUDGETS = (36, 48, 60, 72)
SETTING = PairSetting()
SCORES = ("spread", "pull_through")
COLOURS = pd.DataFrame(
    {
        "colour": [f"{family} {n}" for family in ("leaded", "unleaded") for n in range(1, 7)],
        "family": ["leaded"] * 6 + ["unleaded"] * 6,
        "opacity": "",
        "grain": "",
        "notes": "",
    }
).astype("str")


def as_series(plan: pd.DataFrame, name: str) -> Series:
    """A series from a frame of tile, base and overlay."""
    position = plan.groupby("tile").cumcount() + 1
    by_tile = plan.drop_duplicates("tile")
    tiles = pd.DataFrame(
        {
            "tile": by_tile["tile"].to_numpy(),
            "base": by_tile["base"].to_numpy(),
            "coats": 2,
            "mesh": 80,
            "coat_weight": 60.0,
            "session": np.arange(len(by_tile)) // 8 + 1,
        }
    )
    names = [patch_name(t, p) for t, p in zip(plan["tile"], position, strict=True)]
    patches = pd.DataFrame(
        {
            "patch": names,
            "tile": plan["tile"].to_numpy(),
            "position": position.to_numpy(),
            "overlay": plan["overlay"].to_numpy(),
            "mesh": 100,
            "coat_weight": 40.0,
            "before_firing": 1,
            "accident": "",
        }
    ).astype({"patch": "str", "overlay": "str", "accident": "str"})
    settings = Settings("Bench", "Which pairs?", graders=("AB", "CD"))
    return replace(
        new_series(name, settings, COLOURS), tiles=tiles.astype({"base": "str"}), patches=patches
    )


def random_pairs(patches: int, seed: int) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = []
    for tile in range(1, patches // PER_TILE + 1):
        base = rng.integers(len(COLOURS))
        others = rng.permutation(np.delete(np.arange(len(COLOURS)), base))[:PER_TILE]
        rows += [(tile, COLOURS["colour"][base], COLOURS["colour"][o]) for o in others]
    return pd.DataFrame(rows, columns=["tile", "base", "overlay"])


def fired_in_rounds(truth: Truth, patches: int, seed: int) -> Series:
    """One series that grows: tiles are numbered on, and only the new ones are fired."""
    tiles = patches // PER_TILE
    first = -(-tiles // 2)
    second = (tiles - first) // 2
    plan = survey(COLOURS, first, PER_TILE, seed=seed, starts=STARTS)
    grown = fire(as_series(plan, "rounds"), truth, seed)
    for number, count in ((2, second), (3, tiles - first - second)):
        plan = next_patches(grown, count * PER_TILE, setting=SETTING, seed=seed, starts=STARTS)
        new = fire(as_series(plan, "rounds"), truth, seed + number * 10_000)
        later = int(grown.firings["session"].max())
        new = replace(
            new,
            tiles=new.tiles.assign(session=new.tiles["session"] + later),
            firings=new.firings.assign(session=new.firings["session"] + later),
        )
        frames = {
            table: pd.concat([getattr(grown, table), getattr(new, table)], ignore_index=True)
            for table in ("tiles", "patches", "firings", "grades")
        }
        grown = replace(grown, **frames)
    return grown


def true_verdicts(truth: Truth) -> np.ndarray:
    own = COLOURS[["colour", "family"]]
    pairs = own.set_axis(["base", "base_family"], axis=1).merge(
        own.set_axis(["overlay", "overlay_family"], axis=1), how="cross"
    )
    pairs = pairs.assign(mesh=100, coat_weight=40.0, firings=3)
    low = [truth.chances(pairs, s)[:, : SETTING.fine_edge_at_most + 1].sum(axis=1) for s in SCORES]
    return verdicts(low[0] * low[1], 1 - low[1], SETTING.confidence)


def judged(fired: Series, truth: Truth) -> dict[str, float]:
    fits = {score: fit_series(fired, score) for score in SCORES}
    table = pair_table(fits, COLOURS, SETTING)
    two = (table["base"] != table["overlay"]).to_numpy()
    given, true = table["verdict"].to_numpy()[two], true_verdicts(truth)[two]
    placed = true != NOT_KNOWN
    return {
        "right": 100 * float(np.mean(given == true)),
        "placed": 100 * float(np.mean((given == true)[placed])),
        "not known": 100 * float(np.mean(given == NOT_KNOWN)),
        "suited": float(np.sum(given == SUITED)),
        "wrong suited": float(np.sum((given == SUITED) & (true != SUITED))),
    }


def one_studio(seed: int) -> list[dict]:
    warnings.simplefilter("ignore", StatisticalWarning)
    truth = draw_truth(COLOURS, seed)
    rows = []
    for patches in BUDGETS:
        at_random = fire(as_series(random_pairs(patches, seed), "random"), truth, seed)
        at_once = survey(COLOURS, patches // PER_TILE, PER_TILE, seed=seed, starts=STARTS)
        surveyed = fire(as_series(at_once, "survey"), truth, seed)
        for arm, fired in (
            ("random", at_random),
            ("survey", surveyed),
            ("rounds", fired_in_rounds(truth, patches, seed)),
        ):
            rows.append({"studio": seed, "arm": arm, "patches": patches, **judged(fired, truth)})
    return rows


def main() -> None:
    studios = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    started = time.perf_counter()
    rows: list[dict] = []
    jobs = (delayed(one_studio)(seed) for seed in range(first, first + studios))
    for done, found in enumerate(Parallel(n_jobs=2, return_as="generator")(jobs), 1):
        rows += found
        if done % 10 == 0:
            print(f"{done} of {studios} studios, {time.perf_counter() - started:.0f} s", flush=True)
            report(pd.DataFrame(rows))
    pd.DataFrame(rows).to_csv(Path(sys.argv[3]) if len(sys.argv) > 3 else sys.stdout, index=False)


def report(rows: pd.DataFrame) -> None:
    measures = ["right", "placed", "not known", "suited", "wrong suited"]
    table = rows.groupby(["arm", "patches"])[measures].mean()
    by_plan = rows.set_index(["arm", "patches", "studio"]).sort_index()
    gaps = []
    for measure in ("right", "placed"):
        for patches in BUDGETS:
            gap = by_plan.loc[("rounds", patches), measure] - by_plan.loc[("random", 72), measure]
            error = gap.std() / np.sqrt(len(gap))
            gaps.append(f"{measure} {patches}: {gap.mean():+.1f} ± {error:.1f}")
    print(table.round(1).to_string())
    print("rounds less 72 random, with standard error:", "; ".join(gaps), flush=True)


if __name__ == "__main__":
    main()
