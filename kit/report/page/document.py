"""What a report is made of, before it is set as a web page or on paper.

Texts are plain: whatever a person typed is shown as typed, never read as markup.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from kit.drawing import Drawing
from kit.report.findings.pair_findings import Pair
from kit.report.page.picture import Picture


class Shown:
    """A part that a notebook can show."""

    def _repr_html_(self) -> str:
        from kit.report.page.html import fragment

        return fragment(self)


@dataclass(frozen=True)
class Paragraph(Shown):
    """Running text."""

    text: str


@dataclass(frozen=True)
class Answer(Shown):
    """The sentence that a hurried reader should take away."""

    text: str


@dataclass(frozen=True)
class Point:
    """One entry of a list; `lead` is set in bold before it."""

    text: str
    lead: str = ""


@dataclass(frozen=True)
class Bullets(Shown):
    """A list of points."""

    points: tuple[Point, ...]


@dataclass(frozen=True)
class Caution(Shown):
    """A framed warning that must not be overlooked."""

    title: str
    points: tuple[Point, ...]


@dataclass(frozen=True)
class Formula(Shown):
    """A formula on lines of its own, in plain characters."""

    text: str


@dataclass(frozen=True)
class TableBlock(Shown):
    """A table; the first cell of each row names the row.

    Parameters
    ----------
    caption : str
    headings : tuple of str
    rows : tuple of tuple of str
    numeric : frozenset of int
        Columns (from 0) that are set flush right.
    """

    caption: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Download(Shown):
    """A file carried inside the page."""

    name: str
    about: str
    content: bytes
    media_type: str = "text/csv"


@dataclass(frozen=True)
class Photo:
    """One photograph.

    Parameters
    ----------
    name : str
        Anchor, by which the look-up finds it.
    caption, alt : str
        What stands below it; what is to be seen, for a reader who cannot see it.
    jpeg : bytes
    """

    name: str
    caption: str
    alt: str
    jpeg: bytes


@dataclass(frozen=True)
class PhotoStrip(Shown):
    """Photographs in a row; on a page alone."""

    photos: tuple[Photo, ...]


@dataclass(frozen=True)
class Pointer(Shown):
    """A link to another page, with a picture of what is there.

    Parameters
    ----------
    text : str
    address : str
        Relative to the page.
    picture, alt : str
        Address of the picture and what is to be seen on it; blank for none.
    """

    text: str
    address: str
    picture: str = ""
    alt: str = ""


@dataclass(frozen=True)
class Fold(Shown):
    """Parts for the curious, folded away on a screen.

    Parameters
    ----------
    title : str
    blocks : tuple of Block or Section
    on_paper : bool
        Whether paper has them too, set small; a page that is printed has what is unfolded.
    """

    title: str
    blocks: tuple[Block | Section, ...]
    on_paper: bool = True


@dataclass(frozen=True)
class Beside(Shown):
    """Two parts side by side where there is room, else one below the other."""

    first: tuple[Block, ...]
    second: tuple[Block, ...]

    @property
    def blocks(self) -> tuple[Block, ...]:
        """All blocks, in the order in which they are read."""
        return (*self.first, *self.second)


@dataclass(frozen=True)
class LookUp(Shown):
    """A look-up of what to expect of a pair; on a page alone, with its script.

    Parameters
    ----------
    colours : mapping of str to tuple of str
        Names by family, in the order of the data.
    counts : tuple of str
        What the firing counts are called.
    factors : mapping of str to tuple of str
        Levels of sifter and coat by what they are called; none when they were not varied.
    data : mapping
        What look_up.js reads.
    endings : tuple of Drawing
        What each ending looks like, in the order of `kit.model.ENDINGS`.
    """

    colours: Mapping[str, tuple[str, ...]]
    counts: tuple[str, ...]
    factors: Mapping[str, tuple[str, ...]]
    data: Mapping[str, Any]
    endings: tuple[Drawing, ...]


@dataclass(frozen=True)
class PairGroup:
    """Pairs that do alike, surest first."""

    title: str
    about: str
    pairs: tuple[Pair, ...]


@dataclass(frozen=True)
class PairGroups(Shown):
    """Every pair once, with its firing counts, in groups that unfold.

    Parameters
    ----------
    counts : tuple of str
        What the firing counts are called.
    groups : tuple of PairGroup
    """

    counts: tuple[str, ...]
    groups: tuple[PairGroup, ...]


@dataclass(frozen=True)
class Card:
    """One series in a gallery.

    Parameters
    ----------
    title, address : str
        Address relative to the page.
    about : tuple of str
        Lines below it: date, round.
    question, answer : str
    picture, alt : str
        Address of the picture and what is to be seen on it; blank for none.
    words : str
        What it is found by besides: names of its colours.
    """

    title: str
    address: str
    about: tuple[str, ...]
    question: str
    answer: str
    picture: str = ""
    alt: str = ""
    words: str = ""


@dataclass(frozen=True)
class Gallery(Shown):
    """Cards of series, and links to the pages of pieces and colours; a word finds among all.

    Parameters
    ----------
    cards : tuple of Card
    colours : mapping of str to tuple of (str, str)
        Names and addresses of pages by family.
    pieces : tuple of (str, str)
        Titles and addresses of the pages of pieces.
    """

    cards: tuple[Card, ...]
    colours: Mapping[str, tuple[tuple[str, str], ...]]
    pieces: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Section(Shown):
    """A headed part of a report.

    Parameters
    ----------
    name : str
        Anchor: small letters and hyphens.
    title : str
    blocks : tuple of Block or Section
    """

    name: str
    title: str
    blocks: tuple[Block | Section, ...]

    def pictures(self) -> Iterator[Picture | Drawing]:
        """Yield the pictures within, in order."""
        for block in _within(self.blocks):
            if isinstance(block, Picture | Drawing):
                yield block


@dataclass(frozen=True)
class Document:
    """A whole report.

    Parameters
    ----------
    title, subtitle : str
    sections : tuple of Section
    dated : date or None
        Date of the work reported on, never of the printing.
    foot : str
        Last line, such as version and seed.
    """

    title: str
    subtitle: str
    sections: tuple[Section, ...]
    dated: dt.date | None = None
    foot: str = ""

    def __getitem__(self, name: str) -> Section:
        """Return the section called `name`."""
        return next(section for section in self.sections if section.name == name)

    def parts(self) -> Iterator[Any]:
        """Yield every part within, in order, whatever it lies in."""
        yield from _within(self.sections)


def _within(blocks: Iterable[Any]) -> Iterator[Any]:
    for block in blocks:
        yield block
        if isinstance(block, Section | Fold | Beside):
            yield from _within(block.blocks)


Block = (
    Paragraph
    | Answer
    | Bullets
    | Caution
    | Formula
    | TableBlock
    | Picture
    | Drawing
    | Download
    | PhotoStrip
    | Pointer
    | Fold
    | Beside
    | LookUp
    | PairGroups
    | Gallery
)


def table_of(caption: str, frame: pd.DataFrame) -> TableBlock:
    """Set a frame as a table; its column names are the headings.

    Parameters
    ----------
    caption : str
    frame : DataFrame
        The first column names the rows. Numbers are set flush right and rounded to three
        figures after the point at most; missing values are blank.
    """
    numeric = frozenset(
        i for i, name in enumerate(frame.columns) if pd.api.types.is_numeric_dtype(frame[name])
    )
    rows = zip(*(map(_cell, frame[name]) for name in frame.columns), strict=True)
    return TableBlock(caption, tuple(map(str, frame.columns)), tuple(rows), numeric)


def _cell(value: object) -> str:
    if value is None or value is pd.NA or value != value:
        return ""
    if isinstance(value, float):
        return f"{round(value, 3):g}".replace("-", "−")
    return str(value)
