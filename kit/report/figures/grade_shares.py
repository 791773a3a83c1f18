"""How the grades are shared out: over firings, and among graders who saw the same patches."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.patches import Patch, Rectangle

from kit.drawing import GRADE_COLOURS, QUIET, ink_on, short_steps
from kit.report.page.picture import Picture, drawn_with, new_figure
from kit.series import FAMILY_PAIRS, Scale, family_pair, nearest_step
from kit.wording import counted, listed, percent

_STEPS = range(len(GRADE_COLOURS))
_ROOM_ACROSS = 0.06
_ROOM_UP = 0.09


def columns_by_grade(axes: Axes, seen: pd.DataFrame, at: str) -> None:
    """Draw a column for each value of `at`, cut by grade and filled to the whole.

    Parameters
    ----------
    axes : Axes
    seen : DataFrame
        Columns grade (a half counts as the step above) and `at`, whole numbers.
    at : str
    """
    places = sorted(seen[at].unique())
    _bars(axes, seen, x=at)
    edges = (places[0] - 0.55, places[-1] + 0.55)
    axes.set(xlabel="", ylabel="", xlim=edges, ylim=(0, 1), xticks=places)
    axes.set_yticks([0, 0.5, 1], ["0", "half", "all"])
    counts = _counts(seen, at).reindex(places)
    for x, row in zip(places, counts.to_numpy(), strict=True):
        for middle, share, count, colour in _cuts(row):
            if share > _ROOM_UP:
                _number(axes, x, middle, count, colour)


def rows_by_grade(axes: Axes, seen: pd.DataFrame, at: str, names: list[str]) -> None:
    """Draw a row for each of some names, cut by grade and filled to the whole.

    Parameters
    ----------
    axes : Axes
    seen : DataFrame
        Columns grade and `at`.
    at : str
    names : list of str
        Values of `at`, from the top.
    """
    _bars(axes, seen.assign(**{at: pd.Categorical(seen[at], names)}), y=at)
    axes.set(xlabel="", ylabel="", xlim=(0, 1), ylim=(len(names) - 0.5, -0.5))
    axes.set_xticks([0, 0.5, 1], ["0", "half", "all"])
    counts = _counts(seen, at).reindex(names, fill_value=0)
    for y, row in enumerate(counts.to_numpy()):
        for middle, share, count, colour in _cuts(row):
            if share > _ROOM_ACROSS:
                _number(axes, middle, y, count, colour)


def _bars(axes: Axes, seen: pd.DataFrame, **at: str) -> None:
    # seaborn puts the first hue on top; the lowest grade is to stand at the foot.
    sns.histplot(
        seen.assign(step=_step(seen["grade"])),
        **at,
        hue="step",
        hue_order=list(reversed(_STEPS)),
        palette=list(reversed(GRADE_COLOURS)),
        multiple="fill",
        discrete=True,
        shrink=0.8,
        alpha=1,
        edgecolor=QUIET,
        linewidth=0.5,
        legend=False,
        ax=axes,
    )
    axes.tick_params(length=0)


def _step(grade: pd.Series) -> pd.Series:
    return grade.map(nearest_step)


def _counts(seen: pd.DataFrame, at: str) -> pd.DataFrame:
    return pd.crosstab(seen[at], _step(seen["grade"])).reindex(columns=_STEPS, fill_value=0)


def _cuts(row: np.ndarray) -> list[tuple[float, float, int, str]]:
    """Middle, share, count and colour of each cut of one bar."""
    shares = row / max(row.sum(), 1)
    middles = np.cumsum(shares) - shares / 2
    return list(zip(middles, shares, row, GRADE_COLOURS, strict=True))


def _number(axes: Axes, x: float, y: float, count: int, colour: str) -> None:
    axes.text(x, y, str(count), ha="center", va="center_baseline", color=ink_on(colour), fontsize=8)


def grade_key(labels: Sequence[str]) -> list[Patch]:
    """Key to the colours of the grades, one label a step."""
    return [
        Rectangle((0, 0), 1, 1, facecolor=colour, edgecolor=QUIET, linewidth=0.6, label=label)
        for colour, label in zip(GRADE_COLOURS, labels, strict=True)
    ]


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
        _graders_finding(shared, drawn),
        _graders_told(shared, drawn),
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


def _graders_finding(shared: dict[str, pd.DataFrame], drawn: Sequence[Scale]) -> str:
    parts = []
    for scale in drawn:
        same, _ = same_and_near(shared[scale.name])
        parts.append(f"{percent(same)} of the time on {scale.title.lower()}")
    return f"Two graders of the same patch gave the same grade {listed(parts)}"


def _graders_told(shared: dict[str, pd.DataFrame], drawn: Sequence[Scale]) -> str:
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
