"""One patch measured: its edge, its face, how sure each number is, and whether to trust them."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo.edge import Edge, Reach, find_edge, solid, transition_width, width_without
from kit.photo.mixing import mixture
from kit.photo.raster import Raster
from kit.photo.stencil_line import beyond_line, stencil_line
from kit.photo.surface import MOTTLE_BANDS_MM, mottle, pull_through
from kit.photo.window import PER_MM, Window
from kit.series import Stencil

COLOURS = ("base_l", "base_a", "base_b", "overlay_l", "overlay_a", "overlay_b")
"""CIELAB columns of a patch's two colours."""

CORE_INSET_MM = 1.0
LEAST_CONTRAST = 6.0
"""CIELAB distance of overlay from base below which the two cannot be told apart."""

_SMOOTH_PX = 1.0
_FOREIGN = 12.0


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
class PatchReading:
    """What one patch measures.

    Parameters
    ----------
    values : dict of str to float
        The measurements, their standard errors (`..._se`) and the colours; nan where unknown.
    quality : {'good', 'fair', 'poor', 'not measured'}
    remark : str
        Why it is not good; blank if it is.
    outline_mm : ndarray (n, 2) or None
        The edge found, in the window's mm.
    planned_mm : ndarray (n, 2)
        The stencil line it was compared with.
    """

    values: dict[str, float]
    quality: str
    remark: str
    outline_mm: NDArray[np.float64] | None
    planned_mm: NDArray[np.float64]


@dataclass(frozen=True)
class _Crop:
    lab: Raster
    hidden: NDArray[np.bool_]
    origin_mm: NDArray[np.float64]
    beyond: NDArray[np.floating]


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
    line = stencil_line(stencil).turned(place.turn)
    planned = line.place + place.middle_mm
    crop = _crop(window, stencil, place)
    base = _local_base(crop, base, place.reach)
    overlay, own = _overlay_colour(crop, base, reference)
    contrast = float(np.linalg.norm(overlay - base))
    if contrast < LEAST_CONTRAST:
        return PatchReading(
            _colours(base, overlay),
            "not measured",
            "Base and overlay look alike, so no edge can be seen.",
            None,
            planned,
        )
    mixed = mixture(crop.lab, base, overlay)
    # What hides the surface is another colour than any mixture, over more than a speck.
    strange = cv2.morphologyEx(
        (mixed.foreign > max(_FOREIGN, 0.45 * contrast)).astype(np.uint8),
        cv2.MORPH_OPEN,
        np.ones((9, 9), np.uint8),
    )
    hidden = crop.hidden | (strange > 0)
    share = cv2.GaussianBlur(mixed.share, (0, 0), _SMOOTH_PX)
    share[crop.hidden] = np.where(crop.beyond[crop.hidden] < 0, 1.0, 0.0)
    whole = solid(share, crop.beyond < 0, PER_MM)
    edge = find_edge(
        share, whole, hidden, line, place.middle_mm - crop.origin_mm, place.reach, PER_MM
    )
    values = _colours(base, overlay) | _edge_values(
        edge, share, whole, hidden, window, stencil, contrast
    )
    values |= _face_values(crop, share, hidden, edge, stencil, values, contrast, place.turn)
    quality, remark = _judge(edge, hidden, crop, own, window, values, contrast)
    laid = stencil_line(stencil).turned(place.turn + edge.turn)
    middle = edge.middle_mm + crop.origin_mm
    return PatchReading(
        values if quality != "not measured" else _colours(base, overlay),
        quality,
        remark,
        laid.place + laid.normal * edge.creep[:, None] + middle,
        laid.place + middle,
    )


def _crop(window: Window, stencil: Stencil, place: PatchPlace) -> _Crop:
    half = (
        np.hypot(stencil.size_mm, stencil.height_mm) / 2
        if stencil.shape != "disc"
        else (stencil.size_mm / 2)
    )
    half += place.reach.outward + 1.0
    low = np.maximum(np.floor((place.middle_mm - half) * PER_MM).astype(int), 0)
    high = np.ceil((place.middle_mm + half) * PER_MM).astype(int)
    part = slice(low[1], high[1]), slice(low[0], high[0])
    lab = window.lab[part]
    origin = low / PER_MM
    x, y = np.meshgrid(
        origin[0] + (np.arange(lab.shape[1]) + 0.5) / PER_MM - place.middle_mm[0],
        origin[1] + (np.arange(lab.shape[0]) + 0.5) / PER_MM - place.middle_mm[1],
    )
    cos, sin = np.cos(place.turn), np.sin(place.turn)
    beyond = beyond_line(stencil, x * cos + y * sin, y * cos - x * sin)
    return _Crop(lab, window.hidden[part], origin, beyond.astype(np.float32))


def _local_base(crop: _Crop, base: Raster, reach: Reach) -> Raster:
    """The base's colour beside this patch, if it is seen there, else the tile's."""
    ring = (crop.beyond > 0.6 * reach.outward) & (crop.beyond < reach.outward) & ~crop.hidden
    near = crop.lab[ring]
    if near.size == 0:
        return base
    like = np.linalg.norm(near - base, axis=1) < 8.0
    if like.sum() < 0.2 * len(near):
        return base
    return np.median(near[like], axis=0)


def _overlay_colour(crop: _Crop, base: Raster, reference: Raster | None) -> tuple[Raster, bool]:
    """Colour of pure overlay, and whether it was taken from this patch.

    The patch's own is the middle of the colours furthest from the base. When the reference lies
    well beyond them, no pure overlay is left in the patch and the reference is used.
    """
    core = (crop.beyond < -CORE_INSET_MM) & ~crop.hidden
    if core.sum() < 100:
        return (reference if reference is not None else base), False
    smooth = cv2.GaussianBlur(crop.lab, (0, 0), 2.0)[core]
    away = np.linalg.norm(smooth - base, axis=1)
    far = smooth[away > 0.75 * np.quantile(away, 0.97)]
    own = np.median(far, axis=0)
    if reference is not None:
        chord = reference - base
        square = float(chord @ chord)
        if square > LEAST_CONTRAST**2 and float((own - base) @ chord) / square < 0.8:
            return reference.astype(np.float32), False
    return own.astype(np.float32), True


def _colours(base: Raster, overlay: Raster) -> dict[str, float]:
    return dict(zip(COLOURS, map(float, (*base, *overlay)), strict=True))


def _edge_values(
    edge: Edge,
    share: Raster,
    whole: NDArray[np.bool_],
    hidden: NDArray[np.bool_],
    window: Window,
    stencil: Stencil,
    contrast: float,
) -> dict[str, float]:
    seen = edge.creep[np.isfinite(edge.creep)]
    if seen.size < 40:
        return {}
    filled = (whole & (share < 0.5)).astype(np.uint8)
    left_out = hidden | (cv2.dilate(filled, np.ones((13, 13), np.uint8)) > 0)
    raw = transition_width(share, whole, left_out, PER_MM)
    width = width_without(raw, window.blur_mm)
    # The half-way level is known no better than the two colours are.
    level = 1.5 / contrast * max(width, window.blur_mm) / 0.8
    scale = 0.003 * stencil.size_mm / 2
    fit = window.card.bent_mm / 4
    hidden_part = np.std(seen) * np.sqrt((1 - edge.seen) / max(seen.size, 1)) * 4
    spread_se = float(np.sqrt(level**2 + scale**2 + fit**2 + hidden_part**2 + 0.01**2))
    return {
        "spread_mm": float(seen.mean()),
        "spread_mm_se": spread_se,
        "spread_p95_mm": float(np.quantile(seen, 0.95)),
        "spread_p95_mm_se": float(np.hypot(spread_se, 0.25 * np.std(seen))),
        "edge_width_mm": width,
        "edge_width_mm_se": float(
            np.hypot(0.04 + 1.0 / contrast * width, 0.3 * window.blur_mm**2 / max(raw, 0.05))
        ),
    }


def _face_values(
    crop: _Crop,
    share: Raster,
    hidden: NDArray[np.bool_],
    edge: Edge,
    stencil: Stencil,
    values: dict[str, float],
    contrast: float,
    turn: float,
) -> dict[str, float]:
    inset = max(CORE_INSET_MM, 0.8 * np.nan_to_num(values.get("edge_width_mm", 0.0)))
    limit = min(values.get("spread_mm", 0.0), 0.0) - inset
    x, y = np.meshgrid(
        (np.arange(share.shape[1]) + 0.5) / PER_MM - edge.middle_mm[0],
        (np.arange(share.shape[0]) + 0.5) / PER_MM - edge.middle_mm[1],
    )
    cos, sin = np.cos(turn + edge.turn), np.sin(turn + edge.turn)
    core = (beyond_line(stencil, x * cos + y * sin, y * cos - x * sin) < limit) & ~hidden
    base_share = pull_through(share, core)
    found = {
        "pull_through_share": base_share,
        "pull_through_share_se": float(
            np.hypot(0.005, (0.02 + 1.0 / contrast) * np.sqrt(max(base_share, 0.0)))
        ),
    }
    plain = core & (cv2.erode((share > 0.6).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0)
    for name, band in MOTTLE_BANDS_MM.items():
        value = mottle(crop.lab[..., 0], plain, PER_MM, band)
        found[name] = value
        waves = max(plain.sum() / PER_MM**2 / band[1] ** 2 * 4, 1.0)
        found[f"{name}_se"] = float(value / np.sqrt(2 * waves) + 0.1)
    if plain.sum() > 100:
        middle = np.median(crop.lab[plain], axis=0)
        found |= dict(zip(("overlay_l", "overlay_a", "overlay_b"), map(float, middle), strict=True))
    return found


def _judge(
    edge: Edge,
    hidden: NDArray[np.bool_],
    crop: _Crop,
    own: bool,
    window: Window,
    values: dict[str, float],
    contrast: float,
) -> tuple[str, str]:
    """Words for how far to trust the numbers, the worst first."""
    veiled = float(hidden[crop.beyond < 0].mean())
    if "spread_mm" not in values or edge.seen < 0.4 or veiled > 0.6:
        return "not measured", "Glare, or something lying on it, hides too much of this patch."
    if edge.limited > 0.25:
        return (
            "poor",
            f"The edge is out of reach on {edge.limited:.0%} of its length: the overlay has run "
            "into its neighbour or the rim, or has crawled away.",
        )
    if edge.seen < 0.75 or veiled > 0.25:
        return "poor", "Glare hides much of this patch."
    fair = []
    if not own:
        fair.append("no pure overlay is left, so its colour is taken from another picture")
    elif values["pull_through_share"] > 0.6:
        fair.append("little pure overlay is left to compare with")
    if edge.seen < 0.97 or veiled > 0.03:
        fair.append("glare hides part of it")
    if contrast < 2 * LEAST_CONTRAST:
        fair.append("base and overlay look much alike")
    if window.blur_mm > 0.3:
        fair.append("the picture is a little blurred")
    if edge.torn > 0.1:
        fair.append(f"the base has torn {edge.torn:.0%} of the edge open")
    if edge.limited > 0.05:
        fair.append("part of the edge is out of reach")
    if not fair:
        return "good", ""
    words = "; ".join(fair)
    return "fair", f"{words[0].upper()}{words[1:]}."
