"""Do the stated chances hold? Many invented studios of many kinds, from random plan to verdict.

Every studio is drawn from `studios.Population`, whose ranges are wide; fires 36, 48, 72 or 96
patches of random pairs, three times, and grades them by one or two graders. Both scores are fitted,
and all 132 pairs of twelve colours are judged after one, two and three firings. Then what is said
is held against the studio's truth:

- among pairs of stated chance p of an ending, a share p of patches should come to it;
- 90 % intervals of the latent pair values (from the cut of a fine edge) should cover the truth;
- among the verdicts given, few should be wrong. A true verdict is the one that perfect knowledge
  of the pair would give: an ending whose true share reaches the confidence, or hit or miss.
  Strictly, a pair is judged rightly when it has its true verdict; leniently, one that is hit or
  miss also when it is called not known yet.

    python tests/benchmarks/bench_honesty.py 60 FOLDER

Each kind of series is fired by the given number of studios, one after another in one process. What
each studio gave is kept in the given folder, so that a run that was stopped goes on. On a cluster,
wrap `measure` in joblib's dask backend: `with joblib.parallel_config("dask"): ...`.
"""

import sys
import time
import warnings
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import joblib
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
from studios import Population, ending_shares

from kit.mixed import Prior
from kit.model import (
    ENDINGS,
    HIT_OR_MISS,
    LOOKS,
    NOT_KNOWN,
    SERIES_PRIOR,
    PairSetting,
    ScaleFit,
    fit_series,
    pair_table,
    state_by_grades,
    verdicts,
)
from kit.model.pair_setting import every_pair, recipes
from kit.series import Series, Settings, new_series, patch_name
from kit.studio import Truth, fire

SCORES = ("spread", "pull_through")
COLUMNS = [ending.replace(" ", "_") for ending in ENDINGS]
SETTING = PairSetting()
Z90 = 1.6449
PER_TILE = 4
PICTURE = Path(__file__).with_name("reliability.svg")

COLOURS = pd.DataFrame(
    {
        "colour": [f"colour {k}" for k in range(12)],
        "family": ["leaded", "unleaded"] * 6,
        "opacity": "",
        "grain": "",
        "notes": "",
    }
).astype("str")


@dataclass(frozen=True)
class Kind:
    """A size of series."""

    patches: int
    graders: int

    @property
    def name(self) -> str:
        return f"{self.patches} patches, {self.graders} grader{'s' * (self.graders > 1)}"


KINDS = tuple(Kind(patches, graders) for patches in (36, 48, 72, 96) for graders in (1, 2))


def random_series(kind: Kind, seed: int, colours: pd.DataFrame = COLOURS) -> Series:
    """Tiles whose bases take turns, each with four other colours chosen at random."""
    random = np.random.default_rng(seed)
    names = colours["colour"].tolist()
    count = kind.patches // PER_TILE
    bases = [str(name) for k in range(0, count, 12) for name in random.permutation(names)][:count]
    overlays = [
        str(name)
        for base in bases
        for name in random.choice([n for n in names if n != base], PER_TILE, replace=False)
    ]
    settings = Settings(
        "Invented",
        "Which pairs work?",
        tiles=count,
        graders=tuple(f"grader {k}" for k in range(kind.graders)),
    )
    numbers = range(1, count + 1)
    tiles = pd.DataFrame(
        {
            "tile": numbers,
            "base": pd.Series(bases, dtype="str"),
            "coats": 2,
            "mesh": 80,
            "coat_weight": 60.0,
            "session": [1 + k // settings.tiles_per_session for k in range(count)],
        }
    )
    spots = [(tile, place) for tile in numbers for place in range(1, PER_TILE + 1)]
    patches = pd.DataFrame(
        {
            "patch": pd.Series([patch_name(*spot) for spot in spots], dtype="str"),
            "tile": [tile for tile, _ in spots],
            "position": [place for _, place in spots],
            "overlay": pd.Series(overlays, dtype="str"),
            "mesh": 100,
            "coat_weight": 40.0,
            "before_firing": 1,
            "accident": pd.Series([""] * len(spots), dtype="str"),
        }
    )
    return replace(new_series("invented", settings, colours), tiles=tiles, patches=patches)


PriorOf = Callable[[Truth, str], Prior]
"""What is assumed of a score; it may know the truth."""


def usual_prior(truth: Truth, score: str) -> Prior:
    """The kit's own prior, which knows nothing of the truth."""
    return SERIES_PRIOR


def measure_one(
    kind: Kind,
    seed: int,
    prior: PriorOf = usual_prior,
    population: Population | None = None,
) -> pd.DataFrame:
    """Hold everything that is said about one studio's pairs against its truth.

    Returns
    -------
    DataFrame
        The pair table, with the true share of each ending (true_fine_edge, ...), the true verdict,
        and for each score z: how many standard deviations the truth lies from what was expected.
    """
    truth = (population or Population()).draw(COLOURS, seed)
    series = fire(random_series(kind, seed), truth, seed)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fits = {score: fit_series(series, score, prior(truth, score)) for score in SCORES}
        table = pair_table(fits, COLOURS, SETTING, [1, 2, 3])
    return against_truth(table, fits, truth).assign(kind=kind.name, size=kind.patches, seed=seed)


def against_truth(table: pd.DataFrame, fits: Mapping[str, ScaleFit], truth: Truth) -> pd.DataFrame:
    """Set the truth beside a pair table of counts 1 to 3."""
    recipe = recipes(every_pair(COLOURS), SETTING, [1, 2, 3], fits)
    shares = ending_shares(truth, recipe, SETTING.rule)
    undecided = (shares.max(axis=1) < SETTING.confidence).astype(float)
    z = {}
    for score, fit in fits.items():
        known = state_by_grades(fit, recipe, SETTING.rule)
        true = truth.latent(recipe, score) - truth.scales[score].cuts[SETTING.fine_edge_at_most]
        off = true - known.mean[:, known.fine]
        z[f"{score}_z"] = off / np.sqrt(known.variance[:, known.fine])
    return table.assign(
        true_verdict=verdicts(shares, undecided, SETTING.confidence),
        converged=all(fit.results.converged for fit in fits.values()),
        **dict(zip([f"true_{column}" for column in COLUMNS], shares.T, strict=True)),
        **z,
    )


def measure(
    seeds: Iterable[int],
    kinds: Iterable[Kind] = KINDS,
    one: Callable[[Kind, int], pd.DataFrame] = measure_one,
    keep: Path | None = None,
    jobs: int = 1,
    progress: Callable[[str], None] | None = None,
) -> pd.DataFrame:
    """Measure many studios with every kind of series; every row is a pair after so many firings.

    Each studio is kept in a file of the folder `keep` as it comes, and read from there again.
    """
    kinds, parts = list(kinds), []
    for seed in seeds:
        parts += joblib.Parallel(n_jobs=jobs)(
            joblib.delayed(_kept)(one, kind, seed, keep) for kind in kinds
        )
        if progress is not None:
            progress(f"studio {seed}")
    return pd.concat(parts, ignore_index=True)


def _kept(
    one: Callable[[Kind, int], pd.DataFrame], kind: Kind, seed: int, keep: Path | None
) -> pd.DataFrame:
    if keep is None:
        return one(kind, seed)
    file = keep / f"{kind.name}, {seed}.pkl"
    if not file.exists():
        file.parent.mkdir(parents=True, exist_ok=True)
        one(kind, seed).to_pickle(file)
    return pd.read_pickle(file)


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


def log_score(pairs: pd.DataFrame) -> float:
    """Mean log chance that was given to what a new patch then comes to: higher is better."""
    stated = pairs[COLUMNS].clip(1e-6, 1).to_numpy()
    true = pairs[[f"true_{column}" for column in COLUMNS]].to_numpy()
    return float((true * np.log(stated)).sum(axis=1).mean())


def figures(pairs: pd.DataFrame) -> dict[str, float]:
    """The figures of one kind of series, in per cent but for calibration errors and the score."""
    given = pairs["verdict"] != NOT_KNOWN
    strict = pairs["verdict"] == pairs["true_verdict"]
    undecided = pairs["true_verdict"] == HIT_OR_MISS
    lenient = strict | (undecided & ~given)
    leaning = pairs["leans_to"].map(dict(zip(ENDINGS, range(3), strict=True))).to_numpy()
    true = pairs[[f"true_{column}" for column in COLUMNS]].to_numpy()
    share = np.take_along_axis(true, leaning[:, None], axis=1)[:, 0]
    inside = (pairs["share_low"] <= share + 1e-3) & (share - 1e-3 <= pairs["share_high"])
    errors = {
        f"error {ending}": calibration_error(calibration(pairs[c], pairs[f"true_{c}"]))
        for ending, c in zip(ENDINGS, COLUMNS, strict=True)
    }
    cover = (pairs[[f"{score}_z" for score in SCORES]].abs() < Z90).to_numpy().mean()
    return {
        **errors,
        "cover": 100 * float(cover),
        "share cover": 100 * float(inside.mean()),
        "given": 100 * float(given.mean()),
        "right": 100 * float(strict.mean()),
        "right or rightly open": 100 * float(lenient.mean()),
        "wrong of given": 100 * float((~strict)[given].mean()),
        "failing of endings": 100 * _failing(pairs),
        "log score": log_score(pairs),
    }


def _failing(pairs: pd.DataFrame) -> float:
    """Share of new patches, of pairs with an ending for a verdict, that do not come to it."""
    own = [
        1 - pairs.loc[pairs["verdict"] == ending, f"true_{column}"]
        for ending, column in zip(ENDINGS, COLUMNS, strict=True)
    ]
    return float(pd.concat(own).mean())


def by_kind(pairs: pd.DataFrame) -> pd.DataFrame:
    """The figures of every kind of series, one row each."""
    rows = {kind: figures(own) for kind, own in pairs.groupby("kind", sort=False)}
    return pd.DataFrame.from_dict(rows, orient="index")


def standard_errors(pairs: pd.DataFrame) -> pd.Series:
    """Standard error of each of `figures`, by leaving out one studio at a time (the jackknife)."""
    seeds = pairs["seed"].unique()
    each = pd.DataFrame([figures(pairs[pairs["seed"] != seed]) for seed in seeds])
    return np.sqrt(len(seeds) - 1) * each.std(ddof=0)


def surest(pairs: pd.DataFrame) -> pd.DataFrame:
    """Verdicts on endings by how sure they are: stated chance and true share."""
    own = pairs[pairs["verdict"].isin(ENDINGS)]
    place = own["verdict"].map(dict(zip(ENDINGS, range(3), strict=True))).to_numpy()[:, None]
    stated, true = (
        np.take_along_axis(own[names].to_numpy(), place, axis=1)[:, 0]
        for names in (COLUMNS, [f"true_{column}" for column in COLUMNS])
    )
    sure = pd.cut(stated, [0.8, 0.85, 0.9, 0.95, 0.99, 1.0], include_lowest=True)
    frame = pd.DataFrame({"verdict": own["verdict"], "sure": sure, "stated": stated, "true": true})
    return frame.groupby(["verdict", "sure"], observed=True).agg(
        pairs=("true", "size"), stated=("stated", "mean"), true=("true", "mean")
    )


def report(pairs: pd.DataFrame) -> str:
    """The measured figures as Markdown."""
    studios, per_kind = pairs["seed"].nunique(), by_kind(pairs)
    lines = [f"{studios} studios for each kind of series, {len(pairs)} judged pairs.", ""]
    head = ["series", *per_kind.columns]
    lines += ["| " + " | ".join(head) + " |", "| " + " | ".join("---" for _ in head) + " |"]
    for kind, row in per_kind.iterrows():
        error = standard_errors(pairs[pairs["kind"] == kind])
        digits = {n: 3 if "error" in n or "score" in n else 1 for n in row.index}
        told = [f"{v:.{digits[n]}f} ({error[n]:.{digits[n]}f})" for n, v in row.items()]
        lines.append(f"| {kind} | " + " | ".join(told) + " |")
    lines += [
        "",
        "| verdict | stated | true share of patches | pairs |",
        "| --- | --- | --- | --- |",
    ]
    lines += [
        f"| {verdict} | {row['stated']:.3f} | {row['true']:.3f} | {row['pairs']:.0f} |"
        for (verdict, _), row in surest(pairs).iterrows()
    ]
    own = pairs[pairs["verdict"] == HIT_OR_MISS]
    if len(own):
        truly = (own["true_verdict"] == HIT_OR_MISS).mean()
        said = own["hit_or_miss"].mean()
        lines.append(f"| {HIT_OR_MISS} | {said:.3f} | {truly:.3f} (truly so) | {len(own)} |")
    lines += ["", f"Fits that reached their optimum: {100 * pairs['converged'].mean():.1f} %."]
    return "\n".join(lines)


def draw_reliability(pairs: pd.DataFrame, path: Path = PICTURE) -> None:
    """Draw stated chances against true shares, a panel for each size of series."""
    sizes = sorted(pairs["size"].unique())
    figure, axes = plt.subplots(1, len(sizes), figsize=(2.6 * len(sizes), 2.9), sharey=True)
    for axis, size in zip(np.atleast_1d(axes), sizes, strict=True):
        own = pairs[pairs["size"] == size]
        axis.plot([0, 1], [0, 1], color="#999999", linewidth=0.8)
        for ending, column, mark in zip(ENDINGS, COLUMNS, "sDo", strict=True):
            table = calibration(own[column], own[f"true_{column}"])
            colour = LOOKS[ending].colour
            axis.plot(
                table["stated"], table["true"], mark, color=colour, markersize=4, label=ending
            )
        axis.set(title=f"{size} patches", xlabel="stated chance", aspect="equal")
    np.atleast_1d(axes)[0].set_ylabel("true share of patches")
    np.atleast_1d(axes)[0].legend(frameon=False, fontsize=7)
    figure.tight_layout()
    with plt.rc_context({"svg.hashsalt": "reliability"}):
        figure.savefig(path, metadata={"Date": None})
    plt.close(figure)


if __name__ == "__main__":
    start = time.perf_counter()
    measured = measure(range(int(sys.argv[1])), keep=Path(sys.argv[2]))
    print(report(measured))
    once = measured[(measured["firings"] == 1) & (measured["kind"] == Kind(72, 2).name)]
    print("After one firing, 72 patches, 2 graders:", figures(once))
    draw_reliability(measured)
    print(f"Took {time.perf_counter() - start:.0f} s in one process.")
