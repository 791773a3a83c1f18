"""The invented studio behaves as the trade says, and repeats exactly."""

import numpy as np
import pandas as pd
import pytest

from kit.series import observations
from kit.studio import draw_truth, fire


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


def test_chances_are_the_long_run_of_grades(planned):
    truth = draw_truth(planned.colours, seed=5, loss_rate=0.0)
    runs = pd.concat(observations(fire(planned, truth, seed=s)) for s in range(60))
    for scale in ("spread", "pull_through"):
        told = truth.chances(runs, scale).mean(axis=0)
        seen = np.bincount(runs[scale].astype(int), minlength=5) / len(runs)
        assert np.abs(told - seen).max() < 0.02


def test_an_accident_ends_a_tile(planned):
    fired = fire(planned, draw_truth(planned.colours, seed=1, loss_rate=0.5), seed=2)
    last = fired.firings.groupby("tile")["firing"].max()
    spoiled = fired.firings[fired.firings["accident"] != ""]
    assert len(spoiled)
    assert (spoiled["firing"].to_numpy() == last[spoiled["tile"]].to_numpy()).all()
