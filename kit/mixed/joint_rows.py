"""Rows of two kinds in one likelihood: grades through cuts, and measurements on a line.

    P(y_i <= k) = F(theta_k - eta_i)                          for grades,
    m_i = a + b eta_i + error,  error ~ N(0, v_i),            for measurements,
    v_i = tau^2 + (known standard error of i)^2.

With r = m - a - b eta, a measurement's log-likelihood is -(log 2 pi v + r^2 / v) / 2, and by eta

    e = b r / v,    w = b^2 / v,    dw/d eta = 0.

The own parameters are the thresholds, then a and b; tau stands behind the standard deviations.
Without grades a is 0 and b is 1; without measurements there is none of the three.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from kit.mixed.grade_rows import GradeRows, GradeTerms
from kit.mixed.sparsity import Array, CrossedPattern, Index


@dataclass(frozen=True)
class JointTerms:
    """Likelihood of all rows at one value of their eta, grades first.

    `graded` holds the grades' own terms, `eta`, `r` and `v` those of the measurements (letters as
    above).
    """

    graded: GradeTerms
    eta: Array
    r: Array
    v: Array
    b: float
    e: Array
    w: Array
    w_slope: Array
    total: float


@dataclass(frozen=True)
class JointRows:
    """Graded rows and, after them, measured rows; their effects and random effects.

    Parameters
    ----------
    y : (g,) integer array
        Step of each graded row, counted from 0.
    measured : (m,) array
    error : (m,) array
        Known standard error of each measurement.
    x : (g + m, p) array
    pattern : CrossedPattern
    steps : int
        Number of steps of the scale; 1 without grades.
    free_sds : int
    """

    y: Index
    measured: Array
    error: Array
    x: Array
    pattern: CrossedPattern
    steps: int
    free_sds: int

    @property
    def cuts(self) -> int:
        return self.steps - 1

    @property
    def linked(self) -> bool:
        """Whether a and b are estimated."""
        return bool(self.y.size and self.measured.size)

    @property
    def own(self) -> int:
        return self.cuts + 2 * self.linked

    @property
    def behind(self) -> int:
        """Number of parameters behind the standard deviations: tau or none."""
        return int(self.measured.size > 0)

    @property
    def size(self) -> int:
        total: int = self.own + self.x.shape[1] + self.free_sds + self.behind
        return total

    @cached_property
    def grades(self) -> GradeRows:
        """The graded rows alone, without random effects."""
        return GradeRows(self.y, self.x[: self.y.size], self.pattern, self.steps, 0)

    def part(self, keep: Array) -> "JointRows":
        """Some of the rows only."""
        graded, measured = np.split(keep, [self.y.size])
        return replace(
            self,
            y=self.y[graded],
            measured=self.measured[measured],
            error=self.error[measured],
            x=self.x[keep],
            pattern=self.pattern.part(keep),
        )

    def split(self, psi: Array) -> tuple[Array, Array, Array]:
        """Own parameters in front, effects and standard deviations from one vector."""
        first, last = self.own, self.own + self.x.shape[1]
        sd = psi[last : last + self.free_sds] if self.free_sds else np.zeros(1)
        return psi[:first], psi[first:last], sd

    def link(self, psi: Array) -> tuple[float, float]:
        """a and b."""
        return (float(psi[self.cuts]), float(psi[self.cuts + 1])) if self.linked else (0.0, 1.0)

    def _of_grades(self, psi: Array) -> Array:
        """The parameters that grades know: thresholds and effects."""
        return np.concatenate([psi[: self.cuts], self.split(psi)[1]])

    def constant(self, psi: Array) -> float:
        """Log of the grades' factors that eta does not enter."""
        return self.grades.constant(psi)

    def conditional(self, psi: Array) -> Callable[[Array], JointTerms] | None:
        """The rows' likelihood by what random effects add to eta; None outside the domain."""
        distances = self.grades.distances(self._of_grades(psi))
        v = self.error**2 + (psi[-1] ** 2 if self.behind else 0.0)
        if distances is None or not np.all(v > 0):
            return None
        graded = self.grades.conditional(self._of_grades(psi))
        assert graded is not None
        count = self.y.size
        a, b = self.link(psi)
        xb = self.x[count:] @ self.split(psi)[1]
        log_size = -0.5 * float(np.log(2 * np.pi * v).sum())

        def terms(zu: Array) -> JointTerms:
            own = graded(zu[:count])
            eta = xb + zu[count:]
            r = self.measured - a - b * eta
            total = own.total + log_size - 0.5 * float(r @ (r / v))
            return JointTerms(
                own,
                eta,
                r,
                v,
                b,
                np.concatenate([own.e, b * r / v]),
                np.concatenate([own.w, b**2 / v]),
                np.concatenate([own.w_slope, np.zeros(r.size)]),
                total,
            )

        return terms

    def own_slopes(self, psi: Array, terms: JointTerms, h: Array, t: Array) -> Array:
        """Slopes of log P - (h w + t e) / 2 by the rows' parameters, at fixed eta, h and t."""
        count = self.y.size
        slope = self.grades.own_slopes(psi, terms.graded, h[:count], t[:count])
        if not self.behind:
            return slope
        h, t = h[count:], t[count:]
        eta, r, v, b = terms.eta, terms.r, terms.v, terms.b
        linked = []
        if self.linked:
            by_a = r / v + 0.5 * t * b / v
            by_b = eta * r / v - h * b / v - 0.5 * t * (r - b * eta) / v
            linked = [by_a.sum(), by_b.sum()]
        by_v = -0.5 / v + 0.5 * r**2 / v**2 + 0.5 * (h * b**2 + t * b * r) / v**2
        return np.concatenate([slope, linked, [2 * psi[-1] * by_v.sum()]])

    def own_pulls(self, psi: Array, terms: JointTerms) -> list[Array]:
        """de by each of the rows' parameters, row by row."""
        none = np.zeros(self.measured.size)
        graded = self.grades.own_pulls(psi, terms.graded)
        pulls = [np.concatenate([pull, none]) for pull in graded]
        if not self.behind:
            return pulls
        r, v, b = terms.r, terms.v, terms.b
        further = [-b / v, (r - b * terms.eta) / v] if self.linked else []
        further.append(-2 * psi[-1] * b * r / v**2)
        blank = np.zeros(self.y.size)
        return pulls + [np.concatenate([blank, pull]) for pull in further]

    def information(self, psi: Array, terms: JointTerms) -> Array:
        """Information on the rows' parameters and effects, tau last.

        Observed for grades; expected for measurements, where it is never negative.
        """
        count, p = self.y.size, self.x.shape[1]
        size = self.own + p + self.behind
        information = np.zeros((size, size))
        effects = np.arange(self.own, self.own + p)
        place = np.concatenate([np.arange(self.cuts), effects])
        of_grades = self.grades.information(self._of_grades(psi), terms.graded)
        information[np.ix_(place, place)] += of_grades
        if not self.behind:
            return information
        v, b = terms.v, terms.b
        jacobian = np.zeros((self.measured.size, size))
        if self.linked:
            jacobian[:, self.cuts] = 1.0
            jacobian[:, self.cuts + 1] = terms.eta
        jacobian[:, effects] = b * self.x[count:]
        information += (jacobian / v[:, None]).T @ jacobian
        information[-1, -1] = 2 * psi[-1] ** 2 * float((1 / v**2).sum())
        return information
