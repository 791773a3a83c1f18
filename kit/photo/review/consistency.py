"""Holding a picture against what earlier pictures of the same tile showed."""

import numpy as np
import pandas as pd
from scipy.optimize import linear_sum_assignment

from kit.photo.patch.patch_reading import COLOURS, PatchReading
from kit.photo.raster import Raster, colour_shift
from kit.photo.view.image_file import Unmeasurable

_ANOTHER_TILE = 18.0
"""CIEDE2000 of the base between two pictures beyond which it is taken for another tile."""

_OTHER_OVERLAY = 15.0


def first_seen(earlier: pd.DataFrame | None, firing: int) -> pd.DataFrame | None:
    """Each patch's row after its earliest firing before this one."""
    if earlier is None or earlier.empty:
        return None
    before = earlier[(earlier["firing"] < firing) & earlier["overlay_l"].notna()]
    if before.empty:
        return None
    return before.sort_values("firing").drop_duplicates("patch").set_index("patch")


def overlay_lab(row: pd.Series) -> Raster:
    """CIELAB of the overlay in a row of measurements, (3,)."""
    return row[["overlay_l", "overlay_a", "overlay_b"]].to_numpy(np.float32)


def reference_colour(
    patch: str, overlay: str, first: pd.DataFrame | None, pure: pd.DataFrame | None
) -> Raster | None:
    """CIELAB of pure overlay for a patch, from a control patch or else from its first picture."""
    if pure is not None:
        known = pure[pure["overlay"] == overlay]
        if len(known):
            return overlay_lab(known.iloc[0])
    if first is not None and patch in first.index:
        return overlay_lab(first.loc[patch])
    return None


def refuse_other_tile(base: Raster, first: pd.DataFrame | None) -> None:
    """Refuse a tile whose base has quite another colour than it had before.

    Raises
    ------
    Unmeasurable
    """
    if first is None:
        return
    before = first[["base_l", "base_a", "base_b"]].median().to_numpy(float)
    away = float(colour_shift(before, base))
    if away > _ANOTHER_TILE:
        raise Unmeasurable(
            f"The base has quite another colour than in this tile's earlier picture (CIEDE2000 "
            f"{away:.0f}). Is it the tile that the slip says?"
        )


def refuse_turned(readings: dict[str, PatchReading], first: pd.DataFrame | None) -> None:
    """Refuse a tile whose overlays match those seen earlier better in another order.

    Raises
    ------
    Unmeasurable
    """
    if first is None:
        return
    names = [name for name in readings if name in first.index]
    if len(names) < 3:
        return
    now = np.array([[readings[n].values[c] for c in COLOURS[3:]] for n in names])
    before = np.array([overlay_lab(first.loc[n]) for n in names])
    apart = colour_shift(before[:, None], now[None])
    as_laid = float(np.median(np.diag(apart)))
    best = float(np.median(apart[linear_sum_assignment(apart)]))
    if as_laid > _OTHER_OVERLAY and best < as_laid / 2:
        raise Unmeasurable(
            "The overlays lie in other places than in this tile's earlier picture. Lay the tile "
            "with patch 1 at the end the card says."
        )
