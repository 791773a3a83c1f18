"""Data and a template to a PDF that is the same on every machine."""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Literal

import typst

from kit.errors import Misuse
from kit.wording import readable

PaperName = Literal["a4", "us-letter"]
_FONTS = Path(str(getattr(find_spec("matplotlib"), "origin", ""))).parent / "mpl-data/fonts/ttf"
"""DejaVu Sans, which the drawings are lettered in; found without loading the library."""

TEMPLATES = Path(__file__).parent / "templates"

_LONG_WORD = re.compile(r"\S{16,}")
_BREAK = "\u200b"
_BEYOND_OWN_FONTS = re.compile(r"[\u0530-\u1dff\u2c00-\ufaff\U00010000-\U0010ffff]")


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
    pictures: Sequence[str] = (),
) -> bytes:
    """Fill a template of this room with data.

    Text in the data is set as it is typed: the template never evaluates it. Fonts come with the
    typesetter and the file holds no date, so that the same data give the same bytes everywhere.
    (Only scripts that those fonts lack, such as Chinese, fall back on the machine's own.)

    Parameters
    ----------
    template : str
        Name without '.typ'.
    data : mapping
        Plain values, for JSON.
    paper : Paper
    landscape : bool
        Whether the sheet lies on its side.
    pictures : sequence of str
        SVG, which the template finds as sys.inputs.picture-0, picture-1, ...

    Returns
    -------
    bytes
        A PDF.
    """
    page = {"paper": paper.name, "margin": f"{MARGIN_MM}mm", "flipped": landscape}
    told = json.dumps(_breakable({**data, "page": page}), ensure_ascii=False)
    pdf = typst.compile(
        str(TEMPLATES / f"{template}.typ"),
        root=str(TEMPLATES),
        sys_inputs={"data": told, **{f"picture-{n}": svg for n, svg in enumerate(pictures)}},
        format="pdf",
        font_paths=[str(_FONTS)],
        ignore_system_fonts=not any(map(_BEYOND_OWN_FONTS.search, (told, *pictures))),
        timestamp=0,
    )
    assert isinstance(pdf, bytes)
    return pdf


def _breakable(value: Any) -> Any:
    """Let very long words break, so that no name runs out of its column."""
    if isinstance(value, str):
        text = readable(value)
        return _LONG_WORD.sub(lambda word: _BREAK.join(re.findall(".{1,10}", word[0])), text)
    if isinstance(value, Mapping):
        return {key: _breakable(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_breakable(inner) for inner in value]
    return value
