"""The search for the best fit: quasi-Newton, then Newton on the exact gradient's differences."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

from kit.mixed.sparsity import Array

State = TypeVar("State")
# Value to minimise, its gradient, and whatever makes the next evaluation nearby cheaper.
Objective = Callable[[Array, State | None], tuple[float, Array, State | None]]

# A squared length of the remaining Newton step in standard errors, halved.
ROUGH, FINE = 1e-6, 1e-9


@dataclass(frozen=True)
class Optimum(Generic[State]):
    """Where a search ended.

    Attributes
    ----------
    x, gradient : (p,) array
    hessian : (p, p) array
        Differences of the gradient.
    value : float
    state : State
        The objective's own, at `x`.
    converged : bool
        The Newton step that is left is far below every standard error.
    evaluations : int
    """

    x: Array
    value: float
    gradient: Array
    hessian: Array
    state: State
    converged: bool
    evaluations: int


def minimise(
    objective: Objective[State], start: Array, curvature: Array, steps: int = 200
) -> Optimum[State]:
    """Minimise a smooth function from its value and gradient.

    Parameters
    ----------
    objective : callable
        Maps (x, state of a point nearby) to (value, gradient, state); an infinite value marks a
        point outside the domain.
    start : (p,) array
    curvature : (p, p) array
        A guess at the Hessian; it sets the scale of the first steps.
    steps : int
        Most quasi-Newton steps.

    Notes
    -----
    BFGS (Nocedal and Wright 2006, Numerical Optimization, chapter 6) until the predicted gain is
    small, then Newton steps on differences of the gradient, which also give the Hessian
    that standard errors need.
    """
    search = _Search(objective, start)
    guess = inverse_of(curvature)
    search.quasi_newton(guess, steps, ROUGH)
    hessian = search.hessian(np.sqrt(np.diag(guess)))
    converged = False
    for _ in range(8):
        step = -np.linalg.solve(_bent_upward(hessian), search.gradient)
        gain = -0.5 * float(step @ search.gradient)
        if gain < FINE:
            converged = bool(np.linalg.eigvalsh(hessian).min() > -1e-6 * np.abs(hessian).max())
            break
        if not search.move(step):
            break
        if gain > 100 * ROUGH:
            search.quasi_newton(inverse_of(_bent_upward(hessian)), steps, ROUGH)
            hessian = search.hessian(np.sqrt(np.diag(inverse_of(_bent_upward(hessian)))))
    return Optimum(
        search.x,
        search.value,
        search.gradient,
        hessian,
        search.state,
        converged,
        search.evaluations,
    )


def descend(objective: Objective[State], start: Array, inverse: Array) -> tuple[Array, float]:
    """Minimise from nearby, without the curvature there: for a value, not for standard errors.

    Parameters
    ----------
    objective, start
        As for `minimise`.
    inverse : (p, p) array
        Inverse of a Hessian nearby.

    Returns
    -------
    x : (p,) array
    value : float
    """
    search = _Search(objective, start)
    search.quasi_newton(inverse, 100, FINE)
    return search.x, search.value


def inverse_of(matrix: Array) -> Array:
    """Inverse of a symmetric matrix that should be positive definite, bent so if it is not."""
    values, vectors = np.linalg.eigh(matrix)
    floor = 1e-10 * max(float(values.max()), 1e-300)
    inverse: Array = (vectors / np.maximum(np.abs(values), floor)) @ vectors.T
    return inverse


def _bent_upward(hessian: Array) -> Array:
    values, vectors = np.linalg.eigh(hessian)
    floor = 1e-8 * max(float(np.abs(values).max()), 1e-300)
    bent: Array = (vectors * np.maximum(np.abs(values), floor)) @ vectors.T
    return bent


class _Search(Generic[State]):
    """A point on its way downhill."""

    def __init__(self, objective: Objective[State], start: Array) -> None:
        self.objective = objective
        self.x = start
        self.evaluations = 0
        self.value, self.gradient, self.state = self._evaluate(start, None)

    def _evaluate(self, x: Array, state: State | None) -> tuple[float, Array, State]:
        self.evaluations += 1
        return self.objective(x, state)  # type: ignore[return-value]

    def move(self, step: Array) -> bool:
        """Go along a step, shortened until the value falls as its slope promises."""
        slope = float(step @ self.gradient)
        t = 1.0
        for _ in range(40):
            x = self.x + t * step
            value, gradient, state = self._evaluate(x, self.state)
            if value <= self.value + 1e-4 * t * slope + 1e-13 * abs(self.value):
                self.x, self.value, self.gradient, self.state = x, value, gradient, state
                return True
            if np.isfinite(value):
                lowest = -slope * t / (2 * (value - self.value - slope * t)) * t
                t = min(max(lowest, 0.1 * t), 0.5 * t)
            else:
                t *= 0.3
        return False

    def quasi_newton(self, inverse: Array, steps: int, tolerance: float) -> None:
        for _ in range(steps):
            step = -inverse @ self.gradient
            gain = -0.5 * float(step @ self.gradient)
            if gain < tolerance:
                return
            x, gradient = self.x, self.gradient
            if not self.move(step):
                return
            inverse = _updated(inverse, self.x - x, self.gradient - gradient)

    def hessian(self, scale: Array) -> Array:
        """Differences of the gradient from here, steps a ten-thousandth of `scale`.

        One side suffices: symmetry is then restored, and what is left of the error is a
        ten-thousandth of the skewness, far below what a standard error is read to.
        """
        size = self.x.size
        hessian = np.empty((size, size))
        for i in range(size):
            shift = np.zeros(size)
            shift[i] = 1e-4 * scale[i]
            _, gradient, _ = self._evaluate(self.x + shift, self.state)
            hessian[i] = (gradient - self.gradient) / shift[i]
        return 0.5 * (hessian + hessian.T)


def _updated(inverse: Array, moved: Array, turned: Array) -> Array:
    """The BFGS update of an inverse Hessian; skipped where curvature is not upward."""
    along = float(moved @ turned)
    bent = inverse @ turned
    if along <= 1e-10 * float(np.sqrt((moved @ moved) * (turned @ turned))):
        return inverse
    outer = np.outer(bent, moved)
    rise = (along + float(turned @ bent)) / along**2
    return inverse + rise * np.outer(moved, moved) - (outer + outer.T) / along
