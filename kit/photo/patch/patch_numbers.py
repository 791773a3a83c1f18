"""The numbers of one patch, each with its standard error.

A standard error here says how far the number may be from what a perfect picture would give. It is
put together from what limits each measurement (how well the two colours are known, the print's
scale, the card's flatness, the blur, the holes at the edge) with weights found on drawn pictures of
known truth; tests/benchmarks/RESULTS.md says how often two standard errors hold the truth.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo.patch.edge import Edge, torn_away
from kit.photo.patch.edge_width import transition_width, width_without
from kit.photo.patch.face import MOTTLE_BANDS_MM, mottle, pull_through
from kit.photo.patch.patch_image import CORE_INSET_MM, PatchView
from kit.photo.patch.reflection import Reflection
from kit.photo.raster import Raster
from kit.photo.view.window import PER_MM, Window

_COLOUR_ERROR = 1.2
"""CIELAB error of base and overlay colour within one picture, as it moves an edge."""

_SCALE_ERROR = 0.0015
"""A rule is read to half a millimetre, which is 0.15 mm (standard deviation) in 90 mm."""

_BENT_MM = 0.06
"""The corner marks of a flat card seem to lie off by this; a lens that bends moves them further."""

_TORN = 0.1
"""What is left of a torn edge is off by this times the root of its torn share, mm."""

_LEAST_POINTS = 40
_FLOOR_OF_BLUR = 0.65
"""An edge that is not there at all is read as up to this share of the picture's own blur (measured,
see benchmarks)."""


@dataclass(frozen=True)
class Covered:
    """Where the overlay lies in a patch's view.

    Parameters
    ----------
    share : ndarray (height, width)
        Share of overlay.
    whole : ndarray of bool (height, width)
        The overlay as one piece, holes filled.
    hidden : ndarray of bool (height, width)
        Where the surface cannot be seen.
    reflection : Reflection
    contrast : float
        CIELAB distance of overlay from base.
    """

    share: Raster
    whole: NDArray[np.bool_]
    hidden: NDArray[np.bool_]
    reflection: Reflection
    contrast: float


def edge_numbers(view: PatchView, covered: Covered, edge: Edge, window: Window) -> dict[str, float]:
    """Give spread and edge width, mm; empty when too little of the edge is seen."""
    seen = edge.creep[np.isfinite(edge.creep)]
    if seen.size < _LEAST_POINTS:
        return {}
    left_out = covered.hidden | torn_away(edge, covered.whole, covered.share, PER_MM)
    raw = transition_width(covered.share, covered.whole, left_out, PER_MM)
    width = width_without(raw, window.blur_mm)
    spread = _length(
        _COLOUR_ERROR / covered.contrast * max(np.nan_to_num(width), window.blur_mm),
        _SCALE_ERROR * view.stencil.size_mm / 2,
        0.45 * float(np.sqrt(max(window.card.bent_mm**2 - _BENT_MM**2, 0.0))),
        _TORN * float(np.sqrt(edge.torn)),
        float(np.std(seen)) * (1 - edge.seen),
        0.012,
    )
    return {
        "spread_mm": float(seen.mean()),
        "spread_mm_se": spread,
        "spread_p95_mm": float(np.quantile(seen, 0.95)),
        "spread_p95_mm_se": _length(spread, 0.12 * float(np.std(seen))),
        "edge_width_mm": width,
        "edge_width_floor_mm": _FLOOR_OF_BLUR * window.blur_mm,
        "edge_width_mm_se": _length(
            0.03,
            width / covered.contrast,
            0.3 * window.blur_mm**2 / max(raw, 0.05),
            width * edge.torn,
        ),
    }


def face_numbers(
    view: PatchView,
    covered: Covered,
    edge: Edge,
    window: Window,
    spread_mm: float,
    width_mm: float,
) -> dict[str, float]:
    """Give pull-through, mottle and the overlay's colour inside the core."""
    inset = max(CORE_INSET_MM, 0.8 * float(np.nan_to_num(width_mm)))
    core = view.beyond_at(edge.middle_mm, edge.turn) < min(spread_mm, 0.0) - inset
    core &= ~covered.hidden
    share = pull_through(covered.share, core, PER_MM)
    between = (covered.share > 0.2) & (covered.share < 0.8)
    unresolved = float(between[core].mean()) if core.any() else 0.0
    found = {
        "pull_through_share": share,
        "pull_through_share_se": _length(
            0.004,
            window.blur_mm / 0.25 * (0.02 * unresolved + 0.4 * unresolved**3),
            0.4 / covered.contrast * float(np.sqrt(max(share, 0.0))),
        ),
    }
    pure = (covered.share > 0.6).astype(np.uint8)
    plain = core & (cv2.erode(pure, np.ones((9, 9), np.uint8)) > 0)
    for name, band in MOTTLE_BANDS_MM.items():
        value = mottle(view.lab[..., 0], plain, PER_MM, band)
        waves = max(plain.sum() / PER_MM**2 / band[1] ** 2 * 4, 1.0)
        found[name] = value
        found[f"{name}_se"] = _length(value / float(np.sqrt(2 * waves)), 0.2 * value, 0.35)
    if plain.sum() > 100:
        middle = np.median(view.lab[plain], axis=0)
        found |= dict(zip(("overlay_l", "overlay_a", "overlay_b"), map(float, middle), strict=True))
    return found


def _length(*parts: float) -> float:
    """Independent errors add as squares."""
    return float(np.sqrt(np.square(parts).sum()))
