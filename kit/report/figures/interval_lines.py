"""Estimates with their intervals, one to a line, each under its own words."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes

from kit.drawing import HAIR, INK, PAPER, QUIET


@dataclass(frozen=True)
class Line:
    """One estimate.

    Parameters
    ----------
    words : str
        What it is of, written above it.
    value, low, high : float
    found : bool
        Whether its direction is sure enough to be stated; drawn hollow if it is not.
    """

    words: str
    value: float
    low: float
    high: float
    found: bool = True


_LINE_IN, _MORE_WORDS_IN = 0.36, 0.15
_LETTERS = 58
_AXIS_IN = 0.75


def height_for(lines: Sequence[Line]) -> float:
    """Height that a figure of these lines needs, in inches."""
    most = max(_wrapped(line).count("\n") for line in lines)
    return _AXIS_IN + (_LINE_IN + most * _MORE_WORDS_IN) * len(lines)


def _wrapped(line: Line) -> str:
    return textwrap.fill(line.words, _LETTERS)


def draw_lines(axes: Axes, lines: Sequence[Line], unit: str, zero: float | None = 0.0) -> None:
    """Draw estimates, hollow where nothing may be claimed; `zero` is where there is no effect."""
    if zero is not None:
        axes.axvline(zero, color=HAIR, linewidth=1.2, zorder=0)
    rows = range(len(lines))
    inks = [INK if line.found else QUIET for line in lines]
    fills = [INK if line.found else PAPER for line in lines]
    lows, highs = [line.low for line in lines], [line.high for line in lines]
    axes.hlines(rows, lows, highs, colors=inks, linewidth=1.8)
    axes.scatter([line.value for line in lines], rows, s=49, c=fills, edgecolors=inks, zorder=3)
    for row, line in enumerate(lines):
        axes.annotate(
            _wrapped(line), (0, row), xycoords=("axes fraction", "data"), xytext=(0, 6),
            textcoords="offset points", va="bottom", fontsize=8.5, color=INK,
        )  # fmt: skip
    axes.set_ylim(len(lines) - 0.5, -0.85)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(unit)
