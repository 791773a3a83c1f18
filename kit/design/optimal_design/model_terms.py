"""The model a plan must be able to estimate, written out over every cell."""

import math
import re
from dataclasses import dataclass

import formulaic
import numpy as np
from formulaic.errors import FormulaicError

from kit.design.optimal_design.design_space import FactorSpace
from kit.errors import Misuse
from kit.wording import listed

MOST_ENTRIES = 30_000_000
"""Largest candidate matrix held in memory (240 MB)."""

_FUNCTIONS = {"I", "C", "log", "log2", "log10", "exp", "poly"}
"""A formula may come from a file, and formulaic would run whatever it names."""


@dataclass(frozen=True)
class Candidates:
    """The model's columns for each cell, coded so that they are orthonormal over all cells.

    The coding changes neither of two plans' relative D-efficiency nor any prediction variance; it
    keeps the arithmetic sound whatever the units, and makes a D-value of 1 mean 'as much per
    patch as firing every combination equally often, were there no difference between tiles'.

    Parameters
    ----------
    grid : FactorSpace
    names : tuple of str
        The columns, as the formula spells them.
    x : numpy.ndarray, shape (cells, p)
        Row c is the model vector of cell c.
    by_tile : int
        Number of columns (the constant included) that only tile factors decide.
    by_tile_basis : numpy.ndarray, shape (p, by_tile)
        Combinations of the columns of `x` that span those.
    """

    grid: FactorSpace
    names: tuple[str, ...]
    x: np.ndarray
    by_tile_basis: np.ndarray

    @property
    def p(self) -> int:
        return int(self.x.shape[1])

    @property
    def by_tile(self) -> int:
        return int(self.by_tile_basis.shape[1])


def main_effects(grid: FactorSpace) -> str:
    """The formula that has every factor once."""
    return " + ".join(grid.names)


def candidates(grid: FactorSpace, terms: str | None = None) -> Candidates:
    """Write a formula out over the grid.

    Parameters
    ----------
    grid : FactorSpace
    terms : str, optional
        Right-hand side of a formula over the factors' names, such as ``"(a + b)**2 + I(b**2)"``.
        The main effects when left out.

    Raises
    ------
    Misuse
        When the formula cannot be read or names what is no factor, when two of its columns are
        the same over all cells, or when there are too many cells to hold.
    """
    formula = _parsed(terms or main_effects(grid), grid)
    _refuse_large(grid, formula)
    with np.errstate(all="ignore"):
        raw, names = _columns(formula, grid)
    _refuse_dependent(raw, grid)
    triangle = np.linalg.cholesky(raw.T @ raw / len(raw))
    x = np.linalg.solve(triangle, raw.T).T
    return Candidates(
        grid,
        names,
        np.ascontiguousarray(x),
        _tile_basis(x, grid),
    )


def _parsed(terms: str, grid: FactorSpace) -> formulaic.Formula:
    text = terms.strip().removeprefix("~").strip()
    calls = set(re.findall(r"([\w.]+)\s*\(", text)) - _FUNCTIONS
    if calls or "~" in text or "__" in text:
        raise Misuse(
            f"The terms '{terms}' cannot be read: join the factors' names with + : * and **; "
            f"the only functions are {listed(sorted(_FUNCTIONS))}."
        )
    try:
        formula = formulaic.Formula(text)
        needed = {str(name) for name in formula.required_variables}
    except (FormulaicError, SyntaxError, ValueError) as reason:
        raise Misuse(f"The terms '{terms}' cannot be read: {reason}") from reason
    strange = sorted(needed - set(grid.names))
    if strange:
        raise Misuse(
            f"The terms name {listed(strange)}, which no factor is called. "
            f"The factors are {listed([str(n) for n in grid.names])}."
        )
    return formula


def _refuse_large(grid: FactorSpace, formula: formulaic.Formula) -> None:
    if grid.size * sum(1 for _ in formula) > MOST_ENTRIES:
        raise Misuse(
            f"{grid.size:,} combinations of levels are more than the search can hold. Two or three "
            f"levels a factor say nearly as much: {levels_in_words(grid)}."
        )


def _columns(formula: formulaic.Formula, grid: FactorSpace) -> tuple[np.ndarray, tuple[str, ...]]:
    frame = grid.typed_frame(np.arange(grid.size))
    try:
        matrix = formula.get_model_matrix(frame, context={}, na_action="ignore")
    except Exception as reason:  # a formula may run any function, so anything may go wrong
        raise Misuse(f"The terms '{formula}' cannot be worked out: {reason}") from reason
    raw = np.asarray(matrix, float)
    if not np.isfinite(raw).all():
        bad = [
            n
            for n, c in zip(matrix.model_spec.column_names, raw.T, strict=True)
            if not np.isfinite(c).all()
        ]
        raise Misuse(f"The term {listed(bad)} has no finite value at some levels.")
    return raw, tuple(matrix.model_spec.column_names)


def _refuse_dependent(raw: np.ndarray, grid: FactorSpace) -> None:
    scale = np.linalg.norm(raw, axis=0)
    if (scale == 0).any() or np.linalg.matrix_rank(raw / scale) < raw.shape[1]:
        raise Misuse(
            "Some terms say the same thing at every combination of the levels given, so no plan "
            "can tell them apart (a square needs three levels, for one). "
            f"Leave them out or give more levels: {levels_in_words(grid)}."
        )


def levels_in_words(grid: FactorSpace) -> str:
    """Say how many levels each factor has."""
    return listed([f"{name} has {len(levels)}" for name, levels in grid.levels.items()])


def _tile_basis(x: np.ndarray, grid: FactorSpace) -> np.ndarray:
    """Combinations of columns that do not change with any patch factor."""
    per_tile = math.prod(len(grid.levels[name]) for name in grid.tile_factors)
    blocks = x.reshape(per_tile, -1, x.shape[1])
    within = (blocks - blocks.mean(axis=1, keepdims=True)).reshape(x.shape)
    size, direction = np.linalg.eigh(within.T @ within / len(x))
    return direction[:, size < 1e-9]
