"""What is mirrored is named as such and spoils nothing else. Pictures are drawn."""

from dataclasses import replace

import numpy as np
import pytest

from kit.photo import measure_picture
from kit.photo.patch.reflection import find_reflection
from kit.photo.raster import linear_light, to_lab
from kit.studio import Lighting

PER_MM = 20.0
EVERYWHERE = np.ones((400, 400), bool)
COBALT, WHITE, BLACK = (0.1, 0.25, 0.55), (0.88, 0.85, 0.74), (0.12, 0.13, 0.16)


def two_halves(base, overlay, added: float = 0.0) -> np.ndarray:
    """Base above, overlay below, and grey light added to a square across both: light adds."""
    light = np.empty((400, 400, 3), np.float32)
    light[:200], light[200:] = linear_light(base), linear_light(overlay)
    light[100:300, 150:250] += added
    return to_lab(light)


@pytest.mark.parametrize(("base", "overlay"), [(WHITE, COBALT), (BLACK, COBALT), (COBALT, WHITE)])
@pytest.mark.parametrize("added", [0.2, 0.4])
def test_light_added_to_base_and_overlay_is_found_where_it_was_added(base, overlay, added):
    lab = two_halves(base, overlay, added)
    ends = to_lab(linear_light(np.array([[base, overlay]])))[0]
    glare = find_reflection(lab, ends[0], ends[1], EVERYWHERE, ~EVERYWHERE, PER_MM).glare
    assert glare[110:290, 160:240].all()
    glare[80:320, 130:270] = False
    assert not glare.any()


def test_no_mixture_of_base_and_overlay_is_a_reflection():
    share = np.linspace(0, 1, 400, dtype=np.float32)[None, :, None]
    light = (1 - share) * linear_light(WHITE) + share * linear_light(COBALT)
    lab = to_lab(np.repeat(light, 400, axis=0))
    found = find_reflection(lab, lab[0, 0], lab[0, -1], EVERYWHERE, ~EVERYWHERE, PER_MM)
    assert not found.glare.any()
    assert found.veil == 0


def test_a_soft_rise_of_grey_light_is_a_veil():
    lab = two_halves(BLACK, COBALT)
    light = linear_light((0.0, 0.0, 0.0)) + np.zeros(lab.shape, np.float32)
    light[:200] += linear_light(BLACK)
    light[200:] += linear_light(COBALT)
    light += np.linspace(0, 0.06, 400, dtype=np.float32)[None, :, None]
    ends = to_lab(linear_light(np.array([[BLACK, COBALT]])))[0]
    found = find_reflection(to_lab(light), ends[0], ends[1], EVERYWHERE, ~EVERYWHERE, PER_MM)
    assert found.veil == pytest.approx(0.05, abs=0.02)


@pytest.mark.parametrize("base", [WHITE, BLACK])
def test_a_window_mirrored_in_a_patch_is_named_and_never_read_as_pull_through(
    base, look, shoot, plan
):
    blue = tuple(replace(patch, overlay_rgb=COBALT) for patch in look.patches)
    path, photo = shoot(
        look=replace(look, base_rgb=base, patches=blue), lighting=Lighting(pane=0.3)
    )
    table = measure_picture(path, plan).patches.merge(
        photo.truth, on="patch", suffixes=("", "_true")
    )
    first = table.iloc[0]
    assert "reflection" in first["remark"].lower()
    assert first["quality"] != "good"
    sure = table[table["quality"] == "good"]
    assert (sure["pull_through_share"] - sure["pull_through_share_true"]).abs().max() < 0.1
    assert (sure["spread_mm"] - sure["spread_mm_true"]).abs().max() < 0.15


def test_a_veil_over_a_dark_tile_is_named(look, shoot, plan):
    path, _ = shoot(look=replace(look, base_rgb=BLACK), lighting=Lighting(veil=0.15))
    result = measure_picture(path, plan)
    assert result.reason == ""
    assert result.patches["remark"].str.contains("mirrored|reflection").sum() >= 2
