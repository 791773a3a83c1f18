"""The invented studio behaves as the trade says, and repeats exactly."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from studios import Population, ending_shares

from kit.model import VerdictRule
from kit.series import observations
from kit.studio import draw_truth, fire, latent_truth


def test_the_same_seed_gives_the_same_grades(planned):
    truth = draw_truth(planned.colours, seed=1)
    once, twice, other = (fire(planned, truth, seed) for seed in (2, 2, 3))
    pd.testing.assert_frame_equal(once.grades, twice.grades)
    assert not once.grades.equals(other.grades)


@pytest.mark.parametrize(
    ("scale", "worst"),
    [("spread", "leaded over unleaded"), ("pull_through", "unleaded over leaded")],
)
def test_the_tendencies_of_the_trade(planned, scale, worst):
    # Common practice, no source.
    graded = pd.concat(
        observations(fire(planned, draw_truth(planned.colours, seed=s), seed=s)) for s in range(20)
    )
    over = graded["overlay_family"] + " over " + graded["base_family"]
    means = graded.assign(over=over).pivot_table(scale, "over", "firings", aggfunc="mean")
    assert means[3].astype(float).idxmax() == worst
    assert (means[3] > means[1]).all()


def test_shares_of_endings_are_the_long_run_of_patches(planned):
    truth = replace(
        draw_truth(planned.colours, seed=5, loss_rate=0.0), state_correlation=0.6, halo_sd=0.5
    )
    fired = [(fire(planned, truth, seed=s), s) for s in range(60)]
    seen = pd.concat(latent_truth(series, truth, s) for series, s in fired)
    low = [(seen[s] < truth.scales[s].cuts[1]).to_numpy() for s in ("spread", "pull_through")]
    counted = [(low[0] & low[1]).mean(), (~low[0] & low[1]).mean(), (~low[1]).mean()]
    runs = observations(fired[0][0]).drop_duplicates(["patch", "firing"])
    told = ending_shares(truth, runs, VerdictRule()).mean(axis=0)
    assert told == pytest.approx(counted, abs=0.02)


def test_what_changes_hangs_together_on_both_scales_as_the_truth_says(planned):
    truth = replace(draw_truth(planned.colours, seed=5, loss_rate=0.0), state_correlation=0.7)
    off = {"spread": [], "pull_through": []}
    for seed in range(30):
        fired = fire(planned, truth, seed)
        beneath = latent_truth(fired, truth, seed).merge(
            observations(fired).drop_duplicates(["patch", "firing"]).drop(columns=[*off, "tile"]),
            on=["patch", "firing"],
        )
        first = beneath[beneath["firing"] == 1]
        for scale, own in off.items():
            own.append(first[scale].to_numpy(float) - truth.latent(first, scale))
    r = np.corrcoef(*(np.concatenate(own) for own in off.values()))[0, 1]
    assert r == pytest.approx(0.7, abs=0.06)


def test_a_population_draws_studios_of_many_kinds_within_its_ranges(planned):
    population = Population()
    truths = [population.draw(planned.colours, seed) for seed in range(200)]
    for name in ("tile_sd", "patch_sd", "grader_sd", "session_sd"):
        low, high = getattr(population, name)
        drawn = np.array([getattr(truth.scales["spread"], name) for truth in truths])
        assert (low <= drawn).all()
        assert (drawn <= high).all()
        assert np.ptp(drawn) > 0.9 * (high - low)
    assert population.draw(planned.colours, 3) == truths[3]


def test_an_accident_ends_a_tile(planned):
    fired = fire(planned, draw_truth(planned.colours, seed=1, loss_rate=0.5), seed=2)
    last = fired.firings.groupby("tile")["firing"].max()
    spoiled = fired.firings[fired.firings["accident"] != ""]
    assert len(spoiled)
    assert (spoiled["firing"].to_numpy() == last[spoiled["tile"]].to_numpy()).all()
