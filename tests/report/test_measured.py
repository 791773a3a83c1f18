"""Grades held against millimetres."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.report import analyse
from kit.report.html import fragment
from kit.report.parts.measured import fit_steps, grader_sentences, measured

MM_A_STEP = 0.4


@pytest.fixture(scope="module")
def both():
    """Sixty patches of known spread, graded by Ada by the rule and by Ben a step higher."""
    random = np.random.default_rng(8)
    mm = random.uniform(0, 1.2, 60)
    each = pd.DataFrame({"patch": [f"T{n}-1" for n in range(60)], "firing": 1, "spread_mm": mm})
    by_rule = [np.rint(mm / MM_A_STEP + random.normal(0, 0.3, 60)).clip(0, 3) for _ in range(2)]
    ada = each.assign(grader="Ada", grade=by_rule[0])
    ben = each.assign(grader="Ben", grade=by_rule[1] + 1)
    return pd.concat([ada, ben], ignore_index=True)


def test_a_step_is_found_in_millimetres(both):
    assert 1 / fit_steps(both).params["spread_mm"] == pytest.approx(MM_A_STEP, rel=0.15)


def test_the_grader_who_grades_higher_is_named_with_by_how_much(both):
    results = fit_steps(both)
    (said,) = grader_sentences(results, "Ada")
    assert said.startswith("Ben grades what measures the same ")
    assert "higher than Ada" in said
    interval = results.conf_int(0.1).loc["grader[T.Ben]"]
    assert interval["low"] <= 1.0 <= interval["high"]


def test_series_without_photographs_has_no_such_part(analysis):
    assert measured(analysis) is None


def test_photographed_series_says_what_a_grade_is(fired):
    """Measurements that follow the grades: the part names the step and both graders' marks."""
    grades = fired.grades.groupby(["patch", "firing"])["spread"].mean().astype(float)
    table = fired.measurements.reindex(range(len(grades)))
    text = {"picture": "t.jpg", "picture_sha256": "0", "quality": "good", "remark": ""}
    table = table.assign(
        patch=grades.index.get_level_values("patch"),
        firing=grades.index.get_level_values("firing"),
        spread_mm=MM_A_STEP * grades.to_numpy(),
        spread_mm_se=0.05,
        accepted="",
        **text,
    )
    section = measured(analyse(replace(fired, measurements=table)))
    said = fragment(section)
    assert "One step of spread is about" in said
    assert "Does a grade mean the same to each?" in said
