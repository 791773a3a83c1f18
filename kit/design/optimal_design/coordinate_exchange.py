"""Coordinate exchange: many random plans improved at once, one tile or patch at a time."""

import itertools
import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

import numpy as np

from kit.design.optimal_design.d_criterion import NEVER, Change, CovarianceStructure, gains, log_det
from kit.design.optimal_design.design_space import FactorSpace
from kit.errors import Misuse

MOST_OPTIONS = 48
"""Factors of a patch are changed together while they have no more combinations than this."""


@dataclass(frozen=True)
class Part:
    """Some factors of a cell, changed together.

    Parameters
    ----------
    held : numpy.ndarray of int, shape (cells,)
        What the part's present levels add to the number of each cell.
    options : numpy.ndarray of int, shape (a,)
        What each combination of levels would add.
    """

    held: np.ndarray
    options: np.ndarray


@dataclass(frozen=True)
class Move:
    """One step: these rows take other levels in some factors.

    Parameters
    ----------
    rows : numpy.ndarray of int, shape (m,)
    block : numpy.ndarray of int
        Rows correlated with them.
    parts : tuple of Part, length m
        The factors that change in each row; all have as many options.
    """

    rows: np.ndarray
    block: np.ndarray
    parts: tuple[Part, ...]

    def proposals(self, cells: np.ndarray) -> np.ndarray:
        """Cells of these rows after each option, from the cells now: (s, m) to (s, a, m)."""
        return np.stack(
            [
                (cells[:, i] - part.held[cells[:, i]])[:, None] + part.options
                for i, part in enumerate(self.parts)
            ],
            axis=2,
        )


@dataclass(frozen=True)
class Control:
    """A patch that must be as its tile, such as a colour on itself.

    Parameters
    ----------
    tile_factor, patch_factor : str
        The two that must agree; both have the same levels in the same order.
    patches : tuple of int
        The patches bound so.
    """

    tile_factor: str
    patch_factor: str
    patches: tuple[int, ...]


def moves(
    grid: FactorSpace,
    structure: CovarianceStructure,
    fixed: Collection[str] = (),
    control: Control | None = None,
) -> list[Move]:
    """List the steps of one pass over the plan: each tile, then its patches.

    Parameters
    ----------
    grid : FactorSpace
    structure : CovarianceStructure
    fixed : collection of str
        Factors that are not chosen, being settled before.
    control : Control, optional
    """
    bound = set(control.patches) if control else set()
    free = [name for name in grid.patch_factors if name not in fixed]
    by_tile = [name for name in grid.tile_factors if name not in fixed]
    tile_part = _part(grid, by_tile)
    bound_tile_part = _part(grid, by_tile, control)
    patch_parts = [_part(grid, group) for group in _groups(grid, free)]
    own = [name for name in free if control is None or name != control.patch_factor]
    bound_parts = [_part(grid, group) for group in _groups(grid, own)]
    steps = []
    for tile in np.unique(structure.tile):
        rows = np.flatnonzero(structure.tile == tile)
        block = structure.block(rows)
        if by_tile:
            parts = [bound_tile_part if r in bound else tile_part for r in rows]
            steps.append(Move(rows, block, tuple(parts)))
        for row in rows:
            for part in bound_parts if row in bound else patch_parts:
                steps.append(Move(np.array([row]), block, (part,)))
    return steps


def _groups(grid: FactorSpace, names: Sequence[str]) -> list[list[str]]:
    """Gather factors while their combinations stay few."""
    groups: list[list[str]] = []
    size = 0
    for name in names:
        count = len(grid.levels[name])
        if groups and size * count <= MOST_OPTIONS:
            groups[-1].append(name)
            size *= count
        else:
            groups.append([name])
            size = count
    return groups


def _part(grid: FactorSpace, names: Sequence[str], control: Control | None = None) -> Part:
    strides = dict(grid.strides)
    if control:
        follower = strides[control.patch_factor]
        strides[control.tile_factor] += follower
    cells = np.arange(grid.size)
    held = np.zeros(grid.size, int)
    for name in names:
        held += grid.level_index(name, cells) * strides[name]
    options = [
        sum(level * strides[name] for level, name in zip(chosen, names, strict=True))
        for chosen in itertools.product(*(range(len(grid.levels[name])) for name in names))
    ]
    return Part(held, np.array(options, int))


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
