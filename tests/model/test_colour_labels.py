"""What labels foretell: found where it is there, left alone where it is not, and said in words."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm
from studios import Population

from kit.mixed import Prior, leave_out
from kit.model import fit_series, logits_a_step, matched_contrasts, pairs
from kit.model.colour_labels import (
    _FAMILY_SD,
    _SIZES,
    AGAINST,
    Labels,
    LabelWorth,
    _foretold,
    enough_labelled,
)
from kit.series import Series
from kit.studio import fire

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")

SHARE = 0.9


def labelled(colours: pd.DataFrame) -> pd.DataFrame:
    """Each family has soft and hard colours alike; grain goes with neither."""
    places = np.arange(len(colours)) // 2
    return colours.assign(
        fusing=np.where(places % 2 == 0, "soft", "hard"),
        grain=np.where(places < len(colours) // 4, "fine", "coarse"),
        opacity="",
    )


@pytest.fixture(scope="module")
def told(survey) -> Series:
    """A studio where overlays and bases do mostly as their fusing says, on wide scales."""
    wide = Population(
        base_sd=(1.5, 1.5), overlay_sd=(1.8, 1.8), pair_sd=(0.1, 0.1), step=(2.0, 2.0),
        like_over_like=(1.0, 1.0), family_effect=(1.0, 1.0), label_shares={"fusing": SHARE},
    )  # fmt: skip
    colours = labelled(survey.colours)
    bare = replace(survey, colours=colours, grades=survey.grades.head(0))
    return fire(replace(bare, firings=survey.firings.head(0)), wide.draw(colours, 2), 2)


def test_a_studio_lets_labels_explain_their_share():
    colours = labelled(pd.DataFrame({"colour": [f"c{k}" for k in range(4000)], "family": "leaded"}))
    scale = Population(overlay_sd=(1.5, 1.5), label_shares={"fusing": 0.6}).draw(colours, 4)
    does = pd.Series(scale.scales["spread"].overlay)
    word = colours.set_index("colour")["fusing"]
    by_word = does.groupby(word).mean()
    assert does.std() == pytest.approx(1.5, rel=0.03)
    assert word.map(by_word).var() / does.var() == pytest.approx(0.6, abs=0.03)
    grain = colours.set_index("colour")["grain"]
    assert does.groupby(grain).mean().std() < 0.1


def test_without_shares_a_studio_is_drawn_as_before(survey):
    plain = Population().draw(survey.colours, 3)
    assert Population(label_shares={}).draw(labelled(survey.colours), 3) == plain


def test_a_label_that_foretells_enters_and_one_that_does_not_stays_out(told):
    fit = fit_series(told, "spread")
    groups = fit.labels.groups
    assert {"base_fusing", "overlay_fusing", AGAINST} <= set(groups)
    assert not any(group.endswith("_grain") for group in groups)
    assert set(groups) <= set(fit.results.random_sd)
    assert not any("opacity" in worth.group for worth in fit.labels.worth)


def test_a_colour_never_fired_is_foretold_nearer_to_the_truth(told):
    """Overlays of one jar are struck out; with its label the rest say what it does."""
    wide = fit_series(told, "spread")
    off = {True: [], False: []}
    whole = wide.labels.deviations(wide.results, "overlay")["value"]
    for colour in told.colours["colour"]:
        others = told.patches.loc[told.patches["overlay"] != colour, "patch"]
        rest = replace(told, grades=told.grades[told.grades["patch"].isin(others)])
        fit = fit_series(rest, "spread")
        rows = pd.DataFrame({"base": ["none"], "overlay": [colour]})
        for used, labels in ((True, fit.labels), (False, replace(fit.labels, worth=()))):
            said = labels.on(rows)
            guess = sum(
                fit.results.random_effects[group].loc[said[group].iloc[0], "value"]
                for group in labels.groups
                if group.startswith("overlay_")
            )
            off[used].append(whole[colour] - guess)
    assert np.std(off[True]) < 0.75 * np.std(off[False])


def test_the_quick_choice_agrees_with_leaving_rows_out(told):
    """The rows of each overlay left out by a Newton step, with its label and without."""
    fit = fit_series(told, "spread")
    without = fit.refitted(fit.frame)
    plain = replace(fit, labels=replace(fit.labels, worth=())).refitted(fit.frame)
    assert without.results.random_sd.keys() == fit.results.random_sd.keys()
    scores = []
    for one in (fit, plain):
        below = leave_out(one.results, "overlay").at_most.to_numpy()
        chance = np.diff(below, prepend=0.0, axis=1)
        grade = one.frame["spread"].cat.codes.to_numpy()
        scores.append(np.log(chance[np.arange(len(grade)), grade]).mean())
    assert scores[0] > scores[1]


def test_a_colour_is_foretold_from_all_others_by_normal_theory():
    random = np.random.default_rng(1)
    y, r = random.normal(size=6), np.full(6, 0.2)
    family = np.kron(np.eye(2), np.ones((3, 3)))
    label = np.tile(np.eye(2), (3, 3))
    prior = Prior(sd_rate=3.5)
    told, _ = _foretold(y, r, family, label, prior)
    total = 0.0
    for k in range(6):
        rest = np.delete(np.arange(6), k)
        joint = alone = 0.0
        for s in _SIZES:
            for t in _SIZES:
                cov = np.diag(r) + _FAMILY_SD**2 * family + s**2 * np.eye(6) + t**2 * label
                inner = np.linalg.inv(cov[np.ix_(rest, rest)])
                height = np.exp(-0.5 * y[rest] @ inner @ y[rest])
                height /= np.sqrt(np.linalg.det(cov[np.ix_(rest, rest)]))
                height *= (s * t) ** prior.sd_shape * np.exp(-prior.sd_rate * (s + t))
                mean = cov[k, rest] @ inner @ y[rest]
                sd = np.sqrt(cov[k, k] - cov[k, rest] @ inner @ cov[rest, k])
                joint, alone = joint + height * norm.pdf(y[k], mean, sd), alone + height
        total += np.log(joint / alone) + 0.5 * np.log(2 * np.pi)
    assert told == pytest.approx(total, rel=1e-8)


def test_a_label_counts_only_where_enough_colours_carry_it():
    words = pd.Series(["soft"] * 4 + ["hard"] * 4)
    assert enough_labelled(words)
    assert not enough_labelled(words.iloc[1:6])
    assert not enough_labelled(pd.Series(["soft"] * 9 + ["hard"]))
    assert not enough_labelled(pd.Series([""] * 12))


def test_labels_are_said_in_words():
    worth = (
        LabelWorth("overlay_fusing", 2.0, 0.8, 1.6),
        LabelWorth("base_grain", -0.3, 1.0, 1.0),
        LabelWorth("base_fusing", 0.5, 0.9, 1.0),
        LabelWorth("overlay_grain", 3.0, 1.0, 1.0),
    )
    said = Labels(pd.DataFrame(), worth).sentences("spread", 2.0)
    assert said[0].startswith("How soon the overlay fuses, as colours.csv has it, foretells spread")
    assert "falls from 0.8 of a step to 0.4 of a step" in said[0]
    assert "not foretold better by the base's grain, how soon the base fuses and" in said[1]
    assert said[1].endswith("so on spread they do not count.")


def test_how_soft_the_overlay_is_follows_from_both_jars():
    words = {"family": "leaded", "opacity": "", "grain": "", "fusing": ["soft", "hard", ""]}
    words = {"family": "leaded", "opacity": "", "grain": "", "fusing": ["soft", "hard", ""]}
    table = pd.DataFrame(words, index=["S", "H", "B"])
    labels = Labels(table, (LabelWorth("base_fusing", 2.0, 0.9, 1.0),))
    rows = pd.DataFrame({"base": ["S", "H", "H", "B"], "overlay": ["H", "S", "H", "S"]})
    told = labels.on(rows)[AGAINST].tolist()
    assert told == ["overlay harder", "overlay softer", "fuse alike", ""]


def test_colours_without_labels_leave_everything_as_it_was(survey):
    fit = fit_series(survey, "spread")
    assert fit.labels.worth == ()
    assert fit.labels.sentences("spread", 1.0) == ()


def test_pairs_are_judged_with_the_labels(told):
    with_them = pairs(told)
    blank = replace(told, colours=told.colours.assign(fusing="", grain=""))
    assert (with_them["fine_edge"] - pairs(blank)["fine_edge"]).abs().max() > 0.02


def likened(colours: pd.DataFrame, like: dict[str, str]) -> pd.DataFrame:
    return colours.assign(like=colours["colour"].map(like).fillna(""))


def test_families_are_compared_within_colours_that_look_alike(survey):
    colours = survey.colours
    leaded = colours.loc[colours["family"] == "leaded", "colour"].tolist()
    unleaded = colours.loc[colours["family"] == "unleaded", "colour"].tolist()
    like = dict(zip(leaded[:3], unleaded[:3], strict=True))
    fits = {score: fit_series(survey, score) for score in ("spread", "pull_through")}
    told = matched_contrasts(fits, likened(colours, like)).set_index("scale")
    assert told["couples"].tolist() == [3, 3]
    assert told.loc["spread", "first"] == "leaded over unleaded"
    assert told.loc["pull_through", "second"] == "leaded over leaded"
    said = told.loc["spread", "sentence"]
    assert said.startswith("Between overlays that look alike (3 couples, such as ")
    # Said the other way round, or both ways, a couple is the same and counts once.
    back = like | {other: one for one, other in like.items()}
    again = matched_contrasts(fits, likened(colours, back)).set_index("scale")
    assert again["difference"].to_numpy() == pytest.approx(told["difference"].to_numpy())
    assert matched_contrasts(fits, likened(colours, dict(list(like.items())[:2]))).empty


def test_steps_of_the_sentence_are_those_of_the_fit(told):
    fit = fit_series(told, "spread")
    said = fit.labels.sentences("spread", logits_a_step(fit))
    assert any("foretells spread" in sentence for sentence in said)
