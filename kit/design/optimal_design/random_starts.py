"""Many random beginnings, then second tries from the best of them."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from kit.design.optimal_design.coordinate_exchange import ExchangeProblem, exchange
from kit.design.optimal_design.d_criterion import NEVER
from kit.design.optimal_design.design_space import FactorSpace
from kit.design.optimal_design.exchange_steps import Control
from kit.errors import Misuse

_ROUNDS = 12
_TRIES_EACH = 6
_TILES_DRAWN_AGAIN = 2
_EQUAL = 7


@dataclass(frozen=True)
class Draw:
    """Draws random plans.

    Parameters
    ----------
    grid : FactorSpace
    tile : numpy.ndarray of int, shape (n,)
        Tile of each patch.
    control : Control or None
    """

    grid: FactorSpace
    tile: np.ndarray
    control: Control | None = None

    def __call__(self, rng: np.random.Generator, plans: int) -> np.ndarray:
        """Draw so many plans, shape (plans, n)."""
        per_tile = math.prod(len(self.grid.levels[name]) for name in self.grid.tile_factors)
        per_patch = self.grid.size // per_tile
        settings = rng.integers(0, per_tile, (plans, self.tile[-1] + 1))
        drawn = rng.integers(0, per_patch, (plans, len(self.tile)))
        return self._bound(settings[:, self.tile] * per_patch + drawn)

    def _bound(self, cells: np.ndarray) -> np.ndarray:
        """Set what is not drawn: the overlay of a control."""
        strides = self.grid.strides
        if self.control:
            bound = np.isin(np.arange(len(self.tile)), self.control.patches)
            tile = self.grid.level_index(self.control.tile_factor, cells)
            own = self.grid.level_index(self.control.patch_factor, cells)
            cells = cells + bound * (tile - own) * strides[self.control.patch_factor]
        return cells


def search(
    problem: ExchangeProblem,
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
            "more patches a tile."
        )
    best: np.ndarray = cells[0]
    return best


def _second_tries(
    problem: ExchangeProblem, draw: Draw, rng: np.random.Generator, cells: np.ndarray
) -> np.ndarray:
    """Try each plan again, several times, with some of its tiles drawn afresh."""
    tiles = draw.tile[-1] + 1
    children = np.repeat(cells, _TRIES_EACH, axis=0)
    order = rng.random((len(children), tiles)).argsort(axis=1)
    again = (order < _TILES_DRAWN_AGAIN)[:, draw.tile]
    return exchange(problem, np.where(again, draw(rng, len(children)), children))


def _best(problem: ExchangeProblem, cells: np.ndarray, count: int) -> np.ndarray:
    """Take the best plans that differ in value, best first; repeat them if they are too few."""
    value = problem.values(cells).round(_EQUAL)
    _, different = np.unique(-value, return_index=True)
    return cells[np.resize(different[:count], count)]
