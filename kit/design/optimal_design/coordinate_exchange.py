"""Coordinate exchange: improve many plans at once, one tile or patch at a time."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kit.design.optimal_design.covariance_structure import CovarianceStructure
from kit.design.optimal_design.d_criterion import Change, gains, log_det
from kit.design.optimal_design.exchange_steps import Move

_MOST_PASSES = 40
_LEAST_GAIN = 1e-7
_RIDGE = 1e-3
_SINGULAR = 1e5


@dataclass(frozen=True)
class ExchangeProblem:
    """All that a search needs to know.

    Parameters
    ----------
    x : numpy.ndarray, shape (cells, p)
        Model vector of each cell.
    structure : CovarianceStructure
    moves : sequence of Move
    known : numpy.ndarray, shape (p, p)
        Information from tiles already fired.
    """

    x: np.ndarray
    structure: CovarianceStructure
    moves: Sequence[Move]
    known: np.ndarray

    def information(self, cells: np.ndarray) -> np.ndarray:
        """X'WX and what is known already, for each plan: (s, n) to (s, p, p)."""
        x = self.x[cells]
        information: np.ndarray = x.swapaxes(1, 2) @ (self.structure.precision @ x) + self.known
        return information

    def values(self, cells: np.ndarray) -> np.ndarray:
        """log det of each plan's information, shape (s,)."""
        return log_det(self.information(cells))


def exchange(problem: ExchangeProblem, cells: np.ndarray) -> np.ndarray:
    """Improve each plan until no step of a whole pass does.

    The plans are taken through the steps side by side, so that the cost of a step is shared.

    Parameters
    ----------
    problem : ExchangeProblem
    cells : numpy.ndarray of int, shape (s, n)
        The plans to start from.

    Returns
    -------
    numpy.ndarray of int, shape (s, n)

    Notes
    -----
    After Jones and Goos (2007), A candidate-set-free algorithm for generating D-optimal
    split-plot designs, Applied Statistics 56. Factors of one patch are changed together where
    their combinations are few, which ends in better plans than one factor at a time.
    """
    cells = cells.copy()
    unsettled = np.arange(len(cells))
    for _ in range(_MOST_PASSES):
        cells[unsettled], changed = _one_pass(problem, cells[unsettled])
        unsettled = unsettled[changed]
        if not len(unsettled):
            break
    return cells


def _one_pass(problem: ExchangeProblem, cells: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    x = problem.x[cells]
    inverse = _inverse(problem.information(cells))
    changed = np.zeros(len(cells), bool)
    plans = np.arange(len(cells))
    precision = problem.structure.precision
    for move in problem.moves:
        rows = move.rows
        proposed = move.proposals(cells[:, rows])
        change = Change(
            precision[np.ix_(rows, move.block)] @ x[:, move.block],
            problem.x[proposed] - x[:, None, rows],
            precision[np.ix_(rows, rows)],
        )
        gained = gains(inverse, change)
        best = gained.argmax(axis=1)
        moved = np.flatnonzero(gained[plans, best] > _LEAST_GAIN)
        if not len(moved):
            continue
        taken = Change(change.u[moved], change.d[moved, best[moved]][:, None], change.omega)
        inverse[moved] = taken.updated(inverse[moved])
        where = np.ix_(moved, rows)
        cells[where] = proposed[moved, best[moved]]
        x[where] = problem.x[cells[where]]
        changed[moved] = True
    return cells, changed


def _inverse(information: np.ndarray) -> np.ndarray:
    """Invert; a plan that cannot estimate the model yet is helped by a small ridge."""
    ridge = _RIDGE * np.eye(information.shape[1])
    helped = np.linalg.inv(information + ridge)
    sound = np.linalg.eigvalsh(information)[:, 0] > 1 / _SINGULAR
    helped[sound] = np.linalg.inv(information[sound])
    return helped
