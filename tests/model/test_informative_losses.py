"""Losses that hide bad patches are named, and what they could hide is worked out."""

from dataclasses import replace

import numpy as np
import pytest

from kit.model.informative_losses import loss_bias
from kit.series import patches_in_full

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")


def without(survey, lost):
    accident = np.where(lost, "lost", survey.patches["accident"])
    return replace(survey, patches=survey.patches.assign(accident=accident))


@pytest.fixture(scope="module")
def crossed(survey):
    """Half of one cross-family combination is lost, and nothing else."""
    full = patches_in_full(survey)
    of_pair = (full["base_family"] == "unleaded") & (full["overlay_family"] == "leaded")
    lost = np.zeros(len(full), bool)
    lost[np.flatnonzero(of_pair)[::2]] = True
    return loss_bias(without(survey, lost)), int(lost.sum())


def test_losses_of_one_family_over_another_stand_out_though_the_margins_look_even(crossed):
    found, count = crossed
    assert found.table["lost"].sum() == count
    assert found.uneven
    assert found.chance < 0.01
    assert "leaded over unleaded" in found.sentences[0]
    assert "fire some of them again" in found.sentences[0]


def test_losses_that_fall_alike_are_no_bias(survey):
    lost = np.zeros(len(survey.patches), bool)
    lost[::12] = True
    found = loss_bias(without(survey, lost))
    assert not found.uneven
    assert "cannot be told" in found.sentences[0]


def test_whole_tiles_are_shuffled_together(survey):
    """One tile of a kind lost is no evidence, though all its patches went."""
    lost = (survey.patches["tile"] == 1).to_numpy()
    assert loss_bias(without(survey, lost)).chance > 0.2


def test_the_worst_that_losses_could_mean_changes_verdicts(crossed):
    found, _ = crossed
    assert len(found.changed)
    assert (found.changed["verdict"] != found.changed["worst_verdict"]).all()
    assert f"of {found.pairs} pairs would differ" in found.sentences[1]
    assert found.pairs == 8 * 7


def test_where_nothing_was_lost_nothing_is_said(survey):
    found = loss_bias(survey)
    assert found.sentences == ()
    assert found.chance == 1
    assert not found.uneven


def test_shuffles_repeat_exactly(survey):
    lost = np.zeros(len(survey.patches), bool)
    lost[[3, 17, 40, 41]] = True
    series = without(survey, lost)
    assert loss_bias(series).chance == loss_bias(series).chance
