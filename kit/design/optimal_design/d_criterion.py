"""What makes one plan better than another, and how much a change of a few rows gains.

M = X'WX is the information matrix. Changing m rows by D (m, p) turns it into

    M + U'D + D'U + D' Omega D,    U = W[rows, :] X (m, p),    Omega = W[rows, rows],

a change of rank 2m at most, so that determinant and inverse follow from matrices of 2m rows: the
updates of Jones and Goos (2007) for whole tiles and single patches alike. All functions work on
many plans at once: the leading axis runs over plans, the second over the changes tried.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

NEVER = -np.inf
_LEAST_RATIO = 1e-7


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
        return (ud.reshape(s, -1, p) @ matrix).reshape(ud.shape) @ ud.swapaxes(2, 3)

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
        return inverse - uda.swapaxes(1, 2) @ np.linalg.solve(self.core(inverse)[:, 0], uda)

    def single_row(self, matrix: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """u'Au, u'Ad and d'Ad where one row changes, shapes (s, 1), (s, a) and (s, a)."""
        u, d = self.u[:, 0, :, None], self.d[:, :, 0]
        da = d @ matrix
        return (
            (u.swapaxes(1, 2) @ matrix @ u)[..., 0],
            (da @ u)[..., 0],
            np.einsum("sap,sap->sa", da, d),
        )


class Criterion(Protocol):
    """A number to make as large as possible."""

    def weighted(self, inverse: np.ndarray) -> np.ndarray:
        """What `gains` needs beside the inverse and is worth keeping, shape (s, p, p)."""
        ...

    def gains(self, inverse: np.ndarray, weighted: np.ndarray, change: Change) -> np.ndarray:
        """How much each change would raise the value, shape (s, a)."""
        ...

    def values(self, information: np.ndarray) -> np.ndarray:
        """Value of each information matrix; minus infinity where it is singular, shape (s,)."""
        ...


@dataclass(frozen=True)
class DCriterion:
    """Logarithm of the determinant of M: all the model's coefficients as sure as can be."""

    def weighted(self, inverse: np.ndarray) -> np.ndarray:
        return inverse

    def gains(self, inverse: np.ndarray, weighted: np.ndarray, change: Change) -> np.ndarray:
        if len(change.omega) == 1:
            a, b, e = change.single_row(inverse)
            ratio = (1 + b) ** 2 + e * (change.omega[0, 0] - a)
        else:
            ratio = _sign(change) * np.linalg.det(change.core(inverse))
        return np.log(np.maximum(ratio, _LEAST_RATIO))

    def values(self, information: np.ndarray) -> np.ndarray:
        sign, logdet = np.linalg.slogdet(information)
        return np.where((sign > 0) & _sound(information), logdet, NEVER)


@dataclass(frozen=True)
class ICriterion:
    """Minus the average variance of a foretold value over the region, -trace(M^-1 B).

    Parameters
    ----------
    moments : numpy.ndarray, shape (p, p)
        B, the average of f(x) f(x)' over the region.
    """

    moments: np.ndarray

    def weighted(self, inverse: np.ndarray) -> np.ndarray:
        return inverse @ self.moments @ inverse

    def gains(self, inverse: np.ndarray, weighted: np.ndarray, change: Change) -> np.ndarray:
        if len(change.omega) == 1:
            a, b, e = change.single_row(inverse)
            omega = change.omega[0, 0]
            ratio = (1 + b) ** 2 + e * (omega - a)
            uu, ud, dd = change.single_row(weighted)
            fall = (2 * (1 + b) * ud - e * uu - (a - omega) * dd) / np.maximum(ratio, _LEAST_RATIO)
            return np.where(ratio > _LEAST_RATIO, fall, NEVER)
        core = change.core(inverse)
        spoilt = _sign(change) * np.linalg.det(core) < _LEAST_RATIO
        core[spoilt] = np.eye(core.shape[-1])
        fall = np.einsum("...ii", np.linalg.solve(core, change.inner(weighted)))
        return np.where(spoilt, NEVER, fall)

    def values(self, information: np.ndarray) -> np.ndarray:
        sound = _sound(information)
        values = np.full(len(information), NEVER)
        inverse = np.linalg.inv(information[sound])
        values[sound] = -np.einsum("sij,ji->s", inverse, self.moments)
        return values


def _sign(change: Change) -> int:
    """Sign of det K^-1, which turns det(core) into the ratio of determinants."""
    return -1 if len(change.omega) % 2 else 1


def _sound(information: np.ndarray) -> np.ndarray:
    """Whether the columns, orthonormal by their coding, can all be estimated."""
    return np.linalg.eigvalsh(information)[:, 0] > 1e-7
