"""The plan that says most about a model, for tiles of patches."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.design.optimal_design.coordinate_exchange import (
    Control,
    Draw,
    ExchangeProblem,
    moves,
    search,
)
from kit.design.optimal_design.d_criterion import (
    CovarianceStructure,
    VarianceRatios,
    structure,
)
from kit.design.optimal_design.d_efficiency import cells_of
from kit.design.optimal_design.design_space import Factors, FactorSpace, factor_space
from kit.design.optimal_design.model_terms import Candidates, candidates
from kit.errors import Misuse
from kit.wording import listed

DEFAULT_STARTS = 80


def optimal(
    factors: Factors,
    tiles: int,
    patches_per_tile: int,
    tile_factors: Sequence[str] = (),
    terms: str | None = None,
    tile_variance_ratio: float = 1.0,
    seed: int = 0,
    starts: int = DEFAULT_STARTS,
    *,
    tiles_per_session: int | None = None,
    session_variance_ratio: float = 1.0,
    fired: pd.DataFrame | None = None,
    controls: int = 0,
    control: tuple[str, str] | None = None,
    progress: Callable[[str], None] | None = None,
) -> pd.DataFrame:
    """Choose what goes on each tile and patch so that a model is known as surely as can be.

    Parameters
    ----------
    factors : mapping of str to sequence
        Levels of each factor: words for kinds, numbers for amounts.
    tiles, patches_per_tile : int
    tile_factors : sequence of str
        Factors that are the same for every patch of a tile. Put the firing count here to fire a
        separate tile for each count.
    terms : str, optional
        What must be estimated, as a formula over the factors' names and units, such as
        ``"(mesh + firings)**2 + I(firings**2)"``. All main effects when left out.
    tile_variance_ratio : float
        Variance between tiles over the variance within a tile.
    seed : int
        The same seed gives the same plan.
    starts : int
        Random plans to begin from; more take longer and can only help.
    tiles_per_session : int, optional
        Fire in sessions of at most so many tiles, in the order of their numbers; sessions are
        then blocks, with `session_variance_ratio` as the variance between them.
    fired : pandas.DataFrame, optional
        Tiles already fired, which count towards the plan: same columns as the result.
    controls : int
        Number of patches on which the two factors of `control` agree, such as a colour laid on
        itself; they are spread over the tiles.
    control : (str, str), optional
        The tile factor and the patch factor that agree on a control.
    progress : callable, optional
        Told in a sentence how far the search is.

    Returns
    -------
    pandas.DataFrame
        A row a patch: `tile`, `session` where sessions are limited, a column a factor in the
        levels given, and `control` where controls were asked for.

    Raises
    ------
    Misuse
        When the request cannot be met; the message says what could.

    Notes
    -----
    Coordinate exchange with low-rank updates on the covariance of the split plot (Jones and Goos
    2007, Applied Statistics 56), for many starts side by side, by the D-criterion.
    """
    _refuse_counts(tiles, patches_per_tile, starts, tiles_per_session, controls)
    space = factor_space(factors, tile_factors)
    model = candidates(space, terms)
    ratios = VarianceRatios(
        tile_variance_ratio, session_variance_ratio if tiles_per_session else 0.0
    )
    layout = structure(tiles, patches_per_tile, tiles_per_session, ratios)
    known = _known(fired, model, ratios)
    _refuse_small(model, layout, patches_per_tile, known)
    bound = _control(space, tiles, patches_per_tile, controls, control)
    steps = moves(space, layout, control=bound)
    problem = ExchangeProblem(model.x, layout, steps, known.information)
    cells = search(problem, Draw(space, layout.tile, bound), starts, seed, progress)
    plan = space.frame(cells)[list(factors)]
    plan.insert(0, "tile", layout.tile + known.first_free_tile)
    if tiles_per_session:
        plan.insert(1, "session", layout.session + known.first_free_session)
    if bound:
        plan["control"] = np.isin(np.arange(len(plan)), bound.patches)
    return plan


@dataclass(frozen=True)
class _Known:
    """What tiles already fired bring to a plan.

    Parameters
    ----------
    information : numpy.ndarray, shape (p, p)
    patches, tiles : int
        How many there are.
    first_free_tile, first_free_session : int
        Numbers from which new ones go on.
    """

    information: np.ndarray
    patches: int = 0
    tiles: int = 0
    first_free_tile: int = 1
    first_free_session: int = 1


def _known(fired: pd.DataFrame | None, model: Candidates, ratios: VarianceRatios) -> _Known:
    if fired is None or not len(fired):
        return _Known(np.zeros((model.p, model.p)))
    cells, layout = cells_of(fired, model.grid, ratios)
    x = model.x[cells]
    return _Known(
        x.T @ layout.precision @ x,
        len(layout.tile),
        int(layout.tile[-1]) + 1,
        int(fired["tile"].max()) + 1,
        int(fired["session"].max()) + 1 if "session" in fired else 1,
    )


def _control(
    grid: FactorSpace,
    tiles: int,
    patches_per_tile: int,
    controls: int,
    control: tuple[str, str] | None,
) -> Control | None:
    if not controls:
        return None
    if control is None:
        raise Misuse("Say which tile factor and which patch factor agree on a control patch.")
    tile_factor, patch_factor = control
    if tile_factor not in grid.tile_factors or patch_factor not in grid.patch_factors:
        raise Misuse(f"A control needs a tile factor and a patch factor, not {listed(control)}.")
    if grid.levels[tile_factor] != grid.levels[patch_factor]:
        raise Misuse(f"{tile_factor} and {patch_factor} must have the same levels for a control.")
    if controls > tiles * patches_per_tile:
        raise Misuse(f"{controls} controls do not fit on {tiles * patches_per_tile} patches.")
    patches = (i % tiles * patches_per_tile + i // tiles for i in range(controls))
    return Control(tile_factor, patch_factor, tuple(patches))


def _refuse_counts(
    tiles: int,
    patches_per_tile: int,
    starts: int,
    tiles_per_session: int | None,
    controls: int,
) -> None:
    """Refuse counts that are no counts."""
    least = {
        "tiles": (tiles, 1),
        "patches_per_tile": (patches_per_tile, 1),
        "starts": (starts, 1),
        "tiles_per_session": (1 if tiles_per_session is None else tiles_per_session, 1),
        "controls": (controls, 0),
    }
    wrong = [
        f"{name} must be a whole number of {fewest} or more, not {count}"
        for name, (count, fewest) in least.items()
        if count != int(count) or count < fewest
    ]
    if wrong:
        raise Misuse(f"The plan cannot be drawn up: {listed(wrong)}.")


def _refuse_small(
    model: Candidates, layout: CovarianceStructure, patches_per_tile: int, known: _Known
) -> None:
    """Refuse a plan with fewer patches or tiles than its terms need.

    Raises
    ------
    Misuse
        Naming the least number of tiles that would do.
    """
    tiles = int(layout.tile[-1]) + 1
    needed = math.ceil((model.p - known.patches) / patches_per_tile)
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
            f"The terms have {model.p} coefficients, and there are "
            f"{len(layout.tile) + known.patches} patches"
        )
    raise Misuse(
        f"{reason}. The nearest possible plan has {enough} tiles of {patches_per_tile} patches, "
        "or fewer terms."
    )
