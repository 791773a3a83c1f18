"""The steps a search may take: which rows change together, and to what."""

import itertools
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from kit.design.optimal_design.covariance_structure import CovarianceStructure
from kit.design.optimal_design.design_space import FactorSpace

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
