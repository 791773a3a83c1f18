"""The surface of an invented tile: each patch with the spread, edge and pull-through asked for."""

from dataclasses import dataclass

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import fft
from scipy.special import erf

from kit.photo import Raster, linear_light, to_lab, to_linear
from kit.series import Blank, Position, Stencil, positions

TILE_PIXELS_PER_MM = 40
CORE_INSET_MM = 1.0
"""Truth for pull-through and mottle is taken this far inside the edge."""

_RIM_MM = 0.5
_COPPER_OXIDE = np.array([0.09, 0.05, 0.04], np.float32)


@dataclass(frozen=True)
class PatchLook:
    """What one invented patch looks like.

    Parameters
    ----------
    patch : str
    position : int
    overlay_rgb : tuple of float
        sRGB colour of the pure overlay, 0 to 1.
    spread_mm : float
        Mean distance of the edge beyond the stencil line.
    roughness_mm : float
        Standard deviation of that distance round the edge.
    edge_width_mm : float
        10-90 % width of the edge.
    pull_through_share : float
        Share of the core in which the base shows.
    hole_mm : float
        Typical size of the places where it shows.
    mottle_fine, mottle_coarse : float
        Standard deviation of L* at wavelengths of 0.5-1.5 mm and of 1.5-5 mm.
    """

    patch: str
    position: int
    overlay_rgb: tuple[float, float, float]
    spread_mm: float = 0.0
    roughness_mm: float = 0.1
    edge_width_mm: float = 0.3
    pull_through_share: float = 0.0
    hole_mm: float = 1.2
    mottle_fine: float = 0.0
    mottle_coarse: float = 0.0


@dataclass(frozen=True)
class TileLook:
    """An invented tile.

    Parameters
    ----------
    blank, stencil : Blank, Stencil
    base_rgb : tuple of float
        sRGB colour of the base, 0 to 1.
    patches : tuple of PatchLook
    patches_planned : int
        How many positions the plan lays out on the tile.
    placement_mm, placement_deg : float
        Standard deviations of the shift and the turn with which a stencil is laid.
    base_mottle : float
        Standard deviation of L* over the base.
    stripes : tuple of (float, tuple of float)
        Further bases of a tile in stripes: where each begins, mm from the left, and its colour.
    places : tuple of Position
        Where its patches lie, if not as a tile of one base has them.
    """

    blank: Blank
    stencil: Stencil
    base_rgb: tuple[float, float, float]
    patches: tuple[PatchLook, ...]
    patches_planned: int
    placement_mm: float = 0.5
    placement_deg: float = 2.0
    base_mottle: float = 1.0
    stripes: tuple[tuple[float, tuple[float, float, float]], ...] = ()
    places: tuple[Position, ...] = ()


def draw_tile(look: TileLook, rng: np.random.Generator) -> tuple[Raster, Raster, pd.DataFrame]:
    """Draw a tile from straight above.

    Returns
    -------
    reflectance : ndarray (height, width, 3)
        Linear light, `TILE_PIXELS_PER_MM` to the millimetre.
    cover : ndarray (height, width)
        1 on the tile and 0 beside it.
    truth : DataFrame
        One row per patch, with what a perfect measurement would read.
    """
    x, y = _grid(look.blank.width_mm, look.blank.height_mm)
    outside = _outside_blank(look.blank, x, y)
    cover = np.clip(0.5 - outside * TILE_PIXELS_PER_MM, 0, 1).astype(np.float32)
    surface = np.broadcast_to(linear_light(look.base_rgb), (*x.shape, 3)).astype(np.float32)
    for begins_mm, rgb in look.stripes:
        further = np.clip((x - np.float32(begins_mm)) / np.float32(0.2), 0, 1)[..., None]
        surface = surface * (1 - further) + linear_light(rgb) * further
    if look.base_mottle:
        shift = look.base_mottle * band_noise(x.shape, TILE_PIXELS_PER_MM, 1.0, 8.0, rng)
        surface = lightness_shifted(surface, shift)
    laid = look.places or positions(look.blank, look.stencil, look.patches_planned)
    places = {place.number: place for place in laid}
    rows = []
    for patch in look.patches:
        rows.append(_lay_patch(surface, look, patch, places[patch.position], rng))
    bare = np.clip((outside + _RIM_MM) / 0.15, 0, 1)[..., None].astype(np.float32)
    surface = surface * (1 - bare) + _COPPER_OXIDE * bare
    return surface, cover, pd.DataFrame(rows)


def _lay_patch(
    surface: Raster,
    look: TileLook,
    patch: PatchLook,
    place: Position,
    rng: np.random.Generator,
) -> dict[str, object]:
    """Lay one patch on the surface, in place, and say what a perfect measurement would read."""
    reach = float(np.hypot(look.stencil.size_mm, look.stencil.height_mm)) / 2 + 4.0
    if look.stencil.shape == "disc":
        reach = look.stencil.size_mm / 2 + 5.0
    top, bottom = _span(place.y_mm, reach, surface.shape[0])
    left, right = _span(place.x_mm, reach, surface.shape[1])
    x, y = _grid(look.blank.width_mm, look.blank.height_mm)
    shift = rng.normal(0, look.placement_mm, 2)
    u, v = _turned(
        x[top:bottom, left:right] - place.x_mm - shift[0],
        y[top:bottom, left:right] - place.y_mm - shift[1],
        np.deg2rad(rng.normal(0, look.placement_deg)),
    )
    beyond, along = _outside_stencil(look.stencil, u, v)
    displacement, creep = _displacement(patch, along, rng)
    sigma = max(patch.edge_width_mm, 0.02) / 2.5631
    overlay = 0.5 * (1 - erf((beyond - displacement) / (sigma * np.sqrt(2))))
    core = beyond < min(patch.spread_mm, 0.0) - CORE_INSET_MM
    holes = _holes(patch, core, rng)
    share = (overlay * (1 - holes))[..., None].astype(np.float32)
    colour = np.broadcast_to(linear_light(patch.overlay_rgb), (*share.shape[:2], 3))
    mottle = sum(
        sd * band_noise(share.shape[:2], TILE_PIXELS_PER_MM, short, long, rng)
        for sd, short, long in ((patch.mottle_fine, 0.5, 1.5), (patch.mottle_coarse, 1.5, 5.0))
        if sd
    )
    colour = lightness_shifted(colour.astype(np.float32), np.asarray(mottle, np.float32))
    under = surface[top:bottom, left:right]
    surface[top:bottom, left:right] = under * (1 - share) + colour * share
    return {
        "patch": patch.patch,
        "position": patch.position,
        "spread_mm": float(creep.mean()),
        "spread_p95_mm": float(np.quantile(creep, 0.95)),
        "edge_width_mm": patch.edge_width_mm,
        "pull_through_share": float(holes[core].mean()),
        "mottle_fine": patch.mottle_fine,
        "mottle_coarse": patch.mottle_coarse,
    }


def _grid(width_mm: float, height_mm: float) -> tuple[Raster, Raster]:
    columns = (np.arange(round(width_mm * TILE_PIXELS_PER_MM)) + 0.5) / TILE_PIXELS_PER_MM
    rows = (np.arange(round(height_mm * TILE_PIXELS_PER_MM)) + 0.5) / TILE_PIXELS_PER_MM
    x, y = np.meshgrid(columns.astype(np.float32), rows.astype(np.float32))
    return x, y


def _span(middle_mm: float, reach_mm: float, size: int) -> tuple[int, int]:
    start = round((middle_mm - reach_mm) * TILE_PIXELS_PER_MM)
    end = round((middle_mm + reach_mm) * TILE_PIXELS_PER_MM)
    return max(start, 0), min(end, size)


def _turned(x: Raster, y: Raster, angle: float) -> tuple[Raster, Raster]:
    return x * np.cos(angle) + y * np.sin(angle), y * np.cos(angle) - x * np.sin(angle)


def _outside_blank(blank: Blank, x: Raster, y: Raster) -> Raster:
    u, v = x - blank.width_mm / 2, y - blank.height_mm / 2
    if blank.shape == "round":
        return np.hypot(u, v) - blank.width_mm / 2
    return np.maximum(np.abs(u) - blank.width_mm / 2, np.abs(v) - blank.height_mm / 2)


def _outside_stencil(stencil: Stencil, u: Raster, v: Raster) -> tuple[Raster, Raster]:
    """Distance beyond the stencil line (negative inside), and where along it (turns, 0 to 1)."""
    along = (np.arctan2(v, u) / (2 * np.pi)) % 1.0
    if stencil.shape == "disc":
        return np.hypot(u, v) - stencil.size_mm / 2, along
    du, dv = np.abs(u) - stencil.size_mm / 2, np.abs(v) - stencil.height_mm / 2
    beside = np.hypot(np.maximum(du, 0), np.maximum(dv, 0))
    return beside + np.minimum(np.maximum(du, dv), 0), along


def _displacement(
    patch: PatchLook, along: Raster, rng: np.random.Generator
) -> tuple[Raster, NDArray[np.float64]]:
    """How far the edge crept at each place, and the same evenly round the line.

    A sum of waves, from two to twenty round the line; one wave round it would be a shift of the
    stencil, which is drawn apart.
    """
    waves = np.arange(2, 21)
    height = rng.normal(size=waves.size) / waves
    height *= patch.roughness_mm / max(np.sqrt((height**2).sum() / 2), 1e-9)
    start = rng.uniform(0, 2 * np.pi, waves.size)
    knots = np.linspace(0, 1, 2049)
    creep = patch.spread_mm + (height * np.cos(2 * np.pi * knots[:, None] * waves + start)).sum(
        axis=1
    )
    return np.interp(along, knots, creep).astype(np.float32), creep[:-1]


def _holes(patch: PatchLook, core: NDArray[np.bool_], rng: np.random.Generator) -> Raster:
    if patch.pull_through_share <= 0:
        return np.zeros(core.shape, np.float32)
    field = band_noise(core.shape, TILE_PIXELS_PER_MM, patch.hole_mm, 4 * patch.hole_mm, rng)
    level = np.quantile(field[core], 1 - patch.pull_through_share)
    bare = (field > level).astype(np.float32)
    holes: Raster = cv2.GaussianBlur(bare, (0, 0), 0.05 * TILE_PIXELS_PER_MM)
    return holes


def lightness_shifted(linear: Raster, shift: Raster) -> Raster:
    """Raise or lower the L* of a picture in linear light, its hue kept."""
    if not np.any(shift):
        return linear
    lab = to_lab(linear)
    lab[..., 0] = np.clip(lab[..., 0] + shift, 0, 100)
    return np.clip(to_linear(lab), 0, 1)


def band_noise(
    shape: tuple[int, ...],
    pixels_per_mm: float,
    shortest_mm: float,
    longest_mm: float,
    rng: np.random.Generator,
) -> Raster:
    """Give normal noise of mean 0 and standard deviation 1 with waves of these lengths only."""
    rows, columns = (fft.next_fast_len(size, real=True) for size in shape[:2])
    step = 1 / pixels_per_mm
    frequency = np.hypot(fft.fftfreq(rows, step)[:, None], fft.rfftfreq(columns, step))
    kept = ((frequency >= 1 / longest_mm) & (frequency <= 1 / shortest_mm)).astype(np.float32)
    spectrum = fft.rfft2(rng.standard_normal((rows, columns), np.float32)) * kept
    noise = fft.irfft2(spectrum, (rows, columns))[: shape[0], : shape[1]]
    normal: Raster = (noise - noise.mean()) / noise.std()
    return normal
