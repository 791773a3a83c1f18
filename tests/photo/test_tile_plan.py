from dataclasses import replace

import pandas as pd
import pytest

from kit.photo import card_for, photo_plan


def test_a_series_gives_its_plan_and_leaves_lost_patches_out(fired):
    patches = fired.patches.copy()
    lost = patches["patch"].iloc[0]
    patches.loc[0, "accident"] = "chipped"
    card = card_for(fired.settings.blank)
    measured = replace(fired.settings, card_across_mm=0.98 * card.across_mm)
    plan = photo_plan(replace(fired, patches=patches, settings=measured))
    assert len(plan.patches) == len(patches) - 1
    assert lost not in set(plan.patches["patch"])
    assert plan.patches_per_tile == fired.settings.patches_per_tile
    assert (plan.scale.across, plan.scale.down) == (pytest.approx(0.98), 1.0)


def test_a_patch_is_looked_for_until_the_firing_that_it_was_lost_at(fired):
    patches = fired.patches.copy()
    tile, place = int(patches.at[0, "tile"]), int(patches.at[0, "position"])
    patches.loc[0, ["accident", "lost_at"]] = "chipped", 2
    plan = photo_plan(replace(fired, patches=patches))
    assert place in plan.overlays_on(tile, 1) and place in set(plan.on_tile(tile, 1)["position"])
    assert place not in plan.overlays_on(tile, 2)
    assert place not in set(plan.on_tile(tile, 2)["position"])


def test_only_patches_already_sifted_are_looked_for(fired):
    plan = photo_plan(fired)
    tile = int(plan.patches["tile"].iloc[0])
    assert plan.on_tile(tile, 0).empty
    sifted = plan.on_tile(tile, 1)
    assert set(sifted["position"]) <= set(plan.layout(tile).places)
    assert sifted["position"].is_monotonic_increasing


def test_a_tile_in_stripes_has_a_layout_of_its_own_and_a_base_for_each_patch(fired):
    stripes = pd.DataFrame({"tile": [2, 2], "stripe": [1, 2], "base": ["x", "y"]})
    plan = photo_plan(replace(fired, stripes=stripes))
    assert set(plan.striped) == {2}
    layout = plan.layout(2)
    assert layout.stencil.size_mm == fired.settings.small_stencil_mm
    assert [plan.base_at(2, n) for n in (1, 2, 3, 4)] == ["x", "y", "x", "y"]
    assert plan.base_at(1, 1) == fired.tiles["base"].iloc[0]
