"""How the two scores of one patch hang together: correlation, and chances of both."""

from functools import cache, lru_cache

import numpy as np
import pandas as pd
from scipy.optimize import minimize_scalar
from scipy.special import log_ndtr, ndtr
from scipy.stats import norm

from kit.mixed import Array
from kit.model.measurement_fit import MeasureFit, told_apart
from kit.model.right_hand_side import LOGISTIC_VARIANCE, NOISE
from kit.model.series_fit import ScaleFit

# Gauss-Legendre points that keep the error below 1e-5 up to each correlation.
_POINTS = ((0.3, 5), (0.7, 10), (1.0, 24))


def both_below(h: Array, k: Array, rho: Array | float) -> Array:
    """P(X <= h and Y <= k) for standard normal X and Y of correlation rho.

    Plackett's identity, integrated by Gauss-Legendre: Drezner and Wesolowsky (1990), On the
    computation of the bivariate normal integral, Journal of Statistical Computation and
    Simulation 35.

    Parameters
    ----------
    h, k, rho : arrays that broadcast together, or one rho for all; -1 < rho < 1
    """
    # Bounds without end are as good as these, and can be multiplied.
    h, k = np.clip(h, -30.0, 30.0), np.clip(k, -30.0, 30.0)
    p, q = ndtr(h), ndtr(k)
    steepest = float(np.max(np.abs(rho), initial=0.0))
    points = next(points for bound, points in _POINTS if steepest <= bound)
    squares, product = h**2 + k**2, 2 * h * k
    joint = p * q + 0.0 * np.asarray(rho)
    for part, w in _gauss_legendre(points) if steepest else ():
        r = rho * part
        left = 1 - r**2
        density = np.asarray(product * (r / (2 * left)))
        density -= squares * (0.5 / left)
        np.exp(density, out=density)
        density *= rho * w / (4 * np.pi * np.sqrt(left))
        joint += density
    joined: Array = np.clip(joint, np.maximum(0.0, p + q - 1), np.minimum(p, q))
    return joined


@cache
def _gauss_legendre(points: int) -> tuple[tuple[float, float], ...]:
    """Nodes from 0 to 1, and their weights."""
    node, weight = np.polynomial.legendre.leggauss(points)
    return tuple(zip(0.5 * (node + 1), weight, strict=True))


LARGEST = 0.95
"""A correlation closer to 1 than this is not believed."""

FEWEST = 20
"""Patches that no correlation is worked out below; the two scores then count as independent."""

PRIOR_SD = 0.5
"""Of a correlation on Fisher's scale, before anything is seen."""

_SURE = 1e-9


@lru_cache(maxsize=4)  # One series is judged at several recipes, each time by the same fits.
def score_correlation(one: ScaleFit, other: ScaleFit) -> float:
    """Correlation of a patch's states on two scales, given what is known of its pair.

    A grader who marks both scores of a patch high in one look does not make the patch so. So grades
    of one scale are held only against grades of the other from another look: by another grader, or
    after another firing. Each scale's own model says how likely every grade of a new patch of the
    same recipe is to that grader; the correlation is then the one that makes the pairs of grades
    most likely: Olsson (1979), Maximum likelihood estimation of the polychoric correlation
    coefficient, Psychometrika 44, with margins known. Looks at one patch repeat each other, so they
    are weighted to count as the patch's averages do. A weak prior pulls the correlation towards
    zero when patches are few.

    Parameters
    ----------
    one, other : ScaleFit
        Of the same series.

    Returns
    -------
    float
        0 where fewer than 20 patches were looked at twice.
    """
    patch = [key for key in ("series", "patch") if key in one.frame]
    looks = [key for key in ("firing", "grader") if key in one.frame]
    each = [
        fit.frame[[*patch, *looks]].assign(place=np.arange(len(fit.frame))) for fit in (one, other)
    ]
    both = each[0].merge(each[1], on=patch, suffixes=("_one", "_other"))
    again = np.zeros(len(both), dtype=bool)
    for look in looks:
        again |= (both[f"{look}_one"] != both[f"{look}_other"]).to_numpy()
    both = both[again]
    known = both.groupby(patch)["place_one"].agg(["size", "nunique"])
    if len(known) < FEWEST:
        return 0.0
    bounds = [_bounds(fit) for fit in (one, other)]
    high, before = (bounds[0][:, both["place_one"]][k] for k in (0, 1))
    right, left = (bounds[1][:, both["place_other"]][k] for k in (0, 1))
    w = [sum(fit.results.random_sd.get(name, 0.0) ** 2 for name in NOISE) for fit in (one, other)]
    kept = float(np.prod([np.sqrt(v / (v + LOGISTIC_VARIANCE)) for v in w]))
    looked = known["nunique"].to_numpy(float)
    told = np.prod([v / (v + LOGISTIC_VARIANCE / looked) for v in w], axis=0)
    weight = pd.Series(told / max(kept, _SURE) ** 2 / known["size"].to_numpy(), index=known.index)
    weights = both[patch].merge(weight.rename("w").reset_index(), on=patch)["w"].to_numpy()

    def misfit(rho: float) -> float:
        own = rho * kept
        cell = (
            both_below(high, right, own)
            - both_below(before, right, own)
            - both_below(high, left, own)
            + both_below(before, left, own)
        )
        likelihood = float(weights @ np.log(np.maximum(cell, 1e-12)))
        off: float = -likelihood + 0.5 * (np.arctanh(rho) / PRIOR_SD) ** 2
        return off

    found = minimize_scalar(misfit, bounds=(-LARGEST, LARGEST), method="bounded")
    return float(found.x)


def _bounds(fit: ScaleFit) -> Array:
    """Normal scores of P(y <= grade) and P(y < grade) of each row, for a new patch: (2, n)."""
    recipe = fit.frame.drop(columns=[c for c in NOISE if c in fit.frame])
    noise = [name for name in NOISE if name in fit.results.random_sd]
    columns = [c for c in ("series", "base", "overlay", "grader", *fit.factors) if c in recipe]
    kinds = recipe.groupby(columns, sort=False, observed=True, dropna=False).ngroup().to_numpy()
    _, first, place = np.unique(kinds, return_index=True, return_inverse=True)
    below = fit.results.at_most(recipe.iloc[first], noise).to_numpy()[place]
    below = np.column_stack([np.zeros(len(below)), below])
    grade = fit.frame[fit.scale].cat.codes.to_numpy()
    rows = np.arange(len(grade))
    chance = np.stack([below[rows, grade + 1], below[rows, grade]])
    bounds: Array = norm.ppf(np.clip(chance, _SURE, 1 - _SURE))
    return bounds


def measure_correlation(one: MeasureFit, other: MeasureFit) -> float:
    """Correlation of two measures of one patch, given what is known of its pair.

    Both are put in standard deviations from what the model expects of a new patch of the same
    recipe. The correlation is the one that makes the pairs of measurements most likely, whether
    both were read, or one or both say only 'this or less' or 'this or more'. Measurements of one
    patch repeat each other and count as one together. A weak prior pulls the correlation towards
    zero when patches are few.

    Returns
    -------
    float
        0 where fewer than 20 patches have both.
    """
    keys = [key for key in ("series", "patch", "firing") if key in one.frame]
    both = _apart(one).merge(_apart(other), on=keys, suffixes=("_one", "_other"))
    looks = both.groupby(keys[:-1])["z_one"].transform("size").to_numpy(float)
    if (1 / looks).sum() < FEWEST:
        return 0.0
    z, side = (both[[f"{c}_one", f"{c}_other"]].to_numpy() for c in ("z", "side"))
    # A value of which is known that it is this or more is one of opposite sign, or less.
    flip = np.where(side == 0, 1, side)
    z, way = z * flip, flip.prod(axis=1)
    read = side == 0
    first, second = np.where(read[:, :1], z, z[:, ::-1]).T

    def misfit(rho: float) -> float:
        r, left = rho * way, np.sqrt(1 - rho**2)
        off = (second - r * first) / left
        each = np.select(
            [read.all(axis=1), read.any(axis=1)],
            [-0.5 * off**2 - np.log(left), log_ndtr(off)],
            np.log(np.maximum(both_below(first, second, r), 1e-12)),
        )
        return float(-(each / looks).sum() + 0.5 * (np.arctanh(rho) / PRIOR_SD) ** 2)

    found = minimize_scalar(misfit, bounds=(-LARGEST, LARGEST), method="bounded")
    return float(found.x)


def _apart(fit: MeasureFit) -> pd.DataFrame:
    """Each measurement's distance from what is expected, in standard deviations, and its side.

    Sides are as in `kit.mixed.measured_rows`: 1 for 'this or less', -1 for 'this or more'.
    """
    keys = [key for key in ("series", "patch", "firing") if key in fit.frame]
    rows = fit.frame.drop(columns=[c for c in NOISE if c in fit.frame])
    noise = [name for name in NOISE if name in fit.results.random_sd]
    mean, sd = fit.foretell(rows, noise)
    low, high = told_apart(fit.measure)
    side = (fit.values <= low).astype(int) - (fit.values >= high).astype(int)
    z = (fit.values - mean) / sd

    def misfit(size: float) -> float:
        own = z / size
        each = np.where(side == 0, -0.5 * own**2 - np.log(size), log_ndtr(side * own))
        return -float(each.sum())

    # Rows that were fitted lie nearer to what is expected than new ones would.
    nearer = float(minimize_scalar(misfit, bounds=(0.05, 2.0), method="bounded").x)
    return fit.frame[keys].assign(z=z / nearer, side=side)
