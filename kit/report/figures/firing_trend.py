"""How grades climb from firing to firing, by family on family."""

import pandas as pd

from kit.drawing import short_steps
from kit.report.figures.grade_shares import columns_by_grade, grade_key
from kit.report.page.picture import Picture
from kit.report.page.style import drawn_with, new_figure
from kit.series import FAMILY_PAIRS, Scale, family_pair
from kit.wording import counted, listed


@drawn_with()
def grades_by_firing(scale: Scale, grades: pd.DataFrame) -> Picture:
    """Draw the share of patches at each grade after each firing.

    Parameters
    ----------
    scale : Scale
    grades : DataFrame
        As `middle_grades` gives it.
    """
    seen = grades.assign(
        families=[
            family_pair(b, o)
            for b, o in zip(grades["base_family"], grades["overlay_family"], strict=True)
        ]
    )
    present = [pair for pair in FAMILY_PAIRS if pair in set(seen["families"])]
    rows = -(-len(present) // 2)
    figure = new_figure(height_in=0.75 + 2.0 * rows)
    panels = figure.subplots(rows, min(2, len(present)), sharex=True, sharey=True, squeeze=False)
    for axes, families in zip(panels.flat, present, strict=False):
        columns_by_grade(axes, seen[seen["families"] == families], "firings")
        axes.set_title(families, loc="left", fontsize=9.5)
    for axes in panels.flat[len(present) :]:
        axes.set_axis_off()
    figure.supxlabel("firings of the patch", fontsize=9.5)
    figure.supylabel("share of patches", fontsize=9.5)
    figure.legend(handles=grade_key(short_steps(scale)), ncols=3, loc="outside upper left")
    means = seen.pivot_table("grade", "families", "firings")
    return Picture(
        f"firings-{scale.name.replace('_', '-')}",
        _finding(scale, means),
        _told(scale, means),
        figure,
        note="Each column is all patches of that kind, darker for a higher grade; the number in a "
        "step is how many patches stand at it.",
    )


def _finding(scale: Scale, means: pd.DataFrame) -> str:
    first, last = means.columns.min(), means.columns.max()
    if first == last:
        top = means[last].idxmax()
        return f"{scale.title} stood highest for {top}, at {means.at[top, last]:.1f} on average"
    climb = means[last] - means[first]
    most = climb.idxmax()
    if climb[most] < 0.25:
        return f"{scale.title} hardly changed between {counted(int(first), 'firing')} and {last}"
    return (
        f"{scale.title} climbed most for {most}: from {means.at[most, first]:.1f} to "
        f"{means.at[most, last]:.1f} on average over {counted(int(last), 'firing')}"
    )


def _told(scale: Scale, means: pd.DataFrame) -> str:
    lines = [
        f"{families}: {listed([f'{value:.1f}' for value in row.dropna()], last='then')}"
        for families, row in means.iterrows()
    ]
    return f"Average {scale.title.lower()} after each firing. {'; '.join(lines)}."
