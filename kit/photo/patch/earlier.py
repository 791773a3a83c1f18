"""What earlier pictures of the same tile knew of a patch."""

import numpy as np
import pandas as pd

from kit.photo.raster import Raster


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
