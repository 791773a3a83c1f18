"""What is thought of every pair before anything is fired, and what is known of it after."""

import contextlib
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from kit.design.surveys.pair_knowledge import (
    SCORES,
    Floats,
    Ints,
    PairKnowledge,
    ScoreKnowledge,
    fitted_scores,
    grade_information,
    known_from_grades,
)
from kit.errors import Misuse
from kit.mixed import Amount, Prior
from kit.model import SERIES_PRIOR, LearnedPrior, PairSetting, learned_prior, score_correlation
from kit.series import Series

SOURCES = ("base", "overlay", "pair", "tile", "stripe", "patch", "session")

PLANNED_WITH = replace(SERIES_PRIOR, effect_sd=2.2)
"""What is thought of a series that learns from none, before anything is fired: the prior of the
fits, but for how much families and firings do. The fits must not shrink that: with effects this
small they give fewer right verdicts. A plan must not count on it: with effects as large as the fits
allow, forecasts promise a good ten points more than studios of a wide population gave
(tests/benchmarks/RESULTS.md, bench_heat)."""

TERMS = {"pair": "base:overlay", "stripe": "stripe.small"}
"""What the models call a source, where it is another name."""

_STEPS_BELOW_AND_ABOVE = (1, 2)
"""Further cuts on either side of that of a fine edge, on the default scale of five steps."""


def known_of_series(
    series: Series, colours: pd.DataFrame, graded: Sequence[Series]
) -> PairKnowledge:
    """What is known of pairs of these colours, from what was graded or else beforehand.

    Parameters
    ----------
    series : Series
        Its settings say how pairs are judged, how often tiles are fired, who grades and which
        series it learns from.
    colours : DataFrame
        Columns colour and family.
    graded : sequence of Series
        Too few grades to fit count as none.
    """
    settings, colours = series.settings, colours.reset_index(drop=True)
    setting = PairSetting.of(settings.verdict)
    with contextlib.suppress(Misuse):
        if graded:
            fits = fitted_scores(graded)
            return known_from_grades(fits, colours, setting, score_correlation(*fits.values()))
    counts = range(1, settings.last_firing + 1)
    graders = max(1, len(settings.graders))
    learned = learned_scores([series])
    return known_beforehand(colours, setting, counts, len(counts) * graders, learned)


def known_beforehand(
    colours: pd.DataFrame,
    setting: PairSetting,
    counts: Sequence[int],
    grades_per_patch: float,
    learned: Mapping[str, LearnedPrior] | None = None,
) -> PairKnowledge:
    """What the prior of the models says of pairs before anything is fired.

    Parameters
    ----------
    colours : DataFrame
        Columns colour and family.
    setting : PairSetting
    counts : sequence of int
        Firing counts that pairs will be judged at.
    grades_per_patch : float
        How often each patch will be graded: firings times graders.
    learned : mapping of str to LearnedPrior, optional
        By score, what earlier series showed (`learned_scores`).
    """
    scores = []
    for name in SCORES:
        own = (learned or {}).get(name)
        variances = {source: b.mean_square for source, b in source_beliefs(own).items()}
        scores.append(score_of_rule(colours, setting, counts, grades_per_patch, variances, own))
    names = tuple(colours["colour"].astype("str"))
    return PairKnowledge(names, tuple(counts), (scores[0], scores[1]), setting.confidence)


def learned_scores(several: Sequence[Series]) -> dict[str, LearnedPrior]:
    """What the series that these learn from showed of both scores, as far as there is any."""
    found = {score: learned_prior(several, score)[0] for score in SCORES}
    return {score: learned for score, learned in found.items() if learned is not None}


def source_beliefs(learned: LearnedPrior | None) -> dict[str, Amount]:
    """What the prior of the models holds of each source's standard deviation."""
    prior = learned.amounts if learned else PLANNED_WITH
    return {name: prior.source(TERMS.get(name, name)) for name in SOURCES}


def step_width(prior: Prior) -> float:
    """Distance of neighbouring cuts that the prior expects."""
    if prior.steps:
        return float(np.mean([step.mean for step in prior.steps]))
    return prior.step_shape / prior.step_rate if prior.step_rate else 2.0


def score_of_rule(
    colours: pd.DataFrame,
    setting: PairSetting,
    counts: Sequence[int],
    grades_per_patch: float,
    variances: Mapping[str, float],
    learned: LearnedPrior | None = None,
) -> ScoreKnowledge:
    """One score beforehand, by the rule of a setting and with what was learned of families.

    Families are taken over where every pair of them, and every firing count, was fired before.
    """
    prior = learned.amounts if learned else PLANNED_WITH
    fine, apart = setting.fine_edge_at_most, setting.breaks_through_from - setting.fine_edge_at_most
    score = score_beforehand(colours, prior, variances, counts, grades_per_patch)
    score = replace(score, broken_above=(apart - 1) * step_width(prior))
    families = colours[["colour", "family"]]
    pairs = families.set_axis(["base", "base_family"], axis=1).merge(
        families.set_axis(["overlay", "overlay_family"], axis=1), how="cross"
    )
    if learned is None or not learned.covers(pairs, counts):
        return score
    names = ["base_family", "overlay_family"]
    named = pairs[names].drop_duplicates(ignore_index=True)
    of = pairs[names].merge(named.reset_index(), how="left")["index"].to_numpy()
    told = [learned.families_after(named.assign(firings=float(count))) for count in counts]
    middle = told[len(counts) // 2][1]
    again = np.array(counts, dtype=float) - 1
    refired = sum(prior.source(f"{role}.refirings").mean_square for role in ("base", "overlay"))
    own = variances["base"] + variances["overlay"] + variances["pair"]
    above = sum(step.mean for step in prior.steps[:fine])
    return replace(
        score,
        mean=np.column_stack([mean[of] for mean, _ in told]) - above,
        variance=np.column_stack([np.diag(cov)[of] for _, cov in told]) + own + refired * again**2,
        covariance=middle[np.ix_(of, of)] + _of_colours(len(colours), variances),
    )


def score_beforehand(
    colours: pd.DataFrame,
    prior: Prior,
    variances: Mapping[str, float],
    counts: Sequence[int],
    grades_per_patch: float,
) -> ScoreKnowledge:
    """One score of pairs whose sources of variation are taken to be known."""
    c = len(colours)
    base, overlay = np.divmod(np.arange(c * c), c)
    lead = np.where(colours["family"].to_numpy() == colours["family"].iloc[0], -0.5, 0.5)
    families = np.column_stack(
        [np.ones(c * c), lead[base], lead[overlay], 2 * lead[base] * lead[overlay]]
    )
    covariance = prior.effect_sd**2 * families @ families.T + _of_colours(c, variances)
    reach = max(len(counts) - 1, 1)
    away = (np.arange(len(counts)) - (len(counts) - 1) / 2) / reach
    slope = prior.effect_sd**2 * np.einsum("ij,ij->i", families, families)
    own = np.diag(covariance)
    below, above = _STEPS_BELOW_AND_ABOVE
    cuts = step_width(prior) * np.arange(-below, above + 1.0)
    information = grade_information(cuts, np.zeros(1), np.array([1.0]))[0]
    noise = variances["patch"] + 1 / (grades_per_patch * information)
    return ScoreKnowledge(
        mean=np.zeros((c * c, len(counts))),
        variance=own[:, None] + slope[:, None] * away**2,
        covariance=covariance,
        broken_above=0.0,
        tile_variance=variances["tile"],
        stripe_variance=variances["stripe"],
        patch_variance=variances["patch"],
        session_variance=variances["session"],
        noise_variance=np.full(c * c, noise),
    )


def _of_colours(c: int, variances: Mapping[str, float]) -> Floats:
    """Covariance of pairs by what their colours and they themselves do, (c², c²)."""
    base, overlay = np.divmod(np.arange(c * c), c)
    return (
        variances["base"] * _alike(base)
        + variances["overlay"] * _alike(overlay)
        + variances["pair"] * np.eye(c * c)
    )


def _alike(labels: Ints) -> Floats:
    alike: Floats = (labels[:, None] == labels[None, :]).astype(float)
    return alike
