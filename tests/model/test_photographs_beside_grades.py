"""Grades and photographs together: each alone where the other is missing, nearer to the truth."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.errors import Misuse
from kit.model import (
    MEASURE_OF,
    PICTURED,
    PairSetting,
    fit_measurements,
    fit_series,
    left_out,
    measured_pair_table,
    measurement_fit,
    pairs,
    scale_to_share,
    share_to_scale,
    state_by_grades,
    tile_influence,
    variation_table,
)
from kit.model.measurement_fit import scaled, told_apart
from kit.model.pair_setting import every_pair, recipes
from kit.series import Series, join_measurements
from kit.studio import Truth
from kit.studio.kiln import latent_truth

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")

SETTING = PairSetting(mesh=100, confidence=0.8)
A, B, OFF = 1.5, 0.3, 0.1
"""Millimetres are A + B times the latent spread, off by OFF."""


def photographed(series: Series, truth: Truth, seed: int, tiles: list[int]) -> Series:
    """Measurements of some tiles, straight from the latent values that were graded."""
    seen = latent_truth(series, truth, seed)
    seen = seen[seen["tile"].isin(tiles)].reset_index(drop=True)
    random, n = np.random.default_rng(seed), len(seen)
    logit = 0.6 * seen["pull_through"] - 3.5 + random.normal(0, 0.2, n)
    table = series.measurements.reindex(range(n)).assign(
        patch=seen["patch"],
        firing=seen["firing"],
        spread_mm=A + B * seen["spread"] + random.normal(0, OFF, n),
        spread_mm_se=0.02,
        pull_through_share=scale_to_share(logit.to_numpy()),
        pull_through_share_se=0.002,
        **{"quality": "good", "accepted": "", "picture": "p.jpg", "picture_sha256": "0"},
    )
    return replace(series, measurements=table)


@pytest.fixture(scope="module")
def half(survey, survey_truth) -> Series:
    """Every other tile photographed after each firing."""
    return photographed(survey, survey_truth, 5, survey.tiles["tile"].tolist()[::2])


@pytest.fixture(scope="module")
def every(survey, survey_truth) -> Series:
    return photographed(survey, survey_truth, 5, survey.tiles["tile"].tolist())


def off_by(series: Series, truth: Truth, photographs: bool = True) -> dict[str, np.ndarray]:
    """How far each pair's state lies from the truth, in standard deviations and in logits."""
    fits = {s: fit_series(series, s, photographs=photographs) for s in MEASURE_OF}
    recipe = recipes(every_pair(series.colours), SETTING, [1, 2, 3], fits)
    off, sds = [], []
    for score, fit in fits.items():
        known = state_by_grades(fit, recipe, SETTING.rule)
        true = truth.latent(recipe, score) - truth.scales[score].cuts[SETTING.fine_edge_at_most]
        off.append(true - known.mean[:, known.fine])
        sds.append(np.sqrt(known.variance[:, known.fine]))
    return {"off": np.concatenate(off), "sd": np.concatenate(sds)}


def test_photographs_that_do_not_count_leave_everything_as_it_was(survey, half):
    alone = fit_series(survey, "spread")
    switched = fit_series(half, "spread", photographs=False)
    assert switched.results.params.equals(alone.results.params)
    assert switched.measured.empty
    pd.testing.assert_frame_equal(pairs(half, photographs=False), pairs(survey))


def test_pairs_use_what_photographs_measured(survey, half):
    together, alone = pairs(half), pairs(survey)
    assert (together["fine_edge"] - alone["fine_edge"]).abs().max() > 0.02
    assert list(together.columns) == list(alone.columns)


def test_without_grades_the_photographs_decide_by_the_rule_in_millimetres(survey, every):
    ungraded = replace(every, grades=survey.grades.head(0))
    seen = join_measurements(every)
    fits = {name: fit_measurements(seen, name) for name in MEASURE_OF.values()}
    setting = PairSetting.of(survey.settings.verdict)
    pd.testing.assert_frame_equal(
        pairs(ungraded), measured_pair_table(fits, survey.colours, setting)
    )
    with pytest.raises(Misuse, match="Nothing was graded"):
        pairs(ungraded, photographs=False)


def test_the_line_between_the_two_is_found(every):
    line = fit_series(every, "spread").line
    assert line.measure == "spread_mm"
    # The truth's latent values are logits from its first cut, as the fit's are but for its origin.
    assert line.slope == pytest.approx(B, rel=0.25)
    assert line.off == pytest.approx(OFF, rel=0.25)
    assert fit_series(every, "pull_through").line.on == "scaled_pull_through_share"


def flattened(every: Series) -> Series:
    """The same photographs where an edge that hardly creeps cannot creep less."""
    latent = (every.measurements["spread_mm"] - A) / B
    random = np.random.default_rng(3)
    flat = 0.35 * np.logaddexp(0.0, latent) + random.normal(0, 0.02, len(latent))
    return replace(every, measurements=every.measurements.assign(spread_mm=flat))


def measured_pairs(series):
    """Measurements of one colour over another; of a colour over itself no edge can be seen."""
    laid = series.patches.merge(series.tiles[["tile", "base"]], on="tile")
    pairs = laid.loc[laid["overlay"].astype(str) != laid["base"].astype(str), "patch"]
    return series.measurements[series.measurements["patch"].isin(pairs)]


def test_lengths_near_nothing_do_not_bend_the_line(every, monkeypatch):
    """Above the floor 0.35 log(1 + exp(z)) rises by 0.26 to 0.35 a unit; below it hardly does."""
    bent = flattened(every)
    floored = fit_series(bent, "spread")
    monkeypatch.setattr(measurement_fit, "FLOORS", {})
    through_all = fit_series(bent, "spread")
    assert through_all.line.slope < floored.line.slope < 0.35
    below = (measured_pairs(bent)["spread_mm"] <= 0.25).sum()
    assert (floored.results.model.side == 1).sum() == below > 20
    assert (through_all.results.model.side == 0).all()


def test_what_lies_beyond_the_ends_is_said_in_words(every):
    spread, pull_through = (fit_series(every, score).line for score in MEASURE_OF)
    assert spread.ends.startswith("A length of 0.25 mm")
    assert pull_through.ends.startswith("A share of 3\u00a0% or less counts as 'this or less'")
    assert told_apart("pull_through_share") == pytest.approx(
        tuple(share_to_scale(np.array([0.03, 0.97])))
    )
    assert told_apart("spread_p95_mm") == (-np.inf, np.inf)


def test_photographs_of_edges_that_never_crept_stand_aside(every):
    still = replace(every, measurements=every.measurements.assign(spread_mm=0.1))
    fit = fit_series(still, "spread")
    assert fit.measured.empty
    beyond = f"{len(measured_pairs(every))} of them say no more than 'this or less'"
    assert any(beyond in said for said in fit.dropped)


def test_what_photographs_of_one_patch_share_is_no_part_of_the_patch(every):
    """All photographs of a patch are off by the same: that is theirs, and not the patch's."""
    random = np.random.default_rng(6)
    codes, patches = pd.factorize(every.measurements["patch"])
    off = random.normal(0, 0.3, len(patches))[codes]
    shifted = every.measurements.assign(spread_mm=every.measurements["spread_mm"] + off)
    fit = fit_series(replace(every, measurements=shifted), "spread")
    assert fit.results.random_sd[PICTURED] * fit.line.slope == pytest.approx(0.3, rel=0.35)
    assert PICTURED not in set(variation_table(fit)["source"])
    once = every.measurements.drop_duplicates("patch", ignore_index=True)
    single = fit_series(replace(every, measurements=once), "spread")
    assert PICTURED not in single.results.random_sd


def test_a_fit_knows_both_and_says_so(half):
    fit = fit_series(half, "spread")
    assert len(fit.measured) == len(measured_pairs(half)) > 100
    assert "grader" not in fit.measured
    assert len(fit.seen) == len(fit.frame) + len(fit.measured)
    assert f"{len(fit.measured)} measurements from photographs" in repr(fit)
    assert fit.by_grades.measured.empty
    assert fit.by_grades.results.params.equals(
        fit_series(half, "spread", photographs=False).results.params
    )


def test_photographs_of_half_the_tiles_bring_every_pair_nearer_to_the_truth(
    survey, half, every, survey_truth
):
    alone, some, all_of_them = (off_by(s, survey_truth) for s in (survey, half, every))
    errors = [float(np.sqrt((o["off"] ** 2).mean())) for o in (alone, some, all_of_them)]
    assert errors[1] < 0.95 * errors[0]
    assert errors[2] < 0.9 * errors[0]
    inside = [
        float((np.abs(o["off"]) < 1.645 * o["sd"]).mean()) for o in (alone, some, all_of_them)
    ]
    assert min(inside[1:]) > 0.83
    assert all_of_them["sd"].mean() < some["sd"].mean() < alone["sd"].mean()


def test_leaving_out_goes_by_the_grades_alone(survey, survey_truth):
    """Few photographed tiles carry the line, and a step cannot tell what it were without one."""
    tiles = survey.tiles["tile"].tolist()[:4]
    few = photographed(survey, survey_truth, 5, tiles)
    fit, alone = fit_series(few, "spread"), fit_series(survey, "spread")
    assert len(fit.measured)
    told, plain = (left_out({"spread": f}, SETTING.rule).readings for f in (fit, alone))
    np.testing.assert_allclose(told["expected"], plain["expected"], atol=1e-6)
    told, plain = (
        tile_influence({"spread": f}).set_index("tile")["surprise"] for f in (fit, alone)
    )
    np.testing.assert_allclose(told, plain.reindex(told.index), rtol=1e-3, atol=1e-4)


def test_a_few_measurements_are_left_out_and_named(survey, survey_truth):
    few = photographed(survey, survey_truth, 5, [1])
    few = replace(few, measurements=few.measurements.head(6))
    fit = fit_series(few, "spread")
    assert fit.measured.empty
    assert any("6 measurements of spread" in sentence for sentence in fit.dropped)
    assert fit.results.params.equals(fit_series(survey, "spread").results.params)
    with pytest.raises(Misuse, match="No photograph stands beside"):
        _ = fit.line


def test_a_patch_that_nobody_graded_counts_by_its_photograph(survey, every):
    gone = set(survey.patches.loc[survey.patches["overlay"] == "colour 3", "patch"])
    kept = ~survey.grades["patch"].isin(gone)
    ungraded = replace(every, grades=survey.grades[kept].reset_index(drop=True))
    pair = pairs(ungraded).set_index(["base", "overlay", "firings"])
    fired = every.patches[every.patches["overlay"] == "colour 3"]
    base = every.tiles.set_index("tile")["base"][fired["tile"].iloc[0]]
    if base != "colour 3":
        assert pair.loc[(base, "colour 3", 1), "patches"] > 0
    told = fit_series(ungraded, "spread").results.random_effects["overlay"]
    true = fit_series(every, "spread").results.random_effects["overlay"]
    assert told.loc["colour 3", "value"] == pytest.approx(true.loc["colour 3", "value"], abs=0.4)


def test_errors_of_shares_follow_the_slope_of_their_scale():
    seen = pd.DataFrame({"pull_through_share": [0.02, 0.5, 0.97], "pull_through_share_se": 1e-5})
    rows, response = scaled(seen, "pull_through_share")
    ends = share_to_scale(seen["pull_through_share"].to_numpy() + 1e-5)
    assert rows[f"{response}_se"].to_numpy() == pytest.approx(ends - rows[response], rel=1e-3)


def test_several_series_keep_their_tiles_apart(survey, half):
    other = replace(half, name="later")
    fit = fit_series([survey, other], "spread")
    assert set(fit.measured["series"]) == {"later"}
    assert all(name.startswith("later ") for name in fit.measured["tile"])
    assert fit.results.converged
