"""What a report is made of, before it is set as a web page or on paper.

Texts are plain: whatever a person typed is shown as typed, never read as markup.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

import pandas as pd

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
    """Blocks for the curious, folded away on a screen and set small on paper."""

    title: str
    blocks: tuple[Block, ...]


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

    def pictures(self) -> Iterator[Picture]:
        """Yield the pictures within, in order."""
        for block in self.blocks:
            if isinstance(block, Picture):
                yield block
            elif isinstance(block, Section | Fold):
                yield from Section("", "", tuple(block.blocks)).pictures()


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


Block = (
    Paragraph
    | Answer
    | Bullets
    | Caution
    | Formula
    | TableBlock
    | Picture
    | Download
    | Pointer
    | Fold
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
