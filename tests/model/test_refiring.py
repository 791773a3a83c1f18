"""Colours that give way to repeated firing are told from those that hold their ground."""

from dataclasses import replace

import pytest

from kit.model import fit_series
from kit.model.refiring import CANNOT_TELL, GIVES_WAY, HOLDS, refiring_table
from kit.studio import fire

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")


@pytest.fixture(scope="module")
def table(survey, survey_truth):
    """A studio where colour 1 runs at every firing and the others stay as they are."""
    scales = {
        name: replace(
            own,
            per_firing=dict.fromkeys(own.per_firing, 0.0),
            overlay_refirings={"colour 1": 2.5 if name == "spread" else 0.0},
        )
        for name, own in survey_truth.scales.items()
    }
    fired = fire(survey, replace(survey_truth, scales=scales), seed=4)
    return refiring_table({s: fit_series(fired, s) for s in ("spread", "pull_through")})


def test_the_colour_that_runs_gives_way_and_most_hold_their_ground(table):
    own = table[(table["scale"] == "spread") & (table["role"] == "overlay")].set_index("colour")
    assert own["gain"].idxmax() == "colour 1"
    assert own.loc["colour 1", "finding"] == GIVES_WAY
    assert "colour 1 gives way as an overlay" in own.loc["colour 1", "sentence"]
    others = own.drop(index="colour 1")["finding"]
    assert (others == HOLDS).sum() >= 5
    assert not (others == GIVES_WAY).any()


def test_it_runs_on_one_scale_only(table):
    pull = table[(table["scale"] == "pull_through") & (table["role"] == "overlay")]
    assert not (pull["finding"] == GIVES_WAY).any()


def test_every_colour_fired_in_a_role_has_a_row(table, survey):
    assert table.groupby(["scale", "role"]).size().unique().tolist() == [8]
    assert (table["low"] <= table["gain"]).all()
    assert (table["gain"] <= table["high"]).all()
    assert set(table["finding"]) <= {HOLDS, GIVES_WAY, CANNOT_TELL}
    assert (
        table["gain"].to_numpy().tolist()
        == table.sort_values(["scale", "role", "gain"])["gain"].to_numpy().tolist()
    )


def test_patches_fired_once_say_nothing_of_repeated_firing(survey):
    once = replace(survey, grades=survey.grades[survey.grades["firing"] == 1])
    assert refiring_table({"spread": fit_series(once, "spread")}).empty
