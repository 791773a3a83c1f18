"""The factor of I + L Z'WZ L in the blocks that `CrossedPattern` laid out; one thread for it all.

Every matrix here is small. Several threads gain nothing on it, and on a busy machine they wait for
each other: a fit of milliseconds was seen to take a second.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

import numpy as np
from scipy import sparse
from scipy.linalg import lapack
from threadpoolctl import ThreadpoolController

from kit.mixed.sparsity import Array, CrossedPattern


class CrossedFactor:
    """D = I + L A L, factored; A holds the sums of `CrossedPattern.gather`.

    Attributes
    ----------
    logdet : float
        log det D.
    """

    def __init__(self, pattern: CrossedPattern, summed: Array, scale: Array) -> None:
        values = np.zeros(pattern.length)
        np.multiply(summed, scale, out=values[: pattern.stored])
        values[: pattern.q] += 1.0
        self.pattern = pattern
        self.values = values
        self._scaled = []
        logdet = 0.0
        for stage in pattern.stages:
            pivot = values[stage.start : stage.stop]
            logdet += float(np.log(pivot).sum())
            coupling = values[stage.slot]
            scaled = coupling / values[stage.row]
            self._scaled.append(scaled)
            if coupling.size:
                values[: pattern.q] -= np.bincount(stage.column, scaled * coupling, pattern.q)
            if stage.target.size:
                values -= np.bincount(
                    stage.target, scaled[stage.first] * coupling[stage.second], pattern.length
                )
        self._dense: Array | None = None
        if pattern.rest.size:
            size = pattern.rest.size
            full = np.append(values, 0.0)[pattern.rest_slots].reshape(size, size)
            self._dense, _ = lapack.dpotrf(full, lower=1)
            logdet += 2 * float(np.log(self._dense.diagonal()).sum())
        self.logdet = logdet

    def solve(self, right: Array) -> Array:
        """D^-1 right, for a (q,) vector or a (q, m) block."""
        return self._solve(right) if right.ndim == 1 else self._solve_block(right)

    def _solve(self, right: Array) -> Array:
        x = right.copy()
        q = self.pattern.q
        for stage, scaled in zip(self.pattern.stages, self._scaled, strict=True):
            if scaled.size:
                x -= np.bincount(stage.column, scaled * x[stage.row], q)
        if self._dense is not None:
            rest = self.pattern.rest
            x[rest] = lapack.dpotrs(self._dense, x[rest], lower=1)[0]
        for stage, scaled in zip(
            reversed(self.pattern.stages), reversed(self._scaled), strict=True
        ):
            own = slice(stage.start, stage.stop)
            x[own] /= self.values[own]
            if scaled.size:
                back = scaled * x[stage.column]
                x[own] -= np.bincount(stage.row - stage.start, back, stage.stop - stage.start)
        return x

    def _solve_block(self, right: Array) -> Array:
        x = np.array(right, dtype=float, order="C")
        couplings = [
            sparse.csr_array(
                (scaled, stage.column, stage.ends), shape=(stage.stop - stage.start, x.shape[0])
            )
            for stage, scaled in zip(self.pattern.stages, self._scaled, strict=True)
        ]
        for stage, coupling in zip(self.pattern.stages, couplings, strict=True):
            x -= coupling.T @ x[stage.start : stage.stop]
        if self._dense is not None:
            rest = self.pattern.rest
            x[rest] = lapack.dpotrs(self._dense, x[rest], lower=1)[0]
        for stage, coupling in zip(reversed(self.pattern.stages), reversed(couplings), strict=True):
            own = slice(stage.start, stage.stop)
            x[own] /= self.values[own, None]
            x[own] -= coupling @ x
        return x

    def inverse(self) -> Array:
        """D^-1 at the stored non-zeros and the fill, in the order of the stored values."""
        inverse = np.zeros(self.pattern.length + 1)
        if self._dense is not None:
            lower, _ = lapack.dpotri(self._dense, lower=1)
            size = self.pattern.rest.size
            below = np.tril_indices(size)
            slots = self.pattern.rest_slots.reshape(size, size)[below]
            inverse[slots] = lower[below]
        for stage, scaled in zip(
            reversed(self.pattern.stages), reversed(self._scaled), strict=True
        ):
            own = slice(stage.start, stage.stop)
            inverse[own] = 1 / self.values[own]
            if not scaled.size:
                continue
            entry = -scaled * inverse[stage.column]
            if stage.target.size:
                known = inverse[stage.target]
                count = scaled.size
                entry -= np.bincount(stage.first, scaled[stage.second] * known, count)
                entry -= np.bincount(stage.second, scaled[stage.first] * known, count)
            inverse[stage.slot] = entry
            levels = stage.stop - stage.start
            inverse[own] -= np.bincount(stage.row - stage.start, scaled * entry, levels)
        return inverse[:-1]


@cache
def _controller() -> ThreadpoolController:
    return ThreadpoolController()


@contextmanager
def one_thread() -> Iterator[None]:
    """Keep numpy's and scipy's linear algebra to one thread inside the block."""
    with _controller().limit(limits=1, user_api="blas"):
        yield
