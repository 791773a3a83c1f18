"""Drawn photographs that the tests of measuring share. Tiles and colours are invented."""

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
import pytest

from kit.photo import PhotoPlan
from kit.series import Blank, Stencil
from kit.studio import Camera, PatchLook, Photograph, TileLook, photograph

cv2.setNumThreads(1)

SMALL = Camera(width_px=2000, height_px=1500, tilt_deg=10, pan_deg=-7, roll_deg=3)
"""Three million pixels: a quarter of a telephone's, to be drawn quickly."""

LOOK = TileLook(
    Blank(),
    Stencil(),
    base_rgb=(0.85, 0.82, 0.7),
    patches=(
        PatchLook("1-1", 1, (0.1, 0.25, 0.55), 0.5, 0.15, 0.4),
        PatchLook("1-2", 2, (0.6, 0.1, 0.1), -0.3, 0.1, 0.3, pull_through_share=0.2),
        PatchLook("1-3", 3, (0.1, 0.4, 0.2), 1.2, 0.25, 0.8, mottle_fine=4.0),
        PatchLook("1-4", 4, (0.2, 0.2, 0.22), 0.0, 0.05, 0.2, mottle_coarse=4.0),
    ),
    patches_planned=4,
)


@pytest.fixture(scope="session")
def look() -> TileLook:
    """A tile with four patches, each of which the fire treated in its own way."""
    return LOOK


@pytest.fixture(scope="session")
def small_camera() -> Camera:
    return SMALL


@pytest.fixture(scope="session")
def plan() -> PhotoPlan:
    """Three tiles of four patches."""
    spots = [(tile, position) for tile in (1, 2, 3) for position in (1, 2, 3, 4)]
    patches = pd.DataFrame(
        {
            "patch": [f"{tile}-{position}" for tile, position in spots],
            "tile": [tile for tile, _ in spots],
            "position": [position for _, position in spots],
            "overlay": [f"colour {position}" for _, position in spots],
            "before_firing": 1,
            "lost_from": np.inf,
        }
    )
    return PhotoPlan(patches, 4, Blank(), Stencil())


@pytest.fixture(scope="session")
def shoot(
    plan: PhotoPlan, tmp_path_factory: pytest.TempPathFactory
) -> Callable[..., tuple[Path, Photograph]]:
    """Draw a photograph of the tile and save it as a JPEG."""

    def taken(name: str = "tile.jpg", look: TileLook = LOOK, seed: int = 1, **how: object):
        photo = photograph(look, plan.card, seed, **({"camera": SMALL} | how))
        path = tmp_path_factory.mktemp("shot") / name
        photo.save(path)
        return path, photo

    return taken


@pytest.fixture(scope="session")
def good_shot(shoot: Callable) -> tuple[Path, Photograph]:
    """An ordinary picture, held in the hand."""
    return shoot()


@pytest.fixture
def noise() -> np.ndarray:
    """A picture of nothing."""
    return np.random.default_rng(0).integers(0, 255, (900, 1200, 3), dtype=np.uint8)
