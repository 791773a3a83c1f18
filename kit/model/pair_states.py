"""What the patches of a pair are, as the average grader sees them, and what is known of it.

On each score a patch of a pair has a state: its latent value z, against the cuts of the scale.

    z = eta + u_tile + u_patch + u_session,    P(z < cut) = Phi((cut - eta) / w)

eta is the pair's own, known with some variance; w² is how much its patches differ, on new tiles
and in new sessions. A single reading's wavering is no part of the state. Both uncertainties are
kept apart: firing more samples shrinks what is not known of eta, and does nothing to w.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import ndtr
from scipy.stats import gamma, norm, qmc

from kit.mixed import Array, OrdinalResults, reading_below, square_root
from kit.model.correlated_scores import both_below
from kit.model.measurement_fit import MeasureFit
from kit.model.right_hand_side import JARS, LOGISTIC_VARIANCE, NOISE
from kit.model.series_fit import ScaleFit
from kit.model.verdict_rule import VerdictRule

DRAWS = 256
"""Equally likely states of knowledge that shares are worked out over; a power of two."""

EVERY = 4
"""Of the draws, that chances are averaged over."""

_AT_ONCE = 128
"""Pairs whose draws a processor's own memory holds together."""

SOURCES = (*NOISE, "grader", *JARS)
"""Sources of variation that a new patch may meet anew."""

TINY = 1e-12

OUT_OF_REACH = 20.0
"""Latent units: an edge this far up is never met."""


@dataclass(frozen=True, eq=False)
class ScoreState:
    """What is known of one score of n pairs.

    Parameters
    ----------
    mean, variance : (n, k) arrays
        Of eta minus each cut, given the data; the variance as expected.
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
    unseen : array as long as `patch_variances`
        How far the variance may lie from what is expected, because of sources that the data cannot
        show.
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
    unseen: Array | float = 0.0
    fine: int = 0
    broken: int = 0

    def part(self, rows: slice) -> "ScoreState":
        """Only some of the pairs."""
        return replace(self, mean=self.mean[rows], variance=self.variance[rows])

    def reading_below(self, cut: int) -> tuple[Array, Array]:
        """The same for a single reading, and the variance of such readings."""
        variance = self.variance[:, cut] + self.patch_variance + self.reading_variance
        if not self.wavers:
            return -self.mean[:, cut] / np.sqrt(variance), variance
        chance = reading_below(-self.mean[:, cut], np.sqrt(variance))
        return norm.ppf(chance), variance + LOGISTIC_VARIANCE

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
    expected, draws = variance_anew(results, NOISE)
    once = [name for name in ("session", "grader") if name not in results.random_sd]
    more, unseen = variance_anew(results, [*once, *_new_jars(results, recipe)])
    return ScoreState(
        mean,
        variance + more,
        steps,
        expected,
        draws,
        variance_anew(results, ["grader"])[0],
        unseen=unseen - more,
        fine=fine,
        broken=broken,
    )


def state_by_measurements(fit: MeasureFit, recipe: pd.DataFrame, limit: float) -> ScoreState:
    """What a fit of measurements knows of pairs on its score, against a limit.

    Where no patch was measured twice, what pictures are off by cannot be told from how patches
    differ, and counts as the patches' own.
    """
    results = fit.results
    mean, variance = results.latent_marginal(recipe)
    seen = [name for name in NOISE if name in results.random_sd or name != "patch"]
    expected, draws = variance_anew(results, seen, results.measured_sd)
    error = results.residual_sd**2
    own = 0.0 if "patch" in results.random_sd else error
    once = [name for name in ("session",) if name not in results.random_sd]
    more, unseen = variance_anew(results, [*once, *_new_jars(results, recipe)], results.measured_sd)
    distance = mean - float(fit.to_scale(limit))
    return ScoreState(
        distance[:, None],
        (variance + more)[:, None],
        np.array([0.0, 1.0]),
        expected + own,
        draws + own,
        error - own,
        wavers=False,
        unseen=unseen - more,
    )


def _new_jars(results: OrdinalResults, recipe: pd.DataFrame) -> list[str]:
    """Groups by which new jars of both colours differ, where pairs are judged with new ones."""
    return [name for name in JARS if name in results.random_sd and "series" not in recipe]


def variance_anew(
    results: OrdinalResults, groups: Sequence[str], unit: float = 1.0
) -> tuple[float, Array]:
    """Variance that new levels of these groups add together: expected, and equally likely values.

    A standard deviation that was fitted is gamma distributed, with the expected square of
    `new_level_variance`; what the data cannot tell of two of them apart (tile or patch) is kept,
    because their errors hang together as the fit says. One that the data cannot show at all is
    distributed as the prior has it.
    """
    posterior, prior = results.posterior, results.prior
    names = [term.name for term in posterior.terms]
    normal = _normal_points(2 + len(SOURCES))
    columns = {name: normal[:, 2 + place] for place, name in enumerate(SOURCES)}
    expected, draws = 0.0, np.zeros(DRAWS)
    for name in groups:
        if name not in names and prior is not None and prior.sd_rate:
            own = prior.source(name, unit)
            expected += own.mean_square
            draws += gamma.ppf(ndtr(columns[name]), own.shape, scale=1 / own.rate) ** 2
    there = [name for name in groups if name in names]
    places = [names.index(name) for name in there]
    if not there:
        return expected, draws
    expected = expected + float(posterior.new_var[places].sum())
    sd = np.maximum(posterior.sd[places], 1e-9)
    if prior is None:
        return expected, draws + float((sd**2).sum())
    slopes = posterior.sd_slopes[places]
    cov = slopes @ posterior.psi_cov @ slopes.T
    error = np.sqrt(np.maximum(np.diag(cov), 1e-12))
    together = np.column_stack([columns[name] for name in there])
    level = ndtr(together @ square_root(cov / np.outer(error, error)).T)
    shapes = 1 / np.maximum(posterior.new_var[places] / sd**2 - 1, 1e-9)
    drawn = gamma.ppf(level, shapes, scale=sd / shapes)
    return expected, draws + (drawn**2).sum(axis=1)


def _normal_points(dimensions: int) -> Array:
    """Points that stand for independent standard normal values, evenly spread."""
    points = qmc.Sobol(dimensions, seed=0).random(DRAWS).clip(1e-6, 1 - 1e-6)
    normal: Array = norm.ppf(points)
    return normal


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
    w, more = _thinned(spread, _order(spread))
    v, more_pull = _thinned(pull_through, slice(None))
    h, h_all = _bound(spread, spread.fine, w, more)
    k, k_all = _bound(pull_through, pull_through.fine, v, more_pull)
    fine = both_below(h, k, rho * np.sqrt(w * v / (h_all * k_all + TINY)))
    last, _ = _bound(pull_through, pull_through.broken, v, more_pull)
    return _endings(fine.mean(axis=1), ndtr(-last).mean(axis=1)).T


def _order(score: ScoreState) -> Array:
    """Another order of a score's draws, so that those of two scores do not go together."""
    return np.random.default_rng(0).permutation(len(score.patch_variances))


def _thinned(score: ScoreState, order: Array | slice) -> tuple[Array, Array]:
    """Every fourth of the draws of w² and of what the variance is off by, in some order."""
    unseen = np.broadcast_to(score.unseen, score.patch_variances.shape)
    return score.patch_variances[order][::EVERY], unseen[order][::EVERY]


def _bound(score: ScoreState, cut: int, patch: Array, unseen: Array) -> tuple[Array, Array]:
    """Standard normal bound under which new patches lie below a cut, and their variance."""
    variance = np.maximum(score.variance[:, cut, None] + unseen, 0.0) + patch
    return -score.mean[:, cut, None] / np.sqrt(variance + TINY), variance


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
    tail = (1 - confidence) / 2
    ends = [min(DRAWS - 1, int(end * DRAWS)) for end in (tail, 1 - tail)]
    hit_or_miss, (low, high) = np.empty(len(chances)), np.empty((2, len(chances)))
    for start in range(0, len(chances), _AT_ONCE):
        rows = slice(start, start + _AT_ONCE)
        share = _shares(spread.part(rows), pull_through.part(rows), rho, points)
        hit_or_miss[rows] = (share.max(axis=0) < confidence).mean(axis=1)
        leaning = np.take_along_axis(share, leans_to[None, rows, None], axis=0)[0]
        low[rows], high[rows] = np.partition(leaning, ends, axis=1)[:, ends].T
    return PairOutlook(chances, leans_to, hit_or_miss, low, high)


def _shares(spread: ScoreState, pull_through: ScoreState, rho: float, points: Array) -> Array:
    """Share of each pair's patches that come to each ending, a (3, n, DRAWS) array of draws."""
    h = _drawn_bound(spread, spread.fine, points[:, 0], _order(spread))
    k = _drawn_bound(pull_through, pull_through.fine, points[:, 1], slice(None))
    fine = both_below(h, k, rho)
    if pull_through.broken != pull_through.fine:
        k = _drawn_bound(pull_through, pull_through.broken, points[:, 1], slice(None))
    return _endings(fine, ndtr(-k))


def _drawn_bound(score: ScoreState, cut: int, normal: Array, order: Array | slice) -> Array:
    variance = score.variance[:, cut, None] + np.broadcast_to(score.unseen, (DRAWS,))[order]
    eta = score.mean[:, cut, None] + np.sqrt(np.maximum(variance, 0.0)) * normal
    bound: Array = -eta / np.sqrt(score.patch_variances[order] + TINY)
    return bound


def _endings(fine: Array, broken: Array) -> Array:
    """Fine, soft and broken, along a first axis; they exclude each other and sum to one."""
    return np.stack([fine, np.maximum(1 - fine - broken, 0.0), broken])
