from dataclasses import replace

import pytest

from kit.photo import PrintScale, photo_plan


def test_a_series_gives_its_plan_and_leaves_lost_patches_out(fired):
    patches = fired.patches.copy()
    lost = patches["patch"].iloc[0]
    patches.loc[0, "accident"] = "chipped"
    plan = photo_plan(replace(fired, patches=patches), PrintScale(0.98, 1.0))
    assert len(plan.patches) == len(patches) - 1
    assert lost not in set(plan.patches["patch"])
    assert plan.patches_per_tile == fired.settings.patches_per_tile
    assert plan.scale.across == pytest.approx(0.98)


def test_only_patches_already_sifted_are_looked_for(fired):
    plan = photo_plan(fired)
    tile = int(plan.patches["tile"].iloc[0])
    assert plan.on_tile(tile, 0).empty
    sifted = plan.on_tile(tile, 1)
    assert set(sifted["position"]) <= set(plan.places())
    assert sifted["position"].is_monotonic_increasing
