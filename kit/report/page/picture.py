"""A finished picture, and the look of all of them: colours that survive colour blindness."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import matplotlib as mpl
from matplotlib.backends.backend_svg import FigureCanvasSVG
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


_SVG_METADATA = {"Date": None, "Creator": None}
_NEEDLESS = re.compile(
    rb'\A.*?(?=<svg)|<metadata>.*?</metadata>|(?<=<g) id="[^"]*"| transform="rotate\(-?0 [^"]*\)"',
    re.DOTALL,
)
_FONT = b"font-family: 'DejaVu Sans'; "
_BETWEEN = re.compile(rb">\s+<")
_PLACES = re.compile(
    rb'(?<= [dxy]=")[^"]*|(?<=transform=")[^"]*|(?<=width=")[^"]*|(?<=height=")[^"]*'
)
_LONG_NUMBER = re.compile(rb"-?\d+\.\d{3,}")
_CLIP = re.compile(rb"\bp[0-9a-f]{10}\b")


@dataclass(frozen=True, eq=False)
class Picture:
    """A figure, its finding and its description.

    Parameters
    ----------
    name : str
        Small letters and hyphens; also names the file.
    title : str
        The finding, as a sentence. It stands above the picture, as text.
    alt : str
        What is to be seen, for a reader who cannot see it.
    figure : Figure
        Not changed after it is handed over.
    note : str
        How to read it; stands below.
    """

    name: str
    title: str
    alt: str
    figure: Figure = field(repr=False)
    note: str = ""

    @property
    def width_in(self) -> float:
        return float(self.figure.get_size_inches()[0])

    @property
    def height_in(self) -> float:
        return float(self.figure.get_size_inches()[1])

    @cached_property
    def svg(self) -> bytes:
        """The picture as SVG: text as text, for any script; the same bytes every time."""
        out = io.BytesIO()
        with drawn_with({**RULES, "svg.hashsalt": self.name}), warnings.catch_warnings():
            # The reader's own fonts set the text, so it does not matter what this one lacks.
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
            _lay_out(self.figure)
            self.figure.savefig(out, format="svg", metadata=_SVG_METADATA)
        return _settled(out.getvalue())

    def _repr_html_(self) -> str:
        from kit.report.page.html import fragment

        return fragment(self)


def _lay_out(figure: Figure) -> None:
    """Find the places of everything once; savefig would draw the whole figure twice for them."""
    FigureCanvasSVG(figure)
    engine = figure.get_layout_engine()
    if engine is None:
        return
    dots, figure.dpi = figure.dpi, 72  # What an SVG is measured in.
    engine.execute(figure)
    figure.dpi = dots
    figure.set_layout_engine("none")


def _settled(svg: bytes) -> bytes:
    """Write it the same every time, and shorter.

    Clipping paths, whose names may hold where an object lay in memory, are numbered. What no
    reader sees goes: names of groups, spaces between elements, more than a hundredth of a point.
    """
    names = dict.fromkeys(_CLIP.findall(svg))
    numbers = {name: b"clip-%d" % n for n, name in enumerate(names, start=1)}
    svg = _CLIP.sub(lambda found: numbers[found[0]], svg)
    svg = _BETWEEN.sub(b"><", _NEEDLESS.sub(b"", svg))
    svg = svg.replace(_FONT, b"").replace(b"<svg ", b'<svg font-family="DejaVu Sans" ', 1)
    return _PLACES.sub(lambda place: _LONG_NUMBER.sub(_shorter, b" ".join(place[0].split())), svg)


def _shorter(number: re.Match[bytes]) -> bytes:
    return b"%g" % round(float(number[0]), 2)
