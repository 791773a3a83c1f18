"""Grades against what photographs measured: what a step of the scale is."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.ticker import PercentFormatter

from kit.drawing import COPPER, GRADE_COLOURS, INK, QUIET
from kit.model import GradeMeaning
from kit.report.page.picture import Picture
from kit.report.page.style import drawn_with, new_figure
from kit.series import Scale
from kit.wording import amount, cannot_be_told, counted, gap, listed

_SIDE = 0.28
_MARKS = "osD^v"
_AXIS = {
    "spread_mm": "measured spread (mm)",
    "pull_through_share": "share where the base shows",
}


@drawn_with()
def grades_and_measurements(meaning: GradeMeaning, scale: Scale) -> Picture:
    """Draw what was measured of every graded patch, by grade and grader.

    Parameters
    ----------
    meaning : GradeMeaning
    scale : Scale
    """
    figure = new_figure(height_in=3.8)
    axes = figure.subplots()
    graders = list(meaning.graders["grader"])
    sides = np.linspace(-_SIDE, _SIDE, len(graders)) if len(graders) > 1 else [0.0]
    for n, (grader, side) in enumerate(zip(graders, sides, strict=True)):
        _draw(axes, meaning, grader, float(side), _MARKS[n % len(_MARKS)])
    axes.axhline(0, color=INK, linewidth=0.6)
    axes.set_xticks(list(scale.grades), [step.split(":")[0] for step in scale.steps])
    axes.set_xlim(-0.5, len(scale.steps) - 0.5)
    axes.set_xlabel(f"grade for {scale.title.lower()}")
    name_axis(axes, meaning.measure)
    if len(graders) > 1:
        keys = [
            Line2D([], [], marker=_MARKS[n % len(_MARKS)], color=QUIET, linestyle="none", label=g)
            for n, g in enumerate(graders)
        ]
        figure.legend(
            handles=keys, loc="outside upper left", ncols=3, title="grader", alignment="left"
        )
    return Picture(
        f"grades-measured-{scale.name.replace('_', '-')}",
        _finding(meaning, scale),
        _told(meaning, scale),
        figure,
        note="Each mark is one grade of a patch that was also photographed. The bars are the "
        "averages of each grader's grades; the upright lines hold an average 9 times in 10, and "
        "are left out where a grader gave a grade to fewer than 6 patches.",
    )


def name_axis(axes: Axes, measure: str) -> None:
    """Name the upright axis of a measure, with its unit."""
    axes.set_ylabel(_AXIS[measure])
    if measure.endswith("_share"):
        axes.yaxis.set_major_formatter(PercentFormatter(1, decimals=0))


def _draw(axes: Axes, meaning: GradeMeaning, grader: str, side: float, mark: str) -> None:
    own = meaning.readings[meaning.readings["grader"] == grader]
    axes.scatter(
        own["grade"] + side, own["value"], marker=mark, s=16, alpha=0.8,
        c=[GRADE_COLOURS[int(g)] for g in own["grade"]], edgecolors=QUIET, linewidth=0.5,
    )  # fmt: skip
    levels = meaning.levels[meaning.levels["grader"] == grader]
    at = levels["grade"] + side
    axes.hlines(levels["average"], at - 0.12, at + 0.12, color=COPPER, linewidth=2.4, zorder=4)
    axes.vlines(at, levels["low"], levels["high"], color=COPPER, linewidth=1.4, zorder=4)


def _finding(meaning: GradeMeaning, scale: Scale) -> str:
    if meaning.step_low <= 0:
        return cannot_be_told(
            f"more was measured where the grade for {scale.title.lower()} was higher"
        )
    inches = f" ({meaning.step / 25.4:.3f} in)" if meaning.measure.endswith("_mm") else ""
    step = gap(meaning.step, meaning.measure)
    return f"One step of {scale.title.lower()} is about {step}{inches} in the photographs"


def _told(meaning: GradeMeaning, scale: Scale) -> str:
    parts = []
    for grader, levels in meaning.levels.groupby("grader"):
        said = [
            f"{amount(row.average, meaning.measure)} at grade {row.grade}"
            for row in levels.itertuples()
        ]
        parts.append(f"{grader}: {listed(said)}")
    count = counted(len(meaning.readings), "grade")
    return f"Average measured {scale.title.lower()} over {count}. {'; '.join(parts)}."
