"""What is known of every pair at every firing count: before anything is fired, or from grades."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.special import expit

from kit.design.surveys.pair_numbers import Floats, Ints, pair_numbers
from kit.errors import Misuse
from kit.mixed import Prior
from kit.model import PairSetting, ScaleFit, ScoreState, fit_series, state_by_grades
from kit.series import PULL_THROUGH, SPREAD, Series

SCORES = (SPREAD.name, PULL_THROUGH.name)

SOURCES = ("base", "overlay", "pair", "tile", "stripe", "patch", "session")

SMALL_SD_RATIO = 1.5
"""A small patch varies so much more than one of full size: common practice, no source."""

_NODES, _weights = np.polynomial.hermite_e.hermegauss(7)
_WEIGHTS = _weights / _weights.sum()
_STEPS_BELOW_AND_ABOVE = (1, 2)
"""Further cuts on either side of that of a fine edge, on the default scale of five steps."""


@dataclass(frozen=True, eq=False)
class ScoreKnowledge:
    """One score of all n = c² ordered pairs, in latent units above the cut of a fine edge.

    Parameters
    ----------
    mean, variance : (n, counts) arrays
        Of the pair's own value, at each firing count.
    covariance : (n, n) array
        Of the pairs' values at the middle count.
    broken_above : float
        How far the cut from which the base has broken through lies above that of a fine edge.
    tile_variance, stripe_variance, patch_variance, session_variance : float
    noise_variance : (n,) array
        Variance of what a full-size patch will show, given its pair and tile.
    """

    mean: Floats
    variance: Floats
    covariance: Floats
    broken_above: float
    tile_variance: float
    stripe_variance: float
    patch_variance: float
    session_variance: float
    noise_variance: Floats

    @property
    def small_variance(self) -> float:
        """What being small adds to a patch's own variance."""
        return (SMALL_SD_RATIO**2 - 1) * self.patch_variance

    def state(self, mean: Floats, variance: Floats) -> ScoreState:
        """What would be known of m pairs, in the form that the model judges by; (m,) arrays."""
        own = self.patch_variance + self.tile_variance + self.session_variance
        apart = self.broken_above > 0
        above = [0.0, self.broken_above] if apart else [0.0]
        return ScoreState(
            mean=mean[:, None] - np.array(above),
            variance=np.repeat(variance[:, None], len(above), axis=1),
            steps=np.arange(len(above) + 1.0),
            patch_variance=own,
            patch_variances=np.full(1, own),
            reading_variance=0.0,
            fine=0,
            broken=int(apart),
        )


@dataclass(frozen=True, eq=False)
class PairKnowledge:
    """Both scores of all ordered pairs of c colours.

    Parameters
    ----------
    colours : tuple of str
        The pair of base i and overlay j has number i * c + j.
    counts : tuple of int
        Firing counts that pairs are judged at.
    scores : tuple of ScoreKnowledge
        Spread and pull-through.
    confidence : float
    rho : float
        Correlation of a patch's two states, given its pair.
    """

    colours: tuple[str, ...]
    counts: tuple[int, ...]
    scores: tuple[ScoreKnowledge, ScoreKnowledge]
    confidence: float
    rho: float = 0.0

    @property
    def pairs(self) -> pd.DataFrame:
        """The base and overlay of each pair, in the order of the numbers."""
        c = len(self.colours)
        names = np.array(self.colours, dtype=object)
        frame = pd.DataFrame({"base": np.repeat(names, c), "overlay": np.tile(names, c)})
        return frame.astype("str")

    @cached_property
    def judged(self) -> Ints:
        """Numbers of the pairs of two different colours."""
        c = len(self.colours)
        return np.flatnonzero(~np.eye(c, dtype=bool).ravel())

    def numbers(self, pairs: pd.DataFrame) -> Ints:
        """Pair numbers of the rows of a frame with columns base and overlay."""
        return pair_numbers(self.colours, pairs)


def known_beforehand(
    colours: pd.DataFrame,
    setting: PairSetting,
    counts: Sequence[int],
    grades_per_patch: float,
    prior: Prior | None = None,
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
    prior : Prior, optional
        That of the models by default.
    """
    prior = prior or Prior()
    apart = setting.breaks_through_from - setting.fine_edge_at_most - 1
    score = score_beforehand(colours, prior, source_variances(prior), counts, grades_per_patch)
    score = replace(score, broken_above=apart * step_width(prior))
    names = tuple(colours["colour"].astype("str"))
    return PairKnowledge(names, tuple(counts), (score, score), setting.confidence)


def source_variances(prior: Prior) -> dict[str, float]:
    """Variance that the prior expects of each source."""
    shape = prior.spread_shape
    expected = shape * (shape + 1) / prior.spread_rate**2
    return dict.fromkeys(
        ("base", "overlay", "pair", "tile", "stripe", "patch", "session"), expected
    )


def step_width(prior: Prior) -> float:
    """Distance of neighbouring cuts that the prior expects."""
    return prior.step_shape / prior.step_rate if prior.step_rate else 2.0


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
    covariance = (
        prior.effect_sd**2 * families @ families.T
        + variances["base"] * _alike(base)
        + variances["overlay"] * _alike(overlay)
        + variances["pair"] * np.eye(c * c)
    )
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


def fitted_scores(series: Series | Iterable[Series]) -> dict[str, ScaleFit]:
    """Fit both scores of one series, or of several together."""
    each = [series] if isinstance(series, Series) else list(series)
    return {score: fit_series(each, score) for score in SCORES}


def known_from_grades(
    fits: Mapping[str, ScaleFit],
    colours: pd.DataFrame,
    setting: PairSetting,
    rho: float = 0.0,
) -> PairKnowledge:
    """What fits know of pairs.

    A future patch is taken to be graded as often as those of the fits were, and its grades to be as
    informative as at the setting itself.

    Parameters
    ----------
    fits : mapping of str to ScaleFit
    colours : DataFrame
        Columns colour and family.
    setting : PairSetting
    rho : float

    Raises
    ------
    Misuse
        When a score has no fit.
    """
    missing = [score for score in SCORES if score not in fits]
    if missing:
        raise Misuse(f"Pairs are judged by spread and pull-through; {missing[0]} has no fit.")
    frame = fits[SCORES[0]].frame
    counts = tuple(sorted(frame["firings"].astype(int).unique())) if "firings" in frame else (1,)
    spread, pull = (_fitted_score(fits[score], colours, setting, counts) for score in SCORES)
    names = tuple(colours["colour"].astype("str"))
    return PairKnowledge(names, counts, (spread, pull), setting.confidence, rho)


def _fitted_score(
    fit: ScaleFit, colours: pd.DataFrame, setting: PairSetting, counts: tuple[int, ...]
) -> ScoreKnowledge:
    results, n = fit.results, len(colours) ** 2
    mean, variance = np.empty((n, len(counts))), np.empty((n, len(counts)))
    broken_above = 0.0
    for i, count in enumerate(counts):
        state = state_by_grades(fit, _recipes(fit, colours, setting, count), setting.rule)
        mean[:, i], variance[:, i] = state.mean[:, state.fine], state.variance[:, state.fine]
        broken_above = float(state.mean[0, state.fine] - state.mean[0, state.broken])
    middle = _recipes(fit, colours, setting, counts[len(counts) // 2])
    _, covariance = results.latent(middle)
    cuts = (
        results.thresholds.to_numpy() - (results.latent(middle)[0] - mean[:, len(counts) // 2])[0]
    )
    graded = len(fit.frame) / fit.frame["patch"].nunique()
    spread = np.minimum(variance[:, len(counts) // 2], np.diag(covariance))
    information = grade_information(cuts, mean[:, len(counts) // 2], spread)
    sds = results.random_sd
    own = {name: float(sds.get(name, 0.0)) ** 2 for name in ("tile", "patch", "session")}
    return ScoreKnowledge(
        mean=mean,
        variance=variance,
        covariance=covariance,
        broken_above=max(broken_above, 0.0),
        tile_variance=own["tile"],
        stripe_variance=float(sds["stripe.small"]) ** 2 if "stripe.small" in sds else own["tile"],
        patch_variance=own["patch"],
        session_variance=max(0.0, state.patch_variance - own["tile"] - own["patch"]),
        noise_variance=own["patch"] + 1 / (graded * information),
    )


def _recipes(
    fit: ScaleFit, colours: pd.DataFrame, setting: PairSetting, count: int
) -> pd.DataFrame:
    """Every ordered pair at the setting, a colour over itself too, in the order of the numbers."""
    bases = colours[["colour", "family"]].set_axis(["base", "base_family"], axis=1)
    overlays = colours[["colour", "family"]].set_axis(["overlay", "overlay_family"], axis=1)
    pairs = bases.merge(overlays, how="cross").assign(firings=count, refirings=count - 1)
    for factor in fit.factors:
        if factor not in pairs:
            usual = fit.frame[factor].mode().iloc[0]
            pairs[factor] = getattr(setting, factor, usual)
    return pairs


def grade_information(cuts: Floats, m: Floats, v: Floats) -> Floats:
    """Expected Fisher information of one grade about eta ~ N(m, v) under a cumulative logit.

    For P(y <= k) = F_k = logistic(cut_k - eta) the information is the sum over grades of
    p_k (f_k + f_{k-1}), with f = F (1 - F) and p_k = F_k - F_{k-1}: McCullagh (1980), Regression
    models for ordinal data, JRSS B 42, 109-142. It is greatest, about 1/3, in the middle of the
    scale and falls to nothing where every grade would be the lowest or the highest.

    Parameters
    ----------
    cuts : (k,) array
    m, v : (n,) array

    Returns
    -------
    (n,) array
    """
    eta = m[:, None] + np.sqrt(v)[:, None] * _NODES
    F = expit(cuts - eta[..., None])
    F = np.concatenate([np.zeros((*eta.shape, 1)), F, np.ones((*eta.shape, 1))], axis=-1)
    f = F * (1 - F)
    information = np.sum(np.diff(F, axis=-1) * (f[..., 1:] + f[..., :-1]), axis=-1)
    return np.asarray(information @ _WEIGHTS)


def _alike(labels: Ints) -> Floats:
    alike: Floats = (labels[:, None] == labels[None, :]).astype(float)
    return alike
