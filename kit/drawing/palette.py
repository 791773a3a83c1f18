"""The colours of what is drawn: grades that darken step by step, and the ground they lie on."""

from kit.drawing.svg import INK, PAPER
from kit.series import nearest_step

GRADE_COLOURS = ("#f3ead9", "#f0c987", "#dc8a4a", "#a8433a", "#4d1733")
"""Steps 0 to 4, ever darker, so that they keep their order in grey."""

TILE_GROUND = "#e9e4de"


def grade_colour(grade: float) -> str:
    """Colour of the step that a grade counts as."""
    return GRADE_COLOURS[min(nearest_step(grade), len(GRADE_COLOURS) - 1)]


def ink_on(colour: str) -> str:
    """Choose dark or white lettering for a ground, whichever has the more contrast."""
    return INK if contrast(INK, colour) >= contrast(PAPER, colour) else PAPER


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2, definition of contrast ratio)."""
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def mixed(colour: str, ground: str, share: float) -> str:
    """Mix a colour with a ground: `share` of the colour, the rest of the ground."""
    parts = zip(_channels(colour), _channels(ground), strict=True)
    return "#" + "".join(f"{round(255 * (share * c + (1 - share) * g)):02x}" for c, g in parts)


def _luminance(colour: str) -> float:
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in _channels(colour)
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _channels(colour: str) -> tuple[float, float, float]:
    red, green, blue = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    return red, green, blue
