import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from kit.photo.patch.patch_image import mixture
from kit.photo.patch.patch_numbers import mottle, pull_through
from kit.photo.raster import to_lab


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
    found = pull_through(share, np.ones(share.shape, bool), per_mm)
    assert found == pytest.approx(36 * np.pi * 0.4**2 / 144, abs=0.003)


def test_small_holes_that_the_camera_blurs_count_whole_and_noise_counts_nothing():
    # 144 holes of radius 0.15 mm, blurred by 0.1 mm (standard deviation): light is kept by blur.
    per_mm = 20
    x, y = np.meshgrid(*2 * [(np.arange(12 * per_mm) + 0.5) / per_mm])
    apart = np.hypot((x % 1) - 0.5, (y % 1) - 0.5)
    holes = gaussian_filter(np.clip((0.15 - apart) / 0.05 + 0.5, 0, 1), 0.1 * per_mm)
    noise = np.random.default_rng(2).normal(0.03, 0.03, holes.shape)
    core = np.ones(holes.shape, bool)
    found = pull_through((1 - holes - noise).astype(np.float32), core, per_mm)
    assert found == pytest.approx(np.pi * 0.15**2, rel=0.12)
    assert pull_through((1 - noise).astype(np.float32), core, per_mm) == 0.0


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
