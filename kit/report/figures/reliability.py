"""Observed against foretold: do the chances come true?"""

import pandas as pd

from kit.report.page.picture import Picture
from kit.report.page.style import GRADE_COLOURS, HAIR, INK, QUIET, drawn_with, new_figure
from kit.series import Scale
from kit.wording import percent

_MARKS = "osD^v"
_ENOUGH, _MANY = 0.8, 0.9


@drawn_with()
def observed_and_foretold(compared: pd.DataFrame, scale: Scale) -> Picture:
    """Draw how often grades stayed at or below a step, against the chance foretold for it.

    Parameters
    ----------
    compared : DataFrame
        As `kit.model.observed_against_foretold` gives it.
    scale : Scale
    """
    figure = new_figure(height_in=4.1)
    axes = figure.subplots()
    axes.plot([0, 1], [0, 1], color=HAIR, linewidth=1.2, zorder=0)
    for n, (step, bins) in enumerate(compared.groupby("step", sort=True, observed=True)):
        axes.vlines(bins["foretold"], bins["low"], bins["high"], color=QUIET, linewidth=0.8)
        axes.plot(
            bins["foretold"], bins["observed"], _MARKS[n], markersize=6, markeredgewidth=0.9,
            color=GRADE_COLOURS[int(step)], markeredgecolor=INK, label=f"{step} or below",
        )  # fmt: skip
    ticks = [0, 0.25, 0.5, 0.75, 1]
    words = ["never", "1 in 4", "1 in 2", "3 in 4", "always"]
    axes.set_xticks(ticks, words)
    axes.set_yticks(ticks, words)
    axes.set_aspect("equal")
    axes.set_xlabel("foretold: how often a grade stays at or below the step")
    axes.set_ylabel("seen")
    axes.legend(loc="upper left", title="step of the scale", alignment="left", handlelength=1)
    off = float((compared["observed"] - compared["foretold"]).abs().mean())
    return Picture(
        f"foretold-{scale.name.replace('_', '-')}",
        _finding(compared, scale),
        f"Every point compares a group of grades. On average what was seen lies {percent(off)} "
        "away from what was foretold.",
        figure,
        note="Points on the slanted line: the chances came true exactly. The upright lines say how "
        "far off chance alone would put them 9 times in 10.",
    )


def _finding(compared: pd.DataFrame, scale: Scale) -> str:
    within = compared["foretold"].between(compared["low"], compared["high"])
    count = f"{int(within.sum())} of {len(compared)} groups of grades lie where they should"
    if within.mean() >= _MANY:
        return f"The chances foretold for {scale.title.lower()} come true: {count}"
    if within.mean() >= _ENOUGH:
        return f"The chances foretold for {scale.title.lower()} mostly come true: {count}"
    return f"The chances foretold for {scale.title.lower()} are off: only {count}"
