"""Plain SVG: elements, colours, lettering that is measured before it is set, a finished drawing."""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, field

from kit.photo import SRGB_TO_LINEAR
from kit.series import nearest_step
from kit.wording import escape

INK = "#1d2733"
QUIET = "#5b6673"
HAIR = "#c9ced4"
PAPER = "#ffffff"
COPPER = "#a4552a"

FONTS = "'Noto Sans', 'DejaVu Sans', 'Segoe UI', 'Helvetica Neue', Arial, sans-serif"
"""Text stays text, so that any script is set in whatever font of the reader's has its letters."""

_PIXELS_PER_INCH = 96
_NARROW = frozenset("iljftI.,:;'|!()[]{}·-/ ")
_WIDE = frozenset("mwMW@%—…½")
_LETTER, _CAPITAL, _NARROW_LETTER, _WIDE_LETTER, _SQUARE = 0.63, 0.74, 0.41, 0.98, 1.0


@dataclass(frozen=True)
class Drawing:
    """A finished drawing: what it shows, as SVG, with its finding and words for who cannot see it.

    Parameters
    ----------
    name : str
        Small letters and hyphens; also names the file.
    title : str
        The finding, as a sentence. It stands above the drawing, as text.
    alt : str
        What is to be seen, for a reader who cannot see it.
    width, height : float
        In CSS pixels of 1/96 in; lettering of 11 in these units is 11 px high.
    marks : str
        The elements.
    note : str
        How to read it; stands below.
    """

    name: str
    title: str
    alt: str
    width: float
    height: float
    marks: str = field(repr=False)
    note: str = ""

    @property
    def width_in(self) -> float:
        """Width in inches."""
        return self.width / _PIXELS_PER_INCH

    @property
    def height_in(self) -> float:
        """Height in inches."""
        return self.height / _PIXELS_PER_INCH

    @property
    def svg(self) -> bytes:
        """The drawing as a file that stands by itself."""
        size = f'width="{number(self.width)}" height="{number(self.height)}"'
        told = f"<title>{escape(self.title)}</title><desc>{escape(self.alt)}</desc>"
        opened = f'<svg xmlns="http://www.w3.org/2000/svg" {size} {self._look()}>'
        return f"{opened}{told}{self.marks}</svg>\n".encode()

    def inline(self, label: str = "") -> str:
        """Give the drawing as an element of a page, read out as `label` or as its alt text."""
        said = f'role="img" aria-label="{escape(label or self.alt)}"'
        return f'<svg class="drawing" {said} {self._look()}>{self.marks}</svg>'

    def _look(self) -> str:
        box = f'viewBox="-1 -1 {number(self.width + 2)} {number(self.height + 2)}"'
        return f'{box} font-family="{escape(FONTS)}"'

    def _repr_html_(self) -> str:
        width = f"width:{number(self.width)}px;max-width:100%;background:{PAPER};color:{INK}"
        note = f"<p>{escape(self.note)}</p>" if self.note else ""
        figure = self.inline().replace("<svg ", f'<svg style="{width}" ', 1)
        return f"<figure><figcaption>{escape(self.title)}</figcaption>{figure}{note}</figure>"


def element(tag: str, inside: str = "", **attributes: object) -> str:
    """Write an element; numbers are rounded, `_` in a name becomes '-', None leaves one out."""
    written = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{_value(value)}"'
        for name, value in attributes.items()
        if value is not None
    )
    return f"<{tag}{written}>{inside}</{tag}>" if inside else f"<{tag}{written}/>"


def words(
    x: float,
    y: float,
    text: str,
    size: float = 11,
    anchor: str | None = None,
    fill: str = INK,
    weight: str | None = None,
    turn: float | None = None,
    theme: str | None = "ink",
) -> str:
    """Set a line of text with its baseline at y.

    Parameters
    ----------
    anchor : {'middle', 'end'}, optional
    fill : str
    turn : float, optional
        Degrees clockwise about (x, y).
    theme : str or None
        Class that follows the page into dark mode; None for lettering on a ground of its own.
    """
    turned = None if turn is None else f"rotate({number(turn)} {number(x)} {number(y)})"
    return element(
        "text", escape(text), x=x, y=y, font_size=size, text_anchor=anchor, fill=fill,
        font_weight=weight, transform=turned, class_=theme,
    )  # fmt: skip


def group(inside: Iterable[str], **attributes: object) -> str:
    """Gather elements."""
    return element("g", "".join(inside), **attributes)


def text_width(text: str, size: float) -> float:
    """Width that a line of text takes at most, in the widest of `FONTS`.

    Latin, Greek and Cyrillic by classes of letters as DejaVu Sans has them; full-width scripts a
    square a letter; marks that combine with the letter before them take no room.
    """
    return size * sum(map(_letter_width, text))


def fitted_text(text: str, room: float, size: float) -> str:
    """Shorten a text to the room that it has, with an ellipsis for what is cut."""
    if text_width(text, size) <= room:
        return text
    kept = text
    while kept and text_width(f"{kept.rstrip()}…", size) > room:
        kept = kept[:-1]
    return f"{kept.rstrip()}…"


def fitted_names(names: Iterable[str], room: float, size: float) -> dict[str, str]:
    """Shorten names to a room so that no two come out alike: a number tells twins apart."""
    fitted: dict[str, str] = {}
    taken: set[str] = set()
    for name in names:
        short, count = fitted_text(name, room, size), 1
        while short in taken:
            count += 1
            mark = f" {count}"
            short = fitted_text(name, room - text_width(mark, size), size) + mark
        taken.add(short)
        fitted[name] = short
    return fitted


def number(value: float) -> str:
    """Write a number with two decimals at most."""
    said = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if said == "-0" else said


def _value(value: object) -> str:
    return number(value) if isinstance(value, float | int) else escape(str(value))


def _letter_width(letter: str) -> float:
    if unicodedata.category(letter) in ("Mn", "Me", "Cf"):
        return 0.0
    if unicodedata.east_asian_width(letter) in "WF":
        return _SQUARE
    if letter in _NARROW:
        return _NARROW_LETTER
    if letter in _WIDE:
        return _WIDE_LETTER
    return _CAPITAL if letter.isupper() else _LETTER


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
    return "#" + "".join(f"{round(share * c + (1 - share) * g):02x}" for c, g in parts)


def _luminance(colour: str) -> float:
    red, green, blue = (float(SRGB_TO_LINEAR[channel]) for channel in _channels(colour))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _channels(colour: str) -> bytes:
    """Red, green and blue, 0 to 255."""
    return bytes.fromhex(colour[1:])
