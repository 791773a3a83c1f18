"""Speed and memory of the mixed models, and how they grow with the number of grades.

    python tests/benchmarks/bench_model_speed.py

Times are the best of several fits, formula and reading of the data included, in seconds of
processor time: fits keep to one thread, so that on a quiet machine this is the time that passes.
Memory is the peak of what Python and numpy allocate during one fit (tracemalloc).
"""

import time
import tracemalloc
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from kit.mixed import JointMixedModel, LinearMixedModel, OrdinalMixedModel, leave_out

REFERENCE = Path(__file__).parents[1] / "reference"
GROUPS = ["base", "overlay", "base:overlay", "tile", "patch", "grader"]
FIXED = "base_family * overlay_family + firings + mesh"


def invent(tiles: int, colours: int = 12, seed: int = 1) -> pd.DataFrame:
    """Grades of tiles x 4 patches x 3 firings x 3 graders, six crossed or nested terms."""
    random = np.random.default_rng(seed)
    overlays = np.concatenate([random.choice(colours, 4, replace=False) for _ in range(tiles)])
    patch = np.repeat(np.arange(4 * tiles), 9)
    data = pd.DataFrame(
        {
            "patch": patch,
            "tile": patch // 4,
            "base": (patch // 4) % colours,
            "overlay": overlays[patch],
            "firings": np.tile(np.repeat([1, 2, 3], 3), 4 * tiles),
            "grader": np.tile([1, 2, 3], 12 * tiles),
            "mesh": np.where(patch % 2, 80, 120),
        }
    )
    data["base_family"] = np.where(data["base"] % 2, "leaded", "unleaded")
    data["overlay_family"] = np.where(data["overlay"] % 2, "leaded", "unleaded")
    eta = 0.7 * data["firings"].to_numpy() + 1.5 * (data["overlay"] % 2).to_numpy()
    sds = {"base": 0.8, "overlay": 0.7, "pair": 0.6, "tile": 0.5, "patch": 0.5, "grader": 0.4}
    data["pair"] = data["base"] * colours + data["overlay"]
    for group, sd in sds.items():
        codes, levels = pd.factorize(data[group])
        eta = eta + random.normal(0, sd, len(levels))[codes]
    data["grade"] = np.searchsorted([0.5, 2.0, 3.5, 5.0], eta + random.logistic(size=len(eta)))
    data["spread_mm"] = 0.2 * eta + random.normal(0, 0.2, len(eta))
    return data


def best_of(work: Callable[[], object], times: int) -> float:
    """Processor seconds of the fastest of several runs."""
    best = np.inf
    for _ in range(times):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best


def peak_mb(work: Callable[[], object]) -> float:
    """Peak of allocated memory during one run, in megabytes."""
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6


def after_the_fit() -> None:
    """What can be asked of one small series, its bases and overlays with slopes by firing."""
    data = invent(16).query("grader < 3").assign(later=lambda d: d["firings"] - 1.0)
    measured = data.query("grader == 1").iloc[::2].drop(columns="grader")
    slopes = {"base": ["later"], "overlay": ["later"]}
    formula = f"grade ~ {FIXED}"
    pairs = data.drop(columns=["tile", "patch", "grader"]).drop_duplicates(["base", "overlay"])
    rows = pd.concat([pairs.assign(firings=f, later=f - 1.0) for f in (1, 2, 3)])
    noise = ("tile", "patch")
    fit = OrdinalMixedModel(formula, data, GROUPS, slopes).fit(prior="weak")
    work = {
        f"fit of {len(data)} grades": lambda: OrdinalMixedModel(formula, data, GROUPS, slopes).fit(
            prior="weak"
        ),
        f"the same beside {len(measured)} measurements": lambda: JointMixedModel(
            formula, data, measured, "spread_mm", GROUPS, slopes
        ).fit(prior="weak"),
        f"states of {len(rows)} rows": lambda: fit.state_at_most(rows, noise),
        "512 joint draws of them": lambda: fit.latent_draws(rows, noise),
        "each of 16 tiles left out": lambda: leave_out(fit, "tile"),
    }
    print("| 8 random terms | seconds |\n| --- | --- |")
    for name, each in work.items():
        print(f"| {name} | {best_of(each, 8):.4f} |", flush=True)
    print()


def main() -> None:
    wine = pd.read_csv(REFERENCE / "wine.csv")
    small = {
        "wine, 72 ratings, one term, Laplace": lambda: OrdinalMixedModel(
            "rating ~ temp + contact", wine, groups=["judge"]
        ).fit(),
        "wine, two terms": lambda: OrdinalMixedModel(
            "rating ~ temp + contact", wine, groups=["judge", "bottle"]
        ).fit(),
        "wine, 10-point quadrature": lambda: OrdinalMixedModel(
            "rating ~ temp + contact", wine, groups=["judge"]
        ).fit(quadrature=10),
    }
    print("| fit | seconds |\n| --- | --- |")
    for name, work in small.items():
        print(f"| {name} | {best_of(work, 40):.4f} |")
    print()
    after_the_fit()
    print("| grades | intercepts | ordinal s | ordinal MB | linear s | linear MB | predict s |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for tiles in (9, 36, 90, 270, 833):
        data = invent(tiles)
        ordinal = OrdinalMixedModel(f"grade ~ {FIXED}", data, groups=GROUPS)

        def fit_ordinal(data: pd.DataFrame = data) -> object:
            return OrdinalMixedModel(f"grade ~ {FIXED}", data, groups=GROUPS).fit(prior="weak")

        def fit_linear(data: pd.DataFrame = data) -> object:
            return LinearMixedModel(f"spread_mm ~ {FIXED}", data, groups=GROUPS).fit(prior="weak")

        times = 8 if tiles < 100 else 3
        fitted = ordinal.fit(prior="weak")
        row = [
            len(data),
            ordinal.pattern.q,
            f"{best_of(fit_ordinal, times):.3f}",
            f"{peak_mb(fit_ordinal):.1f}",
            f"{best_of(fit_linear, times):.3f}",
            f"{peak_mb(fit_linear):.1f}",
            f"{best_of(lambda fitted=fitted, data=data: fitted.predict(data), 1):.2f}",
        ]
        print("| " + " | ".join(map(str, row)) + " |", flush=True)


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    main()
