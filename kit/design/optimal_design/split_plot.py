"""The plan that says most about a model, for tiles of patches."""

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from kit.design.optimal_design.d_criterion import Criterion, DCriterion, ICriterion
from kit.design.optimal_design.coordinate_exchange import Problem
from kit.design.optimal_design.factor_space import Factors, Grid, grid, listed
from kit.design.feasible import Known, allowed_cells, refuse_counts, refuse_small
from kit.design.optimal_design.exchange_steps import Control, moves
from kit.design.readback import read_plan
from kit.design.replicates import with_repeats
from kit.design.optimal_design.random_starts import Draw, search
from kit.design.optimal_design.covariance_structure import Spread, structure
from kit.design.optimal_design.model_terms import Candidates, candidates
from kit.errors import Misuse

DEFAULT_STARTS = 80


def optimal(
    factors: Factors,
    tiles: int,
    patches_per_tile: int,
    tile_factors: Sequence[str] = (),
    terms: str | None = None,
    tile_variance_ratio: float = 1.0,
    criterion: str = "D",
    seed: int = 0,
    starts: int = DEFAULT_STARTS,
    *,
    tiles_per_session: int | None = None,
    session_variance_ratio: float = 1.0,
    rule: str | None = None,
    fired: pd.DataFrame | None = None,
    replicates: int = 0,
    controls: int = 0,
    control: tuple[str, str] | None = None,
    graded_at: str | None = None,
    patch_variance_ratio: float = 1.0,
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
    criterion : {'D', 'I'}
        'D' makes the effects sure, 'I' the values foretold anywhere between the levels (amounts
        count evenly from least to greatest, words equally).
    seed : int
        The same seed gives the same plan.
    starts : int
        Random plans to begin from; more take longer and can only help.
    tiles_per_session : int, optional
        Fire in sessions of at most so many tiles, in the order of their numbers; sessions are
        then blocks, with `session_variance_ratio` as the variance between them.
    rule : str, optional
        Combinations that must not occur, such as ``"coat_weight > 60 and mesh == 60"``.
    fired : pandas.DataFrame, optional
        Tiles already fired, which count towards the plan: same columns as the result.
    replicates : int
        Least number of patches that repeat another one exactly.
    controls : int
        Number of patches on which the two factors of `control` agree, such as a colour laid on
        itself; they are spread over the tiles.
    control : (str, str), optional
        The tile factor and the patch factor that agree on a control.
    graded_at : str, optional
        A factor such as the firing count whose levels every patch runs through, being graded at
        each: repeated grades of a patch share `patch_variance_ratio`.
    progress : callable, optional
        Told in a sentence how far the search is.

    Returns
    -------
    pandas.DataFrame
        A row a patch: `tile`, `session` where sessions are limited, a column a factor in the
        levels given (but not `graded_at`), and `control` where controls were asked for.

    Raises
    ------
    Misuse
        When the request cannot be met; the message says what could.

    Notes
    -----
    Coordinate exchange with low-rank updates on the covariance of the split plot (Jones and Goos
    2007, Applied Statistics 56), for many starts side by side. I-optimality for split plots as in
    Jones and Goos (2012), Journal of Quality Technology 44 (from memory).
    """
    refuse_counts(tiles, patches_per_tile, starts, tiles_per_session, replicates, controls)
    space = grid(factors, tile_factors)
    model = candidates(space, terms)
    allowed = allowed_cells(model, rule, graded_at)
    spread = Spread(
        tile_variance_ratio,
        session_variance_ratio if tiles_per_session else 0.0,
        patch_variance_ratio if graded_at else 0.0,
    )
    repeats = len(space.levels[graded_at]) if graded_at else 1
    layout = structure([patches_per_tile] * tiles, repeats, tiles_per_session, spread)
    known = _known(fired, model, spread, graded_at)
    refuse_small(model, layout, patches_per_tile, known)
    bound = _control(space, tiles, patches_per_tile, controls, control)
    problem = Problem(
        model.x,
        allowed,
        layout,
        moves(space, layout, {graded_at} if graded_at else (), bound),
        *_criteria(criterion, model),
        known.information,
    )
    repeat = np.tile(np.arange(repeats), tiles * patches_per_tile)
    draw = Draw(space, allowed, layout.tile, layout.patch, repeat, graded_at, bound)
    cells = search(problem, draw, starts, seed, progress)
    fixed = np.array(bound.patches if bound else (), int)
    cells = with_repeats(problem, space, cells, replicates, fixed)[repeat == 0]
    plan = space.frame(cells)[[name for name in factors if name != graded_at]]
    plan.insert(0, "tile", layout.tile[repeat == 0] + known.first_free_tile)
    if tiles_per_session:
        plan.insert(1, "session", layout.session[repeat == 0] + known.first_free_session)
    if bound:
        plan["control"] = np.isin(np.arange(len(plan)), bound.patches)
    return plan


def _known(
    fired: pd.DataFrame | None, model: Candidates, spread: Spread, graded_at: str | None
) -> Known:
    if fired is None or not len(fired):
        return Known(np.zeros((model.p, model.p)))
    cells, layout = read_plan(fired, model.grid, spread, graded_at)
    x = model.x[cells]
    return Known(
        x.T @ layout.precision @ x,
        layout.n,
        int(layout.tile[-1]) + 1,
        int(fired["tile"].max()) + 1,
        int(fired["session"].max()) + 1 if "session" in fired else 1,
    )


def _criteria(criterion: str, model: Candidates) -> tuple[Criterion, Criterion]:
    """What to improve, and the other one to break ties."""
    d, i = DCriterion(), ICriterion(model.moments)
    if criterion == "D":
        return d, i
    if criterion == "I":
        return i, d
    raise Misuse(
        f"The criterion is 'D' (sure effects) or 'I' (sure foretelling), not '{criterion}'."
    )


def _control(
    grid: Grid, tiles: int, patches_per_tile: int, controls: int, control: tuple[str, str] | None
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
