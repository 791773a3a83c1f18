"""A tile drawn to scale, its patches filled by grade."""

from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.patches import Circle, FancyBboxPatch, Patch, Rectangle

from kit.report.style import GRADE_COLOURS, INK, PAPER, QUIET, ink_on
from kit.series import Position, Settings, positions

_COPPER = "#e9e4de"
_MARGIN_MM = 1.5


def draw_tile(
    axes: Axes, settings: Settings, grades: Mapping[int, float], figures_in_points: float
) -> None:
    """Draw a tile of the series with the grade of each patch written in it.

    Parameters
    ----------
    axes : Axes
    settings : Settings
        Blank and stencil are drawn to scale, in mm.
    grades : mapping of int to float
        Grade by position; a position that is not there is drawn empty.
    figures_in_points : float
        Height of the numbers.
    """
    blank = settings.blank
    axes.set_xlim(-_MARGIN_MM, blank.width_mm + _MARGIN_MM)
    axes.set_ylim(blank.height_mm + _MARGIN_MM, -_MARGIN_MM)
    axes.set_aspect("equal")
    axes.set_axis_off()
    axes.add_patch(_outline(settings))
    for place in positions(blank, settings.stencil, settings.patches_per_tile):
        grade = grades.get(place.number)
        colour = PAPER if grade is None else grade_colour(grade)
        axes.add_patch(_opening(settings, place, colour, empty=grade is None))
        if grade is not None:
            axes.text(
                place.x_mm,
                place.y_mm,
                f"{grade:g}",
                ha="center",
                va="center_baseline",
                color=ink_on(colour),
                fontsize=figures_in_points,
            )


def grade_colour(grade: float) -> str:
    """Colour of the nearest step; a half goes to the darker."""
    return GRADE_COLOURS[min(int(grade + 0.5), len(GRADE_COLOURS) - 1)]


def grade_key(labels: Sequence[str]) -> list[Patch]:
    """Key to the colours of the grades, one label a step."""
    return [
        Rectangle((0, 0), 1, 1, facecolor=colour, edgecolor=QUIET, linewidth=0.6, label=label)
        for colour, label in zip(GRADE_COLOURS, labels, strict=True)
    ]


def short_steps(steps: Sequence[str]) -> list[str]:
    """Steps of a scale as '2 blurred': the number and the words up to the colon."""
    return [f"{grade} {step.split(':')[0]}" for grade, step in enumerate(steps)]


def _outline(settings: Settings) -> Patch:
    blank = settings.blank
    look: dict[str, Any] = {"facecolor": _COPPER, "edgecolor": QUIET, "linewidth": 0.8}
    if blank.shape == "round":
        radius = blank.width_mm / 2
        return Circle((radius, radius), radius, **look)
    return FancyBboxPatch(
        (0, 0), blank.width_mm, blank.height_mm, boxstyle="round,pad=0,rounding_size=1.5", **look
    )


def _opening(settings: Settings, place: Position, colour: str, *, empty: bool) -> Patch:
    stencil = settings.stencil
    look: dict[str, Any] = {
        "facecolor": colour,
        "edgecolor": QUIET if empty else INK,
        "linewidth": 0.7,
        "linestyle": (0, (2, 2)) if empty else "solid",
    }
    if stencil.shape == "disc":
        return Circle((place.x_mm, place.y_mm), stencil.size_mm / 2, **look)
    corner = (place.x_mm - stencil.size_mm / 2, place.y_mm - stencil.height_mm / 2)
    return Rectangle(corner, stencil.size_mm, stencil.height_mm, **look)
