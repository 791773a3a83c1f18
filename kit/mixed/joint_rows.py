"""Rows of two kinds in one likelihood: grades through cuts, and measurements on a line.

    P(y_i <= k) = F(theta_k - eta_i)                          for grades,
    m_i = a + b eta_i + error,  error ~ N(0, v_i),            for measurements,
    v_i = tau^2 + (known standard error of i)^2.

The own parameters are the thresholds, then a and b; tau stands behind the standard deviations.
Without grades a is 0 and b is 1; without measurements there is none of the three.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from kit.mixed.row_likelihoods import (
    FittedRows,
    GradeRows,
    GradeTerms,
    MeasuredRows,
    MeasuredTerms,
)
from kit.mixed.sparsity import Array


@dataclass(frozen=True)
class JointTerms:
    """Likelihood of all rows at one value of their eta, grades first."""

    graded: GradeTerms
    measured: MeasuredTerms
    b: float

    @property
    def e(self) -> Array:
        return np.concatenate([self.graded.e, self.measured.e])

    @property
    def w(self) -> Array:
        return np.concatenate([self.graded.w, self.measured.w])

    @property
    def w_slope(self) -> Array:
        """dw/d eta."""
        return np.concatenate([self.graded.w_slope, self.measured.w_slope])

    @property
    def total(self) -> float:
        return self.graded.total + self.measured.total


@dataclass(frozen=True)
class JointRows(FittedRows):
    """Graded rows and, after them, measured rows; their effects and random effects.

    Parameters
    ----------
    measured : MeasuredRows
        Those that stand last in `x`.
    """

    measured: MeasuredRows

    @property
    def linked(self) -> bool:
        """Whether a and b are estimated."""
        return bool(self.y.size and self.measured.size)

    @property
    def own(self) -> int:
        """Number of parameters before the effects: the thresholds, then a and b."""
        return self.cuts + 2 * self.linked

    @property
    def behind(self) -> int:
        """Number of parameters behind the standard deviations: tau or none."""
        return int(self.measured.size > 0)

    @cached_property
    def grades(self) -> GradeRows:
        """The graded rows alone, without random effects."""
        return GradeRows(self.y, self.x[: self.y.size], self.pattern, self.steps, 0)

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
        of_grades = self._of_grades(psi)
        v = self.measured.variances(psi[-1] if self.behind else 0.0)
        graded = self.grades.conditional(of_grades)
        if graded is None or not np.all(v > 0):
            return None
        count = self.y.size
        a, b = self.link(psi)
        xb = self.x[count:] @ self.split(psi)[1]

        def terms(zu: Array) -> JointTerms:
            measured = self.measured.terms(xb + zu[count:], a, b, v)
            return JointTerms(graded(zu[:count]), measured, b)

        return terms

    def own_slopes(self, psi: Array, terms: JointTerms, h: Array, t: Array) -> Array:
        """Slopes of log P - (h w + t e) / 2 by the rows' parameters, at fixed eta, h and t."""
        count = self.y.size
        slope = self.grades.own_slopes(psi, terms.graded, h[:count], t[:count])
        if not self.behind:
            return slope
        by_a, by_b, by_v = self.measured.slopes(terms.measured, h[count:], t[count:])
        linked = [by_a.sum(), by_b.sum()] if self.linked else []
        return np.concatenate([slope, linked, [2 * psi[-1] * by_v.sum()]])

    def own_pulls(self, psi: Array, terms: JointTerms) -> list[Array]:
        """de by each of the rows' parameters, row by row."""
        none = np.zeros(self.measured.size)
        graded = self.grades.own_pulls(psi, terms.graded)
        pulls = [np.concatenate([pull, none]) for pull in graded]
        if not self.behind:
            return pulls
        *link, by_v = self.measured.pulls(terms.measured)
        further = [*(link if self.linked else []), 2 * psi[-1] * by_v]
        blank = np.zeros(self.y.size)
        return pulls + [np.concatenate([blank, pull]) for pull in further]

    def information(self, psi: Array, terms: JointTerms) -> Array:
        """Information on the rows' parameters and effects, tau last.

        Observed for grades; expected for measurements that were read, where it is never negative.
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
        seen = terms.measured
        jacobian = np.zeros((self.measured.size, size))
        if self.linked:
            jacobian[:, self.cuts] = 1.0
            jacobian[:, self.cuts + 1] = seen.eta
        jacobian[:, effects] = terms.b * self.x[count:]
        information += (jacobian * (seen.second / seen.v)[:, None]).T @ jacobian
        information[-1, -1] = 4 * psi[-1] ** 2 * self.measured.of_v(seen)
        return information
