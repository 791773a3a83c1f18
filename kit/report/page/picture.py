"""A finished picture: a figure with the finding it shows and words for who cannot see it."""

from __future__ import annotations

import io
import re
import warnings
from dataclasses import dataclass, field
from functools import cached_property

from matplotlib.figure import Figure

from kit.report.page.style import RULES, drawn_with

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
            self.figure.savefig(out, format="svg", metadata=_SVG_METADATA)
        return _settled(out.getvalue())

    def _repr_html_(self) -> str:
        from kit.report.page.html import fragment

        return fragment(self)


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
