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
from kit.mixed.grouping import RandomTerm
from kit.mixed.mixed_model import Effects
from kit.mixed.sparsity import Array, Index

# Rows solved for at once, which bounds memory.
CHUNK = 512


@dataclass(frozen=True)
class Posterior:
    """All that a fit knows, in the form that `latent` needs.

    Parameters
    ----------
    effects : Effects
    terms : tuple of RandomTerm
    psi : (m,) array
        Parameters: thresholds (if any), effects, then those of the standard deviations.
    psi_cov : (m, m) array
    first_effect : int
        Place of the first effect in `psi`.
    sd : (terms,) array
        Of a slope: for each unit of its column.
    new_var : (terms,) array
        Variance of the deviation of a level never seen.
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
    terms: tuple[RandomTerm, ...]
    psi: Array
    psi_cov: Array
    first_effect: int
    sd: Array
    new_var: Array
    sd_slopes: Array
    b: Array
    b_slopes: Array
    factor: CrossedFactor


def new_level_variance(
    sd: Array, sd_slopes: Array, psi_cov: Array, held: Array | None = None
) -> Array:
    """Variance of a level never seen: sd^2, or its expectation where sd has a distribution.

    Under a prior, log sd is known about its mode at the fit with variance v. As far as that is the
    data's doing sd is taken to be log-normal, so that E sd^2 = sd^2 exp(2v); as far as it is the
    prior's, gamma distributed as the prior is, so that E sd^2 = sd^2 (1 + v). Where the data say
    nothing that is exact.

    Parameters
    ----------
    sd : (terms,) array
    sd_slopes : (terms, m) array
    psi_cov : (m, m) array
    held : (terms,) array or None
        Information on log sd that the prior gives; None without one.
    """
    if held is None or not sd.size:
        return sd**2
    error = np.einsum("ij,jk,ik->i", sd_slopes, psi_cov, sd_slopes)
    v = np.minimum(error / np.maximum(sd, 1e-9) ** 2, 1.0)
    share = np.clip(v * held, 0.0, 1.0)
    expected: Array = sd**2 * (1 + v) ** share * np.exp(2 * v * (1 - share))
    return expected


@dataclass(frozen=True)
class NewLevels:
    """Levels of one term that the fit never saw.

    Parameters
    ----------
    term : int
        Place among the terms.
    variance : float
        Of a level's deviation.
    level : (n,) integer array
        The level that each row meets; -1: none.
    entries : (n,) array
        What multiplies the deviation.
    """

    term: int
    variance: float
    level: Index
    entries: Array

    def by_row(self) -> Array:
        """Variance that each row gets."""
        return np.where(self.level >= 0, self.variance * self.entries**2, 0.0)


@dataclass(frozen=True)
class RowDesign:
    """New rows read against a model's formula and groups, before any estimate enters.

    Parameters
    ----------
    x : (n, p) array
        Effects' columns.
    met : tuple of (int, (n,) integer array, (n,) array)
        For each term that the rows meet: its place, their levels (from the number of known levels
        on for those never seen) and what multiplies the deviation.
    place : (n,) integer array
        Rows that meet the same known levels alike share a number.
    """

    x: Array
    met: tuple[tuple[int, Index, Array], ...]
    place: Index

    def part(self, rows: slice | Index) -> "RowDesign":
        """Only the given rows."""
        met = tuple((j, codes[rows], entries[rows]) for j, codes, entries in self.met)
        return RowDesign(self.x[rows], met, pd.factorize(self.place[rows])[0])


@dataclass(frozen=True)
class NewRows:
    """New rows laid out against a fit.

    Parameters
    ----------
    mean : (n,) array
    slopes : (n, m) array
        d eta / d psi.
    weights : (n, q) sparse array
        d eta / d b: standard deviations at the columns of known levels, times their entries.
    place : (n,) integer array
        As in `RowDesign`.
    unseen : tuple of NewLevels
    """

    mean: Array
    slopes: Array
    weights: sparse.csr_array
    place: Index
    unseen: tuple[NewLevels, ...]

    def __len__(self) -> int:
        return len(self.mean)


def check_noise(posterior: Posterior, noise: Sequence[str]) -> None:
    """Refuse groups that the fit does not have."""
    known = list(dict.fromkeys(term.group.name for term in posterior.terms))
    strangers = sorted(set(noise) - set(known))
    if strangers:
        raise Misuse(
            f"The fit has no group {', '.join(strangers)}; it has {', '.join(known) or 'none'}."
        )


def read_rows(posterior: Posterior, frame: pd.DataFrame, noise: Sequence[str] = ()) -> RowDesign:
    """Read new rows against a model.

    Parameters
    ----------
    posterior : Posterior
    frame : DataFrame
    noise : sequence of str
        Groups to meet at a new level in every row where the frame does not give their level.

    Raises
    ------
    Misuse
        If `noise` names a group that the fit does not have, or a column is missing.
    """
    check_noise(posterior, noise)
    x = posterior.effects.columns_for(frame)
    place = np.zeros(len(frame), dtype=np.int64)
    met = []
    for j, term in enumerate(posterior.terms):
        codes = term.group.codes_for(frame)
        if codes is None and term.group.name in noise:
            codes = term.size + np.arange(len(frame))
        if codes is not None:
            entries = term.entries_for(frame)
            met.append((j, codes, entries))
            place = _told_apart(place, np.minimum(codes, term.size), entries)
    return RowDesign(x, tuple(met), place)


def _told_apart(place: Index, codes: Index, entries: Array) -> Index:
    """Number rows anew, apart where their known level or their entry at it differs."""
    place, _ = pd.factorize(place * (int(codes.max(initial=0)) + 1) + codes)
    own, distinct = pd.factorize(entries)
    if len(distinct) > 1:
        place, _ = pd.factorize(place * len(distinct) + own)
    return place


def lay_out(posterior: Posterior, design: RowDesign) -> NewRows:
    """Lay new rows out against a fit."""
    n, p = design.x.shape
    first = posterior.first_effect
    mean = design.x @ posterior.psi[first : first + p]
    slopes = np.zeros((n, posterior.psi.size))
    slopes[:, first : first + p] = design.x
    starts = np.concatenate([[0], np.cumsum([term.size for term in posterior.terms])])
    at_row, at_column, entry = [], [], []
    unseen = []
    for j, codes, entries in design.met:
        size = posterior.terms[j].size
        rows = np.flatnonzero(codes < size)
        columns = int(starts[j]) + codes[rows]
        at_row.append(rows)
        at_column.append(columns)
        entry.append(posterior.sd[j] * entries[rows])
        pulled = entries[rows] * posterior.b[columns]
        mean[rows] += posterior.sd[j] * pulled
        slopes[rows] += np.outer(pulled, posterior.sd_slopes[j])
        if rows.size < n:
            fresh = np.where(codes < size, -1, codes - size)
            unseen.append(NewLevels(j, float(posterior.new_var[j]), fresh, entries))
    if not at_row:
        weights = sparse.csr_array((n, posterior.b.size))
        return NewRows(mean, slopes, weights, design.place, tuple(unseen))
    weights = sparse.coo_array(
        (np.concatenate(entry), (np.concatenate(at_row), np.concatenate(at_column))),
        shape=(n, posterior.b.size),
    ).tocsr()
    slopes += weights @ posterior.b_slopes
    return NewRows(mean, slopes, weights, design.place, tuple(unseen))


def noise_variance(
    posterior: Posterior, frame: pd.DataFrame, noise: Sequence[str], each: Array
) -> Array:
    """Variance that new levels of the given groups, where not in the frame, add to each row.

    Parameters
    ----------
    posterior, frame, noise
        As for `read_rows`.
    each : (..., terms) array
        Variance of one new level of each term.

    Returns
    -------
    (..., n) array
    """
    check_noise(posterior, noise)
    total = np.zeros((*each.shape[:-1], len(frame)))
    for j, term in enumerate(posterior.terms):
        if term.group.name in noise and not set(term.group.columns) <= set(frame.columns):
            total += each[..., [j]] * term.entries_for(frame) ** 2
    return total


def covariance(posterior: Posterior, rows: NewRows) -> Array:
    """Covariance of the rows' latent values, an (n, n) array."""
    cov = rows.slopes @ posterior.psi_cov @ rows.slopes.T
    if posterior.b.size:
        cov += rows.weights @ posterior.factor.solve(rows.weights.T.toarray())
    for new in rows.unseen:
        shared = (new.level[:, None] == new.level[None, :]) & (new.level[:, None] >= 0)
        cov += new.variance * shared * np.outer(new.entries, new.entries)
    even: Array = 0.5 * (cov + cov.T)
    return even


def _variance_about_mode(posterior: Posterior, weights: sparse.csr_array) -> Array:
    solved = posterior.factor.solve(weights.T.toarray())
    about: Array = np.asarray(weights.multiply(solved.T).sum(axis=1)).ravel()
    return about


def variance(posterior: Posterior, rows: NewRows) -> Array:
    """Diagonal of `covariance`, without the rest of it."""
    var: Array = np.einsum(
        "ij,jk,ik->i", rows.slopes, posterior.psi_cov, rows.slopes, optimize=True
    )
    if posterior.b.size:
        _, first = np.unique(rows.place, return_index=True)
        own = [
            _variance_about_mode(posterior, rows.weights[first[start : start + CHUNK]])
            for start in range(0, first.size, CHUNK)
        ]
        var += np.concatenate(own)[rows.place]
    for new in rows.unseen:
        var += new.by_row()
    return var
