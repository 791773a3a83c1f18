"""One patch measured: its edge, its face, how sure each number is, and whether to trust them."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo.patch.edge import Edge, StencilLine, find_edge, solid, stencil_line
from kit.photo.patch.patch_image import (
    PatchPlace,
    PatchView,
    base_beside,
    mixture,
    overlay_seen,
    patch_view,
)
from kit.photo.patch.patch_numbers import Covered, edge_numbers, face_numbers
from kit.photo.patch.quality import ALIKE, LEAST_CONTRAST, judge
from kit.photo.patch.reflection import find_reflection
from kit.photo.raster import Raster
from kit.photo.view.view_from_above import PER_MM, Window
from kit.series import Stencil

COLOURS = ("base_l", "base_a", "base_b", "overlay_l", "overlay_a", "overlay_b")
"""CIELAB columns of a patch's two colours."""

_SMOOTH_PX = 1.0
_FOREIGN = 12.0
_FOREIGN_PART = 0.45
_SPECK_MM = 0.4
_FIELD_MM = 2.0
_MIRRORED_PART = 0.004


@dataclass(frozen=True)
class PatchReading:
    """What one patch measures.

    Parameters
    ----------
    values : dict of str to float
        The measurements, their standard errors (`..._se`) and the colours; what could not be
        measured is absent or nan.
    quality : {'good', 'fair', 'poor', 'not measured'}
    remark : str
        Why it is not good; blank if it is.
    outline_mm : ndarray (n, 2) or None
        The edge found, in the window's mm.
    planned_mm : ndarray (n, 2)
        The stencil line it was compared with.
    mirrored : bool
        Whether something mirrored lies on it or beside it.
    """

    values: dict[str, float]
    quality: str
    remark: str
    outline_mm: NDArray[np.float64] | None
    planned_mm: NDArray[np.float64]
    mirrored: bool = False


def measure_patch(
    window: Window,
    stencil: Stencil,
    place: PatchPlace,
    base: Raster,
    reference: Raster | None,
) -> PatchReading:
    """Measure one patch.

    Parameters
    ----------
    window : Window
    stencil : Stencil
    place : PatchPlace
    base : ndarray (3,)
        CIELAB of the tile's base.
    reference : ndarray (3,) or None
        CIELAB of pure overlay, from a control patch or an earlier firing; used when too little
        pure overlay is left to take it from the patch.
    """
    line = stencil_line(stencil)
    view = patch_view(window, stencil, place)
    base = base_beside(view, base)
    overlay, own = overlay_seen(view, base, reference)
    colours = dict(zip(COLOURS, map(float, (*base, *overlay)), strict=True))
    if float(np.linalg.norm(overlay - base)) < LEAST_CONTRAST:
        planned = line.turned(place.turn).place + place.middle_mm
        return PatchReading(colours, "not measured", ALIKE, None, planned)
    covered = _covered(view, base, overlay)
    edge = find_edge(
        covered.share,
        covered.whole,
        covered.hidden,
        line.turned(place.turn),
        place.middle_mm - view.origin_mm,
        place.reach,
        PER_MM,
    )
    numbers = edge_numbers(view, covered, edge, window)
    if numbers:
        spread, width = numbers["spread_mm"], numbers["edge_width_mm"]
        numbers |= face_numbers(view, covered, edge, window, spread, width)
    quality, remark = judge(view, covered, edge, numbers, own, window)
    values = colours if quality == "not measured" else colours | numbers
    near = view.beyond < view.place.reach.outward
    bright = covered.reflection.glare | view.burnt
    mirrored = covered.reflection.veil > 0 or float(bright[near].mean()) > _MIRRORED_PART
    return PatchReading(values, quality, remark, *_outline(view, edge, line), mirrored)


def _covered(view: PatchView, base: Raster, overlay: Raster) -> Covered:
    contrast = float(np.linalg.norm(overlay - base))
    mixed = mixture(view.lab, base, overlay)
    strange = _strange(mixed.foreign, contrast)
    share = cv2.GaussianBlur(mixed.share, (0, 0), _SMOOTH_PX)
    share[view.burnt] = np.where(view.beyond[view.burnt] < 0, 1.0, 0.0)
    whole = solid(share, view.beyond < 0, PER_MM)
    near = view.beyond < view.place.reach.outward
    mirrored = find_reflection(view.lab, base, overlay, near, strange, PER_MM)
    return Covered(share, whole, view.burnt | strange | mirrored.glare, mirrored, contrast)


def _strange(foreign: Raster, contrast: float) -> NDArray[np.bool_]:
    """Mark what is another colour than any mixture: plainly, or a little over a wide field.

    Narrow bands of slightly other colour are the camera's doing: it keeps colour less sharply than
    lightness.
    """
    plain = foreign > max(_FOREIGN, _FOREIGN_PART * contrast)
    wide = foreign > _FOREIGN
    found = np.zeros(foreign.shape, bool)
    for mark, across_mm in ((plain, _SPECK_MM), (wide, _FIELD_MM)):
        side = 2 * round(across_mm * PER_MM / 2) + 1
        disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
        found |= cv2.morphologyEx(mark.astype(np.uint8), cv2.MORPH_OPEN, disc) > 0
    halo = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (15, 15))
    return cv2.dilate(found.astype(np.uint8), halo) > 0


def _outline(
    view: PatchView, edge: Edge, line: StencilLine
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    laid = line.turned(view.place.turn + edge.turn)
    middle = edge.middle_mm + view.origin_mm
    return laid.place + laid.normal * edge.creep[:, None] + middle, laid.place + middle
