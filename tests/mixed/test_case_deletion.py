"""Leaving rows out by one step, against fits that never saw them."""

import numpy as np
import pandas as pd
import pytest

from kit.errors import Misuse
from kit.mixed import JointMixedModel, OrdinalMixedModel, leave_out

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")

FORMULA = "grade ~ base_family * overlay_family + firings"
SLOPES = {"overlay": ["later"]}


@pytest.fixture(scope="module")
def data(invent_grades):
    made = invent_grades(seed=5, tiles=16, graders=2).assign(later=lambda d: d["firings"] - 1.0)
    steps = pd.Categorical(made["grade"], categories=range(5), ordered=True)
    return made.assign(grade=steps).reset_index(drop=True)


@pytest.fixture(scope="module")
def fit(data, six_groups):
    return OrdinalMixedModel(FORMULA, data, six_groups, SLOPES).fit(prior="weak")


def labels_of(data: pd.DataFrame, by: str) -> pd.Series:
    columns = [data[part].astype(str) for part in by.split(":")]
    return columns[0].str.cat(columns[1:], sep=":")


@pytest.mark.parametrize("by", ["tile", "base:overlay"])
def test_one_step_agrees_with_true_refits(by, data, fit, six_groups):
    left = leave_out(fit, by)
    owner = labels_of(data, by)
    for level in list(left.params.index)[:8]:
        gone = (owner == str(level)).to_numpy()
        refit = OrdinalMixedModel(FORMULA, data[~gone], six_groups, SLOPES).fit(prior="weak")
        true = refit.at_most(data[gone]).to_numpy()
        apart = np.abs(left.at_most[gone].to_numpy() - true).max()
        assert apart < 0.04
        assert np.abs(fit.at_most(data[gone]).to_numpy() - true).max() > 2 * apart
        assert ((left.params.loc[level] - refit.params) / fit.bse).abs().max() < 0.05


def test_each_row_is_foretold_once_and_chances_rise_to_one(data, fit):
    left = leave_out(fit, "tile")
    assert left.at_most.index.equals(data.index)
    assert list(left.params.index) == list(range(16))
    assert (left.at_most.diff(axis=1).iloc[:, 1:] >= -1e-12).all(axis=None)
    assert (left.at_most[4] == 1).all()


def test_chances_of_left_out_rows_come_true_where_the_model_holds(data, fit):
    """Grades made by the model that is fitted: surprise is neither rare nor common."""
    told = leave_out(fit, "tile").at_most.to_numpy()
    grade = data["grade"].astype(int).to_numpy()
    for step in range(4):
        expected, happened = told[:, step].mean(), (grade <= step).mean()
        assert happened == pytest.approx(expected, abs=0.08)


def test_a_spoiled_tile_is_foretold_as_the_others_would_have_it(data, six_groups):
    odd = data["tile"] == 3
    spoiled = data.copy()
    spoiled.loc[odd, "grade"] = 4
    fit = OrdinalMixedModel(FORMULA, spoiled, six_groups, SLOPES).fit(prior="weak")
    left = leave_out(fit, "tile").at_most
    assert left.loc[odd, 3].mean() > fit.at_most(spoiled[odd])[3].mean() + 0.2


def test_a_fit_of_measurements_too_is_refused(data):
    """One step does not carry the line from grades to photographs to where it would be."""
    measured = data.drop_duplicates(["patch", "firings"]).drop(columns="grader")
    model = JointMixedModel("grade ~ firings", data, measured, "spread_mm", ["base", "tile"])
    with pytest.raises(Misuse, match="grades alone"):
        leave_out(model.fit(prior="weak"), "tile")


def test_rows_may_be_left_out_by_what_is_no_group_of_the_model(data, fit):
    days = leave_out(fit, "later")
    assert list(days.params.index) == [0.0, 1.0, 2.0]
    with pytest.raises(Misuse, match="no column kiln"):
        leave_out(fit, "kiln")


def test_a_fit_without_a_prior_can_be_asked_too(wine):
    fit = OrdinalMixedModel("rating ~ temp + contact", wine, ["judge", "bottle"]).fit()
    left = leave_out(fit, "judge")
    for judge in (1, 5):
        refit = OrdinalMixedModel(
            "rating ~ temp + contact", wine[wine["judge"] != judge], ["judge"]
        )
        gone = (wine["judge"] == judge).to_numpy()
        true = refit.fit().at_most(wine[gone]).to_numpy()
        assert left.at_most[gone].to_numpy() == pytest.approx(true, abs=0.05)
