"""How two scores of one patch hang together: a correlation beneath the grades."""

import numpy as np
import pandas as pd
from scipy.optimize import minimize_scalar
from scipy.stats import norm

from kit.mixed import Array
from kit.model.series_fit import NOISE, ScaleFit

# A correlation closer to 1 than this is not believed.
LARGEST = 0.95
# Rows that no correlation is worked out below; the two scores then count as independent.
FEWEST = 20


def both_below(p: Array, q: Array, rho: float) -> Array:
    """P(A and B) for events of chance p and q that share a normal copula of correlation rho.

    Plackett's identity, integrated by Gauss-Legendre: Drezner and Wesolowsky (1990), On the
    computation of the bivariate normal integral, Journal of Statistical Computation and
    Simulation 35.

    Parameters
    ----------
    p, q : array, any one shape
    rho : float, -1 < rho < 1
    """
    h, k = norm.ppf(np.clip(p, 1e-12, 1 - 1e-12)), norm.ppf(np.clip(q, 1e-12, 1 - 1e-12))
    node, weight = np.polynomial.legendre.leggauss(24)
    r = 0.5 * rho * (node + 1)
    grown = np.zeros(np.broadcast(h, k).shape)
    for correlation, w in zip(r, weight, strict=True):
        left = 1 - correlation**2
        exponent = -(h**2 - 2 * correlation * h * k + k**2) / (2 * left)
        grown += w * np.exp(exponent) / np.sqrt(left)
    joint: Array = p * q + rho / 2 * grown / (2 * np.pi)
    return np.clip(joint, np.maximum(0.0, p + q - 1), np.minimum(p, q))


def score_correlation(one: ScaleFit, other: ScaleFit) -> float:
    """Correlation beneath the grades of one patch on two scales, given what is known of its pair.

    Each scale's own model says how likely every grade of a new patch of the same recipe is; the
    correlation is then the one that makes the observed pairs of grades most likely: Olsson (1979),
    Maximum likelihood estimation of the polychoric correlation coefficient, Psychometrika 44, with
    margins known. A weak prior pulls it towards zero when grades are few.

    Parameters
    ----------
    one, other : ScaleFit
        Of the same series.

    Returns
    -------
    float
        0 where fewer than 20 rows have both grades.
    """
    keys = [key for key in ("series", "patch", "firing", "grader") if key in one.frame]
    plain = one.frame.drop(columns=other.scale, errors="ignore")
    joined = plain.merge(other.frame[[*keys, other.scale]], on=keys)
    if len(joined) < FEWEST:
        return 0.0
    p, p_before = _around(one, joined)
    q, q_before = _around(other, joined)
    # Grades of one patch repeat each other: together they count as one of each patch.
    share = joined["patch"].nunique() / len(joined)

    def misfit(rho: float) -> float:
        cell = (
            both_below(p, q, rho)
            - both_below(p_before, q, rho)
            - both_below(p, q_before, rho)
            + both_below(p_before, q_before, rho)
        )
        return -share * float(np.log(np.maximum(cell, 1e-12)).sum()) + 2 * np.arctanh(rho) ** 2

    found = minimize_scalar(misfit, bounds=(-LARGEST, LARGEST), method="bounded")
    return float(found.x)


def _around(fit: ScaleFit, rows: pd.DataFrame) -> tuple[Array, Array]:
    """P(y <= grade) and P(y < grade) of each row, for a new patch of its recipe."""
    known = set(fit.results.random_sd)
    recipe = rows.drop(columns=[c for c in (*NOISE, "grader", "session") if c in rows])
    noise = [name for name in NOISE if name in known]
    _, first, place = np.unique(_kinds(recipe, fit), return_index=True, return_inverse=True)
    below = fit.results.at_most(recipe.iloc[first], noise).to_numpy()[place]
    grade = rows[fit.scale].cat.codes.to_numpy()
    here = below[np.arange(len(rows)), grade]
    before = np.where(grade > 0, below[np.arange(len(rows)), np.maximum(grade - 1, 0)], 0.0)
    return here, before


def _kinds(recipe: pd.DataFrame, fit: ScaleFit) -> Array:
    """A number for each distinct recipe, so that each is foretold once."""
    columns = [c for c in ("series", "base", "overlay", *fit.factors) if c in recipe]
    return recipe.groupby(columns, sort=False, observed=True, dropna=False).ngroup().to_numpy()
