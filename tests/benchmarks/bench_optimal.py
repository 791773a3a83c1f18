"""Time, memory and efficiency of optimal plans against their size.

Run with ``python tests/benchmarks/bench_optimal.py``. Memory is the peak that numpy and Python
allocate, measured in a run of its own because measuring slows it down.
"""

import time
import tracemalloc
from pathlib import Path

import pandas as pd

from kit.design import efficiency, optimal, relative_efficiency

REFERENCE = Path(__file__).parents[1] / "reference"
FAMILIES = ["leaded", "unleaded"]
REPEATS = 3


def pairs(factors: dict[str, list], extra: str = "") -> str:
    return f"({' + '.join(factors)})**2{extra}"


TWELVE = {
    "base_type": FAMILIES,
    "base_weight": [-1, 1],
    "overlay_type": FAMILIES,
    "mesh": [-1, 1],
    "weight": [-1, 1],
    "firings": [-1, 0, 1],
}
EIGHT = {name: TWELVE[name] for name in ("base_type", "overlay_type", "mesh", "weight")}
EIGHT["firings"] = [-1, 1]
COLOURS = {"base": list("abcdef"), "overlay": list("abcdef"), "mesh": [80, 100]}
THREES = {name: [-1, 0, 1] for name in "stuvw"}

PROBLEMS = {
    "8x3": (EIGHT, 8, 3, ["base_type"], pairs(EIGHT)),
    "12x4": (TWELVE, 12, 4, ["base_type", "base_weight"], pairs(TWELVE, " + I(firings**2)")),
    "colours 18x4": (COLOURS, 18, 4, ["base"], "base*overlay + mesh"),
    "three levels 12x4": (
        THREES,
        12,
        4,
        ["s"],
        pairs(THREES, "".join(f" + I({n}**2)" for n in THREES)),
    ),
    "12x4 model on 24x8": (TWELVE, 24, 8, ["base_type"], pairs(TWELVE, " + I(firings**2)")),
}


def seconds(problem: tuple) -> tuple[float, float]:
    """Least wall and processor time of a few runs."""
    wall, processor = [], []
    for seed in range(REPEATS):
        start, start_processor = time.perf_counter(), time.process_time()
        optimal(*problem, seed=seed)
        wall.append(time.perf_counter() - start)
        processor.append(time.process_time() - start_processor)
    return min(wall), min(processor)


def peak_megabytes(problem: tuple) -> float:
    tracemalloc.start()
    optimal(*problem, seed=0)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6


def main() -> None:
    rows = []
    for name, problem in PROBLEMS.items():
        factors, _, _, by_tile, terms = problem
        plan = optimal(*problem, seed=1)
        found = efficiency(plan, factors, terms, tile_factors=by_tile)
        wall, processor = seconds(problem)
        row = {
            "problem": name,
            "seconds": round(wall, 2),
            "processor seconds": round(processor, 2),
            "MB": round(peak_megabytes(problem), 1),
            "D against bound": round(found.d_against_bound, 4),
        }
        published = REFERENCE / f"split_plot_{name}_d.csv"
        if published.exists():
            versus = relative_efficiency(plan, pd.read_csv(published), factors, terms)
            row["D against reference"] = versus
        rows.append(row)
        print(row, flush=True)
    print(pd.DataFrame(rows).round(4).to_csv(index=False))


if __name__ == "__main__":
    main()
