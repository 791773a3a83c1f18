"""What a fitted series knows of every pair, in the form that planning the next round needs."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.design.surveys.expected_verdicts import ScoreKnowledge, grade_information
from kit.design.surveys.pair_covariance import Floats, PairField
from kit.errors import Misuse
from kit.mixed import OrdinalResults
from kit.model import PairSetting, ScaleFit, fit_series
from kit.series import PULL_THROUGH, SPREAD, Series

SCORES = (SPREAD.name, PULL_THROUGH.name)

OUT_OF_REACH = 20.0
"""Logits: an edge this far up is never met."""


@dataclass(frozen=True, eq=False)
class PairScore:
    """One score of all ordered pairs.

    Parameters
    ----------
    field : PairField
        Covariance of the latent values above the threshold of a fine edge.
    knowledge : ScoreKnowledge
    tile_variance : float
    noise_variance : (c²,) array
        Variance of what a patch of each pair will show, given its pair and tile.
    """

    field: PairField
    knowledge: ScoreKnowledge
    tile_variance: float
    noise_variance: Floats


def fitted_scores(series: Series | Iterable[Series]) -> dict[str, ScaleFit]:
    """Fit both scores of one series, or of several together."""
    each = [series] if isinstance(series, Series) else list(series)
    return {score: fit_series(each, score) for score in SCORES}


def pair_score(fit: ScaleFit, colours: pd.DataFrame, setting: PairSetting) -> PairScore:
    """What a fit knows of one score of every pair.

    Parameters
    ----------
    fit : ScaleFit
    colours : DataFrame
        Columns colour and family.
    setting : PairSetting

    Notes
    -----
    A future patch is taken to be graded as often as those of the fit were, and its grades to be as
    informative as at the setting itself.
    """
    results = fit.results
    recipes = _recipes(fit, colours, setting)
    cut, beyond = _cut(results, setting.fine_edge_at_most)
    m, V = results.above(recipes, cut)
    tile = results.random_sd.get("tile", 0.0) ** 2
    patch = results.random_sd.get("patch", 0.0) ** 2
    thresholds = results.thresholds.to_numpy() - float(results.thresholds[cut])
    grades = len(fit.frame) / fit.frame["patch"].nunique()
    v = np.diag(V).copy()
    noise = patch + 1 / (grades * grade_information(thresholds, m, v))
    field = PairField(tuple(colours["colour"].astype("str")), V)
    wobble = _wobble(results, recipes.iloc[:1], cut)
    return PairScore(field, ScoreKnowledge(m - beyond, v, wobble), tile, noise)


def _wobble(results: OrdinalResults, recipe: pd.DataFrame, cut: str) -> float:
    """Variance that a new patch on a new tile adds, as the pair table counts it."""
    anew = [group for group in ("tile", "patch") if group in results.random_sd]
    _, with_it = results.above(recipe, cut, noise=anew)
    _, without = results.above(recipe, cut)
    return float(with_it[0, 0] - without[0, 0])


def _recipes(fit: ScaleFit, colours: pd.DataFrame, setting: PairSetting) -> pd.DataFrame:
    """Every ordered pair at the setting, in the order of a pair field."""
    bases = colours[["colour", "family"]].set_axis(["base", "base_family"], axis=1)
    overlays = colours[["colour", "family"]].set_axis(["overlay", "overlay_family"], axis=1)
    pairs = bases.merge(overlays, how="cross")
    for factor in fit.factors:
        if factor not in pairs:
            usual = fit.frame[factor].mode().iloc[0]
            pairs[factor] = getattr(setting, factor, usual)
    return pairs.assign(refirings=getattr(setting, "firings", 1) - 1)


def _cut(results: OrdinalResults, step: int) -> tuple[str, float]:
    """The threshold right above a step of the scale, and how far above it the step's edge lies.

    Where no grade above the step was ever given, the edge is taken to lie far above the last
    threshold, so that every pair counts as low, as it does in the pair table.
    """
    above = [i for i, label in enumerate(results.used_labels[1:]) if label > step]
    place = above[0] if above else -1
    return str(results.thresholds.index[place]), 0.0 if above else OUT_OF_REACH


def knowledge_of(
    fits: Mapping[str, ScaleFit], colours: pd.DataFrame, setting: PairSetting
) -> tuple[PairScore, PairScore]:
    """Spread and pull-through of every pair.

    Raises
    ------
    Misuse
        When a score has no fit.
    """
    missing = [score for score in SCORES if score not in fits]
    if missing:
        raise Misuse(f"Pairs are judged by spread and pull-through; {missing[0]} has no fit.")
    spread, pull = (pair_score(fits[score], colours, setting) for score in SCORES)
    return spread, pull
