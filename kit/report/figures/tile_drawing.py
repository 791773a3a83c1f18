"""Tiles drawn to scale, their patches filled by grade."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.collections import PatchCollection
from matplotlib.figure import Figure
from matplotlib.patches import Circle, FancyBboxPatch, Patch, Rectangle

from kit.report.page.style import GRADE_COLOURS, INK, PAPER, QUIET, ink_on
from kit.series import Settings, Stencil, positions
from kit.wording import nearest_step

_COPPER = "#e9e4de"


@dataclass(frozen=True)
class PlacedTile:
    """A tile somewhere on a sheet.

    Parameters
    ----------
    x_mm, y_mm : float
        Its top left corner; y runs down.
    grades : mapping of int to float
        Grade by position; a position that is not there is drawn empty.
    lost : frozenset of int
        Positions of lost patches; drawn dashed, whatever their last grade.
    """

    x_mm: float
    y_mm: float
    grades: Mapping[int, float]
    lost: frozenset[int] = frozenset()


def sheet(figure: Figure, width_mm: float, height_mm: float, top_in: float = 0.0) -> Axes:
    """Lay a sheet over the width of a figure, `top_in` below its top, on which a mm is a mm."""
    wide, high = figure.get_size_inches()
    tall = wide * height_mm / width_mm
    axes = figure.add_axes((0, (high - top_in - tall) / high, 1, tall / high))
    axes.set_xlim(0, width_mm)
    axes.set_ylim(height_mm, 0)
    axes.set_axis_off()
    return axes


def draw_tiles(
    axes: Axes, settings: Settings, tiles: Sequence[PlacedTile], figures_in_points: float
) -> None:
    """Draw tiles of a series with the grade of each patch written in it.

    Parameters
    ----------
    axes : Axes
        In mm, as `sheet` makes it.
    settings : Settings
        Blank and stencil are drawn to scale.
    tiles : sequence of PlacedTile
    figures_in_points : float
        Height of the numbers.
    """
    places = positions(settings.blank, settings.stencil, settings.patches_per_tile)
    shapes: list[Patch] = []
    for tile in tiles:
        shapes.append(_outline(settings, tile))
        for place in places:
            grade = tile.grades.get(place.number)
            colour = PAPER if grade is None else grade_colour(grade)
            dashed = grade is None or place.number in tile.lost
            x, y = tile.x_mm + place.x_mm, tile.y_mm + place.y_mm
            shapes.append(_opening(settings.stencil, (x, y), colour, dashed=dashed))
            if grade is not None:
                axes.text(
                    x, y, f"{grade:g}", ha="center", va="center_baseline", color=ink_on(colour),
                    fontsize=figures_in_points,
                )  # fmt: skip
    axes.add_collection(PatchCollection(shapes, match_original=True))


def grade_colour(grade: float) -> str:
    """Colour of the nearest step; a half goes to the darker."""
    return GRADE_COLOURS[min(nearest_step(grade), len(GRADE_COLOURS) - 1)]


def grade_key(labels: Sequence[str]) -> list[Patch]:
    """Key to the colours of the grades, one label a step."""
    return [
        Rectangle((0, 0), 1, 1, facecolor=colour, edgecolor=QUIET, linewidth=0.6, label=label)
        for colour, label in zip(GRADE_COLOURS, labels, strict=True)
    ]


def short_steps(steps: Sequence[str]) -> list[str]:
    """Steps of a scale as '2 blurred': the number and the words up to the colon."""
    return [f"{grade} {step.split(':')[0]}" for grade, step in enumerate(steps)]


def _outline(settings: Settings, tile: PlacedTile) -> Patch:
    blank = settings.blank
    look: dict[str, Any] = {"facecolor": _COPPER, "edgecolor": QUIET, "linewidth": 0.8}
    if blank.shape == "round":
        radius = blank.width_mm / 2
        return Circle((tile.x_mm + radius, tile.y_mm + radius), radius, **look)
    return FancyBboxPatch(
        (tile.x_mm, tile.y_mm), blank.width_mm, blank.height_mm,
        boxstyle="round,pad=0,rounding_size=1.5", **look,
    )  # fmt: skip


def _opening(stencil: Stencil, middle: tuple[float, float], colour: str, *, dashed: bool) -> Patch:
    look: dict[str, Any] = {
        "facecolor": colour,
        "edgecolor": QUIET if dashed else INK,
        "linewidth": 0.7,
        "linestyle": (0, (2, 2)) if dashed else "solid",
    }
    if stencil.shape == "disc":
        return Circle(middle, stencil.size_mm / 2, **look)
    corner = (middle[0] - stencil.size_mm / 2, middle[1] - stencil.height_mm / 2)
    return Rectangle(corner, stencil.size_mm, stencil.height_mm, **look)
