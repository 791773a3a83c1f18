"""Data and a template to a PDF that is the same on every machine."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import typst

from kit.drawing import Drawing, font_options
from kit.errors import Misuse
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
