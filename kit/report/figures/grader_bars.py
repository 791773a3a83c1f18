"""Graders side by side: what each gave to the patches that several people graded."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pandas as pd

from kit.report.figures.grade_shares import grade_key, rows_by_grade
from kit.report.page.picture import Picture
from kit.report.page.style import drawn_with, new_figure
from kit.series import Scale
from kit.wording import listed, percent


@drawn_with()
def graders_side_by_side(observations: pd.DataFrame, scales: Sequence[Scale]) -> Picture | None:
    """Draw how often each grader gave each grade, on patches that all of a pair graded.

    Parameters
    ----------
    observations : DataFrame
        As `kit.series.observations` gives it.
    scales : sequence of Scale

    Returns
    -------
    Picture or None
        None when no patch was graded by two people.
    """
    shared = {scale.name: grades_in_common(observations, scale.name) for scale in scales}
    drawn = [scale for scale in scales if len(shared[scale.name])]
    if not drawn:
        return None
    names = sorted(set().union(*(shared[scale.name].columns for scale in drawn)))
    figure = new_figure(height_in=0.3 + len(drawn) * (0.75 + 0.34 * len(names)))
    panels = figure.subplots(len(drawn), 1, squeeze=False)[:, 0]
    for axes, scale in zip(panels, drawn, strict=True):
        given = shared[scale.name].melt(var_name="grader", value_name="grade").dropna()
        rows_by_grade(axes, given, "grader", names)
        axes.set_title(scale.title, loc="left")
        axes.legend(
            handles=grade_key([str(g) for g in scale.grades]),
            ncols=5, loc="lower right", bbox_to_anchor=(1.0, 1.0), borderaxespad=0.1,
            handlelength=1, columnspacing=0.8,
        )  # fmt: skip
    panels[-1].set_xlabel("share of the grades given to patches that others graded too")
    return Picture(
        "graders",
        _finding(shared, drawn),
        _told(shared, drawn),
        figure,
        note="Graders who use the scale alike have bars that are cut alike. The numbers in the "
        "bars are how often each grade was given.",
    )


def grades_in_common(observations: pd.DataFrame, scale: str) -> pd.DataFrame:
    """Grades of patches and firings that two or more people graded: a column a grader."""
    wide = observations.pivot_table(scale, ["patch", "firing"], "grader", aggfunc="first")
    return wide[wide.notna().sum(axis=1) >= 2].astype(float).dropna(axis=1, how="all")


def same_and_near(wide: pd.DataFrame) -> tuple[float, float]:
    """Share of pairs of grades that are the same, and within one step."""
    gaps = [
        np.abs(wide[one] - wide[other]).dropna() for one, other in combinations(wide.columns, 2)
    ]
    apart = pd.concat(gaps)
    return float((apart == 0).mean()), float((apart <= 1).mean())


def _finding(shared: dict[str, pd.DataFrame], drawn: Sequence[Scale]) -> str:
    parts = []
    for scale in drawn:
        same, _ = same_and_near(shared[scale.name])
        parts.append(f"{percent(same)} of the time on {scale.title.lower()}")
    return f"Two graders of the same patch gave the same grade {listed(parts)}"


def _told(shared: dict[str, pd.DataFrame], drawn: Sequence[Scale]) -> str:
    parts = []
    for scale in drawn:
        wide = shared[scale.name]
        means = [f"{name} {wide[name].mean():.1f}" for name in wide.columns]
        _, near = same_and_near(wide)
        parts.append(
            f"{scale.title}: average grade by {listed(means)}; within one step of each other "
            f"{percent(near)} of the time."
        )
    return " ".join(parts)
