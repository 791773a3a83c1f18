"""Weights of enamel and copper, each checked by hand."""

import math

import pytest

from kit.design.materials import (
    coat_grams,
    copper_needed,
    counter_enamel_g,
    enamel_needed,
    patch_grams,
    stripe_grams,
    weighed,
)
from kit.series import Blank, Stencil


def test_a_patch_takes_its_coat_weight_times_the_opening(plan):
    series = plan(stencil=Stencil("disc", 14))
    assert patch_grams(series)[0] == pytest.approx(0.040 * math.pi * 0.7**2)
    square = plan(stencil=Stencil("square", 10))
    assert patch_grams(square)[0] == pytest.approx(0.040)


def test_a_coat_takes_its_weight_times_the_blank(plan):
    assert coat_grams(plan())[0] == pytest.approx(0.060 * 25)
    round_one = plan(places=3, blank=Blank("round", 60, 60))
    assert coat_grams(round_one)[0] == pytest.approx(0.060 * math.pi * 9)


def test_what_is_weighed_out_lands_after_the_loss():
    assert weighed(1.5, 0.3) * (1 - 0.3) == pytest.approx(1.5)
    assert weighed(1.5, 0) == 1.5


def test_the_list_adds_up_to_every_coat_and_every_patch(plan):
    series = plan(sifting_loss=0.25)
    needed = enamel_needed(series)
    landed = (coat_grams(series) * 2).sum() + patch_grams(series).sum()
    assert needed["total_g"].sum() * 0.75 == pytest.approx(landed)
    fog = needed.set_index("colour").loc["Fog"]
    assert fog["base_g"] == pytest.approx(2 * 1.5 / 0.75)
    assert counter_enamel_g(series) == pytest.approx(6 * 2 * 1.5 / 0.75)


def test_a_colour_that_is_not_used_is_not_bought(plan):
    series = plan(tiles=1, places=2)
    assert set(enamel_needed(series)["colour"]) == {"Fog", "Amber", "Moss"}


def test_stripes_share_the_tile_and_small_patches_take_a_small_opening(stripes):
    """60 mg/cm² on 17.5, 15 and 17.5 of 50 mm by 50 mm; 40 mg/cm² on a disc of 10 mm."""
    series = stripes()
    grams = stripe_grams(series).set_index(["tile", "stripe"])["landed"]
    assert grams.loc[1].tolist() == pytest.approx([0.525, 0.45, 0.525])
    assert grams.loc[3].tolist() == pytest.approx([1.5])
    small = patch_grams(series)[series.patches["tile"] == 1]
    assert small.tolist() == pytest.approx([0.040 * math.pi * 0.5**2] * 9)
    needed = enamel_needed(series)
    landed = (coat_grams(series) * 2).sum() + patch_grams(series).sum()
    assert needed["total_g"].sum() * 0.7 == pytest.approx(landed)
    assert needed.set_index("colour")["base_g"]["Fog"] == pytest.approx(2 * 0.525 / 0.7)


def test_copper_is_weighed_by_its_density(plan):
    """8.96 g/cm³, CRC Handbook of Chemistry and Physics."""
    copper = copper_needed(plan())
    assert (copper.blanks, copper.spare) == (6, 1)
    assert copper.weight_g == pytest.approx(7 * 5 * 5 * 0.12 * 8.96)
