"""The tile with its numbered places, as plain numbers for the templates."""

from typing import Any

from kit.series import Settings, positions


def tile_map(settings: Settings) -> dict[str, Any]:
    """Describe blank, stencil and places in mm."""
    blank, stencil = settings.blank, settings.stencil
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
            for place in positions(blank, stencil, settings.patches_per_tile)
        ],
    }


def shrink_to(settings: Settings, width_mm: float, height_mm: float) -> float:
    """Factor that makes the blank fit: 1 whenever life size fits, or else a round fraction."""
    blank = settings.blank
    room = min(width_mm / blank.width_mm, height_mm / blank.height_mm)
    return next((share for share in (1.0, 0.75, 0.5, 0.25) if share <= room), 0.1)
