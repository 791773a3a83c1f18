"""A fit's joint log density in its cuts, effects and deviations: what checks take steps on.

With u and l the cuts above and below a grade y minus eta,

    log P(y) = log F(u) + log F(-l) + log(1 - exp(l - u)),

F the logistic distribution, so that minus its bend is a sum of squares along d u, d l and their
difference. phi = (cuts, effects, standardised deviations); standard deviations stay as fitted.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from kit.mixed import Array
from kit.model.series_fit import ScaleFit


@dataclass(frozen=True, eq=False)
class JointDensity:
    """A fit's joint log density at its best.

    Parameters
    ----------
    phi : (m,) array
    upper, lower : (n, m) arrays
        d u / d phi and d l / d phi; 0 where a grade has no cut on that side.
    slopes : (2, n) array
        Of each grade's log-likelihood, by u and by l.
    weights : (3, n) array
        Of the squares along d u, d l and their difference.
    bend : (m, m) array
        Minus the bend of the whole log density, prior included.
    pull : (m,) array
        Slope of the prior's log density.
    grade : (n,) integer array
        Place of each grade among the steps.
    x : (n, p) array
        Effects' columns.
    cuts : int
    """

    phi: Array
    upper: Array
    lower: Array
    slopes: Array
    weights: Array
    bend: Array
    pull: Array
    grade: Array
    x: Array
    cuts: int

    @classmethod
    def of(cls, fit: ScaleFit) -> "JointDensity":
        results = fit.results
        best, cuts = results.posterior, results.cuts
        effects = best.psi[cuts : cuts + len(results.effects)]
        phi = np.concatenate([best.psi[:cuts], effects, best.b])
        sizes = [0, *(term.size for term in best.terms)]
        start = cuts + effects.size + np.cumsum(sizes)
        n = len(fit.frame)
        eta = np.zeros((n, phi.size))
        eta[:, cuts : cuts + effects.size] = best.effects.columns_for(fit.frame)
        for j, term in enumerate(best.terms):
            columns = start[j] + term.group.codes
            eta[np.arange(n), columns] = best.sd[j] * term.entries_for(fit.frame)
        labels = [float(label) for label in results.used_labels]
        grade = np.searchsorted(labels, fit.frame[fit.scale].astype(float).to_numpy())
        bounds = np.concatenate([[-np.inf], phi[:cuts], [np.inf]])
        value = eta @ phi
        u, low = bounds[grade + 1] - value, bounds[grade] - value
        at_cut = np.eye(cuts, phi.size)
        capped, based = grade < cuts, grade > 0
        upper = np.where(capped[:, None], at_cut[np.minimum(grade, cuts - 1)] - eta, 0.0)
        lower = np.where(based[:, None], at_cut[np.maximum(grade - 1, 0)] - eta, 0.0)
        inside = capped & based
        r = np.exp(np.where(inside, low - u, -np.inf))
        p, s = expit(u), expit(low)
        apart = r / (1 - r)
        slopes = np.stack([1 - p + apart, -(s + apart)])
        weights = np.stack([p * (1 - p), s * (1 - s), r / (1 - r) ** 2])
        bend = squares(upper, lower, weights)
        pull = np.zeros(phi.size)
        b = np.arange(cuts + effects.size, phi.size)
        bend[b, b] += 1.0
        pull[b] -= phi[b]
        x = eta[:, cuts : cuts + effects.size]
        if results.prior is not None:
            own = np.arange(cuts, cuts + effects.size)
            precision = (np.ptp(x, axis=0) / results.prior.effect_sd) ** 2
            bend[own, own] += precision
            pull[own] -= precision * effects
            difference = np.diff(np.eye(cuts), axis=0)
            _, pull[:cuts], gaps = results.prior.step_terms(phi[:cuts])
            bend[:cuts, :cuts] += (difference.T * gaps) @ difference
        return cls(phi, upper, lower, slopes, weights, bend, pull, grade, x, cuts)

    def slope(self, rows: Array) -> Array:
        """Slope of these rows' log-likelihood, an (m,) array."""
        total: Array = (
            self.slopes[0, rows] @ self.upper[rows] + self.slopes[1, rows] @ self.lower[rows]
        )
        return total


def squares(upper: Array, lower: Array, weights: Array) -> Array:
    """Minus the bend of the log-likelihood of rows with these d u, d l and weights."""
    apart = np.where(weights[2][:, None] > 0, upper - lower, 0.0)
    total: Array = (
        (upper.T * weights[0]) @ upper
        + (lower.T * weights[1]) @ lower
        + (apart.T * weights[2]) @ apart
    )
    return total


def score_of_added(whole: JointDensity, upper: Array, lower: Array) -> tuple[Array, Array]:
    """Slope of the log density by further effects at 0, and its variance with all else free.

    Parameters
    ----------
    whole : JointDensity
    upper, lower : (n, k) arrays
        d u and d l by the further effects.

    Returns
    -------
    (k,) array
    (k, k) array
    """
    both = squares(np.hstack([whole.upper, upper]), np.hstack([whole.lower, lower]), whole.weights)
    m = whole.phi.size
    slope = whole.slopes[0] @ upper + whole.slopes[1] @ lower
    already = whole.slope(np.arange(len(whole.grade))) + whole.pull
    carried = np.linalg.solve(whole.bend, np.column_stack([both[:m, m:], already]))
    score: Array = slope - both[m:, :m] @ carried[:, -1]
    variance: Array = both[m:, m:] - both[m:, :m] @ carried[:, :-1]
    return score, variance
