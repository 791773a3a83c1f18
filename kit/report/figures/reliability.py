"""Expected against seen: does the fit follow the grades that it was made from?"""

import pandas as pd

from kit.drawing import GRADE_COLOURS, HAIR, INK, QUIET
from kit.model import ScaleFit, observed_against_foretold
from kit.report.findings.finding import FEWEST_TO_CHECK
from kit.report.page.picture import Picture
from kit.report.page.style import drawn_with, new_figure
from kit.series import Scale
from kit.wording import percent

_MARKS = "osD^v"
_ENOUGH, _MANY = 0.8, 0.9


@drawn_with()
def expected_and_seen(fit: ScaleFit, scale: Scale) -> Picture | None:
    """Draw how often grades stayed at or below a step, against the chance that the fit gives it.

    The grades are those that the fit was made from, so this says whether it describes them, and
    not how well it would do with others.

    Parameters
    ----------
    fit : ScaleFit
    scale : Scale

    Returns
    -------
    Picture or None
        None when there are too few patches to say anything of it.
    """
    if fit.frame["patch"].nunique() < FEWEST_TO_CHECK:
        return None
    compared = observed_against_foretold(fit)
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
    axes.set_xlabel("expected: how often a grade stays at or below the step")
    axes.set_ylabel("seen")
    axes.legend(loc="upper left", title="step of the scale", alignment="left", handlelength=1)
    off = float((compared["observed"] - compared["foretold"]).abs().mean())
    return Picture(
        f"expected-{scale.name.replace('_', '-')}",
        _finding(compared, scale),
        f"Every point compares a group of grades. On average what was seen lies {percent(off)} "
        "away from what was expected.",
        figure,
        note="Points on the slanted line: just as expected. The upright lines say how far off "
        "chance alone would put them 9 times in 10. The model has seen these grades: how it does "
        "with new ones, only new ones can show.",
    )


def _finding(compared: pd.DataFrame, scale: Scale) -> str:
    within = compared["foretold"].between(compared["low"], compared["high"])
    groups = f"{int(within.sum())} of {len(compared)}"
    count = f"{groups} groups of them lie where they should"
    name = f"The model of {scale.title.lower()}"
    if within.mean() >= _MANY:
        return f"{name} describes the grades it was made from: {count}"
    if within.mean() >= _ENOUGH:
        return f"{name} mostly describes the grades it was made from: {count}"
    return f"{name} does not describe the grades it was made from: only {count}"
