"""Do effects differ from cut to cut? One joint test, and whether it matters to the verdicts."""

from dataclasses import replace

import numpy as np
import pytest

from kit.model import PairSetting, fit_observations, fit_series
from kit.model.proportional_odds import cuts_differ, verdicts_by_own_cuts
from kit.series import observations
from kit.studio import fire

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")

SETTING = PairSetting()


def with_top_cuts_moved(survey, truth, by: float, seed: int):
    """A studio where the upper steps of pull-through come later for unleaded over leaded."""
    scale = truth.scales["pull_through"]
    late = replace(scale, cuts=(*scale.cuts[:2], scale.cuts[2] + by, scale.cuts[3] + by))
    moved = replace(truth, scales={**truth.scales, "pull_through": late})
    usual, other = (observations(fire(survey, world, seed)) for world in (truth, moved))
    there = (usual["base_family"] == "leaded") & (usual["overlay_family"] == "unleaded")
    return usual.assign(pull_through=usual["pull_through"].mask(there, other["pull_through"]))


def test_cuts_that_come_later_for_one_family_are_found(survey, survey_truth):
    chances = [
        cuts_differ(
            fit_observations(with_top_cuts_moved(survey, survey_truth, 5.0, s), "pull_through")
        )
        for s in range(6)
    ]
    assert np.mean(np.array(chances) < 0.1) >= 0.5
    assert min(chances) < 0.01


def test_false_alarms_are_as_rare_as_stated(survey, survey_truth):
    chances = [cuts_differ(fit_series(fire(survey, survey_truth, s), "spread")) for s in range(12)]
    assert np.mean(np.array(chances) < 0.05) <= 0.2
    assert np.mean(chances) > 0.3


def test_with_one_cut_there_is_nothing_to_compare(survey):
    frame = fit_series(survey, "spread").frame
    two = frame.assign(spread=(frame["spread"].astype(int) > 1).astype(int))
    assert cuts_differ(fit_observations(two, "spread", steps=range(2))) == 1


def test_verdicts_by_the_cuts_that_matter_agree_where_the_model_is_true(survey):
    fits = {scale: fit_series(survey, scale) for scale in ("spread", "pull_through")}
    changed = verdicts_by_own_cuts(fits, survey.colours, SETTING)
    assert set(changed) == {"base", "overlay", "firings", "verdict", "own_cuts_verdict"}
    assert len(changed) < 0.25 * 8 * 7 * 3
    settled = changed[["verdict", "own_cuts_verdict"]].isin(["fine edge", "broken through"])
    assert not settled.all(axis=1).any()
    later = verdicts_by_own_cuts(fits, survey.colours, replace(SETTING, breaks_through_from=3))
    assert len(later) < 0.3 * 8 * 7 * 3
