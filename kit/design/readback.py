"""A plan as a frame, turned back into cells and structure."""

import numpy as np
import pandas as pd

from kit.design.optimal_design.factor_space import Grid
from kit.design.optimal_design.covariance_structure import Spread, Structure
from kit.errors import Misuse


def read_plan(
    plan: pd.DataFrame, grid: Grid, spread: Spread, graded_at: str | None = None
) -> tuple[np.ndarray, Structure]:
    """Number the cells of a plan's grades and say what they share.

    Parameters
    ----------
    plan : pandas.DataFrame
        A row a patch, with a `tile` column and one column a factor; `session` if there is one.
    grid : Grid
    spread : Spread
    graded_at : str, optional
        A factor whose levels every patch runs through: it needs no column.

    Raises
    ------
    Misuse
        When a column is missing, a level is unknown or a tile factor changes within a tile.
    """
    if "tile" not in plan:
        raise Misuse("A plan needs a column 'tile' that says which tile each patch is on.")
    plan = plan.sort_values("tile", kind="stable").reset_index(drop=True)
    for name in grid.tile_factors:
        if name in plan and len(plan[["tile", name]].drop_duplicates()) > plan["tile"].nunique():
            raise Misuse(f"{name} changes within a tile of the plan, but is a tile factor.")
    repeats = len(grid.levels[graded_at]) if graded_at else 1
    if graded_at:
        plan = plan.assign(**{graded_at: grid.levels[graded_at][0]})
    cells = np.repeat(grid.cells(plan, "the plan"), repeats)
    if graded_at:
        cells = cells + np.tile(np.arange(repeats), len(plan)) * grid.strides[graded_at]
    tile = pd.factorize(plan["tile"])[0]
    session = pd.factorize(plan["session"])[0] if "session" in plan else np.zeros(len(plan), int)
    return cells, Structure(
        np.repeat(tile, repeats),
        np.repeat(np.arange(len(plan)), repeats),
        np.repeat(session, repeats),
        spread,
    )
