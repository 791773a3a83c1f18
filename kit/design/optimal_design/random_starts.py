"""Many random beginnings, then second tries from the best of them."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from kit.design.optimal_design.d_criterion import NEVER
from kit.design.optimal_design.coordinate_exchange import Problem, exchange
from kit.design.optimal_design.factor_space import Grid
from kit.design.optimal_design.exchange_steps import Control
from kit.errors import Misuse

_ROUNDS = 12
_TRIES_EACH = 6
_TILES_DRAWN_AGAIN = 2


@dataclass(frozen=True)
class Draw:
    """Draws random plans that break no rule.

    Parameters
    ----------
    grid : Grid
    allowed : numpy.ndarray of bool, shape (cells,)
    tile, patch : numpy.ndarray of int, shape (n,)
        Which tile and patch each grade belongs to.
    repeat : numpy.ndarray of int, shape (n,)
        Which of a patch's grades it is, counted from 0.
    graded_at : str or None
        The factor whose levels a patch's grades run through.
    control : Control or None
    """

    grid: Grid
    allowed: np.ndarray
    tile: np.ndarray
    patch: np.ndarray
    repeat: np.ndarray
    graded_at: str | None = None
    control: Control | None = None

    def __call__(self, rng: np.random.Generator, plans: int) -> np.ndarray:
        """Draw so many plans, shape (plans, n)."""
        per_tile = math.prod(len(self.grid.levels[name]) for name in self.grid.tile_factors)
        per_patch = self.grid.size // per_tile
        usable = self._usable(per_tile)
        patches = len(np.unique(self.patch))
        settings = usable[rng.integers(0, len(usable), (plans, self.tile[-1] + 1))]
        drawn = rng.integers(0, per_patch, (plans, patches))
        while True:
            cells = self._bound(settings[:, self.tile] * per_patch + drawn[:, self.patch])
            wrong = ~self.allowed[cells[:, self.repeat == 0]]
            if not wrong.any():
                return cells
            drawn[wrong] = rng.integers(0, per_patch, wrong.sum())

    def _usable(self, per_tile: int) -> np.ndarray:
        """Tile settings on which every kind of patch has an allowed cell."""
        usable = self.allowed.reshape(per_tile, -1).any(axis=1)
        if self.control:
            cells = np.arange(self.grid.size)
            alike = self.grid.level_index(self.control.tile_factor, cells) == self.grid.level_index(
                self.control.patch_factor, cells
            )
            usable &= (self.allowed & alike).reshape(per_tile, -1).any(axis=1)
        if not usable.any():
            raise Misuse("The rule leaves no tile that could be fired. Loosen the rule.")
        return np.flatnonzero(usable)

    def _bound(self, cells: np.ndarray) -> np.ndarray:
        """Set what is not drawn: the grade's own firing, and the overlay of a control."""
        strides = self.grid.strides
        if self.graded_at:
            present = self.grid.level_index(self.graded_at, cells)
            cells = cells + (self.repeat - present) * strides[self.graded_at]
        if self.control:
            bound = np.isin(self.patch, self.control.patches)
            tile = self.grid.level_index(self.control.tile_factor, cells)
            own = self.grid.level_index(self.control.patch_factor, cells)
            cells = cells + bound * (tile - own) * strides[self.control.patch_factor]
        return cells


def search(
    problem: Problem,
    draw: Draw,
    starts: int,
    seed: int,
    progress: Callable[[str], None] | None = None,
) -> np.ndarray:
    """Find the best plan from many beginnings.

    Every random plan is improved by exchange. The best sixth go on: each is tried again with two
    of its tiles drawn afresh, several times a round, and the best of old and new go on from there.

    Returns
    -------
    numpy.ndarray of int, shape (n,)
        The cells of the best plan.

    Raises
    ------
    Misuse
        When no beginning led to a plan that can estimate the model.
    """
    rng = np.random.default_rng(seed)
    cells = exchange(problem, draw(rng, starts))
    cells = _best(problem, cells, max(1, starts // _TRIES_EACH))
    for round_ in range(_ROUNDS):
        if progress:
            progress(f"Looking for a better plan: round {round_ + 1} of {_ROUNDS}")
        cells = _best(
            problem, np.concatenate([cells, _second_tries(problem, draw, rng, cells)]), len(cells)
        )
    if problem.values(cells[:1])[0] == NEVER:
        raise Misuse(
            "No plan was found that can tell all the terms apart. Use fewer terms, more tiles or "
            "more patches a tile, or loosen the rule."
        )
    return cells[0]


def _second_tries(
    problem: Problem, draw: Draw, rng: np.random.Generator, cells: np.ndarray
) -> np.ndarray:
    """Try each plan again, several times, with some of its tiles drawn afresh."""
    tiles = draw.tile[-1] + 1
    children = np.repeat(cells, _TRIES_EACH, axis=0)
    order = rng.random((len(children), tiles)).argsort(axis=1)
    again = (order < _TILES_DRAWN_AGAIN)[:, draw.tile]
    return exchange(problem, np.where(again, draw(rng, len(children)), children))


def _best(problem: Problem, cells: np.ndarray, count: int) -> np.ndarray:
    """Take the best plans that differ in value, best first; repeat them if they are too few."""
    standing = problem.standing(cells)
    _, different = np.unique(standing, axis=0, return_index=True)
    best = np.lexsort((different, -standing[different, 1], -standing[different, 0]))
    return cells[np.resize(different[best][:count], count)]
