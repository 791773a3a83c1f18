"""Requests that no plan can meet, refused with the nearest that one can."""

import math
from dataclasses import dataclass

import numpy as np

from kit.design.optimal_design.factor_space import listed
from kit.design.rule import forbidden
from kit.design.optimal_design.covariance_structure import Structure
from kit.design.optimal_design.model_terms import Candidates
from kit.errors import Misuse


@dataclass(frozen=True)
class Known:
    """What tiles already fired bring to a plan.

    Parameters
    ----------
    information : numpy.ndarray, shape (p, p)
    grades, tiles : int
        How many there are.
    first_free_tile, first_free_session : int
        Numbers from which new ones go on.
    """

    information: np.ndarray
    grades: int = 0
    tiles: int = 0
    first_free_tile: int = 1
    first_free_session: int = 1


def refuse_counts(
    tiles: int,
    patches_per_tile: int,
    starts: int,
    tiles_per_session: int | None,
    replicates: int,
    controls: int,
) -> None:
    """Refuse counts that are no counts."""
    least = {
        "tiles": (tiles, 1),
        "patches_per_tile": (patches_per_tile, 1),
        "starts": (starts, 1),
        "tiles_per_session": (1 if tiles_per_session is None else tiles_per_session, 1),
        "replicates": (replicates, 0),
        "controls": (controls, 0),
    }
    wrong = [
        f"{name} must be a whole number of {fewest} or more, not {count}"
        for name, (count, fewest) in least.items()
        if count != int(count) or count < fewest
    ]
    if wrong:
        raise Misuse(f"The plan cannot be drawn up: {listed(wrong)}.")


def allowed_cells(model: Candidates, rule: str | None, graded_at: str | None) -> np.ndarray:
    """Which cells a rule leaves; a patch must be allowed at every grade it gets.

    Raises
    ------
    Misuse
        When the rule leaves too little to tell the terms apart.
    """
    grid = model.grid
    if graded_at is not None and graded_at not in grid.patch_factors:
        raise Misuse(f"A patch cannot be graded at every '{graded_at}': it is not a patch factor.")
    allowed = np.ones(grid.size, bool)
    if rule is None:
        return allowed
    allowed = ~forbidden(rule, grid.frame(np.arange(grid.size)))
    if graded_at:
        axis = grid.names.index(graded_at)
        box = allowed.reshape([len(levels) for levels in grid.levels.values()])
        allowed = np.broadcast_to(box.all(axis=axis, keepdims=True), box.shape).reshape(-1)
    rank = np.linalg.matrix_rank(model.x[allowed]) if allowed.any() else 0
    if rank < model.p:
        raise Misuse(
            f"With the rule '{rule}', {allowed.sum()} of {grid.size} combinations remain, and they "
            f"can tell only {rank} of the model's {model.p} columns apart. Loosen the rule or "
            "leave out the terms that join the factors it names."
        )
    return allowed


def refuse_small(model: Candidates, layout: Structure, patches_per_tile: int, known: Known) -> None:
    """Refuse a plan with fewer grades or tiles than its terms need.

    Raises
    ------
    Misuse
        Naming the least number of tiles that would do.
    """
    tiles = int(layout.tile[-1]) + 1
    per_tile = layout.n // tiles
    needed = math.ceil((model.p - known.grades) / per_tile)
    by_tile = model.by_tile - known.tiles
    if tiles >= max(needed, by_tile):
        return
    enough = max(needed, by_tile)
    if by_tile > tiles:
        reason = (
            f"{listed(model.grid.tile_factors)} change by tile only, and their terms (with the "
            f"overall level) need {model.by_tile} tiles; there are {tiles + known.tiles}"
        )
    else:
        reason = (
            f"The terms have {model.p} coefficients, and {tiles} tiles of {patches_per_tile} give "
            f"{layout.n + known.grades} grades"
        )
    raise Misuse(
        f"{reason}. The nearest possible plan has {enough} tiles of {patches_per_tile} patches, "
        "or fewer terms."
    )
