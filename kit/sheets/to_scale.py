"""What is drawn in mm, as plain values for the templates: tiles with their places, camera marks."""

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.drawing import step_pictures
from kit.photo import Label, Mark, Rectangle
from kit.series import Scale, Settings, places_on_tile, stencil_on, stripe_edges


def tile_map(settings: Settings, stripes: int = 1) -> dict[str, Any]:
    """Describe blank, stencil, places and where stripes meet, in mm."""
    blank, stencil = settings.blank, stencil_on(settings, stripes)
    return {
        "shape": blank.shape,
        "width": blank.width_mm,
        "height": blank.height_mm,
        "stencil": {
            "shape": stencil.shape,
            "width": stencil.size_mm,
            "height": stencil.height_mm,
        },
        "places": [
            {"number": place.number, "x": place.x_mm, "y": place.y_mm}
            for place in places_on_tile(settings, stripes)
        ],
        "edges": list(stripe_edges(blank, stencil, stripes)),
    }


def scale_key(scale: Scale, settings: Settings) -> dict[str, Any]:
    """Describe a scale with the pictures of its steps; a scale of one's own has none."""
    pictures = step_pictures(scale, settings.stencil)
    return {**vars(scale), "steps": list(scale.steps), "pictures": list(pictures)}


def shrink_to(settings: Settings, width_mm: float, height_mm: float) -> float:
    """Factor that makes the blank fit: 1 whenever life size fits, or else a round fraction."""
    blank = settings.blank
    room = min(width_mm / blank.width_mm, height_mm / blank.height_mm)
    return next((share for share in (1.0, 0.75, 0.5, 0.25) if share <= room), 0.1)


def drawing_data(marks: Iterable[Mark]) -> list[dict[str, Any]]:
    """Turn rectangles and words, in mm, into plain values."""
    return [_rectangle(mark) if isinstance(mark, Rectangle) else _label(mark) for mark in marks]


def mark_data(cells: NDArray[np.bool_], side_mm: float) -> list[dict[str, Any]]:
    """Draw a square mark, black where `cells` is true: a black square with white cells on it."""
    cell = side_mm / len(cells)
    white = [
        {"x": x * cell, "y": y * cell, "width": cell, "height": cell, "grey": 1.0}
        for y, x in zip(*(axis.tolist() for axis in np.nonzero(~cells)), strict=True)
    ]
    return [{"x": 0, "y": 0, "width": side_mm, "height": side_mm, "grey": 0.0}, *white]


def _rectangle(mark: Rectangle) -> dict[str, Any]:
    return {
        "x": mark.x_mm,
        "y": mark.y_mm,
        "width": mark.width_mm,
        "height": mark.height_mm,
        "grey": mark.grey,
    }


def _label(mark: Label) -> dict[str, Any]:
    return {"x": mark.x_mm, "y": mark.y_mm, "height": mark.height_mm, "text": mark.text}
