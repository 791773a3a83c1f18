"""The tile is told from the field by its outline, whatever its colour. Tiles are drawn."""

from dataclasses import replace

import numpy as np
import pytest
from skimage.color import lab2rgb

from kit.photo import Unmeasurable, measure_picture
from kit.photo.card.card_geometry import card_for
from kit.photo.view.tile_detection import find_tile
from kit.series import Blank
from kit.studio import Lighting

PER_MM = 10.0
MIRROR_DARK = (0.02, 0.02, 0.02)
BARE_COPPER = (0.72, 0.45, 0.3)


def field_with(blank: Blank, level: float, turn_deg: float = 2.0, shade: float = 1.0):
    """A window seen from straight above, drawn with numpy alone; the tile lies 0.5 mm off."""
    card = card_for(blank)
    window = card.window
    x, y = np.meshgrid(
        (np.arange(round(window.width_mm * PER_MM)) + 0.5) / PER_MM,
        (np.arange(round(window.height_mm * PER_MM)) + 0.5) / PER_MM,
    )
    black = card.blackness(np.stack([x + window.x_mm, y + window.y_mm], axis=-1))
    light = np.where(black == 1, 0.03, 0.85)
    u, v = x - window.width_mm / 2 - 0.5, y - window.height_mm / 2 + 0.3
    light[(u > 0) & (v > 0)] *= shade
    angle = np.deg2rad(turn_deg)
    u, v = u * np.cos(angle) + v * np.sin(angle), v * np.cos(angle) - u * np.sin(angle)
    inside = (
        np.hypot(u, v) < blank.width_mm / 2
        if blank.shape == "round"
        else (np.abs(u) < blank.width_mm / 2) & (np.abs(v) < blank.height_mm / 2)
    )
    light[inside] = level
    return light.astype(np.float32), black


@pytest.mark.parametrize(
    "blank", [Blank(), Blank("round", 60, 60), Blank("strip", 25, 100), Blank("strip", 120, 25)]
)
@pytest.mark.parametrize("level", [0.005, 0.03, 0.2, 0.5, 0.85])
def test_any_lightness_is_found_where_it_lies_and_as_large_as_it_is(blank, level):
    light, black = field_with(blank, level)
    place = find_tile(light, black, PER_MM, blank)
    middle = np.array([blank.width_mm, blank.height_mm]) / 2 + 3
    np.testing.assert_allclose((place.x_mm, place.y_mm), middle + np.array([0.5, -0.3]), atol=0.2)
    size = (place.width_mm, place.height_mm)
    np.testing.assert_allclose(size, (blank.width_mm, blank.height_mm), atol=0.4)
    if blank.shape != "round":
        assert np.rad2deg(place.turn) == pytest.approx(2.0, abs=0.4)


@pytest.mark.parametrize("blank", [Blank(), Blank("round", 60, 60)])
def test_a_finger_across_the_rim_is_seen_and_one_within_it_is_not(blank):
    light, black = field_with(blank, 0.2)
    assert not find_tile(light, black, PER_MM, blank).crossed
    middle = light.shape[1] // 2
    light[middle : -round(6 * PER_MM), middle - 60 : middle + 60] = 0.45
    assert not find_tile(light, black, PER_MM, blank).crossed
    light[middle:, middle - 60 : middle + 60] = 0.45
    assert find_tile(light, black, PER_MM, blank).crossed


def test_what_hides_a_narrow_strip_beside_the_tile_is_no_finger():
    light, black = field_with(Blank(), 0.2)
    edge = find_tile(light, black, PER_MM, Blank())
    low = round((edge.y_mm + edge.height_mm / 2) * PER_MM)
    middle = light.shape[1] // 2
    light[
        low : low + round(1.2 * PER_MM), middle - round(5 * PER_MM) : middle + round(5 * PER_MM)
    ] = 0.2
    assert not find_tile(light, black, PER_MM, Blank()).crossed


def test_a_hard_shadow_beside_the_tile_is_no_tile():
    light, black = field_with(Blank(), 0.02, shade=0.25)
    place = find_tile(light, black, PER_MM, Blank())
    np.testing.assert_allclose((place.width_mm, place.height_mm), 50, atol=0.4)


def test_an_empty_field_and_a_plain_one_are_told_apart():
    light, black = field_with(Blank(), 0.4)
    empty = np.where(black == 1, 0.03, 0.85).astype(np.float32)
    with pytest.raises(Unmeasurable, match="No tile lies"):
        find_tile(empty, black, PER_MM, Blank())
    with pytest.raises(Unmeasurable, match="pattern cannot be seen"):
        find_tile(np.full_like(light, 0.4), black, PER_MM, Blank())


def test_another_blank_is_named_with_both_sizes():
    light, black = field_with(Blank(), 0.4)
    other = replace(Blank(), width_mm=44.0, height_mm=44.0)
    with pytest.raises(Unmeasurable, match=r"50 x 50 mm; the blank is 44 x 44 mm"):
        find_tile(light, black, PER_MM, other)


def test_a_strip_laid_the_wrong_way_is_told_to_turn():
    strip = Blank("strip", 56, 50)
    light, black = field_with(strip, 0.4, turn_deg=90.0)
    with pytest.raises(Unmeasurable, match="Lay it the other way"):
        find_tile(light, black, PER_MM, strip)


@pytest.mark.parametrize("lightness", [45, 52, 58, 64, 70])
def test_mid_grey_bases_are_measured(lightness, look, shoot, plan):
    grey = tuple(lab2rgb(np.array([[[lightness, 0.0, 0.0]]]))[0, 0].tolist())
    check_measured(replace(look, base_rgb=grey), shoot, plan)


@pytest.mark.parametrize("base", [MIRROR_DARK, BARE_COPPER, (0.98, 0.98, 0.97)])
def test_bases_from_mirror_dark_to_white_and_copper_are_measured(base, look, shoot, plan):
    check_measured(replace(look, base_rgb=base), shoot, plan)


def check_measured(look, shoot, plan):
    path, photo = shoot(look=look, lighting=Lighting(lamp_mm=(300.0, 150.0, 350.0)))
    result = measure_picture(path, plan)
    assert result.reason == ""
    table = result.patches.merge(photo.truth, on="patch", suffixes=("", "_true"))
    measured = table[table["quality"].isin(["good", "fair"])]
    assert len(measured) >= 3
    assert (measured["spread_mm"] - measured["spread_mm_true"]).abs().max() < 0.12
