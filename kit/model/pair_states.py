"""What the patches of a pair are, as the average grader sees them, and what is known of it.

On each score a patch of a pair has a state: its latent value z, against the cuts of the scale.

    z = eta + u_tile + u_patch + u_session,    P(z < cut) = Phi((cut - eta) / w)

eta is the pair's own, known with some variance; w² is how much its patches differ, on new tiles
and in new sessions. A single reading's wavering is no part of the state. Both uncertainties are
kept apart: firing more samples shrinks what is not known of eta, and does nothing to w.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit, ndtr
from scipy.stats import gamma, norm, qmc

from kit.mixed import Array, LinearResults, OrdinalResults, Prior
from kit.model.bivariate_normal import both_below
from kit.model.measured import MeasureFit
from kit.model.series_fit import JARS, NOISE, ScaleFit
from kit.model.verdicts import VerdictRule

DRAWS = 256
"""Equally likely states of knowledge that shares are worked out over; a power of two."""

LOGISTIC_VARIANCE = np.pi**2 / 3
"""Variance of the standard logistic distribution: what one reading wavers by."""

TINY = 1e-12

OUT_OF_REACH = 20.0
"""Latent units: an edge this far up is never met."""

_NODES, _weights = np.polynomial.hermite_e.hermegauss(15)
_WEIGHTS = _weights / _weights.sum()


def logistic_normal(mean: Array, variance: Array) -> Array:
    """Logistic function averaged over normal values, by Gauss-Hermite quadrature."""
    spread = np.sqrt(variance)
    average = np.zeros_like(mean)
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        average += weight * expit(mean + spread * node)
    return average


@dataclass(frozen=True, eq=False)
class ScoreState:
    """What is known of one score of n pairs.

    Parameters
    ----------
    mean, variance : (n, k) arrays
        Of eta minus each cut, given the data.
    steps : (k + 1,) array
        What a patch below the first cut, between the first two, and so on counts as.
    patch_variance : float
        w², expected: of tile, patch and session together.
    patch_variances : (DRAWS,) array
        Equally likely values of w².
    reading_variance : float
        Of single readings about the state, besides their wavering: of graders about the average
        one, or what a picture is off by.
    wavers : bool
        Whether a reading is a grade, which wavers as a standard logistic value does.
    fine, broken : int
        Places of the cuts above which an edge is no longer fine, and the base has broken through.
    """

    mean: Array
    variance: Array
    steps: Array
    patch_variance: float
    patch_variances: Array
    reading_variance: float
    wavers: bool = True
    fine: int = 0
    broken: int = 0

    def below(self, cut: int) -> Array:
        """Standard normal bound under which a new patch of each pair lies below a cut."""
        bound: Array = -self.mean[:, cut] / np.sqrt(self.variance[:, cut] + self.patch_variance)
        return bound

    def reading_below(self, cut: int) -> tuple[Array, Array]:
        """The same for a single reading, and the variance of such readings."""
        spread = self.variance[:, cut] + self.patch_variance + self.reading_variance
        if not self.wavers:
            return -self.mean[:, cut] / np.sqrt(spread), spread
        chance = logistic_normal(-self.mean[:, cut], spread)
        return norm.ppf(chance), spread + LOGISTIC_VARIANCE

    def average_step(self, normal: float) -> Array:
        """Average step of each pair's patches where its eta lies at a standard normal value."""
        eta = self.mean + normal * np.sqrt(self.variance)
        above = ndtr(eta / np.sqrt(self.patch_variance + TINY))
        average: Array = self.steps[0] + above @ np.diff(self.steps)
        return average


def state_by_grades(fit: ScaleFit, recipe: pd.DataFrame, rule: VerdictRule) -> ScoreState:
    """What a fit of grades knows of pairs on its score, for a new patch in a new session.

    Variation that these grades cannot show keeps what the prior expects of it: that of sessions
    after a single one, of graders after a single one, of patches that were each read once. A single
    session or grader lies anywhere about the average one, which is not known either.

    Parameters
    ----------
    fit : ScaleFit
    recipe : DataFrame, n rows
        Base, overlay and the factors of the fit; no tile, patch, session or grader. With a series
        the pairs are judged with the jars that it used, without one with new jars.
    rule : VerdictRule
    """
    results = fit.results
    mean, variance = results.above_cuts(recipe)
    steps = np.asarray([float(label) for label in results.used_labels])
    fine, broken = (
        int(np.searchsorted(steps[1:], step, side="left"))
        for step in (rule.fine_edge_at_most + 1, rule.breaks_through_from)
    )
    if max(fine, broken) == results.cuts:
        mean = np.column_stack([mean, mean[:, -1] - OUT_OF_REACH])
        variance = np.column_stack([variance, variance[:, -1]])
        steps = np.append(steps, steps[-1])
    expected, draws = _anew(results, NOISE)
    unseen = prior_variance(results.prior)
    sessions = 0.0 if "session" in results.random_sd else unseen
    graders = 0.0 if "grader" in results.random_sd else unseen
    jars = 0.0 if "series" in recipe else _new_jars(results)
    return ScoreState(
        mean,
        variance + sessions + graders + jars,
        steps,
        expected,
        draws,
        _anew(results, ["grader"])[0],
        fine=fine,
        broken=broken,
    )


def state_by_measurements(fit: MeasureFit, recipe: pd.DataFrame, limit: float) -> ScoreState:
    """What a fit of measurements knows of pairs on its score, against a limit.

    Where no patch was measured twice, what pictures are off by cannot be told from how patches
    differ, and counts as the patches' own.
    """
    results = fit.results
    unit = float(np.std(fit.to_scale(fit.frame[fit.measure])))
    mean, variance = results.latent_marginal(recipe)
    seen = [name for name in NOISE if name in results.random_sd or name != "patch"]
    expected, draws = _anew(results, seen, unit)
    error = results.residual_sd**2
    own = 0.0 if "patch" in results.random_sd else error
    sessions = 0.0 if "session" in results.random_sd else prior_variance(results.prior, unit)
    jars = 0.0 if "series" in recipe else _new_jars(results)
    distance = mean - float(fit.to_scale(limit))
    return ScoreState(
        distance[:, None],
        (variance + sessions + jars)[:, None],
        np.array([0.0, 1.0]),
        expected + own,
        draws + own,
        error - own,
        wavers=False,
    )


def _new_jars(results: OrdinalResults | LinearResults) -> float:
    """Variance that new jars of both colours add to a pair."""
    return _anew(results, [name for name in JARS if name in results.random_sd])[0]


def _anew(
    results: OrdinalResults | LinearResults, groups: Sequence[str], unit: float = 1.0
) -> tuple[float, Array]:
    """Variance that new levels of these groups add together: expected, and equally likely values.

    Each standard deviation is gamma distributed as in `new_level_variance` of the fit; what the
    data cannot tell of two of them apart (tile or patch) is kept, because their errors hang
    together as the fit says.
    """
    posterior = results.posterior
    names = [term.name for term in posterior.terms]
    there = [names.index(name) for name in groups if name in names]
    unseen = (len(groups) - len(there)) * prior_variance(results.prior, unit)
    if not there:
        return unseen, np.full(DRAWS, unseen)
    sd = np.maximum(posterior.sd[there], 1e-9)
    expected = float(posterior.new_var[there].sum())
    if results.prior is None:
        return expected + unseen, np.full(DRAWS, expected + unseen)
    slopes = posterior.sd_slopes[there]
    cov = slopes @ posterior.psi_cov @ slopes.T
    error = np.sqrt(np.maximum(np.diag(cov), 1e-12))
    correlation = cov / np.outer(error, error)
    normal = _normal_points(2 + len(there))[:, 2:] @ _root(correlation).T
    shape = 1 / np.minimum((error / sd) ** 2, 1.0)
    drawn = gamma.ppf(ndtr(normal), shape, scale=sd / shape)
    return expected + unseen, (drawn**2).sum(axis=1) + unseen


def prior_variance(prior: Prior | None, unit: float = 1.0) -> float:
    """Variance that a prior expects of a source before anything is seen."""
    if prior is None or prior.spread_rate == 0:
        return 0.0
    shape = prior.spread_shape
    return shape * (shape + 1) / (prior.spread_rate / unit) ** 2


def _normal_points(dimensions: int) -> Array:
    """Points that stand for independent standard normal values, evenly spread."""
    points = qmc.Sobol(dimensions, seed=0).random(DRAWS).clip(1e-6, 1 - 1e-6)
    normal: Array = norm.ppf(points)
    return normal


def _root(correlation: Array) -> Array:
    values, vectors = np.linalg.eigh(correlation)
    root: Array = vectors * np.sqrt(np.maximum(values, 0.0))
    return root


@dataclass(frozen=True, eq=False)
class PairOutlook:
    """What n pairs come to, and how surely.

    Attributes
    ----------
    chances : (n, 3) array
        That a new patch comes to each of `ENDINGS`: what is not known of the pair and what differs
        from patch to patch both count.
    leans_to : (n,) integer array
        The likeliest ending.
    hit_or_miss : (n,) array
        Chance that no ending's share of the pair's patches reaches the confidence.
    share_low, share_high : (n,) arrays
        Within which the share of patches that come to `leans_to` lies, with the confidence.
    """

    chances: Array
    leans_to: Array
    hit_or_miss: Array
    share_low: Array
    share_high: Array


def ending_chances(spread: ScoreState, pull_through: ScoreState, rho: float) -> Array:
    """Chance of each ending of a new patch of each pair, an (n, 3) array.

    Parameters
    ----------
    spread, pull_through : ScoreState
    rho : float
        Correlation of the two states of one patch, given its pair.
    """
    spread_all, pull_all = (
        s.variance[:, s.fine] + s.patch_variance for s in (spread, pull_through)
    )
    shared = rho * np.sqrt(spread.patch_variance * pull_through.patch_variance)
    fine = both_below(
        spread.below(spread.fine),
        pull_through.below(pull_through.fine),
        shared / np.sqrt(spread_all * pull_all + TINY),
    )
    broken = ndtr(-pull_through.below(pull_through.broken))
    return _endings(fine, broken)


def reading_fine_edge(spread: ScoreState, pull_through: ScoreState, rho: float) -> Array:
    """Chance that a single grader writes a fine edge of a new patch of each pair."""
    shared = rho * np.sqrt(spread.patch_variance * pull_through.patch_variance)
    (h, spread_all), (k, pull_all) = (s.reading_below(s.fine) for s in (spread, pull_through))
    return both_below(h, k, shared / np.sqrt(spread_all * pull_all + TINY))


def outlook(
    spread: ScoreState, pull_through: ScoreState, rho: float, confidence: float
) -> PairOutlook:
    """What each pair comes to, with what is not known of it and what differs among its patches.

    Shares are worked out over draws of what is not known: eta on both scores, and how much patches
    differ.
    """
    chances = ending_chances(spread, pull_through, rho)
    leans_to = chances.argmax(axis=1)
    points = _normal_points(2)
    share = _shares(spread, pull_through, rho, points)
    hit_or_miss = (share.max(axis=0) < confidence).mean(axis=1)
    leaning = np.sort(np.take_along_axis(share, leans_to[None, :, None], axis=0)[0], axis=1)
    tail = (1 - confidence) / 2
    low, high = (leaning[:, min(DRAWS - 1, int(end * DRAWS))] for end in (tail, 1 - tail))
    return PairOutlook(chances, leans_to, hit_or_miss, low, high)


def _shares(spread: ScoreState, pull_through: ScoreState, rho: float, points: Array) -> Array:
    """Share of each pair's patches that come to each ending, a (3, n, DRAWS) array of draws."""
    h = _drawn_bound(spread, spread.fine, points[:, 0])
    k = _drawn_bound(pull_through, pull_through.fine, points[:, 1])
    fine = both_below(h, k, rho)
    if pull_through.broken != pull_through.fine:
        k = _drawn_bound(pull_through, pull_through.broken, points[:, 1])
    return np.moveaxis(_endings(fine, ndtr(-k)), -1, 0)


def _drawn_bound(score: ScoreState, cut: int, normal: Array) -> Array:
    eta = score.mean[:, cut, None] + np.sqrt(score.variance[:, cut, None]) * normal
    bound: Array = -eta / np.sqrt(score.patch_variances + TINY)
    return bound


def _endings(fine: Array, broken: Array) -> Array:
    """Fine, soft and broken, along a last axis; they exclude each other and sum to one."""
    return np.stack([fine, np.maximum(1 - fine - broken, 0.0), broken], axis=-1)
