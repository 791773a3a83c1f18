"""Do the stated chances hold? Hundreds of invented series through plan, studio and fit.

Every series is planned by `kit.design`, fired and graded by `kit.studio` from a truth drawn for it
alone, and fitted by `kit.model`. Then what was foretold for every pair is held against the truth:

- 90 % intervals of the latent pair values (measured from the fine-edge threshold) should cover the
  truth 90 times in 100;
- among pairs of stated chance p, a share p of new patches should turn out so;
- of new patches on pairs called 'suited', no more should fail than the rule allows.

    python tests/benchmarks/bench_honesty.py 300

Runs in parallel through joblib. On a cluster, wrap the same call in joblib's dask backend:
`with joblib.parallel_config("dask"): measure(range(300))`.
"""

import sys
import time
import warnings
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import joblib
import numpy as np
import pandas as pd

from kit.design import plan
from kit.model import SUITED, VERDICTS, PairSetting, ScaleFit, fit_series, pair_table
from kit.series import Series, Settings, new_series
from kit.studio import Truth, draw_truth, fire

SCALES = ("spread", "pull_through")
SETTING = PairSetting(mesh=100, coat_weight=40.0, firings=3)
FINE_EDGE_CUT = "1|2"
Z90 = 1.6449

# Plans of each kind; every one is fired many times, each time from a new truth.
PLANS = 4

# Series between two words of progress.
BATCH = 20


@dataclass(frozen=True)
class Kind:
    """A size of series."""

    name: str
    colours: int
    tiles: int
    graders: int


KINDS = (
    Kind("8 colours, 24 tiles, 2 graders", 8, 24, 2),
    Kind("12 colours, 24 tiles, 2 graders", 12, 24, 2),
    Kind("12 colours, 36 tiles, 3 graders", 12, 36, 3),
)


def planned(kind: Kind, seed: int) -> Series:
    """A series of this kind with its tiles and patches planned."""
    colours = pd.DataFrame(
        {
            "colour": [f"colour {k}" for k in range(kind.colours)],
            "family": ["leaded", "unleaded"] * (kind.colours // 2),
            "opacity": "",
            "grain": "",
            "notes": "",
        }
    ).astype("str")
    graders = tuple(f"grader {k}" for k in range(kind.graders))
    settings = Settings(
        "Invented", "Which pairs work?", tiles=kind.tiles, graders=graders, seed=seed
    )
    return plan(new_series("invented", settings, colours)).series


def graded(series: Series, seed: int) -> tuple[Series, Truth]:
    """Fire and grade a planned series from a truth of its own."""
    random = np.random.default_rng(seed)
    base_sd, overlay_sd, pair_sd = random.uniform([0.4, 0.5, 0.3], [1.0, 1.2, 1.0])
    truth = draw_truth(
        series.colours, seed=seed + 10_000, base_sd=base_sd, overlay_sd=overlay_sd, pair_sd=pair_sd
    )
    return fire(series, truth, seed=seed + 20_000), truth


def measure_one(empty: Series, kind: str, seed: int) -> pd.DataFrame:
    """Hold everything that is foretold about one series' pairs against its truth."""
    series, truth = graded(empty, seed)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fits = {scale: fit_series(series, scale) for scale in SCALES}
        table = pair_table(fits, series.colours, SETTING)
    table = table.assign(
        seed=seed,
        kind=kind,
        mesh=SETTING.mesh,
        coat_weight=SETTING.coat_weight,
        base_mesh=SETTING.base_mesh,
        base_coat_weight=SETTING.base_coat_weight,
        firings=SETTING.firings,
    )
    for scale in SCALES:
        table = table.join(_against_truth(fits[scale], truth, table, scale))
    fine = [_at_most(truth, table, scale, SETTING.fine_edge_at_most) for scale in SCALES]
    table["true_fine_edge"] = fine[0] * fine[1]
    table["true_breaks_through"] = 1 - _at_most(
        truth, table, "pull_through", SETTING.breaks_from - 1
    )
    return table


def _against_truth(fit: ScaleFit, truth: Truth, table: pd.DataFrame, scale: str) -> pd.DataFrame:
    mean, cov = fit.results.above(table, FINE_EDGE_CUT)
    cut = truth.scales[scale].cuts[1]
    off = truth.latent(table, scale) - cut - mean
    grade = truth.chances(table, scale) @ np.arange(5)
    return pd.DataFrame(
        {
            f"{scale}_z": off / np.sqrt(np.diag(cov)),
            f"{scale}_grade_in": table[f"{scale}_low"].le(grade) & table[f"{scale}_high"].ge(grade),
            f"{scale}_converged": fit.results.converged,
        },
        index=table.index,
    )


def _at_most(truth: Truth, table: pd.DataFrame, scale: str, step: int) -> np.ndarray:
    return truth.chances(table, scale)[:, : step + 1].sum(axis=1)


def measure(
    seeds: Iterable[int], jobs: int = 2, progress: Callable[[str], None] | None = None
) -> pd.DataFrame:
    """Measure many series in parallel; every row is a pair of one of them."""
    seeds = list(seeds)
    wanted = {(KINDS[seed % len(KINDS)], seed // len(KINDS) % PLANS): None for seed in seeds}
    each = joblib.Parallel(n_jobs=jobs)(
        joblib.delayed(planned)(kind, number + 1) for kind, number in wanted
    )
    plans = dict(zip(wanted, each, strict=True))
    if progress is not None:
        progress(f"{len(plans)} plans made")
    tasks = []
    for seed in seeds:
        kind, number = KINDS[seed % len(KINDS)], seed // len(KINDS) % PLANS
        tasks.append(joblib.delayed(measure_one)(plans[kind, number], kind.name, seed))
    parts = []
    for start in range(0, len(tasks), BATCH):
        parts += joblib.Parallel(n_jobs=jobs)(tasks[start : start + BATCH])
        if progress is not None:
            progress(f"{len(parts)} of {len(seeds)} series")
    return pd.concat(parts, ignore_index=True)


def calibration(stated: pd.Series, true: pd.Series, bins: int = 10) -> pd.DataFrame:
    """Mean stated and true chance of pairs, binned by stated chance."""
    which = np.minimum((stated * bins).astype(int), bins - 1)
    frame = pd.DataFrame({"bin": which, "stated": stated, "true": true})
    table = frame.groupby("bin").agg(
        stated=("stated", "mean"), true=("true", "mean"), pairs=("true", "size")
    )
    return table.reset_index(drop=True)


def calibration_error(table: pd.DataFrame) -> float:
    """Expected calibration error: mean distance of stated from true, weighted by pairs."""
    return float(np.average((table["stated"] - table["true"]).abs(), weights=table["pairs"]))


def report(pairs: pd.DataFrame) -> str:
    """The measured figures as Markdown."""
    lines = [f"{pairs['seed'].nunique()} invented series, {len(pairs)} pairs.", ""]
    z = pairs[[f"{scale}_z" for scale in SCALES]].abs() < Z90
    by_series = z.groupby(pairs["seed"]).mean().mean(axis=1)
    lines.append(
        f"- 90 % intervals of latent pair values cover {100 * z.to_numpy().mean():.1f} % "
        f"(± {100 * by_series.std() / np.sqrt(len(by_series)):.1f} standard error); fired pairs "
        f"{100 * z[pairs['patches'] > 0].to_numpy().mean():.1f} %, pairs never fired "
        f"{100 * z[pairs['patches'] == 0].to_numpy().mean():.1f} %."
    )
    for kind, own in z.groupby(pairs["kind"]):
        lines.append(f"  - {kind}: {100 * own.to_numpy().mean():.1f} %")
    inside = pairs[[f"{scale}_grade_in" for scale in SCALES]].to_numpy().mean()
    lines.append(f"- 80 % intervals of average grades cover {100 * inside:.1f} %.")
    for event in ("fine_edge", "breaks_through"):
        table = calibration(pairs[f"p_{event}"], pairs[f"true_{event}"])
        lines.append(f"- Chance '{event}': calibration error {calibration_error(table):.4f}")
        lines += [
            f"  - stated {r.stated:.3f}, true {r.true:.3f}, {r.pairs} pairs"
            for r in table.itertuples()
        ]
    suited = pairs[pairs["verdict"] == SUITED]
    lines.append(
        f"- '{SUITED}': {len(suited)} pairs; new patches fail on "
        f"{100 * (1 - suited['true_fine_edge']).mean():.1f} % of them (the rule allows "
        f"{100 * (1 - SETTING.confidence):.0f} %); "
        f"{100 * (suited['true_fine_edge'] < SETTING.confidence).mean():.1f} % of the pairs have a "
        f"true chance below {SETTING.confidence}."
    )
    shares = pairs["verdict"].value_counts(normalize=True)
    lines.append(
        "- Verdicts: " + ", ".join(f"{v} {100 * shares.get(v, 0):.0f} %" for v in VERDICTS)
    )
    converged = pairs[[f"{scale}_converged" for scale in SCALES]].to_numpy().mean()
    lines.append(f"- Fits that reached their optimum: {100 * converged:.1f} %.")
    return "\n".join(lines)


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    start = time.perf_counter()
    measured = measure(range(count), progress=lambda text: print(text, file=sys.stderr))
    print(report(measured))
    print(f"- Took {time.perf_counter() - start:.0f} s on two processes.")
