"""Grades: a scale's words for its steps, the middle of several grades, what a half counts as."""

import math
from dataclasses import dataclass

import pandas as pd

STEPS = 5


@dataclass(frozen=True)
class Scale:
    """An ordinal scale from 0 (none) to 4 (total).

    Parameters
    ----------
    name : str
        Column heading in grades.csv.
    title : str
        The name people read.
    question : str
        What the grader asks the patch.
    steps : tuple of str
        Words for the steps 0, 1, 2, 3, 4.
    """

    name: str
    title: str
    question: str
    steps: tuple[str, ...]

    @property
    def grades(self) -> range:
        return range(len(self.steps))


SPREAD = Scale(
    name="spread",
    title="Spread",
    question="How far has the overlay crept past the stencil's edge?",
    steps=(
        "crisp: the edge stands where it was sifted",
        "feathered: crept by less than a hair",
        "blurred: crept, the shape still reads",
        "flowed: the shape is going",
        "lost: no edge left",
    ),
)

PULL_THROUGH = Scale(
    name="pull_through",
    title="Pull-through",
    question="How much of the base has come up through the overlay?",
    steps=(
        "none: the overlay covers",
        "a hint: a few specks of the base",
        "broken in places: the base has come up here and there",
        "broken over half: as much base as overlay",
        "gone: the base has taken over",
    ),
)

DEFAULT_SCALES = (SPREAD, PULL_THROUGH)


def nearest_step(grade: float) -> int:
    """Step that a middle grade counts as: a half counts as the step above, which is the worse.

    The middle of an even number of grades may lie half way between two steps. Every picture, title
    and sentence colours and counts it by this one rule.

    Parameters
    ----------
    grade : float
        0 or more.
    """
    return math.floor(grade + 0.5)


def grade(value: float) -> str:
    """Write a grade, whole or half: '2', '2½'; an average with one decimal: '2.3'."""
    if value == math.floor(value):
        return f"{value:.0f}"
    if 2 * value == math.floor(2 * value):
        return f"{math.floor(value) or ''}½"
    return f"{value:.1f}"


_OF_PATCH = ["tile", "position", "base", "overlay", "base_family", "overlay_family"]


def middle_grades(observations: pd.DataFrame, scale: str) -> pd.DataFrame:
    """Take the median over graders for each patch after each firing.

    Parameters
    ----------
    observations : DataFrame
        As `kit.series.observations` gives it.
    scale : str

    Returns
    -------
    DataFrame
        One row per graded patch and firing: patch, firing, firings, tile, position, base, overlay,
        base_family, overlay_family, grade (half steps possible), low, high (over graders), graders.
    """
    graded = observations[observations[scale].notna()].astype({scale: float})
    by_patch = graded.groupby(["patch", "firing"], sort=False)
    numbers = by_patch[scale].agg(["median", "min", "max", "count"])
    numbers.columns = pd.Index(["grade", "low", "high", "graders"])
    about = by_patch[["firings", *_OF_PATCH]].first()
    both = about.join(numbers).reset_index()
    return both.sort_values(["tile", "position", "firing"], ignore_index=True)


def last_grades(observations: pd.DataFrame, scale: str) -> pd.DataFrame:
    """Keep each patch's middle grade after the last firing it was graded at."""
    return middle_grades(observations, scale).drop_duplicates("patch", keep="last")
