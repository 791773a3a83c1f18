"""What earlier series showed enters the plan of the next one, and is said."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.design import forecast_verdicts, plan, precision
from kit.design.plan_model import StandardDeviations
from kit.design.surveys import known_beforehand, learned_scores
from kit.model import LEARNED, PairSetting
from kit.series import new_series
from kit.studio import draw_truth, fire

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")


@pytest.fixture
def spring(planned):
    truth = draw_truth(planned.colours, seed=3, loss_rate=0.0)
    return replace(fire(planned, truth, seed=4), name="spring")


@pytest.fixture
def bare(planned):
    settings = replace(
        planned.settings,
        ask="which pairs work",
        tiles=4,
        patches_per_tile=3,
        learns_from=("spring",),
    )
    return new_series("autumn", settings, planned.colours)


def test_a_plan_says_what_it_learned_and_is_surer_of_itself(bare, spring):
    afresh, learning = plan(bare), plan(replace(bare, earlier=(spring,)))
    assert not afresh.learned and LEARNED not in afresh.describe()
    assert learning.learned[0] == LEARNED
    assert "Spread, from spring:" in learning.describe()
    same = replace(afresh.series, earlier=(spring,))
    told, before = precision(same), precision(afresh.series)
    question = "leaded over unleaded against like over like"
    assert told.within(question) < before.within(question)
    assert forecast_verdicts(same).right != forecast_verdicts(afresh.series).right


def test_what_is_known_beforehand_is_what_the_earlier_fit_knows(bare, spring):
    learned = learned_scores([replace(bare, earlier=(spring,))])
    colours = bare.stock.reset_index(drop=True)
    known = known_beforehand(colours, PairSetting(), (1, 2, 3), 6, learned)
    own = learned["spread"]
    mean, covariance = own.families_after(
        pd.DataFrame(
            [("leaded", "unleaded", 2.0)], columns=["base_family", "overlay_family", "firings"]
        )
    )
    at = int(known.numbers(pd.DataFrame({"base": ["Attic Rose"], "overlay": ["Pond Green"]}))[0])
    score = known.scores[0]
    assert score.mean[at, 1] == pytest.approx(mean[0] - own.amounts.steps[0].mean)
    sources = [own.amounts.source(n).mean_square for n in ("base", "overlay", "base:overlay")]
    assert score.covariance[at, at] == pytest.approx(covariance[0, 0] + sum(sources))
    assert score.tile_variance == pytest.approx(own.amounts.source("tile").mean_square)
    assert (np.diff(score.mean[at]) > 0).all()


def test_with_the_earlier_series_before_it_nothing_is_learned_twice(bare, spring):
    series = replace(bare, earlier=(spring,))
    assert learned_scores([spring, series]) == {}
    again = plan(replace(series, colours=series.colours.iloc[:0]), after=[spring])
    assert not again.learned


def test_standard_deviations_are_in_grades(bare, spring):
    learned = learned_scores([replace(bare, earlier=(spring,))])
    sds = StandardDeviations.learned(learned)
    tiles = [own.amounts.source("tile").mean / own.step for own in learned.values()]
    assert sds.tile == pytest.approx(np.mean(tiles))
    assert sds.grading > sds.patch
