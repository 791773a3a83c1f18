"""Grades against millimetres: what a step of the scale is in the photographs."""

import numpy as np
import pandas as pd

from kit.report.picture import Picture
from kit.report.style import COPPER, GRADE_COLOURS, INK, QUIET, drawn_with, new_figure
from kit.report.words import counted, listed
from kit.series import Scale

_SIDE = 0.28
_MARKS = "osD^v"


@drawn_with()
def grades_and_millimetres(both: pd.DataFrame, scale: Scale, step_mm: float) -> Picture:
    """Draw the measured spread of every graded patch, by the grade it was given.

    Parameters
    ----------
    both : DataFrame
        Columns grade, spread_mm, grader; a row per grade.
    scale : Scale
    step_mm : float
        Millimetres that one step stands for.
    """
    figure = new_figure(height_in=3.8)
    axes = figure.subplots()
    graders = sorted(both["grader"].unique())
    for n, grader in enumerate(graders):
        own = both[both["grader"] == grader]
        side = 0.0 if len(graders) == 1 else np.linspace(-_SIDE, _SIDE, len(graders))[n]
        axes.scatter(
            own["grade"] + side, own["spread_mm"], marker=_MARKS[n % len(_MARKS)], s=20,
            c=[GRADE_COLOURS[int(g)] for g in own["grade"]], edgecolors=QUIET, linewidth=0.6,
            label=grader,
        )  # fmt: skip
    middles = both.groupby("grade")["spread_mm"].median()
    for grade, middle in middles.items():
        axes.hlines(middle, grade - 0.42, grade + 0.42, color=COPPER, linewidth=2)
    axes.axhline(0, color=INK, linewidth=0.6)
    axes.set_xticks(list(scale.grades), [step.split(":")[0] for step in scale.steps])
    axes.set_xlim(-0.5, len(scale.steps) - 0.5)
    axes.set_xlabel(f"grade for {scale.title.lower()}")
    axes.set_ylabel("measured spread (mm)")
    if len(graders) > 1:
        figure.legend(loc="outside upper left", ncols=3, title="grader", alignment="left")
    said = [f"grade {grade:.0f} {middle:.2f} mm" for grade, middle in middles.items()]
    return Picture(
        "grades-and-millimetres",
        f"One step of {scale.title.lower()} is about {step_mm:.2f} mm "
        f"({step_mm / 25.4:.3f} in) in the photographs",
        f"Middle measured spread of {counted(len(both), 'grade')}: {listed(said)}.",
        figure,
        note="Each mark is one grade by one grader of a patch that was also photographed. The "
        "bars are the middle measurement of each grade.",
    )
