"""The tile as a witness of the card: what its known size says of print scale and lens."""

from dataclasses import replace

import numpy as np
import pandas as pd

from kit.errors import Misuse
from kit.photo.card.card_geometry import PrintScale
from kit.photo.tile_plan import PhotoPlan
from kit.wording import amount

WORTH_CORRECTING = 0.01
"""Copper is cut to about half a millimetre in fifty (common practice, no source): the tiles' size
can tell a print from another only beyond that."""

BY_TILES = 0.005
"""Standard error of a print's scale taken from the tiles' size (measured, see benchmarks)."""

_LEAST_TILES = 3
_MOST_SCATTER = 0.006


def corrected_scale(pictures: pd.DataFrame, plan: PhotoPlan) -> tuple[PrintScale, list[str]]:
    """Judge the printed card by the size of the tiles that lie on it.

    A card printed too small makes every tile look too large, and spread too. When several tiles
    agree on that and nobody measured the card, its scale is taken from them.

    Parameters
    ----------
    pictures : DataFrame
        tile, camera, width_mm, height_mm of every picture.
    plan : PhotoPlan

    Returns
    -------
    scale : PrintScale
        The plan's own unless it was corrected.
    notes : list of str
    """
    seen = pictures.dropna(subset=["width_mm", "height_mm"])
    by_tile = seen.groupby("tile")[["width_mm", "height_mm"]].median()
    if len(by_tile) < _LEAST_TILES:
        return plan.scale, []
    larger = by_tile.to_numpy() / (plan.blank.width_mm, plan.blank.height_mm)
    middle = np.median(larger, axis=0)
    scatter = 1.4826 * np.median(np.abs(larger - middle), axis=0)
    if np.abs(middle - 1).max() < WORTH_CORRECTING:
        return plan.scale, _of_cameras(seen, plan)
    sizes = " x ".join(f"{size:.1f}" for size in np.median(by_tile.to_numpy(), axis=0))
    told = (
        f"By the card's millimetres the tiles measure {sizes} mm; the blank in series.toml is "
        f"{plan.blank.width_mm:g} x {plan.blank.height_mm:g} mm. "
    )
    if plan.scale_measured:
        return plan.scale, [
            told + "The printed card was measured, so nothing was changed: measure card and "
            "blanks once more."
        ]
    if scatter.max() > _MOST_SCATTER:
        return plan.scale, [
            told + "But they differ too much among themselves to correct by: measure the card and "
            "write the two lengths into series.toml."
        ]
    try:
        scale = replace(
            plan.scale,
            across=float(plan.scale.across / middle[0]),
            down=float(plan.scale.down / middle[1]),
        )
    except Misuse:
        return plan.scale, [told + "Measure the card, or correct the blank in series.toml."]
    printed = " and ".join(amount(s, "printed_share") for s in (scale.across, scale.down))
    return scale, [
        told + f"So the card is taken to be printed at {printed} (across and down) of its size, "
        "and every picture was measured so. Measure the card to be sure."
    ]


def _of_cameras(seen: pd.DataFrame, plan: PhotoPlan) -> list[str]:
    """Name a camera that shows tiles larger or smaller than the others do: its lens bends."""
    blank = np.array([plan.blank.width_mm, plan.blank.height_mm])
    notes = []
    for camera, own in seen.groupby("camera"):
        if own["tile"].nunique() < _LEAST_TILES:
            continue
        larger = float(np.median(own[["width_mm", "height_mm"]].to_numpy() / blank)) - 1
        if abs(larger) > WORTH_CORRECTING:
            notes.append(
                f"Tiles look {amount(abs(larger), 'larger_share')} "
                f"{'larger' if larger > 0 else 'smaller'} to the camera "
                f"{camera or 'that does not say its name'} than to the rest: its lens bends the "
                "picture. Step back and zoom to twice."
            )
    return notes
