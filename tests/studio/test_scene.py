"""The drawn photographs are what they say they are, judged without the code that measures."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from skimage.color import rgb2lab
from skimage.measure import label, regionprops

from kit.photo import linear_light
from kit.photo.card.card_geometry import card_for
from kit.series import Blank, Stencil
from kit.studio import Camera, Lighting, PatchLook, TileLook, photograph
from kit.studio.fired_tile import TILE_PIXELS_PER_MM, band_noise, draw_tile

LOOK = TileLook(
    Blank(),
    Stencil(),
    (0.85, 0.82, 0.7),
    (
        PatchLook("1-1", 1, (0.1, 0.2, 0.5), 0.8, roughness_mm=0.2, edge_width_mm=0.1),
        PatchLook("1-4", 4, (0.5, 0.1, 0.1), -0.4, 0.05, 0.1, pull_through_share=0.3),
    ),
    4,
    base_mottle=0.0,
)
CAMERA = Camera(width_px=1000, height_px=750)


def covered(look: TileLook, patch: int) -> np.ndarray:
    """Pixels nearer to the overlay's colour than to the base's, in the patch's quarter."""
    surface, _, _ = draw_tile(look, np.random.default_rng(3))
    half = surface.shape[0] // 2
    part = surface[:half, :half] if patch == 0 else surface[half:, half:]
    inner = part[40:-40, 40:-40]
    away = [
        np.abs(inner - linear_light(colour)).sum(axis=2)
        for colour in (look.patches[patch].overlay_rgb, look.base_rgb)
    ]
    return away[0] < away[1]


def test_the_area_of_a_patch_is_that_of_its_spread():
    # Area of r = R + s + e(t): pi ((R + s)^2 + var e).
    truth = draw_tile(LOOK, np.random.default_rng(3))[2]
    area = covered(LOOK, 0).sum() / TILE_PIXELS_PER_MM**2
    assert truth["spread_mm"][0] == pytest.approx(0.8, abs=1e-6)
    assert area == pytest.approx(np.pi * ((7 + 0.8) ** 2 + 0.2**2), rel=0.004)


def test_the_furthest_edge_is_about_the_95th_percentile():
    truth = draw_tile(LOOK, np.random.default_rng(3))[2]
    blob = regionprops(label(covered(LOOK, 0)))[0]
    away = np.hypot(*(blob.coords - blob.centroid).T)
    assert away.max() / TILE_PIXELS_PER_MM - 7 == pytest.approx(truth["spread_p95_mm"][0], abs=0.25)


def test_the_base_shows_in_the_share_of_the_core_asked_for():
    truth = draw_tile(LOOK, np.random.default_rng(3))[2]
    assert truth["pull_through_share"][1] == pytest.approx(0.3, abs=0.002)
    mask = covered(LOOK, 1)
    filled = mask.sum() / TILE_PIXELS_PER_MM**2
    assert filled == pytest.approx(0.7 * np.pi * 6.6**2, rel=0.04)


@pytest.mark.parametrize(("short", "long"), [(0.5, 1.5), (1.5, 5.0)])
def test_noise_has_waves_of_the_lengths_asked_for_only(short, long):
    noise = band_noise((360, 360), 20, short, long, np.random.default_rng(1))
    assert noise.std() == pytest.approx(1, abs=1e-5)
    power = np.abs(np.fft.fft2(noise)) ** 2
    frequency = np.hypot(*np.meshgrid(*2 * [np.fft.fftfreq(360, 1 / 20)]))
    inside = (frequency >= 1 / long) & (frequency <= 1 / short)
    assert power[inside].sum() > 0.999 * power.sum()


def test_mottle_is_lightness_of_the_standard_deviation_asked_for():
    look = replace(
        LOOK, patches=(PatchLook("1-1", 1, (0.3, 0.35, 0.5), 1.0, 0.0, 0.1, mottle_fine=3.0),)
    )
    surface, _, _ = draw_tile(look, np.random.default_rng(3))
    middle = round(9.25 * TILE_PIXELS_PER_MM + 7 * TILE_PIXELS_PER_MM - 7 * TILE_PIXELS_PER_MM)
    part = surface[middle : middle + 300, middle : middle + 300]
    srgb = np.where(part <= 0.0031308, 12.92 * part, 1.055 * part ** (1 / 2.4) - 0.055)
    assert rgb2lab(srgb)[..., 0].std() == pytest.approx(3.0, rel=0.12)


def test_a_seed_gives_the_same_picture_and_a_retake_another_noise_of_the_same_tile():
    card = card_for(Blank())
    first = photograph(LOOK, card, 5, camera=CAMERA)
    again = photograph(LOOK, card, 5, camera=CAMERA)
    np.testing.assert_array_equal(first.pixels, again.pixels)
    retake = photograph(LOOK, card, 5, retake=1, camera=CAMERA)
    assert (retake.pixels != first.pixels).mean() > 0.1
    assert retake.truth.equals(first.truth)


def test_the_light_falls_as_asked_for():
    card = card_for(Blank())
    left = photograph(LOOK, card, 5, camera=CAMERA, lighting=Lighting((-400.0, 0.0, 250.0), 0.0))
    grey = cv2.cvtColor(left.pixels, cv2.COLOR_RGB2GRAY)
    paper = [np.quantile(part, 0.99) for part in (grey[80:670, 90:290], grey[80:670, 710:910])]
    assert paper[0] > paper[1] + 20
    yellow = photograph(LOOK, card, 5, camera=CAMERA, lighting=Lighting(tint=(1.0, 0.9, 0.6)))
    paper = np.quantile(yellow.pixels.reshape(-1, 3), 0.98, axis=0)
    assert paper[0] > paper[1] > paper[2] + 20
