from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from skimage.color import rgb2lab

from kit.photo.mixing import mixture, to_lab, to_linear
from kit.photo.surface import colour_shift, mottle, pull_through

REFERENCE = Path(__file__).parents[1] / "reference"


def test_colour_shift_gives_the_published_ciede2000_pairs():
    # Sharma, Wu and Dalal (2005), Color Research and Application 30(1), table 1.
    pairs = pd.read_csv(REFERENCE / "ciede2000_pairs.csv", comment="#")
    found = colour_shift(pairs[["l1", "a1", "b1"]], pairs[["l2", "a2", "b2"]])
    np.testing.assert_allclose(found, pairs["delta_e"], atol=1e-4)


def test_lab_is_the_lab_of_another_library():
    # scikit-image's CIELAB of the same sRGB colours.
    srgb = np.random.default_rng(1).uniform(0, 1, (20, 20, 3))
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    np.testing.assert_allclose(to_lab(linear), rgb2lab(srgb), atol=0.1)
    np.testing.assert_allclose(to_linear(to_lab(linear)).reshape(linear.shape), linear, atol=2e-3)


@pytest.mark.parametrize("overlay", [(0.5, 0.05, 0.05), (0.05, 0.1, 0.4), (0.85, 0.85, 0.8)])
def test_a_pixel_of_known_mixture_reads_as_that_share(overlay):
    # Light adds: a pixel s parts overlay sends s parts of its light.
    base = np.array([0.3, 0.25, 0.05])
    s = np.linspace(0, 1, 21)[None, :, None]
    mixed = to_lab((1 - s) * base + s * np.array(overlay))
    found = mixture(mixed, mixed[0, 0], mixed[0, -1])
    np.testing.assert_allclose(found.share[0], s[0, :, 0], atol=0.02)
    assert found.foreign.max() < 2.0


def test_a_colour_that_is_no_mixture_is_foreign():
    ends = to_lab(np.array([[[0.7, 0.7, 0.6], [0.05, 0.1, 0.4]]]))
    skin = to_lab(np.array([[[0.55, 0.33, 0.25]]]))
    assert mixture(skin, ends[0, 0], ends[0, 1]).foreign[0, 0] > 15


def test_pull_through_is_the_area_of_round_holes():
    # Area of circles: 36 holes of radius 0.4 mm in a square of 12 mm is 36 pi 0.16 / 144.
    per_mm = 20
    x, y = np.meshgrid(*2 * [(np.arange(12 * per_mm) + 0.5) / per_mm])
    apart = np.hypot((x % 2) - 1, (y % 2) - 1)
    share = np.clip((apart - 0.4) / 0.1 + 0.5, 0, 1).astype(np.float32)
    found = pull_through(share, np.ones(share.shape, bool))
    assert found == pytest.approx(36 * np.pi * 0.4**2 / 144, abs=0.003)


@pytest.mark.parametrize(("wave_mm", "band"), [(1.0, (0.5, 1.5)), (2.5, (1.5, 5.0))])
def test_mottle_of_a_sine_wave_is_its_height_over_root_two(wave_mm, band):
    x, y = np.meshgrid(np.arange(300) / 20, np.arange(300) / 20)
    lightness = (50 + 4 * np.sin(2 * np.pi * (x + 0.3 * y) / wave_mm / np.hypot(1, 0.3))).astype(
        np.float32
    )
    used = np.hypot(x - 7.5, y - 7.5) < 6
    assert mottle(lightness, used, 20, band) == pytest.approx(4 / np.sqrt(2), rel=0.12)
    other = (1.5, 5.0) if band[0] < 1 else (0.5, 1.5)
    assert mottle(lightness, used, 20, other) < 0.7


def test_mottle_does_not_count_the_holes():
    x, y = np.meshgrid(np.arange(300) / 20, np.arange(300) / 20)
    holes = np.hypot((x % 3) - 1.5, (y % 3) - 1.5) < 0.5
    lightness = np.where(holes, 90, 40).astype(np.float32)
    used = (np.hypot(x - 7.5, y - 7.5) < 6) & ~holes
    assert mottle(lightness, used, 20, (1.5, 5.0)) < 0.05
