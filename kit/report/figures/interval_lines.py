"""Estimates with their intervals, one to a line, each under its own words."""

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes

from kit.report.page.style import HAIR, INK, PAPER, QUIET


@dataclass(frozen=True)
class Line:
    """One estimate.

    Parameters
    ----------
    words : str
        What it is of, written above it.
    value, low, high : float
    """

    words: str
    value: float
    low: float
    high: float


LINE_IN = 0.36
"""Height that a line needs."""


def draw_lines(axes: Axes, lines: Sequence[Line], unit: str, zero: float | None = 0.0) -> None:
    """Draw estimates; one whose interval holds `zero` is drawn hollow, as it may be nothing."""
    if zero is not None:
        axes.axvline(zero, color=HAIR, linewidth=1.2, zorder=0)
    rows = range(len(lines))
    unsure = [zero is not None and line.low <= zero <= line.high for line in lines]
    inks = [QUIET if hollow else INK for hollow in unsure]
    fills = [PAPER if hollow else INK for hollow in unsure]
    lows, highs = [line.low for line in lines], [line.high for line in lines]
    axes.hlines(rows, lows, highs, colors=inks, linewidth=1.8)
    axes.scatter([line.value for line in lines], rows, s=49, c=fills, edgecolors=inks, zorder=3)
    for row, line in enumerate(lines):
        axes.annotate(
            line.words, (0, row), xycoords=("axes fraction", "data"), xytext=(0, 6),
            textcoords="offset points", va="bottom", fontsize=8.5, color=INK,
        )  # fmt: skip
    axes.set_ylim(len(lines) - 0.5, -0.85)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(unit)
