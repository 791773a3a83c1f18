"""What a plan is said to tell, against generalised least squares and a textbook split plot."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from statsmodels.stats.power import normal_power

from kit.design import StandardDeviations, TileFormat, precision, survey
from kit.design.plan_model import SIDE_SD, TREND_SD, forecast, planned_rows
from kit.design.plan_precision import FIRED, TREND, UNFIRED, precision_of
from kit.errors import Misuse
from kit.series import FAMILY_PAIRS, Series


@pytest.fixture(scope="module")
def colours() -> pd.DataFrame:
    names = ["L0", "L1", "L2", "U0", "U1", "U2"]
    return pd.DataFrame({"colour": names, "family": ["leaded"] * 3 + ["unleaded"] * 3})


@pytest.fixture(scope="module")
def plan(colours: pd.DataFrame) -> pd.DataFrame:
    return survey(colours, 8, TileFormat(3))


def covariance_by_hand(rows: pd.DataFrame, sds: StandardDeviations, graders: int) -> np.ndarray:
    K = np.eye(len(rows)) * sds.grading**2 / graders
    for i in range(len(rows)):
        for j in range(len(rows)):
            a, b = rows.iloc[i], rows.iloc[j]
            same_base, same_overlay = a["base"] == b["base"], a["overlay"] == b["overlay"]
            K[i, j] += sds.base**2 * same_base + sds.overlay**2 * same_overlay
            K[i, j] += sds.pair**2 * (same_base and same_overlay)
            K[i, j] += sds.tile**2 * (a["tile"] == b["tile"])
            K[i, j] += sds.patch**2 * (a["patch"] == b["patch"])
    return K


def test_effects_are_as_sure_as_generalised_least_squares_makes_them(colours, plan):
    # statsmodels GLS on the rows, with the weak priors entered as one more observation an effect.
    rows = planned_rows(plan.assign(mesh=np.tile([80, 100], 12)), colours, firings=2)
    sds = StandardDeviations()
    away = rows["firings"].to_numpy() - 1.5
    cell = (rows["family_pair"].to_numpy()[:, None] == np.array(FAMILY_PAIRS)).astype(float)
    mesh = (rows["mesh"] - 90) / 10
    X = np.vstack([np.column_stack([cell, cell * away[:, None], mesh]), np.eye(9)])
    prior = np.array([sds.family] * 4 + [TREND_SD] * 4 + [SIDE_SD]) ** 2
    sigma = np.zeros((len(X), len(X)))
    sigma[: len(rows), : len(rows)] = covariance_by_hand(rows, sds, 2)
    sigma[len(rows) :, len(rows) :] = np.diag(prior)
    expected = sm.GLS(np.arange(len(X)), X, sigma=sigma).fit().normalized_cov_params
    contrasts = np.array([[1.0, -1, 0, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0.25, 0.25, 0.25, 0.25]])
    padded = np.column_stack([contrasts, [0, 0]])
    got = forecast(rows, sds, graders=2).effects(contrasts)
    np.testing.assert_allclose(got, np.diag(padded @ expected @ padded.T), rtol=1e-9)


def test_a_balanced_split_plot_gives_the_textbook_standard_errors():
    # Cochran and Cox (1957), Experimental Designs, 2nd ed., section 7.1: with tiles of k patches
    # and r tiles a treatment, two whole-plot means differ with variance 2 (s² + k s_tile²) / (r k)
    # and two sub-plot means within tiles with 2 s² / n.
    colours = pd.DataFrame(
        {"colour": ["L0", "L1", "U0", "U1"], "family": ["leaded"] * 2 + ["unleaded"] * 2}
    )
    rows = [
        (t, base, overlay) for t, base in enumerate(["L0", "U0"] * 4) for overlay in ("L1", "U1")
    ]
    plan = pd.DataFrame(rows, columns=["tile", "base", "overlay"])
    sds = StandardDeviations(base=0, overlay=0, pair=0, tile=0.3, patch=0, grading=0.8, family=100)
    told = forecast(planned_rows(plan, colours, firings=1), sds, graders=1)
    of_base = [(1 if "over leaded" in name else -1) / 2 for name in FAMILY_PAIRS]
    of_overlay = [(1 if name.startswith("leaded") else -1) / 2 for name in FAMILY_PAIRS]
    got = told.effects(np.array([of_base + [0.0] * 4, of_overlay + [0.0] * 4]))
    r, k, s2 = 4, 2, 0.8**2
    assert got[0] == pytest.approx(2 * (s2 + k * 0.3**2) / (r * k), rel=1e-3)
    assert got[1] == pytest.approx(2 * s2 / 8, rel=1e-3)


def test_the_chance_of_noticing_is_the_power_of_the_normal_test(colours, plan):
    # statsmodels.stats.power.normal_power, one-sided at 5 %: the other tail of the 90 % interval
    # would notice the difference the wrong way round.
    table = precision_of(plan, colours).table
    for row in table[table["about"] == "family"].itertuples():
        s = row.within / 1.6448536
        for difference, chance in ((1.0, row.one_grade), (row.noticed, 0.9)):
            power = normal_power(difference / s, 1, 0.05, alternative="larger")
            assert chance == pytest.approx(power, rel=1e-6)


def test_more_tiles_make_everything_surer(colours):
    few, more = (
        precision_of(survey(colours, tiles, TileFormat(3)), colours).table.set_index("question")
        for tiles in (4, 16)
    )
    both = few.index.intersection(more.index)
    assert len(both) > 2
    assert (more.loc[both, "within"] < few.loc[both, "within"]).all()


def test_more_graders_help_and_a_fired_pair_is_surer_than_one_that_is_not(colours, plan):
    one, two = (precision_of(plan, colours, graders=g) for g in (1, 2))
    assert (two.table["within"] < one.table["within"]).all()
    assert one.within(FIRED) < one.within(UNFIRED)


def test_it_is_said_in_grades(colours, plan):
    said = precision_of(plan, colours).describe()
    fired = len(plan[["base", "overlay"]].drop_duplicates())
    assert f"With 8 tiles and 24 patches, {fired} of 30 pairs are fired." in said
    assert "9 times in 10" in said
    assert "leaded over unleaded" in said.lower()
    for sentence in said.splitlines():
        assert "nan" not in sentence


def test_what_a_plan_does_not_ask_is_not_answered(colours, plan):
    one_family = colours[colours["family"] == "leaded"]
    few = survey(one_family, 3, TileFormat(2))
    once = precision_of(few, one_family, firings=1)
    assert set(once.table["about"]) == {"pair"}
    assert np.isnan(once.within(TREND))
    assert np.isnan(precision_of(survey(one_family, 3, TileFormat(2)), one_family).within(UNFIRED))


def test_a_series_is_understood_as_well_as_a_frame(planned: Series):
    said = precision_of(planned, planned.colours, graders=2)
    assert (said.tiles, said.patches) == (8, 32)
    no_patches = replace(planned, patches=planned.patches.iloc[:0])
    with pytest.raises(Misuse, match="Nothing is planned"):
        precision(no_patches)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"plan": pd.DataFrame({"tile": [1], "base": ["L0"]})}, "overlay"),
        ({"plan": pd.DataFrame({"tile": [1], "base": ["L0"], "overlay": ["Puce"]})}, "Puce"),
        ({"firings": 0}, "at least once"),
    ],
)
def test_what_cannot_be_worked_out_is_refused(colours, plan, change, says):
    with pytest.raises(Misuse, match=says):
        precision_of(**({"plan": plan, "colours": colours} | change))


def test_standard_deviations_must_be_possible():
    with pytest.raises(Misuse, match="tile"):
        StandardDeviations(tile=-1)
    with pytest.raises(Misuse, match="patch or grading"):
        StandardDeviations(patch=0, grading=0)
