"""The likelihood of single measurements: what a line says of each, given its eta.

    m_i = a + b eta_i + error,  error ~ N(0, v_i),  v_i = tau^2 + (known standard error of i)^2.

With r = m - a - b eta, a measurement's log-likelihood is -(log 2 pi v + r^2 / v) / 2. One that only
says 'this or less' (side 1) or 'this or more' (side -1) has Phi(q) instead, q = side r / sqrt(v):
what lies beyond what the camera can tell is censored, as in Tobin (1958), Estimation of
relationships for limited dependent variables, Econometrica 26. With h = phi(q) / Phi(q) and
k = h (q + h), which lies between 0 and 1,

    d log Phi = h,   -d^2 log Phi = k,   dk/dq = h - k (q + 2 h),   dq/d eta = -side b / sqrt(v).
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize
from scipy.special import log_ndtr

from kit.mixed.sparsity import Array, Index


def deviation_within(values: Array, side: Index) -> float:
    """Standard deviation of measurements, were none censored: that of the likeliest normal.

    Parameters
    ----------
    values, side
        As for `MeasuredRows`; not all of one value.
    """
    sd = float(values.std())
    if not side.any():
        return sd

    def misfit(at: Array) -> float:
        q = (values - at[0]) / np.exp(at[1])
        each = np.where(side == 0, -0.5 * q**2 - at[1], log_ndtr(side * q))
        return -float(each.sum())

    start = np.array([values.mean(), np.log(sd)])
    return float(np.exp(minimize(misfit, start, method="Nelder-Mead").x[1]))


@dataclass(frozen=True)
class MeasuredTerms:
    """Likelihood of each measurement at one value of its eta.

    `q`, `first`, `second` and `third` are r / sqrt(v), or q, and the derivatives by it of the
    log-likelihood (of minus, minus, that of `second`); `pull` is dq/d eta.
    """

    eta: Array
    v: Array
    q: Array
    pull: Array
    first: Array
    second: Array
    third: Array
    total: float

    @property
    def e(self) -> Array:
        return self.first * self.pull

    @property
    def w(self) -> Array:
        w: Array = self.second * self.pull**2
        return w

    @property
    def w_slope(self) -> Array:
        """dw/d eta."""
        slope: Array = self.third * self.pull**3
        return slope


@dataclass(frozen=True)
class MeasuredRows:
    """Measurements, their known errors, and which of them are censored.

    Parameters
    ----------
    values, error : (m,) arrays
    side : (m,) integer array
        0 for what was read, 1 for 'this or less', -1 for 'this or more'.
    """

    values: Array
    error: Array
    side: Index

    @property
    def size(self) -> int:
        return int(self.values.size)

    @property
    def read(self) -> int:
        """How many were read: what a change of units counts for."""
        return int((self.side == 0).sum())

    def part(self, keep: Array) -> "MeasuredRows":
        """Some of them only."""
        return replace(self, values=self.values[keep], error=self.error[keep], side=self.side[keep])

    def variances(self, tau: float) -> Array:
        return self.error**2 + tau**2

    def terms(self, eta: Array, a: float, b: float, v: Array) -> MeasuredTerms:
        """The measurements' likelihood at eta."""
        sign = np.where(self.side == 0, 1, self.side)
        q = sign * (self.values - a - b * eta) / np.sqrt(v)
        exact = self.side == 0
        log_below = log_ndtr(q)
        h = np.exp(-0.5 * q**2 - 0.5 * np.log(2 * np.pi) - log_below)
        k = h * (q + h)
        single = np.where(exact, -0.5 * (np.log(2 * np.pi * v) + q**2), log_below)
        return MeasuredTerms(
            eta,
            v,
            q,
            -sign * b / np.sqrt(v),
            np.where(exact, -q, h),
            np.where(exact, 1.0, k),
            np.where(exact, 0.0, h - k * (q + 2 * h)),
            float(single.sum()),
        )

    def by_link(self, terms: MeasuredTerms) -> tuple[list[Array], list[Array]]:
        """dq and d(dq/d eta) by a, b and v, row by row."""
        sign = np.where(self.side == 0, 1, self.side)
        unit = -sign / np.sqrt(terms.v)
        moved = [unit, terms.eta * unit, -0.5 * terms.q / terms.v]
        turned = [np.zeros(self.size), unit, -0.5 * terms.pull / terms.v]
        return moved, turned

    def slopes(self, terms: MeasuredTerms, h: Array, t: Array) -> list[Array]:
        """Slopes of log P - (h w + t e) / 2 by a, b and v at fixed eta, h and t, row by row."""
        moved, turned = self.by_link(terms)
        g = terms.pull
        found = []
        for q, own in zip(moved, turned, strict=True):
            by_w = terms.third * q * g**2 + 2 * terms.second * g * own
            by_e = -terms.second * q * g + terms.first * own
            found.append(terms.first * q - 0.5 * (h * by_w + t * by_e))
        # What a reading's density is wide by; a censored one is a chance and has none.
        found[2] = found[2] - np.where(self.side == 0, 0.5 / terms.v, 0.0)
        return found

    def pulls(self, terms: MeasuredTerms) -> list[Array]:
        """de by a, b and v, row by row."""
        return [
            -terms.second * q * terms.pull + terms.first * own
            for q, own in zip(*self.by_link(terms), strict=True)
        ]

    def of_v(self, terms: MeasuredTerms) -> float:
        """Information on v, summed: expected for readings, observed for the rest."""
        seen = np.where(self.side == 0, 2.0, terms.second * terms.q**2)
        return float((0.25 * seen / terms.v**2).sum())
