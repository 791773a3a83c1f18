"""A grader who slipped a row, swapped scores or turned a scale over is named; others are not."""

from dataclasses import replace

import numpy as np
import pytest

from kit.model import fit_series, grader_slips

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")

SCORES = ("spread", "pull_through")


def found(series):
    table = grader_slips({scale: fit_series(series, scale) for scale in SCORES})
    return table[table["stands_out"]]


def test_graders_who_entered_what_they_saw_are_not_named(survey):
    assert found(survey).empty


def test_swapped_scores_are_named(survey):
    own = survey.grades["grader"] == "AB"
    grades = survey.grades.copy()
    grades.loc[own, list(SCORES)] = survey.grades.loc[own, list(SCORES[::-1])].to_numpy()
    named = found(replace(survey, grades=grades))
    assert "swapped the two scores" in named["how"].tolist()
    assert "look at those sheets again" in named["sentence"].iloc[0]


def test_a_slipped_row_is_named(survey):
    grades = survey.grades.merge(survey.patches[["patch", "tile"]], on="patch", how="left")
    own = (grades["grader"] == "AB").to_numpy()
    moved = survey.grades.copy()
    for scale in SCORES:
        down = (
            grades[own]
            .groupby(["tile", "firing"])[scale]
            .transform(lambda column: np.roll(column.to_numpy(), 1))
        )
        moved.loc[own, scale] = down.astype("Int64")
    named = found(replace(survey, grades=moved))
    assert named["how"].iloc[0] == "slipped a row"


def test_a_scale_turned_over_is_named(survey):
    own = survey.grades["grader"] == "AB"
    turned = survey.grades["spread"].mask(own, 4 - survey.grades["spread"])
    named = found(replace(survey, grades=survey.grades.assign(spread=turned)))
    assert "turned spread over" in named["how"].tolist()


def test_with_one_grader_nothing_is_said(survey):
    alone = replace(survey, grades=survey.grades[survey.grades["grader"] == "AB"])
    assert grader_slips({scale: fit_series(alone, scale) for scale in SCORES}).empty
