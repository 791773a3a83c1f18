"""A plan of striped tiles: laid out, worked, fired in the invented studio and fitted."""

from dataclasses import replace

import numpy as np
import pytest

from kit.design import plan
from kit.model import fit_series, pairs
from kit.series import DEFAULT_FACTORS, Wish, new_series, patches_in_full
from kit.studio import demo_colours, demo_settings, demo_truth, fire

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")


@pytest.fixture(scope="module")
def striped():
    settings = replace(demo_settings(), tiles=8, stripes=3, seed=3, factors=dict(DEFAULT_FACTORS))
    return plan(new_series("striped", settings, demo_colours()))


def test_striped_and_full_size_tiles_lie_side_by_side(striped):
    assert not striped.series.problems()
    counts = striped.patches.groupby("tile").size().value_counts()
    assert dict(counts) == {9: 6, 4: 2}
    bases = striped.series.stripes.groupby("tile")["base"].nunique()
    assert (bases == 3).all()
    full = patches_in_full(striped.series)
    assert (full["base"] != full["overlay"]).all()
    assert not full.duplicated(["stripe", "overlay"]).any()


def test_every_stripe_of_a_coat_is_sifted_before_the_tile_is_fired(striped):
    tile = striped.series.stripes["tile"].iloc[0]
    own = striped.order[(striped.order["tile"] == tile) & (striped.order["coat"] == 1)]
    assert list(own["action"]) == ["sift base"] * 3 + ["fire"]
    assert list(own["stripe"].iloc[:3]) == [1, 2, 3]
    named = striped.series.stripes.query("tile == @tile")["base"]
    assert list(own["colour"].iloc[:3]) == list(named)


def test_stripes_and_small_patches_have_variation_of_their_own(striped):
    fired = fire(striped.series, demo_truth(), 5)
    sds = fit_series(fired, "spread").results.random_sd
    assert {"stripe.small", "small_patch.small", "tile", "patch"} <= set(sds)
    table = pairs(fired)
    assert len(table) == 132 * 3
    assert np.isfinite(table["fine_edge"]).all()


def test_small_patches_wobble_more_in_the_invented_studio(striped):
    calm = demo_truth()
    own = {n: replace(s, tile_sd=0.0, patch_sd=0.01, stripe_sd=0.0, small_patch_sd=3.0)
           for n, s in calm.scales.items()}  # fmt: skip
    from kit.studio import latent_truth

    loud = replace(calm, scales=own, loss_rate=0.0)
    fired = fire(striped.series, loud, 1)
    seen = latent_truth(fired, loud, 1).merge(
        patches_in_full(fired)[["patch", "small"]], on="patch"
    )
    frame = patches_in_full(fired).merge(seen[["patch", "firing", "spread"]], on="patch")
    frame = frame[frame["firing"] == 1].assign(firings=1)
    off = frame["spread"] - loud.latent(frame, "spread")
    assert off[frame["small"] == 1].std() > 3 * off[frame["small"] == 0].std()


def test_wishes_may_count_alone_and_a_palette_alone_be_fired():
    settings = replace(
        demo_settings(),
        tiles=2,
        factors=dict(DEFAULT_FACTORS),
        wishes=(Wish("Plaster White", "Attic Rose"), Wish("Plaster White", "Custard")),
    )
    series = new_series("wished", settings, demo_colours())
    alone = patches_in_full(plan(series, wishes_alone=True).series)
    assert set(alone["base"]) == {"Plaster White"}
    plain = replace(series, settings=replace(settings, wishes=(), patches_per_tile=2))
    few = ("Pond Green", "Custard", "Lamp Yellow")
    own = patches_in_full(plan(plain, palette=few).series)
    assert set(own["base"]) <= set(few)
