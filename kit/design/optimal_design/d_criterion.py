"""The D-criterion, log det M: how sure a plan makes effects, and what changing a few rows gains.

Who shares a tile and a sitting decides the covariance of the grades, and W is its inverse.
M = X'WX is the information matrix. Changing m rows by D (m, p) turns it into

    M + U'D + D'U + D' Omega D,    U = W[rows, :] X (m, p),    Omega = W[rows, rows],

a change of rank 2m at most, so that determinant and inverse follow from matrices of 2m rows: the
updates of Jones and Goos (2007) for whole tiles and single patches alike. All functions work on
many plans at once: the leading axis runs over plans, the second over the changes tried.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from kit.errors import Misuse


@dataclass(frozen=True)
class VarianceRatios:
    """How much tiles, sessions and patches differ, as ratios to one patch's own variance.

    Parameters
    ----------
    tile : float
        Variance between tiles over the variance of a grade within a tile.
    session : float
        Likewise between sessions.
    """

    tile: float = 1.0
    session: float = 0.0

    def __post_init__(self) -> None:
        for name, ratio in vars(self).items():
            if not (np.isfinite(ratio) and ratio >= 0):
                raise Misuse(f"The {name} variance ratio must be 0 or more, not {ratio}.")


@dataclass(frozen=True)
class CovarianceStructure:
    """The patches of a plan, each with the tile and session that it belongs to.

    Parameters
    ----------
    tile, session : numpy.ndarray of int, shape (n,)
        Rows of the same tile lie together.
    ratios : VarianceRatios
    """

    tile: np.ndarray
    session: np.ndarray
    ratios: VarianceRatios

    @property
    def n(self) -> int:
        return len(self.tile)

    @cached_property
    def precision(self) -> np.ndarray:
        """W, the inverse of V = I + sum of ratio x Z Z' over tiles and sessions, (n, n).

        Notes
        -----
        The split plot's V = I + d Z Z' is that of Jones and Goos (2007), A candidate-set-free
        algorithm for generating D-optimal split-plot designs, Applied Statistics 56.
        """
        v = np.eye(self.n)
        for group, ratio in (
            (self.tile, self.ratios.tile),
            (self.session, self.ratios.session),
        ):
            v += ratio * (group[:, None] == group)
        return np.linalg.inv(v)

    def block(self, rows: np.ndarray) -> np.ndarray:
        """Rows whose grades are correlated with those of the rows given."""
        group = self.session if self.ratios.session else self.tile
        return np.flatnonzero(np.isin(group, group[rows]))


def structure(
    tiles: int, patches_per_tile: int, tiles_per_session: int | None, ratios: VarianceRatios
) -> CovarianceStructure:
    """Lay out tiles of so many patches, fired in sessions."""
    tile = np.repeat(np.arange(tiles), patches_per_tile)
    return CovarianceStructure(tile, tile // (tiles_per_session or tiles), ratios)


NEVER = -np.inf
_LEAST_RATIO = 1e-7
_LEAST_EIGENVALUE = 1e-7


@dataclass(frozen=True)
class Change:
    """Rows to change, and by how much.

    Parameters
    ----------
    u : numpy.ndarray, shape (s, m, p)
    d : numpy.ndarray, shape (s, a, m, p)
        One for each of `a` changes tried.
    omega : numpy.ndarray, shape (m, m)
    """

    u: np.ndarray
    d: np.ndarray
    omega: np.ndarray

    def inner(self, matrix: np.ndarray) -> np.ndarray:
        """[U; D] matrix [U; D]' for every change, shape (s, a, 2m, 2m)."""
        s, p = len(self.d), self.d.shape[-1]
        ud = np.concatenate([np.broadcast_to(self.u[:, None], self.d.shape), self.d], axis=2)
        inner: np.ndarray = (ud.reshape(s, -1, p) @ matrix).reshape(ud.shape) @ ud.swapaxes(2, 3)
        return inner

    def core(self, inverse: np.ndarray) -> np.ndarray:
        """K^-1 + [U; D] M^-1 [U; D]' with K = [[0, I], [I, Omega]], shape (s, a, 2m, 2m)."""
        core = self.inner(inverse)
        m = len(self.omega)
        core[..., :m, :m] -= self.omega
        core[..., :m, m:] += np.eye(m)
        core[..., m:, :m] += np.eye(m)
        return core

    def updated(self, inverse: np.ndarray) -> np.ndarray:
        """The inverse after the first change, by Woodbury's identity, shape (s, p, p)."""
        ud = np.concatenate([self.u, self.d[:, 0]], axis=1)
        uda = ud @ inverse
        drop = uda.swapaxes(1, 2) @ np.linalg.solve(self.core(inverse)[:, 0], uda)
        updated: np.ndarray = inverse - drop
        return updated

    def single_row(self, matrix: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """u'Au, u'Ad and d'Ad where one row changes, shapes (s, 1), (s, a) and (s, a)."""
        u, d = self.u[:, 0, :, None], self.d[:, :, 0]
        da = d @ matrix
        return (
            (u.swapaxes(1, 2) @ matrix @ u)[..., 0],
            (da @ u)[..., 0],
            np.einsum("sap,sap->sa", da, d),
        )


def log_det(information: np.ndarray) -> np.ndarray:
    """log det M of each plan; minus infinity where M is singular: (s, p, p) to (s,)."""
    sign, value = np.linalg.slogdet(information)
    # The model's columns are coded to be orthonormal, so that this bound has no unit.
    estimable = np.linalg.eigvalsh(information)[:, 0] > _LEAST_EIGENVALUE
    return np.where((sign > 0) & estimable, value, NEVER)


def gains(inverse: np.ndarray, change: Change) -> np.ndarray:
    """How much each change would raise log det M, shape (s, a)."""
    if len(change.omega) == 1:
        a, b, e = change.single_row(inverse)
        ratio = (1 + b) ** 2 + e * (change.omega[0, 0] - a)
    else:
        # det K^-1 is 1 or -1, and turns det(core) into the ratio of determinants.
        sign = -1 if len(change.omega) % 2 else 1
        ratio = sign * np.linalg.det(change.core(inverse))
    gained: np.ndarray = np.log(np.maximum(ratio, _LEAST_RATIO))
    return gained
