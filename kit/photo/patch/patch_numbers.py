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
from scipy import fft

from kit.photo.patch.edge import Edge, torn_away
from kit.photo.patch.edge_width import transition_width, width_without
from kit.photo.patch.patch_image import CORE_INSET_MM, PatchView
from kit.photo.patch.reflection import Reflection
from kit.photo.raster import Raster
from kit.photo.view.view_from_above import PER_MM, Window

_COLOUR_ERROR = 1.2
"""CIELAB error of base and overlay colour within one picture, as it moves an edge."""

_BENT_MM = 0.06
"""The corner marks of a flat card seem to lie off by this; a lens that bends moves them further."""

_TORN = 0.11
"""What is left of a torn edge is off by this times the root of its torn share, mm."""

_FINE_HOLES = 0.05
_FINE_HOLES_BLURRED = 1.0
"""Holes that do not run together seem larger by such a share of their own to a camera that
sharpens, and smaller by so much times the square of its blur in mm."""

_FAINT = 3.5
"""CIELAB contrast at which mottle of overlay and base could pass for each other."""

_LEAST_POINTS = 40
_FLOOR_OF_BLUR = 0.65
"""An edge that is not there at all is read as up to this share of the picture's own blur (measured,
see benchmarks)."""

MOTTLE_BANDS_MM = {"mottle_fine": (0.5, 1.5), "mottle_coarse": (1.5, 5.0)}
"""Shortest and longest wave, mm, of the lightness that each mottle column counts."""

_PIXELS_A_WAVE = 6
_LEAST_PIXELS = 60

_CLEAR = 0.2
"""Shares within this of pure overlay or pure base count as pure, so that noise adds nothing."""

_RIM_MM = 0.22
"""The camera's blur spreads a hole over about so much round it: there parts count as they are."""

_SHOWN = 0.4


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
        window.scale_error * view.stencil.size_mm / 2,
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
            (_FINE_HOLES + _FINE_HOLES_BLURRED * window.blur_mm**2) * share * (1 - share) ** 2,
            (_FAINT / covered.contrast) ** 2,
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


def pull_through(share: Raster, core: NDArray[np.bool_], per_mm: float) -> float:
    """Give the share of the core in which the base shows, 0 to 1; nan for an empty core.

    Parameters
    ----------
    share : ndarray (height, width)
        Share of overlay in each pixel.
    core : ndarray of bool (height, width)
    per_mm : float
        Pixels to the mm.
    """
    if not core.any():
        return float("nan")
    base = 1 - share
    side = 2 * round(_RIM_MM * per_mm) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    near_base, near_overlay = (
        cv2.dilate(mark.astype(np.uint8), disc) > 0 for mark in (base > _SHOWN, base < 1 - _SHOWN)
    )
    plain = core & ~near_base
    # What pure overlay reads as, a little above or below nothing, is taken off where parts count.
    level = float(np.median(base[plain])) if plain.sum() > _LEAST_PIXELS else 0.0
    counted = (base - level) / (1 - level)
    counted[(base < _CLEAR) & ~near_base] = 0.0
    counted[(base > 1 - _CLEAR) & ~near_overlay] = 1.0
    return float(np.clip(counted[core].mean(), 0, 1))


def mottle(
    lightness: Raster,
    used: NDArray[np.bool_],
    per_mm: float,
    band_mm: tuple[float, float],
) -> float:
    """Give the standard deviation of L* at waves of the band's lengths, inside the core.

    Waves are told apart by their Fourier transform. Pixels not used are first given the lightness
    around them, so that a hole or the core's edge adds no waves of its own.

    Parameters
    ----------
    lightness : ndarray (height, width)
        L*.
    used : ndarray of bool (height, width)
    per_mm : float
        Pixels to the mm.
    band_mm : tuple of float
        Shortest and longest wave.
    """
    coarser = max(int(band_mm[0] * per_mm / _PIXELS_A_WAVE), 1)
    size = used.shape[1] // coarser, used.shape[0] // coarser
    weight: Raster = cv2.resize(used.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    middle = float(np.mean(lightness[used])) if used.any() else 0.0
    level: Raster = cv2.resize(
        np.where(used, lightness - middle, 0).astype(np.float32),
        size,
        interpolation=cv2.INTER_AREA,
    )
    known = weight > 0.5
    if known.sum() < _LEAST_PIXELS:
        return float("nan")
    step = coarser / per_mm
    around = (0, 0), band_mm[1] / 2 / step
    filled = cv2.GaussianBlur(level, *around) / np.maximum(cv2.GaussianBlur(weight, *around), 0.1)
    filled[known] = (level[known] / weight[known]).astype(np.float32)
    rows, columns = (fft.next_fast_len(length, real=True) for length in filled.shape)
    frequency = np.hypot(fft.fftfreq(rows, step)[:, None], fft.rfftfreq(columns, step))
    kept = (frequency >= 1 / band_mm[1]) & (frequency <= 1 / band_mm[0])
    whole = fft.irfft2(fft.rfft2(filled, (rows, columns)) * kept, (rows, columns))
    waves = whole[: filled.shape[0], : filled.shape[1]]
    # Near a hole part of each wave is missing, and its power with it.
    power = float((waves[known] ** 2).sum())
    there = cv2.GaussianBlur(weight, (0, 0), sum(band_mm) / 12 / step)
    return float(np.sqrt(power / there[known].sum()))
