"""Colour spaces against published pairs and against other libraries."""

from pathlib import Path

import colour
import numpy as np
import pandas as pd
from skimage.color import rgb2lab

from kit.photo.raster import colour_shift, linear_light, srgb_values, to_lab, to_linear

REFERENCE = Path(__file__).parents[1] / "reference"


def test_linear_light_and_back_is_that_of_another_library():
    # colour-science's IEC 61966-2-1:1999 transfer functions.
    srgb = np.linspace(0, 1, 101)
    linear = colour.models.eotf_sRGB(srgb)
    np.testing.assert_allclose(linear_light(srgb), linear, atol=1e-6)
    np.testing.assert_allclose(srgb_values(linear), srgb, atol=1e-5)


def test_colour_shift_gives_the_published_ciede2000_pairs():
    # Sharma, Wu and Dalal (2005), Color Research and Application 30(1), table 1.
    pairs = pd.read_csv(REFERENCE / "ciede2000_pairs.csv", comment="#")
    found = colour_shift(pairs[["l1", "a1", "b1"]], pairs[["l2", "a2", "b2"]])
    np.testing.assert_allclose(found, pairs["delta_e"], atol=1e-4)


def test_lab_is_the_lab_of_another_library():
    # scikit-image's CIELAB of the same sRGB colours.
    srgb = np.random.default_rng(1).uniform(0, 1, (20, 20, 3))
    linear = linear_light(srgb)
    np.testing.assert_allclose(to_lab(linear), rgb2lab(srgb), atol=0.1)
    np.testing.assert_allclose(to_linear(to_lab(linear)).reshape(linear.shape), linear, atol=2e-3)
