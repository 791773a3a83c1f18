"""Time, memory and worth of pair surveys against their size.

`less than at random` is how much smaller the mean prediction variance of all pairs is than the mean
over 20 random plans of the same size (random bases, random different overlays). `E` compares the
overlays' intrablock efficiency with that of the balanced incomplete block design of the same size
(Cochran and Cox 1957, Experimental Designs, 2nd ed., chapter 11) when only overlays and tiles vary.

    OMP_NUM_THREADS=1 python tests/benchmarks/bench_survey.py
"""

import time
import tracemalloc

import numpy as np
import pandas as pd

from kit.design import StandardDeviations, survey
from kit.design.surveys.pair_numbers import fired_field, unfired_field

SIZES = ((12, 12, 4), (20, 36, 4), (30, 60, 4), (40, 100, 4))
BLOCKS = (
    (7, 7, 3, 1),
    (9, 12, 3, 1),
    (6, 10, 3, 2),
    (13, 13, 4, 1),
    (16, 20, 4, 1),
    (21, 21, 5, 1),
)


def stock(colours: int, leaded: float = 0.5) -> pd.DataFrame:
    family = np.where(np.arange(colours) < leaded * colours, "leaded", "unleaded")
    return pd.DataFrame({"colour": [f"colour {n}" for n in range(colours)], "family": family})


def mean_variance(plan: pd.DataFrame, colours: pd.DataFrame) -> float:
    field = fired_field(unfired_field(colours, StandardDeviations()), plan, StandardDeviations())
    two = (field.pairs["base"] != field.pairs["overlay"]).to_numpy()
    return float(np.diag(field.covariance)[two].mean())


def at_random(colours: pd.DataFrame, tiles: int, per_tile: int, seed: int) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = []
    for tile in range(tiles):
        base, *over = rng.choice(colours["colour"].to_numpy(), per_tile + 1, replace=False)
        rows += [(tile, base, overlay) for overlay in over]
    return pd.DataFrame(rows, columns=["tile", "base", "overlay"])


def size_row(colours: int, tiles: int, per_tile: int, criterion: str) -> dict[str, object]:
    stocked = stock(colours)
    cpu, wall = time.process_time(), time.perf_counter()
    plan = survey(stocked, tiles, per_tile, criterion=criterion)
    cpu, wall = time.process_time() - cpu, time.perf_counter() - wall
    tracemalloc.start()
    survey(stocked, tiles, per_tile, criterion=criterion, starts=1)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    chance = np.mean(
        [mean_variance(at_random(stocked, tiles, per_tile, s), stocked) for s in range(20)]
    )
    return {
        "colours": colours,
        "patches": tiles * per_tile,
        "criterion": criterion,
        "CPU s": round(cpu, 2),
        "wall s": round(wall, 2),
        "peak MB": round(peak / 1e6),
        "mean variance": round(mean_variance(plan, stocked), 4),
        "less than at random": f"{100 * (1 - mean_variance(plan, stocked) / chance):.1f} %",
    }


def block_row(v: int, b: int, k: int, together: int) -> dict[str, object]:
    only_overlays = StandardDeviations(
        base=0, overlay=2, pair=0, tile=20, patch=0, grading=1, family=0
    )
    plan = survey(stock(v, leaded=1.0), b, k, sds=only_overlays, grades_per_patch=1, seed=3)
    n = pd.crosstab(plan["overlay"], plan["tile"]).to_numpy()
    r = b * k / v
    factors = np.sort(np.linalg.eigvalsh(np.diag(n.sum(axis=1)) - n @ n.T / k))[1:] / r
    best = together * v / (k * r)
    efficiency = len(factors) / np.sum(1 / factors)
    return {
        "v": v,
        "b": b,
        "k": k,
        "E of the design": round(best, 4),
        "reached": f"{100 * efficiency / best:.2f} %",
    }


def main() -> None:
    blocks = pd.DataFrame([block_row(*size) for size in BLOCKS])
    print(blocks.to_string(index=False), flush=True)
    sizes = [size_row(*size, "average") for size in SIZES] + [
        size_row(12, 12, 4, "worst"),
        size_row(20, 36, 4, "worst"),
    ]
    print(pd.DataFrame(sizes).to_string(index=False))


if __name__ == "__main__":
    main()
