"""The look of every picture: colours that survive colour blindness and a grey printer."""

import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure

from kit.drawing import HAIR, INK, PAPER, QUIET

FAMILY_COLOURS = {"leaded": "#1f4e79", "unleaded": "#c77d0a"}

PAGE_COLOURS = {
    "ink": ("#1d2733", "#e9e7e2"),
    "quiet": ("#4d5762", "#b4bcc5"),
    "paper": ("#ffffff", "#15191e"),
    "soft": ("#f6f2ec", "#20262d"),
    "hair": ("#c9ced4", "#414b56"),
    "edge": ("#8a6a57", "#b08a72"),
    "copper": ("#a4552a", "#e0986c"),
    "link": ("#0d4a86", "#8ec1f2"),
    "night": ("#14304f", "#0d1f33"),
    "moon": ("#ffffff", "#f3f1ec"),
    "warned": ("#7a2615", "#f0a893"),
    "warning": ("#fdf3ef", "#33201a"),
}
"""Colours of a page by what they are for: in light, and in the dark."""

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
    "svg.fonttype": "none",
    "hatch.linewidth": 0.6,
}

WIDTH_IN = 4.6
"""Width of a picture: at a phone's 340 px its letters are still 10 px high."""


@contextmanager
def drawn_with(rules: Mapping[Any, Any] = RULES) -> Iterator[None]:
    """Draw by the kit's rules alone, whatever the person's own settings are."""
    with mpl.rc_context(), warnings.catch_warnings():
        # Text stays text, so it is the reader's fonts that need the letters.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        mpl.rcdefaults()
        mpl.rcParams.update(rules)
        yield


def new_figure(height_in: float, width_in: float = WIDTH_IN) -> Figure:
    """Start an empty figure that no notebook shows by itself."""
    return Figure(figsize=(width_in, height_in), layout="constrained")
