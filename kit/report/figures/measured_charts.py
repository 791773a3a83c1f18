"""What photographs measured: grade by grade, and firing by firing."""

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.ticker import PercentFormatter

from kit.drawing import COPPER, GRADE_COLOURS, HAIR, INK, PAPER, QUIET
from kit.model import GradeMeaning
from kit.report.page.picture import FAMILY_COLOURS, Picture, drawn_with, new_figure
from kit.series import FAMILY_PAIRS, Scale, family_pair
from kit.wording import amount, cannot_be_told, counted, gap, listed, upper_first

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


_APART = 0.12


@drawn_with()
def measurements_by_firing(measurements: pd.DataFrame, measure: str, scale: Scale) -> Picture:
    """Draw the average measurement of each family pair after each firing.

    Parameters
    ----------
    measurements : DataFrame
        As `kit.series.join_measurements` gives it.
    measure : str
    scale : Scale
        That the measure stands for.
    """
    families = [
        family_pair(base, overlay)
        for base, overlay in zip(
            measurements["base_family"], measurements["overlay_family"], strict=True
        )
    ]
    seen = measurements.assign(families=families).dropna(subset=[measure])
    table = seen.groupby(["families", "firings"])[measure].agg(
        average="mean", low=lambda own: own.quantile(0.25), high=lambda own: own.quantile(0.75)
    )
    present = [pair for pair in FAMILY_PAIRS if pair in set(seen["families"])]
    figure = new_figure(height_in=3.6)
    axes = figure.subplots()
    for pair, side in zip(present, np.linspace(-_APART, _APART, len(present)), strict=True):
        overlay, base = pair.split(" over ")
        own, ink = table.loc[pair], FAMILY_COLOURS[overlay]
        at = own.index.to_numpy() + side
        axes.vlines(at, own["low"], own["high"], color=ink, linewidth=1.2)
        axes.plot(
            at, own["average"], "o-" if base == "leaded" else "s--", color=ink, markersize=6,
            markerfacecolor=ink if overlay == base else PAPER, label=pair,
        )  # fmt: skip
    axes.axhline(0, color=HAIR, linewidth=0.8, zorder=0)
    axes.set_xticks(sorted(seen["firings"].unique()))
    axes.set_xlabel("firings of the patch")
    name_axis(axes, measure)
    figure.legend(loc="outside upper left", ncols=2)
    means = table.pivot_table("average", "families", "firings")
    return Picture(
        f"measured-firings-{scale.name.replace('_', '-')}",
        _firings_finding(means, measure, scale),
        _firings_told(means, measure, scale),
        figure,
        note="Marks are averages over the patches photographed; the upright lines hold the middle "
        "half of them. Round marks are on a leaded base, square ones on an unleaded base; hollow "
        "marks are one family on the other.",
    )


def _firings_finding(means: pd.DataFrame, measure: str, scale: Scale) -> str:
    last = means.columns.max()
    at_last = means[last].dropna()
    top = at_last.idxmax()
    after = f"{at_last[top]:.2f} mm ({at_last[top] / 25.4:.3f} in)"
    if not measure.endswith("_mm"):
        after = amount(at_last[top], measure)
    name = scale.title.lower()
    if len(at_last) == 1:
        return f"{upper_first(top)} measured {after} for {name} after {_firings(last)}"
    return f"{upper_first(top)} measured most for {name}: {after} after {_firings(last)}"


def _firings(count: float) -> str:
    return counted(int(count), "firing")


def _firings_told(means: pd.DataFrame, measure: str, scale: Scale) -> str:
    lines = [
        f"{families}: {listed([amount(v, measure) for v in row.dropna()], last='then')}"
        for families, row in means.iterrows()
    ]
    return f"Average measured {scale.title.lower()} after each firing. {'; '.join(lines)}."
