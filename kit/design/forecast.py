"""The mixed model of a plan, solved before anything is fired.

    y = mean[family pair] + slope[family pair] (firings - middle) + side factors
        + u_base + u_overlay + u_pair + u_tile + u_patch + e

Effects have weak normal priors and each u its spread, so everything is normal, and what the grades
will leave unsure is known in advance: for quantities g, Var(g | y) = G - C' K⁻¹ C, with G their
covariance before, K that of the rows and C that of rows with quantities (the variances of
Henderson's mixed-model equations; Henderson 1975, Biometrics 31, 423-447).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from kit.design.surveys.pair_covariance import Floats
from kit.design.planned_rows import SIDE_FACTORS
from kit.design.spreads import Spreads
from kit.series import FAMILY_PAIRS

TREND_SD = 1.0
"""Weak prior of what a firing adds, grades."""

SIDE_SD = 1.0
"""Weak prior of what a side factor does over one standard deviation of its levels, grades."""

OF_PAIRS = (("base",), ("overlay",), ("base", "overlay"))


@dataclass(frozen=True, eq=False)
class Foretold:
    """A plan that can be asked what it will tell.

    Parameters
    ----------
    rows : DataFrame
        As from `planned_rows`.
    spreads : Spreads
    X : (n, p) array
        Effects: means, then slopes, in the order of `kit.series.FAMILY_PAIRS`, then side factors.
    prior : (p,) array
        Variance of each effect beforehand.
    root : (n, n) array
        Lower Cholesky factor of K.
    """

    rows: pd.DataFrame
    spreads: Spreads
    X: Floats
    prior: Floats
    root: Floats

    def effects(self, contrasts: Floats) -> Floats:
        """Variance that remains of contrasts of the family effects.

        Parameters
        ----------
        contrasts : (k, 8) array

        Returns
        -------
        (k,) array
            In grades².
        """
        a = np.zeros((len(contrasts), len(self.prior)))
        a[:, : contrasts.shape[1]] = contrasts
        return (a**2) @ self.prior - self._told((a * self.prior) @ self.X.T)

    def pairs(self, pairs: pd.DataFrame, firings: float) -> Floats:
        """Variance that remains of pairs' values after so many firings.

        Parameters
        ----------
        pairs : DataFrame, n rows
            Columns base, overlay, family_pair.

        Returns
        -------
        (n,) array
            In grades².
        """
        a = np.zeros((len(pairs), len(self.prior)))
        a[:, : 2 * len(FAMILY_PAIRS)] = _family_effects(pairs, firings - self.middle)
        before = (a**2) @ self.prior
        C = (a * self.prior) @ self.X.T
        for names, spread in zip(OF_PAIRS, _of_pairs(self.spreads), strict=True):
            C += spread**2 * _shared(pairs, self.rows, names)
            before += spread**2
        return before - self._told(C)

    @property
    def middle(self) -> float:
        """The firing count that slopes turn about."""
        return float(self.rows["firings"].mean())

    def _told(self, C: Floats) -> Floats:
        """Diagonal of C K⁻¹ C', for quantities in the rows of C."""
        half = solve_triangular(self.root, C.T, lower=True)
        return np.einsum("ij,ij->j", half, half)


def foretell(rows: pd.DataFrame, spreads: Spreads, graders: int) -> Foretold:
    """Solve the model for the rows of a plan, each graded by so many graders."""
    away = rows["firings"].to_numpy(dtype=float)
    effects = [_family_effects(rows, away - away.mean())]
    prior = [spreads.family] * len(FAMILY_PAIRS) + [TREND_SD] * len(FAMILY_PAIRS)
    for factor in SIDE_FACTORS:
        if factor in rows:
            values = rows[factor].to_numpy(dtype=float)
            effects.append(((values - values.mean()) / values.std())[:, None])
            prior.append(SIDE_SD)
    X, variance = np.hstack(effects), np.array(prior) ** 2
    K = (X * variance) @ X.T + spreads.grading**2 / graders * np.eye(len(rows))
    sources = [*zip(OF_PAIRS, _of_pairs(spreads), strict=True)]
    sources += [(("tile",), spreads.tile), (("patch",), spreads.patch)]
    for names, spread in sources:
        K += spread**2 * _shared(rows, rows, names)
    return Foretold(rows, spreads, X, variance, np.linalg.cholesky(K))


def _of_pairs(spreads: Spreads) -> tuple[float, float, float]:
    return spreads.base, spreads.overlay, spreads.pair


def _family_effects(rows: pd.DataFrame, away: Floats | float) -> Floats:
    place = {name: i for i, name in enumerate(FAMILY_PAIRS)}
    cell = np.eye(len(FAMILY_PAIRS))[rows["family_pair"].map(place).to_numpy(dtype=np.intp)]
    return np.hstack([cell, cell * np.broadcast_to(away, len(rows))[:, None]])


def _shared(one: pd.DataFrame, other: pd.DataFrame, names: Sequence[str]) -> NDArray[np.bool_]:
    """Which rows of one frame share the named level with which of the other."""
    both = pd.concat([one[list(names)], other[list(names)]], ignore_index=True)
    level = both.groupby(list(names), sort=False).ngroup().to_numpy()
    return level[: len(one), None] == level[None, len(one) :]
