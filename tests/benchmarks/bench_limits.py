"""What keeps verdicts from being given: the prior, the fit, the plan, or the studios' nature?

The same studios fire the same random patches (`bench_honesty.py`), and are judged with more and
more known beforehand:

- as the kit does;
- with the prior of the population that the studios are drawn from;
- with the true standard deviation of every source;
- with the true cuts, family effects and firing effects too;
- with the true value of every pair that was fired, and all that is known of the rest by it.

What is still open then is what the plan never fired; of all pairs known there would be none open.

    python tests/benchmarks/bench_limits.py 60 FOLDER
"""

import sys
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
from bench_honesty import (
    COLOURS,
    COLUMNS,
    SCORES,
    SETTING,
    Kind,
    by_kind,
    measure,
    measure_one,
    random_series,
)
from studios import Population, ending_shares

from kit.mixed import Amount, Array, Prior, RowBelief
from kit.model import NOT_KNOWN, ScoreState, outlook, verdicts
from kit.model.pair_setting import every_pair, recipes
from kit.series import FAMILIES
from kit.studio import ScaleTruth, Truth

KINDS = (Kind(36, 2), Kind(72, 2), Kind(96, 2))
SURE = 0.02
"""Share of a standard deviation or step that it is off by where it counts as known."""

SHOWN = ["error fine edge", "cover", "given", "right", "right or rightly open", "wrong of given"]
_ROWS = pd.DataFrame(
    [(b, o, f) for b in FAMILIES for o in FAMILIES for f in (1, 3)],
    columns=["base_family", "overlay_family", "firings"],
).assign(mesh=100, coat_weight=40.0)


def family_values(truth: ScaleTruth) -> Array:
    """What family pairs come to after one and three firings, above the first cut."""
    value = [
        truth.families[f"{o} over {b}"] + (f - 1) * truth.per_firing[f"{o} over {b}"]
        for b, o, f in _ROWS[["base_family", "overlay_family", "firings"]].to_numpy()
    ]
    return np.array(value) - truth.cuts[0]


def true_sds(truth: ScaleTruth) -> dict[str, float]:
    """Standard deviation of each source: of colours and pairs, of those that there are."""
    drawn = {
        "base": truth.base,
        "overlay": truth.overlay,
        "base:overlay": truth.pair,
        "base.refirings": truth.base_refirings,
        "overlay.refirings": truth.overlay_refirings,
    }
    of_colours = {k: float(np.sqrt(np.mean(np.square(list(v.values()))))) for k, v in drawn.items()}
    of_patches = {k: getattr(truth, f"{k}_sd") for k in ("tile", "patch", "grader", "session")}
    return {name: max(sd, 0.01) for name, sd in (of_colours | of_patches).items()}


@cache
def of_population() -> dict[str, Prior]:
    """The population's own prior: amounts by their mean and variance, effects as normal."""
    drawn = [Population().draw(COLOURS, 10_000 + k) for k in range(400)]
    priors = {}
    for score in SCORES:
        own = [truth.scales[score] for truth in drawn]
        sds = pd.DataFrame([true_sds(one) for one in own])
        sources = {n: Amount(*_gamma(sds[n].mean(), sds[n].var())) for n in sds}
        gaps = np.concatenate([np.diff(one.cuts) for one in own])
        step = Amount(*_gamma(gaps.mean(), gaps.var()))
        values = np.array([family_values(one) for one in own])
        covariance = np.cov(values.T) + 1e-4 * np.eye(len(_ROWS))
        rows = RowBelief(_ROWS, values.mean(axis=0), covariance)
        priors[score] = Prior(20.0, sources=sources, steps=(step,) * 3, rows=rows)
    return priors


def _gamma(mean: float, variance: float) -> tuple[float, float]:
    return mean**2 / variance, mean / variance


def population_prior(truth: Truth, score: str) -> Prior:
    return of_population()[score]


def components_known(truth: Truth, score: str) -> Prior:
    """The population's prior with the true standard deviations."""
    known = {n: Amount.of_sd(sd, SURE) for n, sd in true_sds(truth.scales[score]).items()}
    rest = of_population()[score]
    return Prior(20.0, sources=known, steps=rest.steps, rows=rest.rows)


def effects_known(truth: Truth, score: str) -> Prior:
    """Standard deviations, cuts, and what families and firings do."""
    own = truth.scales[score]
    steps = tuple(Amount.of_step(gap, SURE * gap) for gap in np.diff(own.cuts))
    rows = RowBelief(_ROWS, family_values(own), SURE**2 * np.eye(len(_ROWS)))
    return Prior(20.0, sources=components_known(truth, score).sources, steps=steps, rows=rows)


def fired_pairs_known(kind: Kind, seed: int) -> pd.DataFrame:
    """Judge every pair where the value of each fired one is known, and all sources are."""
    truth = Population().draw(COLOURS, seed)
    series = random_series(kind, seed)
    placed = series.patches.merge(series.tiles[["tile", "base"]], on="tile")
    fired = set(zip(placed["base"], placed["overlay"], strict=True))
    recipe = recipes(every_pair(COLOURS), SETTING, [1, 2, 3], {})
    known = np.array([p in fired for p in zip(recipe["base"], recipe["overlay"], strict=True)])
    spread, pull = (_state(truth.scales[s], truth.latent(recipe, s), recipe, known) for s in SCORES)
    seen = outlook(spread, pull, truth.state_correlation, SETTING.confidence)
    shares = ending_shares(truth, recipe, SETTING.rule)
    undecided = (shares.max(axis=1) < SETTING.confidence).astype(float)
    return recipe[["base", "overlay", "firings"]].assign(
        patches=known.astype(int),
        **dict(zip(COLUMNS, seen.chances.T, strict=True)),
        verdict=verdicts(seen.chances, seen.hit_or_miss, SETTING.confidence),
        leans_to=np.array(["fine edge", "soft edge", "broken through"], object)[seen.leans_to],
        share_low=seen.share_low,
        share_high=seen.share_high,
        hit_or_miss=seen.hit_or_miss,
        **dict(zip([f"true_{c}" for c in COLUMNS], shares.T, strict=True)),
        true_verdict=verdicts(shares, undecided, SETTING.confidence),
        spread_z=np.nan,
        pull_through_z=np.nan,
        kind=kind.name,
        size=kind.patches,
        seed=seed,
    )


def _state(truth: ScaleTruth, value: Array, recipe: pd.DataFrame, known: Array) -> ScoreState:
    """What the known rows tell of the rest, by the normal model."""
    sd = true_sds(truth)
    family = [f"{o} over {b}" for b, o in recipe[["base_family", "overlay_family"]].to_numpy()]
    again = recipe["firings"].to_numpy() - 1.0
    mean = np.array(
        [truth.families[f] + truth.per_firing[f] * a for f, a in zip(family, again, strict=True)]
    )
    same = {c: recipe[c].to_numpy()[:, None] == recipe[c].to_numpy() for c in ("base", "overlay")}
    covariance = sd["base:overlay"] ** 2 * (same["base"] & same["overlay"])
    for role, alike in same.items():
        covariance = covariance + sd[role] ** 2 * alike
        covariance += sd[f"{role}.refirings"] ** 2 * alike * np.outer(again, again)
    of_known = covariance[np.ix_(known, known)] + 1e-6 * np.eye(int(known.sum()))
    weights = np.linalg.solve(of_known, covariance[known]).T
    mean = mean + weights @ (value - mean)[known]
    left = np.diag(covariance) - np.einsum("ij,ji->i", weights, covariance[known])
    left, mean = np.where(known, 0.0, left), np.where(known, value, mean)
    varies = truth.tile_sd**2 + truth.patch_sd**2 + truth.session_sd**2
    return ScoreState(
        mean[:, None] - np.array(truth.cuts),
        np.repeat(np.maximum(left, 0.0)[:, None], len(truth.cuts), axis=1),
        np.arange(len(truth.cuts) + 1.0),
        varies,
        np.full(256, varies),
        truth.grader_sd**2,
        fine=SETTING.fine_edge_at_most,
        broken=SETTING.breaks_through_from - 1,
    )


ARMS = {
    "as the kit does": measure_one,
    "the population's prior": lambda kind, seed: measure_one(kind, seed, population_prior),
    "sources known": lambda kind, seed: measure_one(kind, seed, components_known),
    "sources, cuts, families known": lambda kind, seed: measure_one(kind, seed, effects_known),
    "fired pairs known": fired_pairs_known,
}


def by_firing(pairs: pd.DataFrame) -> pd.DataFrame:
    """Cover, and shares given and wrong, of fired and other pairs by family pair."""
    inside = (pairs[[f"{s}_z" for s in SCORES]].abs() < 1.6449).to_numpy()
    frame = pairs.assign(
        fired=pairs["patches"] > 0,
        families=pairs["overlay_family"] + " over " + pairs["base_family"],
        spread=100.0 * inside[:, 0],
        pull_through=100.0 * inside[:, 1],
        given=100.0 * (pairs["verdict"] != NOT_KNOWN),
    )
    return frame.groupby(["kind", "families", "fired"])[["spread", "pull_through", "given"]].mean()


if __name__ == "__main__":
    studios, folder = int(sys.argv[1]), Path(sys.argv[2])
    for name in sys.argv[3:] or list(ARMS):
        told = measure(range(studios), KINDS, ARMS[name], folder / name)
        print(f"{name}\n{by_kind(told)[SHOWN].round(3).to_string()}", flush=True)
        if "overlay_family" in told:
            print(by_firing(told).round(1).to_string(), flush=True)
