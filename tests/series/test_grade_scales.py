"""The middle of several grades, and what a half counts as."""

import pytest

from kit.series import grade, nearest_step, observations
from kit.series.grade_scales import middle_grades


@pytest.mark.parametrize(
    ("middle", "step", "said"),
    [(0.5, 1, "½"), (1.5, 2, "1½"), (2, 2, "2"), (2.5, 3, "2½"), (1.2, 1, "1.2")],
)
def test_a_half_grade_counts_as_the_step_above_and_is_written_as_a_half(middle, step, said):
    assert nearest_step(middle) == step
    assert grade(middle) == said


def test_the_middle_of_three_grades_is_not_drawn_by_the_odd_one(fired):
    seen = observations(fired)
    one = seen[(seen["patch"] == "T3-2") & (seen["firing"] == 2)].iloc[:1]
    three = one.loc[one.index.repeat(3)].assign(grader=["A", "B", "C"], spread=[0, 1, 4])
    row = middle_grades(three, "spread").iloc[0]
    assert (row["grade"], row["low"], row["high"], row["graders"]) == (1.0, 0.0, 4.0, 3)
