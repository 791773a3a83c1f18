"""Where on the found tile each patch is looked for, what is seen there, and its two colours."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.photo.patch.edge import Reach, beyond_line
from kit.photo.raster import Raster, to_lab, to_linear
from kit.photo.tile_plan import PhotoPlan, TileLayout
from kit.photo.view.image_file import Unmeasurable
from kit.photo.view.view_from_above import PER_MM, Window
from kit.series import Blank, Stencil

CORE_INSET_MM = 1.0
"""The core of a patch begins this far inside its edge."""

_BASE_LIKE = 8.0
_FAR_ENOUGH = 0.8
_MOSTLY = 0.45
_CURVE_STEPS = 65

_MEETING_MM = 1.5
_FURTHEST_MM = 4.5
"""The edge is looked for this far in and out from the stencil line, room allowing."""


@dataclass(frozen=True)
class PatchPlace:
    """Where a patch is looked for.

    Parameters
    ----------
    middle_mm : ndarray (2,)
        In the window, mm from its top left corner.
    turn : float
        Of the tile, radians.
    reach : Reach
    """

    middle_mm: NDArray[np.float64]
    turn: float
    reach: Reach


@dataclass(frozen=True)
class PatchView:
    """A piece of the window.

    Parameters
    ----------
    lab : ndarray (height, width, 3)
        CIELAB.
    burnt : ndarray of bool (height, width)
        Burnt out by glare.
    beyond : ndarray (height, width)
        mm beyond the stencil line as planned, negative inside.
    origin_mm : ndarray (2,)
        Top left corner in the window's mm.
    place : PatchPlace
    stencil : Stencil
    """

    lab: Raster
    burnt: NDArray[np.bool_]
    beyond: Raster
    origin_mm: NDArray[np.float64]
    place: PatchPlace
    stencil: Stencil

    def beyond_at(self, middle_mm: NDArray[np.float64], turn: float) -> Raster:
        """As `beyond`, for the stencil where it really lay: middle in this piece's mm."""
        return _beyond(self.stencil, self.lab.shape, middle_mm, self.place.turn + turn)


def patch_view(window: Window, stencil: Stencil, place: PatchPlace) -> PatchView:
    """Cut the piece of the window in which a patch can lie."""
    half = stencil.size_mm / 2
    if stencil.shape != "disc":
        half = float(np.hypot(stencil.size_mm, stencil.height_mm)) / 2
    half += place.reach.outward + 1.0
    low = np.maximum(np.floor((place.middle_mm - half) * PER_MM).astype(int), 0)
    high = np.ceil((place.middle_mm + half) * PER_MM).astype(int)
    part = slice(low[1], high[1]), slice(low[0], high[0])
    lab, origin = window.lab[part], low / PER_MM
    beyond = _beyond(stencil, lab.shape, place.middle_mm - origin, place.turn)
    return PatchView(lab, window.hidden[part], beyond, origin, place, stencil)


def _beyond(
    stencil: Stencil, shape: tuple[int, ...], middle: NDArray[np.float64], turn: float
) -> Raster:
    x = (np.arange(shape[1], dtype=np.float32) + 0.5) / PER_MM - np.float32(middle[0])
    y = ((np.arange(shape[0], dtype=np.float32) + 0.5) / PER_MM - np.float32(middle[1]))[:, None]
    cos, sin = np.float32(np.cos(turn)), np.float32(np.sin(turn))
    return beyond_line(stencil, x * cos + y * sin, y * cos - x * sin)


def base_beside(view: PatchView, base: Raster) -> Raster:
    """The base's colour beside this patch, if it is seen there, else the tile's (CIELAB)."""
    outward = view.place.reach.outward
    ring = (view.beyond > 0.6 * outward) & (view.beyond < outward) & ~view.burnt
    near = view.lab[ring]
    if len(near) == 0:
        return base
    like = np.linalg.norm(near - base, axis=1) < _BASE_LIKE
    return np.median(near[like], axis=0) if like.mean() > 0.2 else base


def overlay_seen(view: PatchView, base: Raster, reference: Raster | None) -> tuple[Raster, bool]:
    """Give the CIELAB colour of pure overlay, and whether it was taken from this patch.

    The patch's own is the middle of the colours furthest from the base. When that is itself a
    mixture of base and reference, no pure overlay is left in the patch and the reference is used.
    """
    core = (view.beyond < -CORE_INSET_MM) & ~view.burnt
    if core.sum() < 100:
        return (base if reference is None else reference), False
    smooth = cv2.GaussianBlur(view.lab, (0, 0), 1.2)[core]
    away = np.linalg.norm(smooth - base, axis=1)
    own = np.median(smooth[away > _FAR_ENOUGH * np.quantile(away, 0.98)], axis=0)
    usual = np.median(smooth[away > _BASE_LIKE], axis=0) if (away > _BASE_LIKE).any() else own
    if np.linalg.norm(own - usual) > _BASE_LIKE:
        # What is furthest from the base may lie on the patch, or be mirrored in it.
        plain = np.linalg.norm(smooth - usual, axis=1) < _BASE_LIKE / 2
        if plain.mean() > _MOSTLY:
            own = usual
    if reference is not None and np.linalg.norm(reference - base) > _BASE_LIKE:
        mixed = mixture(own[None, None].astype(np.float32), base, reference)
        if mixed.share[0, 0] < _FAR_ENOUGH and mixed.foreign[0, 0] < _BASE_LIKE:
            return reference.astype(np.float32), False
    return own.astype(np.float32), True


@dataclass(frozen=True)
class Mixture:
    """Shares of overlay over a piece of picture.

    Parameters
    ----------
    share : ndarray (height, width)
        0 where the base alone shows, 1 where the overlay alone does; may pass both a little.
    foreign : ndarray (height, width)
        CIELAB distance of the pixel from every mixture of the two.
    """

    share: Raster
    foreign: Raster


def mixture(lab: Raster, base: Raster, overlay: Raster) -> Mixture:
    """Read each pixel as an areal mixture of base and overlay.

    A pixel that holds a share s of overlay sends s times its light and 1 - s times the base's. In
    CIELAB these mixtures lie on a curve from base to overlay. A pixel is carried to its foot on the
    chord of that curve, and the chord's length to the foot read back as a share.

    Parameters
    ----------
    lab : ndarray (height, width, 3)
    base, overlay : ndarray (3,)
        CIELAB of base and of pure overlay, which must differ.
    """
    s = np.linspace(-0.25, 1.25, _CURVE_STEPS, dtype=np.float32)[:, None]
    ends = to_linear(np.stack([base, overlay]))
    curve = to_lab(np.maximum((1 - s) * ends[0] + s * ends[1], 0)[:, None])[:, 0]
    chord = (overlay - base).astype(np.float32)
    square = float(chord @ chord)
    along = (curve - base) @ chord / square
    rising = np.maximum.accumulate(along) + np.arange(_CURVE_STEPS, dtype=np.float32) * 1e-6
    foot = ((lab - base) @ chord) / np.float32(square)
    steps = np.linspace(-0.5, 1.5, 1024, dtype=np.float32)
    table = np.interp(steps, rising, s[:, 0]).astype(np.float32)
    index = np.clip((foot + 0.5) * (1023 / 2.0), 0, 1023).astype(np.int16)
    share = table[index]
    fine = np.linspace(-0.25, 1.25, 256)
    mixed = np.stack([np.interp(fine, s[:, 0], channel) for channel in curve.T], axis=1)
    nearest = mixed.astype(np.float32)[((share + 0.25) * (255 / 1.5)).astype(np.int16)]
    off = lab - nearest
    square_off = sum(off[..., channel] ** 2 for channel in range(3))
    return Mixture(share, np.sqrt(square_off))


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
