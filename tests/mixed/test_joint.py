"""Grades and measurements together, against each alone and against direct numerical integration."""

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import approx_fprime, minimize
from scipy.special import expit, logsumexp
from scipy.stats import norm

from kit.errors import Misuse
from kit.mixed import JointMixedModel, LinearMixedModel, OrdinalMixedModel, Prior
from kit.mixed.joint import JointFit
from kit.mixed.joint_rows import JointRows
from kit.mixed.laplace import LaplaceLikelihood
from kit.mixed.row_likelihoods import MeasuredRows

FLOOR, CEILING = 0.6, 1.4


def make(
    seed: int, objects: int = 24, graders: int = 2, times: int = 1
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Objects with a latent value each, graded by all graders; two of three are measured."""
    random = np.random.default_rng(seed)
    table = pd.DataFrame({"object": np.arange(objects), "heat": np.tile([0.0, 1.0], objects // 2)})
    table["eta"] = 1.5 * table["heat"] + random.normal(0, 1.2, objects)
    graded = table.merge(pd.DataFrame({"grader": [f"g{k}" for k in range(graders)]}), how="cross")
    shift = dict(zip(sorted(graded["grader"].unique()), [-1.0, 1.0, 0.0][:graders], strict=True))
    wavering = random.logistic(size=len(graded)) + graded["grader"].map(shift)
    graded["grade"] = np.searchsorted([-0.5, 1.0, 2.5], graded["eta"] + wavering)
    measured = pd.concat([table[table["object"] % 3 != 0]] * times, ignore_index=True)
    measured["error"] = random.uniform(0.02, 0.2, len(measured))
    off = random.normal(0, np.sqrt(0.15**2 + measured["error"] ** 2))
    measured["mm"] = 0.8 + 0.3 * measured["eta"] + off
    return graded.drop(columns="eta"), measured.drop(columns="eta").reset_index(drop=True)


@pytest.fixture(scope="module")
def made():
    return make(seed=3)


@pytest.fixture(scope="module")
def joint(made):
    model = JointMixedModel("grade ~ heat", *made, "mm", ["object"], error="error")
    return model.fit()


@pytest.fixture(scope="module")
def censored(made):
    """The same, where nothing below 0.6 mm nor above 1.4 can be told apart."""
    limits = {"floor": FLOOR, "ceiling": CEILING}
    return JointMixedModel("grade ~ heat", *made, "mm", ["object"], error="error", **limits).fit()


def test_without_measurements_it_is_the_model_of_the_grades(wine):
    alone = OrdinalMixedModel("rating ~ temp + contact", wine, groups=["judge"]).fit()
    joint = JointMixedModel("rating ~ temp + contact", wine, None, "none", ["judge"]).fit()
    assert joint.llf == pytest.approx(alone.llf, abs=1e-8)
    assert joint.params.to_numpy() == pytest.approx(alone.params.to_numpy(), rel=1e-5)
    assert joint.bse.to_numpy() == pytest.approx(alone.bse.to_numpy(), rel=1e-3)
    assert joint.random_sd == pytest.approx(alone.random_sd, rel=1e-4)
    told, expected = joint.state_at_most(wine), alone.state_at_most(wine)
    assert told.to_numpy() == pytest.approx(expected.to_numpy(), abs=1e-4)
    with pytest.raises(Misuse, match="Nothing was measured"):
        joint.predict_measurement(wine)


def test_without_measurements_the_prior_is_that_of_the_grades_too(wine):
    alone = OrdinalMixedModel("rating ~ temp", wine, groups=["judge"]).fit(prior="weak")
    joint = JointMixedModel("rating ~ temp", wine, None, "none", ["judge"]).fit(prior="weak")
    assert joint.params.to_numpy() == pytest.approx(alone.params.to_numpy(), rel=1e-4)


def test_without_grades_it_is_the_model_of_the_measurements(sleep):
    slopes = {"Subject": ["Days"]}
    alone = LinearMixedModel("Reaction ~ Days", sleep, ["Subject"], slopes).fit(reml=False)
    joint = JointMixedModel("none ~ Days", None, sleep, "Reaction", ["Subject"], slopes).fit()
    assert joint.llf == pytest.approx(alone.llf, abs=1e-7)
    assert joint.params.to_numpy() == pytest.approx(alone.params.to_numpy(), rel=1e-6)
    assert joint.bse.to_numpy() == pytest.approx(alone.bse.to_numpy(), rel=1e-2)
    assert joint.random_sd == pytest.approx(alone.random_sd, rel=1e-4)
    assert joint.link == (0.0, 1.0)
    ours, theirs = joint.predict_measurement(sleep), alone.predict(sleep)
    assert ours.to_numpy() == pytest.approx(theirs.to_numpy(), rel=1e-3)
    assert joint.resid.to_numpy() == pytest.approx(alone.resid.to_numpy(), abs=1e-3)


def test_known_errors_weigh_measurements_as_dense_normal_theory_does(made):
    _, measured = made
    twice = pd.concat([measured, measured.assign(mm=measured["mm"] + 0.05)], ignore_index=True)
    fit = JointMixedModel("none ~ heat", None, twice, "mm", ["object"], error="error").fit()
    z = pd.get_dummies(twice["object"]).to_numpy(float)
    noise = fit.residual_sd**2 + twice["error"].to_numpy() ** 2
    cov = fit.random_sd["object"] ** 2 * z @ z.T + np.diag(noise)
    x = np.column_stack([np.ones(len(twice)), twice["heat"]])
    off = twice["mm"].to_numpy() - x @ fit.params.to_numpy()
    density = -0.5 * (
        len(off) * np.log(2 * np.pi) + np.linalg.slogdet(cov)[1] + off @ np.linalg.solve(cov, off)
    )
    assert fit.llf == pytest.approx(density, abs=1e-7)
    beta = np.linalg.solve(x.T @ np.linalg.solve(cov, x), x.T @ np.linalg.solve(cov, twice["mm"]))
    assert fit.params.to_numpy() == pytest.approx(beta, rel=1e-5)


def log_likelihood(
    psi: np.ndarray,
    graded: pd.DataFrame,
    measured: pd.DataFrame,
    floor: float = -np.inf,
    ceiling: float = np.inf,
) -> float:
    """Each object's latent value integrated over a fine grid; nothing of the kit's enters."""
    cuts, (a, b, heat, own_sd, tau) = psi[:3], psi[3:]
    if (np.diff(cuts) <= 0).any():
        return -np.inf
    grid = np.linspace(-7, 7, 561)
    log_density = -0.5 * grid**2 - 0.5 * np.log(2 * np.pi)
    ends = np.concatenate([[-np.inf], cuts, [np.inf]])
    total = 0.0
    for name, own in graded.groupby("object"):
        eta = heat * own["heat"].iloc[0] + own_sd * grid
        height = log_density.copy()
        for grade in own["grade"]:
            height += np.log(expit(ends[grade + 1] - eta) - expit(ends[grade] - eta) + 1e-300)
        for row in measured[measured["object"] == name].itertuples():
            sd = np.sqrt(tau**2 + row.error**2)
            if row.mm <= floor:
                height += norm.logcdf(floor, a + b * eta, sd)
            elif row.mm >= ceiling:
                height += norm.logsf(ceiling, a + b * eta, sd)
            else:
                height += norm.logpdf(row.mm, a + b * eta, sd)
        total += logsumexp(height) + np.log(grid[1] - grid[0])
    return float(total)


@pytest.mark.parametrize("limits", [(-np.inf, np.inf), (FLOOR, CEILING)], ids=["read", "censored"])
def test_a_made_data_set_agrees_with_direct_numerical_integration(limits):
    graded, measured = make(seed=5, times=4)
    bounds = dict(zip(("floor", "ceiling"), limits, strict=True))
    model = JointMixedModel(
        "grade ~ heat", graded, measured, "mm", ["object"], None, "error", **bounds
    )
    fit = model.fit()
    start = np.array([-0.5, 1.0, 2.5, 0.8, 0.3, 1.5, 1.2, 0.15])
    exact = minimize(
        lambda psi: -log_likelihood(psi, graded, measured, *limits), start, method="BFGS"
    )
    ours = np.append(fit.params, [fit.random_sd["object"], fit.residual_sd])
    assert fit.converged
    # Laplace's approximation is all that stands between the two.
    assert fit.llf == pytest.approx(-exact.fun, abs=0.05)
    assert -exact.fun - log_likelihood(ours, graded, measured, *limits) < 0.002
    error = np.sqrt(np.diag(exact.hess_inv))
    assert np.abs(ours - exact.x) / error == pytest.approx(np.zeros(8), abs=0.05)


def test_the_joint_gradient_is_the_slope_of_its_value(made, joint, censored):
    for model in (joint.model, censored.model):
        seen = MeasuredRows(model.measured, model.error, model.side)
        x, pattern = model.effects.x, model.pattern
        rows = JointRows(model.y, x, pattern, 4, len(model.terms), seen)
        likelihood = LaplaceLikelihood(rows)
        psi = np.array([-0.6, 0.9, 2.6, 0.7, 0.35, 1.2, 1.1, 0.2])
        mode = likelihood.mode(psi)
        exact, slopes = likelihood.gradient(psi, mode), likelihood.mode_slopes(psi, mode)
        for i in range(psi.size):
            step = np.zeros_like(psi)
            step[i] = 1e-5
            above, below = likelihood.mode(psi + step), likelihood.mode(psi - step)
            assert exact[i] == pytest.approx((above.value - below.value) / 2e-5, rel=1e-5, abs=1e-5)
            assert slopes[:, i] == pytest.approx((above.b - below.b) / 2e-5, abs=1e-6)


def test_what_is_censored_is_taken_for_no_more_than_it_says(made, censored):
    graded, measured = made
    assert set(censored.model.side) == {-1, 0, 1}
    lower = measured.assign(mm=measured["mm"].where(measured["mm"] > FLOOR, -5.0))
    limits = {"floor": FLOOR, "ceiling": CEILING}
    same = JointMixedModel("grade ~ heat", graded, lower, "mm", ["object"], error="error", **limits)
    assert same.fit().llf == pytest.approx(censored.llf, abs=1e-9)
    with pytest.raises(Misuse, match="No mm lies between what can be told: 3 to 4"):
        JointMixedModel("grade ~ heat", graded, measured, "mm", floor=3.0, ceiling=4.0)


def test_floors_beyond_all_measurements_change_nothing(made, joint):
    far = {"floor": -100.0, "ceiling": 100.0}
    fit = JointMixedModel("grade ~ heat", *made, "mm", ["object"], error="error", **far).fit()
    assert fit.params.equals(joint.params)


@pytest.mark.parametrize("limited", [False, True])
def test_a_shift_of_the_measurements_moves_the_constant_alone(made, joint, censored, limited):
    graded, measured = made
    joint = censored if limited else joint
    limits = {"floor": 10 + 2 * FLOOR, "ceiling": 10 + 2 * CEILING} if limited else {}
    moved = measured.assign(mm=10 + 2 * measured["mm"], error=2 * measured["error"])
    other = JointMixedModel(
        "grade ~ heat", graded, moved, "mm", ["object"], error="error", **limits
    ).fit()
    a, b = joint.link
    read = (joint.model.side == 0).sum()
    assert other.link == pytest.approx((10 + 2 * a, 2 * b), rel=1e-4)
    assert other.llf == pytest.approx(joint.llf - read * np.log(2), abs=1e-6)
    assert other.thresholds.to_numpy() == pytest.approx(joint.thresholds.to_numpy(), abs=1e-4)
    assert other.residual_sd == pytest.approx(2 * joint.residual_sd, rel=1e-4)


def test_graders_keep_shifts_that_measurements_do_not_have(made):
    graded, measured = made
    model = JointMixedModel("grade ~ heat", graded, measured, "mm", ["object", "grader"])
    fit = model.fit(prior="weak")
    shift = fit.random_effects["grader"]["value"]
    assert shift["g1"] > shift["g0"]
    rows = graded.head(2)
    both = fit.predict_measurement(rows.drop(columns="grader"))
    assert both["mean"].iloc[0] == pytest.approx(both["mean"].iloc[1])


def test_measurements_of_some_objects_sharpen_them_all(made):
    graded, measured = made
    alone = OrdinalMixedModel("grade ~ heat", graded, ["object"]).fit(prior="weak")
    model = JointMixedModel("grade ~ heat", graded, measured, "mm", ["object"], error="error")
    joint = model.fit(prior="weak")
    objects = graded.drop_duplicates("object")
    _, before = alone.latent_marginal(objects)
    _, after = joint.latent_marginal(objects)
    was_measured = objects["object"].isin(measured["object"]).to_numpy()
    ratio = after / before
    assert np.median(ratio[was_measured]) < 0.75 < np.median(ratio[~was_measured])


def test_truths_lie_within_the_stated_intervals():
    inside = []
    for seed in range(20):
        groups = ["object", "grader"]
        model = JointMixedModel("grade ~ heat", *make(seed), "mm", groups, error="error")
        interval = model.fit(prior="weak").conf_int(0.9)
        truth = {"mm|constant": 0.8, "mm|slope": 0.3, "heat": 1.5, "1|2": 1.0}
        # Thresholds and heat are on the latent scale, whose zero is an average object at heat 0.
        inside += [interval.loc[n, "low"] < v < interval.loc[n, "high"] for n, v in truth.items()]
    assert 0.8 < np.mean(inside) <= 1


def test_foretold_measurements_hold_what_is_measured(made):
    graded, measured = made
    fit = JointMixedModel("grade ~ heat", graded, measured, "mm", ["object"]).fit(prior="weak")
    new = measured.drop(columns="object")
    told = fit.predict_measurement(new, 0.9, noise=("object",))
    hit = measured["mm"].between(told["low"], told["high"])
    assert 0.7 < hit.mean() <= 1
    assert (told["new_low"] < told["low"]).all()


def test_states_draws_and_summary_rest_on_the_joint_fit(made, joint):
    graded, _ = made
    objects = graded.drop_duplicates("object")
    draws = joint.latent_draws(objects, draws=1024)
    told = joint.state_at_most(objects).to_numpy()
    assert draws.share_at_most().mean(axis=0) == pytest.approx(told, abs=0.04)
    text = str(joint.summary())
    assert "mm|slope" in text
    assert "Residual" in text
    assert list(joint.thresholds.index) == ["0|1", "1|2", "2|3"]
    assert list(joint.effects.index) == ["heat"]


def test_what_cannot_be_joined_is_refused(made):
    graded, measured = made
    with pytest.raises(Misuse, match="3 measurements cannot be set beside grades"):
        JointMixedModel("grade ~ heat", graded, measured.head(3), "mm", ["object"])
    with pytest.raises(Misuse, match="neither grades nor measurements"):
        JointMixedModel("grade ~ heat", None, None, "mm")
    with pytest.raises(Misuse, match="Every mm is 1"):
        JointMixedModel("grade ~ heat", graded, measured.assign(mm=1.0), "mm")
    with pytest.raises(Misuse, match="negative standard error"):
        JointMixedModel("grade ~ heat", graded, measured.assign(e=-1.0), "mm", error="e")
    with pytest.raises(Misuse, match="Neither the grades nor the measurements"):
        JointMixedModel("grade ~ heat", graded, measured, "mm", ["kiln"])
    with pytest.raises(Misuse, match="no column mm"):
        JointMixedModel("grade ~ heat", graded, measured.drop(columns="mm"), "mm")


def test_without_grades_the_prior_is_in_units_of_the_measurements(sleep):
    """What is said in milliseconds or in hundredths of them is the same, prior and all."""
    slopes = {"Subject": ["Days"]}
    finer = sleep.assign(Reaction=100 * sleep["Reaction"])
    told, same = (
        JointMixedModel("none ~ Days", None, table, "Reaction", ["Subject"], slopes).fit("weak")
        for table in (sleep, finer)
    )
    assert same.params.to_numpy() == pytest.approx(100 * told.params.to_numpy(), rel=1e-4)
    assert list(same.random_sd.values()) == pytest.approx(
        [100 * sd for sd in told.random_sd.values()], rel=1e-3
    )


def test_what_graders_are_called_does_not_move_the_measurements(made):
    """Measurements have no grader: not even the first, whose level is numbered 0."""
    graded, measured = made
    renamed = graded.assign(grader=graded["grader"].map({"g0": "z", "g1": "a"}))
    one, other = (
        JointMixedModel("grade ~ heat", table, measured, "mm", ["object", "grader"]).fit("weak")
        for table in (graded, renamed)
    )
    assert other.link == pytest.approx(one.link, rel=1e-3)
    assert other.llf == pytest.approx(one.llf, abs=1e-4)


def test_the_interval_of_a_measurement_does_not_hang_on_where_heat_is_counted_from(made):
    """The same model: the constant takes up what the slope of the link makes of the distance."""
    graded, measured = made
    told = []
    for zero in (0.0, 3.0):
        tables = [table.assign(heat=table["heat"] + zero) for table in (graded, measured)]
        fit = JointMixedModel("grade ~ heat", *tables, "mm", ["object"], error="error").fit()
        told.append(fit.predict_measurement(tables[1].drop(columns="object")).to_numpy())
    assert told[1] == pytest.approx(told[0], rel=1e-2)


def test_the_prior_of_the_link_is_the_standard_normal_in_units_of_the_measurements(made):
    model = JointMixedModel("grade ~ heat", *made, "mm", ["object"], error="error")
    fit = JointFit(model, Prior())
    x = np.array([-0.6, 0.9, 2.6, 0.1, 0.7, 1.2, 1.1, 0.4])
    value, slope, bend = fit._own_prior(x)
    for b in (0.2, 1.5):
        moved = np.where(np.arange(x.size) == 4, b, x)
        assert fit._own_prior(moved)[0] - value == pytest.approx(norm.logpdf(b) - norm.logpdf(0.7))
    assert slope == pytest.approx(approx_fprime(x, lambda at: fit._own_prior(at)[0]), abs=1e-5)
    assert bend[4, 4] == 1.0
