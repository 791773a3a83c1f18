"""A plan as rows to be graded: each patch after each of its firings."""

from typing import Protocol

import numpy as np
import pandas as pd

from kit.design.surveys.pair_survey import checked_colours
from kit.errors import Misuse
from kit.series import family_pair

SIDE_FACTORS = ("mesh", "coat_weight", "base_mesh", "base_coat_weight", "base_coats")


class Planned(Protocol):
    """Anything with the tiles and patches of a series: a plan, or a series itself."""

    @property
    def tiles(self) -> pd.DataFrame: ...

    @property
    def patches(self) -> pd.DataFrame: ...


def planned_patches(plan: Planned | pd.DataFrame) -> pd.DataFrame:
    """One row per patch: tile, base, overlay, before_firing and the factors that vary.

    Parameters
    ----------
    plan : Plan, Series or DataFrame
        A frame needs tile, base and overlay, as `survey` gives them.

    Raises
    ------
    Misuse
        When there is nothing planned.
    """
    if isinstance(plan, pd.DataFrame):
        patches = plan.reset_index(drop=True)
    else:
        of_base = {"coats": "base_coats", "mesh": "base_mesh", "coat_weight": "base_coat_weight"}
        tiles = plan.tiles.drop(columns=["session", "firings"], errors="ignore").rename(
            columns=of_base
        )
        patches = plan.patches.merge(tiles, on="tile", how="left")
    missing = {"tile", "base", "overlay"} - set(patches.columns)
    if missing:
        raise Misuse(f"A plan needs the column {' and '.join(sorted(missing))}.")
    if patches.empty:
        raise Misuse("Nothing is planned yet: plan some tiles with patches first.")
    if "before_firing" not in patches:
        patches = patches.assign(before_firing=1)
    return patches


def planned_rows(plan: Planned | pd.DataFrame, colours: pd.DataFrame, firings: int) -> pd.DataFrame:
    """One row per patch and firing that it sees.

    Parameters
    ----------
    plan : Plan, Series or DataFrame
    colours : DataFrame
        Columns colour and family.
    firings : int
        How often each tile is fired with stencils on it.

    Returns
    -------
    DataFrame
        Columns patch (a number), tile, base, overlay, family_pair, firings and the side factors
        that vary.
    """
    patches = planned_patches(plan)
    family = checked_colours(colours).set_index("colour")["family"]
    strangers = sorted({*patches["base"], *patches["overlay"]} - set(family.index))
    if strangers:
        raise Misuse(f"The plan uses {', '.join(strangers)}, which the list of colours lacks.")
    if firings < 1:
        raise Misuse("Tiles are fired at least once.")
    varied = [f for f in SIDE_FACTORS if f in patches and patches[f].min() < patches[f].max()]
    couples = zip(patches["base"].map(family), patches["overlay"].map(family), strict=True)
    named = patches[["tile", "base", "overlay", "before_firing", *varied]].assign(
        patch=np.arange(len(patches)), family_pair=[family_pair(b, o) for b, o in couples]
    )
    rows = named.merge(pd.DataFrame({"firing": range(1, firings + 1)}), how="cross")
    rows = rows[rows["firing"] >= rows["before_firing"]]
    rows = rows.assign(firings=rows["firing"] - rows["before_firing"] + 1)
    if rows.empty:
        raise Misuse(f"No patch goes on before firing {firings}; fire the tiles more often.")
    return rows.drop(columns=["firing", "before_firing"]).reset_index(drop=True)
