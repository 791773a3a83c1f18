"""Evening out the light, and neutral balance, from the card's paper and its grey scale."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from kit.photo.card.card_geometry import GREYS, Box, Card
from kit.photo.raster import SRGB_TO_LINEAR, Raster, redraw
from kit.photo.view.image_file import Unmeasurable
from kit.wording import percent

_SAMPLE_PER_MM = 3.0
_INK_REFLECTANCE = 0.035
"""Black ink on plain paper as a share of the paper (from memory: density about 1.45)."""

PAPER_REFLECTANCE = 0.85
"""Office paper under daylight (from memory); leaves room above it for a white enamel."""

MOST_STRAYS = 0.12
_STRAY = 0.06
_CURVE_STEPS = 2048
_CURVE_TOP = 1.6


@dataclass(frozen=True)
class Light:
    """The light over the card, and the camera's tone.

    Parameters
    ----------
    shape : ndarray (6, 3)
        Logarithm of the light as a quadratic in the place on the card, for each channel.
    tone : ndarray (n, 3)
        Reflectance for evened values (paper being 1) from 0 to `_CURVE_TOP`.
    residual : float
        Relative scatter of the paper about the fitted light.
    strays : float
        Share of the paper that something lies on.
    greys_read : bool
        False when the grey scale could not be used and the tone was taken as sRGB.
    """

    shape: NDArray[np.float64]
    tone: Raster
    residual: float
    strays: float
    greys_read: bool


def read_light(pixels: Raster, view: NDArray[np.float64], card: Card) -> Light:
    """Read the light from the card's bare paper and the tone from its grey scale.

    Parameters
    ----------
    pixels : ndarray of uint8 (height, width, 3)
    view : ndarray (3, 3)
        Homography from planned card mm to pixels.
    card : Card

    Raises
    ------
    Unmeasurable
        When something lies on the card.
    """
    place, value = _paper(pixels, view, card)
    shape, residual, strays = _fit(_terms(place, card), np.log(np.maximum(value, 1e-3)))
    if strays > MOST_STRAYS:
        raise Unmeasurable(
            f"Something lies across {percent(strays)} of the card's paper: a finger, a hard shadow "
            "or the lamp's reflection. Clear it and take the picture again."
        )
    evened = [
        np.median(_evened(pixels, view, box.grown(-1.2), shape, card), axis=(0, 1))
        for box in card.greys
    ]
    tone, greys_read = _tone(np.array(evened))
    return Light(shape, tone, residual, strays, greys_read)


def check_exposure(pixels: Raster, view: NDArray[np.float64], card: Card) -> None:
    """Refuse a picture whose paper is burnt out or hardly lit.

    Raises
    ------
    Unmeasurable
        With the reason.
    """
    _, paper = _paper(pixels, view, card)
    if np.mean(paper.max(axis=1) > 0.985) > 0.25:
        raise Unmeasurable(
            "The picture is too bright: the card's paper is burnt out. Tap on the tile, or turn "
            "the exposure down."
        )
    if np.median(paper) < 0.06:
        raise Unmeasurable("The picture is too dark. Use more light, from a window or a lamp.")


def reflectance(drawn: Raster, box: Box, light: Light, card: Card) -> Raster:
    """Turn redrawn values into reflectance in linear light, (height, width, 3), at most 1.

    Parameters
    ----------
    drawn : ndarray of uint8 (height, width, 3)
        As `redraw` gives it.
    box : Box
        Where it lies, in planned card mm.
    light : Light
    card : Card
    """
    field = _field(box, drawn.shape[:2], light.shape, card)
    value = SRGB_TO_LINEAR[drawn] / field
    step = np.clip(value * ((_CURVE_STEPS - 1) / _CURVE_TOP), 0, _CURVE_STEPS - 1).astype(np.int16)
    return np.stack([light.tone[step[..., c], c] for c in range(3)], axis=-1)


def _paper(
    pixels: Raster, view: NDArray[np.float64], card: Card
) -> tuple[NDArray[np.float64], Raster]:
    """Places (n, 2), in planned card mm, and linear light (n, 3) of the card's bare paper."""
    places, values = [], []
    for box in card.paper:
        patch = SRGB_TO_LINEAR[redraw(pixels, view, box, _SAMPLE_PER_MM)]
        places.append(_middles(box, patch.shape[:2], _SAMPLE_PER_MM))
        values.append(patch.reshape(-1, 3))
    return np.concatenate(places), np.concatenate(values)


def _evened(
    pixels: Raster,
    view: NDArray[np.float64],
    box: Box,
    shape: NDArray[np.float64],
    card: Card,
) -> Raster:
    drawn = redraw(pixels, view, box, _SAMPLE_PER_MM)
    return SRGB_TO_LINEAR[drawn] / _field(box, drawn.shape[:2], shape, card)


def _middles(box: Box, size: tuple[int, ...], per_mm: float) -> NDArray[np.float64]:
    x, y = np.meshgrid(
        box.x_mm + (np.arange(size[1]) + 0.5) / per_mm,
        box.y_mm + (np.arange(size[0]) + 0.5) / per_mm,
    )
    return np.column_stack([x.ravel(), y.ravel()])


def _terms(place: NDArray[np.float64], card: Card) -> NDArray[np.float64]:
    x = place[:, 0] / card.width_mm * 2 - 1
    y = place[:, 1] / card.height_mm * 2 - 1
    return np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y])


def _field(box: Box, size: tuple[int, ...], shape: NDArray[np.float64], card: Card) -> Raster:
    """The light at each pixel; computed at a sixteenth of the size, it is so smooth."""
    rows, columns = max(size[0] // 16, 2), max(size[1] // 16, 2)
    corner = np.array([box.x_mm, box.y_mm])
    step = np.array([box.width_mm / columns, box.height_mm / rows])
    coarse = (_middles(box, (rows, columns), 1.0) - corner) * step + corner
    light = np.exp(_terms(coarse, card) @ shape)
    return cv2.resize(
        light.reshape(rows, columns, 3).astype(np.float32),
        (size[1], size[0]),
        interpolation=cv2.INTER_LINEAR,
    )


def _fit(
    terms: NDArray[np.float64], level: NDArray[np.float64]
) -> tuple[NDArray[np.float64], float, float]:
    """Fit the light, leaving out in four rounds whatever is not bare paper."""
    off = np.abs(level[:, 1] - np.median(level[:, 1]))
    kept = off < 0.5
    for limit in (0.2, 0.1, _STRAY, _STRAY):
        shape, *_ = np.linalg.lstsq(terms[kept], level[kept], rcond=None)
        apart = np.abs(level - terms @ shape).max(axis=1)
        kept = apart < limit
        if kept.mean() < 0.5:
            break
    residual = float((level - terms @ shape)[kept].std()) if kept.any() else np.inf
    return np.asarray(shape, np.float64), residual, float(1 - kept.mean())


def _tone(evened: NDArray[np.float64]) -> tuple[Raster, bool]:
    """Curves, one a channel, that carry the evened greys to what was printed."""
    linear = SRGB_TO_LINEAR[np.rint(np.array(GREYS) * 255).astype(int)]
    printed = _INK_REFLECTANCE + (1 - _INK_REFLECTANCE) * linear
    steps = np.linspace(0, _CURVE_TOP, _CURVE_STEPS)
    seen = np.vstack([evened, np.ones(3)])
    wanted = np.append(printed, 1.0)
    rising = (np.diff(seen, axis=0) > 0.01).all()
    near = (np.abs(seen - wanted[:, None]) < 0.2).all()
    if not (rising and near):
        straight = np.minimum(steps[:, None] * PAPER_REFLECTANCE, 1.0)
        return np.repeat(straight, 3, axis=1).astype(np.float32), False
    curves = []
    for channel in seen.T:
        low = max(wanted[0] - channel[0] * (wanted[1] - wanted[0]) / (channel[1] - channel[0]), 0)
        knots = np.concatenate([[0.0], channel])
        levels = np.concatenate([[low], wanted])
        curve = PchipInterpolator(knots, levels, extrapolate=False)(np.minimum(steps, 1.0))
        slope = (wanted[-1] - wanted[-2]) / (channel[-1] - channel[-2])
        curves.append(curve + np.maximum(steps - 1.0, 0) * slope)
    tone = np.minimum(np.stack(curves, axis=1) * PAPER_REFLECTANCE, 1.0)
    return tone.astype(np.float32), True
