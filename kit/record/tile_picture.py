"""A small drawing of the tile that shows where a patch lies."""

from kit.series import Settings, positions


def tile_picture(settings: Settings, position: int, height_px: int = 160) -> str:
    """Draw the tile as SVG with one of its patches filled in.

    Parameters
    ----------
    settings : Settings
    position : int
        The patch to show.
    height_px : int

    Returns
    -------
    str
        An SVG element with its description.
    """
    blank, stencil = settings.blank, settings.stencil
    marks = []
    for place in positions(blank, stencil, settings.patches_per_tile):
        fill = "#222" if place.number == position else "#fff"
        ink = "#fff" if place.number == position else "#222"
        half, high = stencil.size_mm / 2, stencil.height_mm / 2
        marks.append(
            f"<rect x='{place.x_mm - half:.2f}' y='{place.y_mm - high:.2f}' "
            f"width='{2 * half:.2f}' height='{2 * high:.2f}' "
            f"rx='{half if stencil.shape == 'disc' else 0:.2f}' fill='{fill}' stroke='#222'/>"
            f"<text x='{place.x_mm:.2f}' y='{place.y_mm:.2f}' fill='{ink}' "
            f"font-size='{half:.2f}' text-anchor='middle' dominant-baseline='central'>"
            f"{place.number}</text>"
        )
    width, height = blank.width_mm, blank.height_mm
    rounded = width / 2 if blank.shape == "round" else 0
    return (
        f"<svg role='img' aria-label='Place {position} on the tile' height='{height_px}' "
        f"viewBox='-1 -1 {width + 2:g} {height + 2:g}' style='display:block;max-width:100%'>"
        f"<rect width='{width:g}' height='{height:g}' rx='{rounded:g}' fill='#ddd' stroke='#222'/>"
        f"{''.join(marks)}</svg>"
    )
