"""A series planned: the person's wishes, the plan, and the series that carries it."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import pandas as pd

from kit.design.matter import Firings
from kit.design.plan import Plan, plan
from kit.errors import Misuse
from kit.series import Series, patches_in_full

NEXT_TILES = 3
"""Tiles in a next round, unless the person says otherwise."""


def plan_series(
    series: Series,
    *,
    ask: str | None = None,
    tiles: int | None = None,
    firings: Firings = "every",
    after: Sequence[Series] = (),
    progress: Callable[[str], None] | None = None,
) -> tuple[Series, Plan]:
    """Plan a series that has colours and no tiles yet.

    Parameters
    ----------
    series : Series
    ask : str, optional
        What the person needs to know, one of `kit.series.ASKS`; as in the settings by default.
    tiles : int, optional
        How many tiles may be made; by default as in the settings, and `NEXT_TILES` in a round that
        goes on from another.
    firings : {'every', 'staggered', 'separate'}
        As for `plan`.
    after : sequence of Series
        Graded series, on whose open pairs the plan goes on. Tiles are numbered on from theirs, and
        a series without colours or graders of its own takes those of the last of them.
    progress : callable, optional

    Returns
    -------
    Series
        With the plan's tiles and patches, and with what was chosen in its settings.
    Plan

    Raises
    ------
    Misuse
        When the series is planned already, has no colours, or the request cannot be met.
    """
    if len(series.tiles):
        raise Misuse(
            f"{series.name} is planned already ({len(series.tiles)} tiles), and tiles may carry "
            "its numbers. Start another series for another plan: kit new NAME"
        )
    if series.colours.empty and after:
        series = replace(series, colours=_colours_of(after))
    if not series.settings.graders and after:
        graders = after[-1].settings.graders
        series = replace(series, settings=replace(series.settings, graders=graders))
    if series.stock.empty:
        raise Misuse(f"{series.name} has no colours yet. List your jars in colours.csv first.")
    settings = replace(
        series.settings,
        ask=ask or series.settings.ask,
        tiles=tiles or (NEXT_TILES if after else series.settings.tiles),
        follows=tuple(one.name for one in after) or series.settings.follows,
    )
    chosen = plan(settings, series.colours, firings=firings, after=after, progress=progress)
    return replace(series, settings=settings, tiles=chosen.tiles, patches=chosen.patches), chosen


def every_round(planned: Series, earlier: Sequence[Series]) -> pd.DataFrame:
    """Put the patches of a plan and of the series before it together, as one plan to judge.

    Returns
    -------
    DataFrame
        Columns tile (with the name of its series), base, overlay, base_coats, base_mesh,
        base_coat_weight, mesh, coat_weight and before_firing; lost patches are left out.
    """
    columns = [
        "base", "overlay", "base_coats", "base_mesh", "base_coat_weight", "mesh", "coat_weight",
        "before_firing",
    ]  # fmt: skip
    rounds = []
    for series in (*earlier, planned):
        patches = patches_in_full(series)
        sound = patches[patches["lost_from"] > patches["before_firing"]]
        tile = f"{series.name} " + sound["tile"].astype(str)
        rounds.append(sound[columns].assign(tile=tile))
    return pd.concat(rounds, ignore_index=True)


def _colours_of(several: Sequence[Series]) -> pd.DataFrame:
    every = pd.concat([series.colours for series in several])
    return every.drop_duplicates("colour", keep="last").reset_index(drop=True)
