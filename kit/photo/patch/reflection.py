"""Light mirrored in the glaze: told from enamel by its colour, which is the lamp's and not theirs.

A glossy face adds to its own light some of what stands over it. Seen in the light of the card that
addition is grey. So the light of a pixel is base, overlay and grey in some amounts; the grey part
is what is mirrored. It moves when lamp, tile or telephone move; lace does not.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo.raster import Raster, to_linear

_COARSER = 4
_LEAST_LIGHT = 0.035
_LEAST_OF_OWN = 0.14
"""Mirrored light counts from this, and from this share of the place's own light: mottle and an
uneven lamp change that by less."""

_ACROSS_MM = 0.8
_HALO_MM = 0.5
_APART = 0.12
"""Sine of the angle between the change from base to overlay and grey, below which the two cannot
be told apart by colour."""

_AS_GREY = 0.55
_SOFT_MM = 1.2
_VEIL = 0.02
_VEIL_OF_OWN = 0.07


@dataclass(frozen=True)
class Reflection:
    """What is mirrored in the piece of the picture round a patch.

    Parameters
    ----------
    glare : ndarray of bool (height, width)
        Where mirrored light changes what is seen, with a rim round it.
    veil : float
        How much more soft mirrored light lies on one side of the piece than on the other, as a
        share of the light from white paper; 0 when it is too little to matter.
    """

    glare: NDArray[np.bool_]
    veil: float


def find_reflection(
    lab: Raster,
    base: Raster,
    overlay: Raster,
    near: NDArray[np.bool_],
    strange: NDArray[np.bool_],
    per_mm: float,
) -> Reflection:
    """Find mirrored light on base and overlay.

    Each pixel's light is taken as B + s (O - B) + r (1, 1, 1), B and O being the light of base and
    overlay, s between 0 and 1 the share of overlay, and r what is mirrored; least squares over the
    three channels.

    Parameters
    ----------
    lab : ndarray (height, width, 3)
        CIELAB.
    base, overlay : ndarray (3,)
        CIELAB.
    near : ndarray of bool (height, width)
        Where on the piece the patch and the base beside it lie.
    strange : ndarray of bool (height, width)
        Where neither base nor overlay is seen; no witness of a veil.
    per_mm : float
        Pixels to the mm.
    """
    rows, columns = (max(length // _COARSER, 1) for length in lab.shape[:2])
    small = cv2.resize(lab, (columns, rows), interpolation=cv2.INTER_AREA)
    inside = cv2.resize(near.astype(np.uint8), (columns, rows), interpolation=cv2.INTER_NEAREST) > 0
    other = cv2.resize(strange.astype(np.uint8), (columns, rows), interpolation=cv2.INTER_AREA) > 0
    light, ends = to_linear(small), to_linear(np.stack([base, overlay]))
    grey = _grey_part(light, ends)
    own = np.maximum((light - grey[..., None]).mean(axis=2), 0)
    coarse = per_mm / _COARSER
    bright = grey > _LEAST_LIGHT + _LEAST_OF_OWN * own
    side = 2 * round(_ACROSS_MM * coarse / 2) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    found = cv2.morphologyEx((bright & inside).astype(np.uint8), cv2.MORPH_OPEN, disc)
    rim = 2 * round(_HALO_MM * coarse) + 1
    wide = cv2.dilate(found, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (rim, rim)))
    glare = cv2.resize(wide, lab.shape[1::-1], interpolation=cv2.INTER_NEAREST) > 0
    return Reflection(glare, _veil(grey, own, inside & ~other & (wide == 0), coarse))


def _grey_part(light: Raster, ends: Raster) -> Raster:
    """Light that is neither of base nor of overlay, smoothed a little, (height, width)."""
    towards = ends[1] - ends[0]
    grey = np.full(3, 1 / np.sqrt(3), np.float32)
    length = float(np.linalg.norm(towards))
    aside = towards - grey * float(towards @ grey)
    off = light - ends[0]
    if float(np.linalg.norm(aside)) > _APART * length:
        share = off @ aside / float(aside @ towards)
    else:
        share = off @ towards / max(length**2, 1e-9)
    share = np.clip(share, 0, 1)
    rest = off - share[..., None] * towards
    rest = cv2.GaussianBlur(rest, (0, 0), 0.8)
    # The least of the three channels decides: what adds much more to one of them is a colour.
    red, green, blue = cv2.split(rest)
    least = cv2.min(cv2.min(red, green), blue)
    most = cv2.max(cv2.max(red, green), blue)
    return np.where(least > _AS_GREY * most, least, np.minimum(least, 0))


def _veil(grey: Raster, own: Raster, used: NDArray[np.bool_], per_mm: float) -> float:
    if used.sum() < 100:
        return 0.0
    weight = used.astype(np.float32)
    around = (0, 0), _SOFT_MM * per_mm
    total = np.maximum(cv2.GaussianBlur(weight, *around), 1e-3)
    soft = (cv2.GaussianBlur(grey * weight, *around) / total)[used]
    low, high = np.quantile(soft, (0.05, 0.95))
    rise = float(high - low)
    return rise if rise > _VEIL + _VEIL_OF_OWN * float(np.median(own[used])) else 0.0
