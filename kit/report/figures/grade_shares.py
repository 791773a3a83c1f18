"""Bars cut by grade: what share of the patches stands at each step."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.patches import Patch, Rectangle

from kit.drawing import GRADE_COLOURS, QUIET, ink_on
from kit.series import nearest_step

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
