"""The look of every picture: colours that survive colour blindness and a grey printer."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

INK = "#1d2733"
QUIET = "#5b6673"
HAIR = "#c9ced4"
PAPER = "#ffffff"
COPPER = "#a4552a"

GRADE_COLOURS = ("#f3ead9", "#f0c987", "#dc8a4a", "#a8433a", "#4d1733")
"""Steps 0 to 4, ever darker, so that they keep their order in grey."""

FAMILY_COLOURS = {"leaded": "#1f4e79", "unleaded": "#c77d0a"}

RULES: Mapping[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 9.5,
    "axes.titlesize": 10,
    "axes.labelsize": 9.5,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "grid.color": HAIR,
    "grid.linewidth": 0.6,
    "text.color": INK,
    "text.parse_math": False,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 9,
    "ytick.labelsize": 9,
    "legend.frameon": False,
    "legend.fontsize": 9,
    "figure.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "savefig.bbox": None,
    "svg.fonttype": "path",
    "hatch.linewidth": 0.6,
}

WIDTH_IN = 4.6
"""Width of a picture: at a phone's 340 px its letters are still 10 px high."""


@contextmanager
def drawn_with(rules: Mapping[Any, Any] = RULES) -> Iterator[None]:
    """Draw by the kit's rules alone, whatever the person's own settings are."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(rules)
        yield


def new_figure(height_in: float, width_in: float = WIDTH_IN) -> Figure:
    """Start an empty figure that no notebook shows by itself."""
    return Figure(figsize=(width_in, height_in), layout="constrained")


def ink_on(colour: str) -> str:
    """Choose dark or white lettering for a ground, whichever has the more contrast."""
    return INK if contrast(INK, colour) >= contrast(PAPER, colour) else PAPER


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2, definition of contrast ratio)."""
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def _luminance(colour: str) -> float:
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
