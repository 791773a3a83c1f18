"""Data and a template to a PDF that is the same on every machine, and the fonts it is set in.

DejaVu serves most scripts, Noto the others: `pip install "enamel-tile-kit[fonts]"` brings it for
Chinese, Japanese and Korean and for the scripts of southern and south-eastern Asia. Without it what
is written in them is set in the machine's own fonts, and then the same data may give other bytes on
another machine. What is drawn in mm, tiles and camera marks, goes to the templates as plain values.
"""

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Literal

import numpy as np
import typst
from numpy.typing import NDArray

from kit.drawing import Drawing, step_pictures
from kit.errors import Misuse
from kit.photo import Label, Mark, Rectangle
from kit.series import Scale, Settings, places_on_tile, stencil_on, stripe_edges
from kit.wording import readable

PaperName = Literal["a4", "us-letter"]
TEMPLATES = Path(__file__).parent / "templates"

_LONG_WORD = re.compile(r"\S{16,}")
_BREAK = "\u200b"


@dataclass(frozen=True)
class Paper:
    """A sheet of paper in a printer.

    Parameters
    ----------
    name : {'a4', 'us-letter'}
    title : str
    width_mm, height_mm : float
    """

    name: PaperName
    title: str
    width_mm: float
    height_mm: float


PAPERS: Mapping[str, Paper] = {
    "a4": Paper("a4", "A4", 210.0, 297.0),
    "us-letter": Paper("us-letter", "US Letter", 215.9, 279.4),
}
"""ISO 216 A4, and ANSI A (8.5 × 11 in)."""

MARGIN_MM = 14.0
MM_PER_INCH = 25.4


def checked_paper(name: str) -> Paper:
    """Return the paper called `name`.

    Raises
    ------
    Misuse
        When the kit does not print on it.
    """
    if name not in PAPERS:
        raise Misuse(f"The kit does not print on '{name}'. Choose one of: {', '.join(PAPERS)}.")
    return PAPERS[name]


def typeset(
    template: str,
    data: Mapping[str, Any],
    paper: Paper,
    landscape: bool = False,
) -> bytes:
    """Fill a template of this room with data.

    Text in the data is set as it is typed: the template never evaluates it. Fonts come with the
    kit and the file holds no date, so that the same data give the same bytes everywhere.

    Parameters
    ----------
    template : str
        Name without '.typ'.
    data : mapping
        Plain values, for JSON, and drawings.
    paper : Paper
    landscape : bool
        Whether the sheet lies on its side.

    Returns
    -------
    bytes
        A PDF.
    """
    width, height = paper.width_mm, paper.height_mm
    page = {
        "paper": paper.name,
        "flipped": landscape,
        "width": height if landscape else width,
        "height": width if landscape else height,
        "margin": MARGIN_MM,
    }
    told = json.dumps(_plain({**data, "page": page}), ensure_ascii=False)
    pdf = typst.compile(
        str(TEMPLATES / f"{template}.typ"),
        root=str(TEMPLATES),
        sys_inputs={"data": told},
        format="pdf",
        timestamp=0,
        **font_options(told),
    )
    assert isinstance(pdf, bytes)
    return pdf


def _plain(value: Any) -> Any:
    """Write drawings as SVG, and let very long words break, so that no name leaves its column."""
    if isinstance(value, Drawing):
        return {
            "svg": value.svg.decode(),
            "alt": value.alt,
            "width": value.width_in * MM_PER_INCH,
            "height": value.height_in * MM_PER_INCH,
        }
    if isinstance(value, str):
        text = readable(value)
        return _LONG_WORD.sub(lambda word: _BREAK.join(re.findall(".{1,10}", word[0])), text)
    if isinstance(value, Mapping):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return value


_NOTO = tuple(f"justmytype_intl_{part}" for part in ("cjk", "rtl", "sea", "south_asia"))
_BEYOND_DEJAVU = re.compile(r"[\u0780-\u0e3e\u0e40-\u1dff\u2e80-\ufaff\U00020000-\U0010ffff]")


def font_options(text: str) -> dict[str, Any]:
    """Say where typst finds the fonts that a text needs.

    Returns
    -------
    dict
        `font_paths` and `ignore_system_fonts`, as `typst.compile` takes them.
    """
    noto = [path for path in map(_folder, _NOTO) if path]
    alone = len(noto) == len(_NOTO) or not _BEYOND_DEJAVU.search(text)
    dejavu = _folder("matplotlib", "mpl-data", "fonts", "ttf")
    wanted = noto if _BEYOND_DEJAVU.search(text) else []
    return {
        "font_paths": [path for path in (dejavu, *wanted) if path],
        "ignore_system_fonts": alone,
    }


@cache
def _folder(package: str, *inside: str) -> Path | None:
    """Folder within a package, found without loading it; None when it is not installed."""
    found = find_spec(package)
    if found is None or found.origin is None:
        return None
    return Path(found.origin).parent.joinpath(*inside)


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
