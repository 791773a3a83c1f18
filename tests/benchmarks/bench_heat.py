"""Right verdicts against trips through the heat: random tiles, surveys, stripes, rounds.

Run with ``python tests/benchmarks/bench_heat.py [studios] [results.csv]``. Studios are drawn from a
wide population: every standard deviation, family effect and step width from the ranges below, and
in a third of the studios colours and pairs from Student's t with three degrees of freedom. The kit
knows none of this. Each arm plans, fires in the studio, fits both scores and judges all pairs of
twelve colours after one, two and three firings; the truth is judged by the same rule. Every tile
takes six trips through the heat: back, two base coats, three firings. Plans are made once and
reused. A line a studio and arm is written as it is done, so that a run may be stopped.

Right: the verdict is the true one, or the pair is left 'not known yet' where no ending's share
reaches the confidence. Strictly right: only as hit or miss there.
"""

import csv
import sys
import warnings
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.design import TileFormat, next_patches, survey
from kit.design.surveys.expected_verdicts import true_verdicts
from kit.errors import StatisticalWarning
from kit.model import HIT_OR_MISS, NOT_KNOWN, pairs
from kit.series import FAMILY_PAIRS, Series, Settings, new_series
from kit.studio import ScaleTruth, Truth, fire

COLOURS = pd.DataFrame(
    {"colour": [f"C{i:02d}" for i in range(12)], "family": ["leaded"] * 6 + ["unleaded"] * 6}
).assign(opacity="", grain="", notes="")
TRIPS = 6
RANDOM, SURVEY = (6, 9, 12, 18), (9, 12, 18)
STRIPES, ROUNDS, EARLIER = (6, 9, 12), (6, 9), (6,)
"""Tiles of each arm: the part of the grid that is run."""
COUNTS = (1, 2, 3)
FIRST_ROUND = 2 / 3
SETTINGS = Settings(title="Heat", question="?", graders=("A", "B"), tiles_per_session=9)


def studio(seed: int) -> Truth:
    """Draw a studio: what its colours do, and how much everything varies."""
    rng = np.random.default_rng(seed)
    heavy = seed % 3 == 0
    names = list(COLOURS["colour"])

    def deviations(keys: list, sd: float) -> dict:
        drawn = rng.standard_t(3, len(keys)) / np.sqrt(3) if heavy else rng.normal(size=len(keys))
        return dict(zip(keys, sd * drawn, strict=True))

    scales = {}
    for scale in ("spread", "pull_through"):
        own = rng.uniform(0.5, 3.0)
        scales[scale] = ScaleTruth(
            cuts=tuple(np.cumsum(np.r_[-rng.uniform(0.8, 2.5), rng.uniform(0.8, 3.0, 3)])),
            families={name: rng.normal(-1.0, own) for name in FAMILY_PAIRS},
            per_firing={name: rng.uniform(0.0, 1.2) for name in FAMILY_PAIRS},
            per_finer_mesh=0.0,
            per_10_mg=0.0,
            base=deviations(names, rng.uniform(0.2, 1.2)),
            overlay=deviations(names, rng.uniform(0.2, 1.2)),
            pair=deviations([(b, o) for b in names for o in names], rng.uniform(0.1, 1.0)),
            tile_sd=rng.uniform(0.1, 0.8),
            patch_sd=(patch := rng.uniform(0.1, 0.8)),
            grader_sd=rng.uniform(0.1, 0.8),
            session_sd=rng.uniform(0.0, 0.4),
            stripe_sd=rng.uniform(0.0, 0.5),
            small_patch_sd=patch * np.sqrt(1.5**2 - 1),
        )
    return Truth(scales, loss_rate=0.01)


def truth_of(truth: Truth, table: pd.DataFrame) -> np.ndarray:
    """The true verdict of each row of a pair table."""
    frame = table.assign(mesh=100, coat_weight=40.0)
    low = []
    for scale in ("spread", "pull_through"):
        own = truth.scales[scale]
        own_sd = np.sqrt(own.tile_sd**2 + own.patch_sd**2 + own.session_sd**2)
        low.append(norm.cdf((own.cuts[1] - truth.latent(frame, scale)) / own_sd))
    fine, broken = low[0] * low[1], 1 - low[1]
    return true_verdicts(np.column_stack([fine, 1 - fine - broken, broken]), 0.8)


def random_tiles(tiles: int, seed: int) -> pd.DataFrame:
    """Single bases with four overlays, all drawn at random."""
    rng = np.random.default_rng(seed)
    names = COLOURS["colour"].to_numpy()
    rows = []
    for tile in range(1, tiles + 1):
        base, *overlays = rng.permutation(names)[:5]
        rows += [(tile, 1, base, overlay) for overlay in overlays]
    return pd.DataFrame(rows, columns=["tile", "stripe", "base", "overlay"])


def series_of(patches: pd.DataFrame, name: str) -> Series:
    """A series that fires these patches at the usual recipe."""
    stripes = patches.groupby("tile")["stripe"].transform("max")
    line = patches.groupby(["tile", "stripe"]).cumcount()
    position = line * stripes + patches["stripe"]
    first = patches[patches["stripe"] == 1].drop_duplicates("tile")
    settings = replace(SETTINGS, stripes=int(stripes.max()))
    tiles = pd.DataFrame({"tile": first["tile"], "base": first["base"]}).assign(
        coats=2,
        mesh=80,
        coat_weight=60.0,
        session=lambda f: (f["tile"] - 1) // 9 + 1,
        firings=pd.NA,
    )
    laid = pd.DataFrame(
        {
            "patch": [f"T{t}-{p}" for t, p in zip(patches["tile"], position, strict=True)],
            "tile": patches["tile"],
            "position": position,
            "overlay": patches["overlay"],
        }
    ).assign(mesh=100, coat_weight=40.0, before_firing=1, accident="")
    striped = patches[stripes > 1].drop_duplicates(["tile", "stripe"])
    return replace(
        new_series(name, settings, COLOURS),
        tiles=tiles.astype({"firings": "Int64"}).reset_index(drop=True),
        patches=laid.reset_index(drop=True),
        stripes=striped[["tile", "stripe", "base"]].reset_index(drop=True),
    )


STRIPED = TileFormat(stripes=3)


def new_plan(tiles: int, tile_format: TileFormat) -> Series:
    return series_of(survey(COLOURS, tiles, tile_format, graders=2), "plan")


def rounds(tiles: int, tile_format: TileFormat) -> Callable[[Truth, int], list[Series]]:
    """Two thirds of the tiles at once, the rest where they do most."""
    begun = round(FIRST_ROUND * tiles)
    first = new_plan(begun, tile_format)
    rest = len(tile_format.places(tiles - begun).stripe)

    def fired(truth: Truth, seed: int) -> list[Series]:
        one = fire(first, truth, seed)
        more = next_patches(one, rest, tile_format=tile_format)
        return [one, fire(series_of(more, "second"), truth, seed + 1)]

    return fired


def at_once(planned: Series, earlier: Series | None = None) -> Callable[[Truth, int], list[Series]]:
    def fired(truth: Truth, seed: int) -> list[Series]:
        before = [fire(earlier, truth, seed + 7)] if earlier is not None else []
        return [*before, fire(planned, truth, seed)]

    return fired


def arms() -> dict[tuple[str, int], Callable[[Truth, int], list[Series]]]:
    """Every arm by name and number of tiles; random tiles differ from studio to studio."""
    found: dict[tuple[str, int], Callable[[Truth, int], list[Series]]] = {}
    before = replace(series_of(random_tiles(9, 99), "earlier"), name="earlier")
    for tiles in RANDOM:
        found["random, one base", tiles] = lambda truth, seed, tiles=tiles: [
            fire(series_of(random_tiles(tiles, seed), "plan"), truth, seed)
        ]
    for tiles in SURVEY:
        found["survey, one base", tiles] = at_once(new_plan(tiles, TileFormat()))
    for tiles in STRIPES:
        striped = new_plan(tiles, STRIPED)
        found["survey, stripes", tiles] = at_once(striped)
        if tiles in ROUNDS:
            found["rounds, stripes", tiles] = rounds(tiles, STRIPED)
        if tiles in EARLIER:
            found["stripes after an earlier series", tiles] = at_once(striped, before)
    return found


def judged(several: list[Series], truth: Truth) -> dict[str, float]:
    table = pairs(several)
    given, true = table["verdict"].to_numpy(), truth_of(truth, table)
    told = given != NOT_KNOWN
    strict = given == true
    return {
        "right": 100 * (strict | (~told & (true == HIT_OR_MISS))).mean(),
        "strictly right": 100 * strict.mean(),
        "given": 100 * told.mean(),
        "wrong among given": 100 * (told & ~strict).sum() / max(told.sum(), 1),
    }


def summary(results: pd.DataFrame) -> pd.DataFrame:
    """Means over studios with standard errors, by arm and trips."""
    measured = ["right", "strictly right", "given", "wrong among given"]
    by = results.groupby(["arm", "tiles"])[measured]
    return pd.concat(
        {"mean": by.mean(), "se": by.sem(), "studios": by.size().rename("studios")}, axis=1
    ).round(1)


def main() -> None:
    studios = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    path = Path(sys.argv[2]) if len(sys.argv) > 2 else Path("heat.csv")
    warnings.simplefilter("ignore", StatisticalWarning)
    columns = ["seed", "arm", "tiles", "trips", "right", "strictly right", "given"]
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, [*columns, "wrong among given"])
        writer.writeheader()
        every = arms()
        for seed in range(1, studios + 1):
            truth = studio(seed)
            for (arm, tiles), fired in every.items():
                found = judged(fired(truth, 100 * seed), truth)
                row = {"seed": seed, "arm": arm, "tiles": tiles, "trips": TRIPS * tiles, **found}
                writer.writerow(row)
            file.flush()
    print(summary(pd.read_csv(path)).to_string())


if __name__ == "__main__":
    main()
