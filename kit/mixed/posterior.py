"""What the data say about rows that were never seen: mean and covariance of their latent value.

At the fitted parameters the random effects b are normal around their mode with covariance D^-1;
the parameters psi are themselves uncertain, and the mode moves with them. To first order

    eta = x'beta + sum_j sd_j b_j,    cov(eta) = G cov(psi) G' + Z L D^-1 L Z' + unseen levels,

with G = d eta / d psi along the moving mode: Kass and Steffey (1989), Approximate Bayesian
inference in conditionally independent hierarchical models, JASA 84.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse

from kit.errors import Misuse
from kit.mixed.cholesky import CrossedFactor
from kit.mixed.grouping import Group
from kit.mixed.model_matrix import Effects
from kit.mixed.sparsity import Array, Index

# Rows solved for at once, which bounds memory.
CHUNK = 512


@dataclass(frozen=True)
class Posterior:
    """All that a fit knows, in the form that `latent` needs.

    Parameters
    ----------
    effects : Effects
    groups : tuple of Group
    psi : (m,) array
        Parameters: thresholds (if any), effects, then those of the standard deviations.
    psi_cov : (m, m) array
    first_effect : int
        Place of the first effect in `psi`.
    sd : (terms,) array
    new_var : (terms,) array
        Variance that a level never seen adds.
    sd_slopes : (terms, m) array
        d sd / d psi.
    b : (q,) array
        Modes of the standardised random effects.
    b_slopes : (q, m) array
        d b / d psi.
    factor : CrossedFactor
        D: its inverse is the covariance of b at given parameters.
    """

    effects: Effects
    groups: tuple[Group, ...]
    psi: Array
    psi_cov: Array
    first_effect: int
    sd: Array
    new_var: Array
    sd_slopes: Array
    b: Array
    b_slopes: Array
    factor: CrossedFactor


def new_level_variance(sd: Array, sd_slopes: Array, psi_cov: Array, with_prior: bool) -> Array:
    """Variance of a level never seen: sd^2, or its expectation where sd has a distribution.

    Under a prior sd is taken to be gamma distributed with its mode on the log scale at the fit and
    variance v there. Its shape is then 1/v, and E sd^2 = sd^2 (1 + v): exact where the data say
    nothing, because the prior is a gamma too.
    """
    if not with_prior or not sd.size:
        return sd**2
    error = np.einsum("ij,jk,ik->i", sd_slopes, psi_cov, sd_slopes)
    return sd**2 + np.minimum(error, sd**2)


@dataclass(frozen=True)
class NewRows:
    """New rows laid out against a fit.

    Parameters
    ----------
    mean : (n,) array
    slopes : (n, m) array
        d eta / d psi.
    weights : (n, q) sparse array
        d eta / d b: standard deviations at the columns of known levels.
    place : (n,) integer array
        Rows that meet the same known levels share a number.
    unseen : tuple of (variance, (n,) integer array)
        For each term, the variance a new level adds and the new level of each row (-1: none).
    """

    mean: Array
    slopes: Array
    weights: sparse.csr_array
    place: Index
    unseen: tuple[tuple[float, Index], ...]

    def __len__(self) -> int:
        return len(self.mean)


def lay_out(posterior: Posterior, frame: pd.DataFrame, noise: Sequence[str] = ()) -> NewRows:
    """Lay new rows out against a fit.

    Parameters
    ----------
    posterior : Posterior
    frame : DataFrame
    noise : sequence of str
        Groups to meet at a new level in every row where the frame does not give their level.

    Raises
    ------
    Misuse
        If `noise` names a group that the fit does not have.
    """
    known = [group.name for group in posterior.groups]
    strangers = sorted(set(noise) - set(known))
    if strangers:
        raise Misuse(
            f"The fit has no group {', '.join(strangers)}; it has {', '.join(known) or 'none'}."
        )
    x = posterior.effects.columns_for(frame)
    n, p = x.shape
    first = posterior.first_effect
    beta = posterior.psi[first : first + p]
    mean = x @ beta
    slopes = np.zeros((n, posterior.psi.size))
    slopes[:, first : first + p] = x
    everyone = np.arange(n)
    at_row, at_column, entry = [], [], []
    alike = np.zeros(n, dtype=np.int64)
    unseen = []
    start = 0
    for j, group in enumerate(posterior.groups):
        sd = float(posterior.sd[j])
        codes = group.codes_for(frame)
        if codes is not None:
            rows = np.flatnonzero(codes < group.size)
            columns = start + codes[rows]
            at_row.append(rows)
            at_column.append(columns)
            entry.append(np.full(rows.size, sd))
            alike, _ = pd.factorize(alike * (group.size + 1) + np.minimum(codes, group.size))
            mean[rows] += sd * posterior.b[columns]
            slopes[rows] += np.outer(posterior.b[columns], posterior.sd_slopes[j])
            fresh = np.where(codes < group.size, -1, codes)
        elif group.name in noise:
            fresh = everyone
        else:
            fresh = np.full(n, -1)
        if (fresh >= 0).any():
            unseen.append((float(posterior.new_var[j]), fresh))
        start += group.size
    if not at_row:
        weights = sparse.csr_array((n, posterior.b.size))
        return NewRows(mean, slopes, weights, alike, tuple(unseen))
    weights = sparse.coo_array(
        (np.concatenate(entry), (np.concatenate(at_row), np.concatenate(at_column))),
        shape=(n, posterior.b.size),
    ).tocsr()
    slopes += weights @ posterior.b_slopes
    return NewRows(mean, slopes, weights, alike, tuple(unseen))


def covariance(posterior: Posterior, rows: NewRows) -> Array:
    """Covariance of the rows' latent values, an (n, n) array."""
    cov = rows.slopes @ posterior.psi_cov @ rows.slopes.T
    if posterior.b.size:
        cov += rows.weights @ posterior.factor.solve(rows.weights.T.toarray())
    for variance, fresh in rows.unseen:
        shared = (fresh[:, None] == fresh[None, :]) & (fresh[:, None] >= 0)
        cov += variance * shared
    return 0.5 * (cov + cov.T)


def _spread_about_mode(posterior: Posterior, weights: sparse.csr_array) -> Array:
    solved = posterior.factor.solve(weights.T.toarray())
    spread: Array = np.asarray(weights.multiply(solved.T).sum(axis=1)).ravel()
    return spread


def variance(posterior: Posterior, rows: NewRows) -> Array:
    """Diagonal of `covariance`, without the rest of it."""
    var = np.einsum("ij,jk,ik->i", rows.slopes, posterior.psi_cov, rows.slopes, optimize=True)
    if posterior.b.size:
        _, first = np.unique(rows.place, return_index=True)
        own = [
            _spread_about_mode(posterior, rows.weights[first[start : start + CHUNK]])
            for start in range(0, first.size, CHUNK)
        ]
        var += np.concatenate(own)[rows.place]
    for extra, fresh in rows.unseen:
        var += np.where(fresh >= 0, extra, 0.0)
    return var
