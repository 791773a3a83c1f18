"""Real photographs that scikit-image ships go through every step without failing."""

import cv2
import numpy as np
import pytest
from PIL import Image
from skimage import data

from kit.photo import measure_picture
from kit.photo.card.card_geometry import Box
from kit.photo.patch.edge import Reach, beyond_line, find_edge, solid, stencil_line
from kit.photo.patch.edge_width import transition_width
from kit.photo.patch.patch_image import mixture
from kit.photo.patch.patch_numbers import MOTTLE_BANDS_MM, mottle, pull_through
from kit.photo.raster import redraw, to_lab
from kit.series import Stencil

NAMES = ("astronaut", "chelsea", "coffee", "retina", "rocket", "coins", "brick", "gravel", "page")


def picture(name: str) -> np.ndarray:
    pixels = getattr(data, name)()
    return pixels if pixels.ndim == 3 else np.dstack([pixels] * 3)


@pytest.mark.parametrize("name", NAMES)
def test_a_photograph_of_something_else_is_named(name, plan, tmp_path):
    pixels = picture(name)
    big = cv2.resize(pixels, None, fx=2, fy=2)
    Image.fromarray(big).save(tmp_path / "other.jpg")
    assert "photo card" in measure_picture(tmp_path / "other.jpg", plan).reason


@pytest.mark.parametrize("name", NAMES)
def test_every_step_runs_on_a_real_photograph(name):
    pixels = picture(name)
    zoom = min(pixels.shape[:2]) / 30
    view = np.array([[zoom, 1.0, 10.0], [-0.5, zoom, 20.0], [0.001, 0.0005, 1.0]])
    drawn = redraw(pixels, view, Box(0, 0, 24, 24), 15.0)
    assert drawn.shape == (360, 360, 3)
    lab = to_lab((drawn / 255.0) ** 2.2)
    mixed = mixture(lab, np.quantile(lab, 0.1, axis=(0, 1)), np.quantile(lab, 0.9, axis=(0, 1)))
    assert np.isfinite(mixed.share).all()
    x, y = np.meshgrid(*2 * [(np.arange(360) + 0.5) / 15 - 12])
    inside = beyond_line(Stencil(), x, y) < 0
    whole = solid(mixed.share, inside, 15.0)
    nothing = np.zeros(whole.shape, bool)
    middle = np.array([12.0, 12.0])
    line = stencil_line(Stencil())
    edge = find_edge(mixed.share, whole, nothing, line, middle, Reach(4, 4), 15.0)
    assert np.nanmax(np.abs(edge.creep), initial=0) <= 4.1
    width = transition_width(mixed.share, whole, nothing, 15.0)
    assert np.isnan(width) or 0 < width < 5
    assert 0 <= pull_through(mixed.share, inside, 15.0) <= 1
    for band in MOTTLE_BANDS_MM.values():
        assert mottle(lab[..., 0], inside, 15.0, band) > 0
