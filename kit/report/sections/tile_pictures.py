"""The tiles before they are fired, and when each of them was."""

import pandas as pd

from kit.drawing import Drawing, TileShown, Trip, firing_timeline, tiles_as_planned
from kit.series import Series, Settings
from kit.wording import counted


def planned_tiles(settings: Settings, tiles: pd.DataFrame, patches: pd.DataFrame) -> Drawing:
    """Draw a plan as tiles: the base above each, its overlays by position beside it.

    Parameters
    ----------
    settings : Settings
    tiles, patches : DataFrame
        Columns as in tiles.csv and patches.csv.
    """
    by_tile = dict(iter(patches.groupby("tile")))
    shown = [
        TileShown(
            f"Tile {row.tile}: {row.base}",
            overlays=dict(
                zip(
                    by_tile[row.tile]["position"].astype(int),
                    by_tile[row.tile]["overlay"],
                    strict=True,
                )
            )
            if row.tile in by_tile
            else {},
        )
        for row in tiles.itertuples()
    ]
    title = (
        f"The plan: {counted(len(tiles), 'tile')} of {counted(tiles['base'].nunique(), 'base')} "
        f"carry {counted(len(patches), 'patch', 'patches')}"
    )
    alt = "; ".join(
        f"{tile.heading}, with {', '.join(tile.overlays.values()) or 'no patch'}" for tile in shown
    )
    return tiles_as_planned(settings, shown, "plan", title, f"{alt}.", across=2)


def timeline(series: Series) -> Drawing | None:
    """Draw when each tile went through the heat; None when nothing was fired."""
    if series.firings.empty:
        return None
    bases = series.tiles.set_index("tile")["base"]
    trips = [
        Trip(
            f"{row.tile} {bases.get(row.tile, '')}", int(row.session), int(row.firing), row.accident
        )
        for row in series.firings.sort_values(["tile", "firing"]).itertuples()
    ]
    return firing_timeline(trips)
