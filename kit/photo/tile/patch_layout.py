"""Where on a found tile each patch is looked for, and where its bare base."""

import math

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.photo.patch.edge import Reach
from kit.photo.patch.patch_image import PatchPlace
from kit.photo.raster import Raster
from kit.photo.tile.tile_plan import PhotoPlan
from kit.photo.view.image_file import Unmeasurable
from kit.photo.view.window import PER_MM, Window
from kit.series import Stencil

_FURTHEST_MM = 4.5
"""The edge is looked for this far in and out from the stencil line, room allowing."""


def patch_places(plan: PhotoPlan, window: Window, patches: pd.DataFrame) -> dict[str, PatchPlace]:
    """Say where in the window each patch is to be looked for, by patch."""
    planned = plan.places()
    middles = {n: np.array([p.x_mm, p.y_mm]) for n, p in planned.items()}
    inward = min(_FURTHEST_MM, plan.stencil.size_mm / 2 - 0.5)
    return {
        row.patch: PatchPlace(
            window.tile.from_tile(middles[row.position], plan.blank),
            window.tile.turn,
            Reach(inward, _outward(plan, middles, row.position)),
        )
        for row in patches.itertuples()
    }


def _outward(plan: PhotoPlan, middles: dict[int, NDArray[np.float64]], own: int) -> float:
    """How far out the edge can be looked for before a neighbour or the rim comes."""
    half = np.array([plan.stencil.size_mm, plan.stencil.height_mm]) / 2
    middle = middles[own]
    if plan.blank.shape == "round":
        off = float(np.linalg.norm(middle - plan.blank.width_mm / 2))
        rim = plan.blank.width_mm / 2 - off - _half(plan.stencil)
    else:
        size = np.array([plan.blank.width_mm, plan.blank.height_mm])
        rim = float(np.minimum(middle - half, size - middle - half).min())
    gaps = [rim - 0.7]
    for number, other in middles.items():
        if number != own:
            apart = np.abs(other - middle)
            gap = (
                np.hypot(*apart) - 2 * half[0]
                if plan.stencil.shape == "disc"
                else np.hypot(*np.maximum(apart - 2 * half, 0))
            )
            gaps.append(float(gap) - 0.3)
    return max(min([_FURTHEST_MM, *gaps]), 0.5)


def _half(stencil: Stencil) -> float:
    """Radius of the smallest circle about the stencil's opening, mm."""
    if stencil.shape == "disc":
        return stencil.size_mm / 2
    return math.hypot(stencil.size_mm, stencil.height_mm) / 2


def base_colour(window: Window, plan: PhotoPlan, places: dict[str, PatchPlace]) -> Raster:
    """Give the tile's own CIELAB colour, (3,), from points on it away from every patch.

    Raises
    ------
    Unmeasurable
        When hardly any of the base can be seen.
    """
    step = 0.5
    x, y = np.meshgrid(
        np.arange(1.5, plan.blank.width_mm - 1.4, step),
        np.arange(1.5, plan.blank.height_mm - 1.4, step),
    )
    spots = np.column_stack([x.ravel(), y.ravel()])
    if plan.blank.shape == "round":
        middle = plan.blank.width_mm / 2
        spots = spots[np.hypot(*(spots - middle).T) < middle - 1.5]
    half = _half(plan.stencil)
    seen = window.tile.from_tile(spots, plan.blank)
    away = np.min(
        [np.linalg.norm(seen - place.middle_mm, axis=1) for place in places.values()], axis=0
    )
    clear = seen[away - half >= min(2.5, float(np.quantile(away - half, 0.7)))]
    column, row = (clear * PER_MM).astype(int).T
    rows, columns = window.lab.shape[:2]
    inside = (column >= 0) & (row >= 0) & (column < columns) & (row < rows)
    column, row = column[inside], row[inside]
    kept = ~window.hidden[row, column]
    if kept.sum() < 20:
        raise Unmeasurable("Too little of the tile's base can be seen: glare, or a hand over it?")
    return np.median(window.lab[row[kept], column[kept]], axis=0)
