"""An invented telephone camera: where it stands, how it sees, and what its chip makes of it."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo import Raster, srgb_values

_FILM_DIAGONAL_MM = 43.27
_SHARPENED_PX = 1.5


@dataclass(frozen=True)
class Camera:
    """Where the camera stands and what it does to the light.

    Parameters
    ----------
    width_px, height_px : int
    focal_35mm : float
        Focal length as for 35 mm film, which fixes the angle of view.
    fill : float
        Share of the picture's width that the card takes up.
    tilt_deg, pan_deg, roll_deg : float
        Lean away from straight above, about the picture's two axes, and turn in its plane.
    offset_mm : tuple of float
        Where on the card, from its middle, the camera points.
    blur_px : float
        Standard deviation of the lens's blur.
    shake_px : float
        Length of a sideways shake while the shutter is open.
    noise : float
        Shot noise: variance per unit of signal.
    barrel : float
        Barrel distortion at the picture's corner, as a share of the distance from the middle.
    contrast : float
        Strength of the camera's own S-shaped tone curve, 0 for none.
    sharpening : float
        Strength of the camera's own sharpening, which draws halos along edges; 0 for none.
    """

    width_px: int = 4000
    height_px: int = 3000
    focal_35mm: float = 26.0
    fill: float = 0.85
    tilt_deg: float = 0.0
    pan_deg: float = 0.0
    roll_deg: float = 0.0
    offset_mm: tuple[float, float] = (0.0, 0.0)
    blur_px: float = 0.9
    shake_px: float = 0.0
    noise: float = 1e-4
    barrel: float = 0.0
    contrast: float = 0.15
    sharpening: float = 0.0

    @property
    def focal_px(self) -> float:
        return self.focal_35mm / _FILM_DIAGONAL_MM * float(np.hypot(self.width_px, self.height_px))

    def view(self, card_mm: tuple[float, float], height_mm: float) -> NDArray[np.float64]:
        """Map from card mm, on a plane `height_mm` above the card, to pixels (3, 3)."""
        distance = self.focal_px * card_mm[0] / (self.fill * self.width_px)
        turn = _about(2, self.roll_deg) @ _about(0, self.tilt_deg) @ _about(1, self.pan_deg)
        middle = np.array(card_mm) / 2 + np.array(self.offset_mm)
        raised = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, -height_mm]])
        placed = turn @ raised + np.array([[0, 0, 0], [0, 0, 0], [0, 0, distance]])
        lens = np.array(
            [
                [self.focal_px, 0, self.width_px / 2],
                [0, self.focal_px, self.height_px / 2],
                [0, 0, 1],
            ]
        )
        view: NDArray[np.float64] = lens @ placed
        return view


def shown_from(
    drawing: Raster, view: NDArray[np.float64], per_mm: float, size: tuple[int, int]
) -> Raster:
    """Show a drawing that lies on a plane; one much finer than the picture is shrunk first."""
    middle = np.array(drawing.shape[1::-1]) / per_mm / 2
    step = cv2.perspectiveTransform(np.array([[middle, middle + 0.5]]), view)[0]
    while per_mm > 1.5 * np.linalg.norm(step[1] - step[0]) * np.sqrt(2):
        drawing = cv2.resize(drawing, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        per_mm /= 2
    to_mm = np.array([[1 / per_mm, 0, 0.5 / per_mm], [0, 1 / per_mm, 0.5 / per_mm], [0, 0, 1]])
    half = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1.0]])
    return cv2.warpPerspective(drawing, half @ view @ to_mm, size, flags=cv2.INTER_LINEAR)


def expose(light: Raster, camera: Camera, exposure: float, rng: np.random.Generator) -> Raster:
    """Turn light at the lens into the picture's 8-bit values: blur, shake, noise, tone."""
    seen = cv2.GaussianBlur(light, (0, 0), camera.blur_px) if camera.blur_px else light
    if camera.shake_px >= 1:
        length = 2 * int(camera.shake_px / 2) + 1
        seen = cv2.filter2D(seen, -1, np.full((1, length), 1 / length, np.float32))
    signal = seen * np.float32(exposure)
    noise = rng.standard_normal(signal.shape, np.float32)
    signal = signal + noise * np.sqrt(camera.noise * np.clip(signal, 0, 1) + 1e-6)
    value = srgb_values(signal.astype(np.float32))
    value = value + camera.contrast * (3 * value**2 - 2 * value**3 - value)
    if camera.sharpening:
        soft = cv2.GaussianBlur(value, (0, 0), _SHARPENED_PX)
        value = value + camera.sharpening * (value - soft)
    values: Raster = np.clip(np.rint(value * 255), 0, 255).astype(np.uint8)
    return values


def distorted(picture: Raster, camera: Camera) -> Raster:
    """Bend a picture as a barrel lens does."""
    if not camera.barrel:
        return picture
    rows, columns = picture.shape[:2]
    x, y = np.meshgrid(
        np.arange(columns, dtype=np.float32) - columns / 2,
        np.arange(rows, dtype=np.float32) - rows / 2,
    )
    reach = (x**2 + y**2) / (columns**2 + rows**2) * 4
    stretch = 1 + np.float32(camera.barrel) * reach
    return cv2.remap(
        picture,
        x * stretch + columns / 2,
        y * stretch + rows / 2,
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )


def _about(axis: int, degrees: float) -> NDArray[np.float64]:
    vector = np.zeros(3)
    vector[axis] = np.deg2rad(degrees)
    return np.asarray(cv2.Rodrigues(vector)[0], np.float64)
