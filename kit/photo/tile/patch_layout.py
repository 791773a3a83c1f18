"""Where on a found tile each patch is looked for, and where its bare base."""

import math

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.photo.patch.edge import Reach
from kit.photo.patch.patch_image import PatchPlace
from kit.photo.raster import Raster
from kit.photo.tile.tile_plan import PhotoPlan, TileLayout
from kit.photo.view.image_file import Unmeasurable
from kit.photo.view.window import PER_MM, Window
from kit.series import Blank, Stencil

_MEETING_MM = 1.5
_FURTHEST_MM = 4.5
"""The edge is looked for this far in and out from the stencil line, room allowing."""


def patch_places(
    plan: PhotoPlan, layout: TileLayout, window: Window, patches: pd.DataFrame
) -> dict[str, PatchPlace]:
    """Say where in the window each patch is to be looked for, by patch."""
    middles = {n: np.array([p.x_mm, p.y_mm]) for n, p in layout.places.items()}
    inward = min(_FURTHEST_MM, layout.stencil.size_mm / 2 - 0.5)
    return {
        row.patch: PatchPlace(
            window.tile.from_tile(middles[row.position], plan.blank),
            window.tile.turn,
            Reach(inward, _outward(plan.blank, layout, middles, row.position)),
        )
        for row in patches.itertuples()
    }


def _outward(
    blank: Blank, layout: TileLayout, middles: dict[int, NDArray[np.float64]], own: int
) -> float:
    """How far out the edge can be looked for before a neighbour or the rim comes."""
    half = np.array([layout.stencil.size_mm, layout.stencil.height_mm]) / 2
    middle = middles[own]
    if blank.shape == "round":
        off = float(np.linalg.norm(middle - blank.width_mm / 2))
        rim = blank.width_mm / 2 - off - _half(layout.stencil)
    else:
        size = np.array([blank.width_mm, blank.height_mm])
        rim = float(np.minimum(middle - half, size - middle - half).min())
    gaps = [rim - 0.7]
    gaps += [float(abs(middle[0] - edge) - half[0]) - 1.0 for edge in layout.edges_mm]
    for number, other in middles.items():
        if number != own:
            apart = np.abs(other - middle)
            gap = (
                np.hypot(*apart) - 2 * half[0]
                if layout.stencil.shape == "disc"
                else np.hypot(*np.maximum(apart - 2 * half, 0))
            )
            gaps.append(float(gap) - 0.3)
    return max(min([_FURTHEST_MM, *gaps]), 0.5)


def _half(stencil: Stencil) -> float:
    """Radius of the smallest circle about the stencil's opening, mm."""
    if stencil.shape == "disc":
        return stencil.size_mm / 2
    return math.hypot(stencil.size_mm, stencil.height_mm) / 2


def base_colours(
    window: Window, blank: Blank, layout: TileLayout, places: dict[str, PatchPlace]
) -> dict[str, Raster]:
    """Give the CIELAB colour, (3,), of the base under each patch, from points away from them all.

    Raises
    ------
    Unmeasurable
        When hardly any of a base can be seen.
    """
    step = 0.5
    x, y = np.meshgrid(
        np.arange(1.5, blank.width_mm - 1.4, step), np.arange(1.5, blank.height_mm - 1.4, step)
    )
    spots = np.column_stack([x.ravel(), y.ravel()])
    if blank.shape == "round":
        middle = blank.width_mm / 2
        spots = spots[np.hypot(*(spots - middle).T) < middle - 1.5]
    for edge in layout.edges_mm:
        spots = spots[np.abs(spots[:, 0] - edge) > _MEETING_MM]
    seen = window.tile.from_tile(spots, blank)
    stripes = layout.stripe_at(spots[:, 0])
    middles = np.array([place.middle_mm for place in places.values()])
    away = np.linalg.norm(seen[:, None] - middles, axis=2).min(axis=1) - _half(layout.stencil)
    colours = {}
    for stripe in np.unique(stripes):
        own = stripes == stripe
        near = min(2.5, float(np.quantile(away[own], 0.7)))
        colours[int(stripe)] = _colour_at(window, seen[own & (away >= near)])
    centre = np.array([[blank.width_mm, blank.height_mm]]) / 2
    cos, sin = np.cos(window.tile.turn), np.sin(window.tile.turn)
    back = (middles - (window.tile.x_mm, window.tile.y_mm)) @ np.array([[cos, -sin], [sin, cos]])
    under = layout.stripe_at((back + centre)[:, 0])
    return {patch: colours[int(stripe)] for patch, stripe in zip(places, under, strict=True)}


def _colour_at(window: Window, clear: NDArray[np.float64]) -> Raster:
    column, row = (clear * PER_MM).astype(int).T
    rows, columns = window.lab.shape[:2]
    inside = (column >= 0) & (row >= 0) & (column < columns) & (row < rows)
    column, row = column[inside], row[inside]
    kept = ~window.hidden[row, column]
    if kept.sum() < 20:
        raise Unmeasurable("Too little of the tile's base can be seen: glare, or a hand over it?")
    colour: Raster = np.median(window.lab[row[kept], column[kept]], axis=0)
    return colour
