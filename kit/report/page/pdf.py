"""A document on paper: PDF by typst, with the fonts it carries and no browser."""

import json
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any, Literal

import typst

from kit.drawing import Drawing
from kit.report.findings.pair_findings import PAIRS
from kit.report.page.document import (
    Answer,
    Beside,
    Bullets,
    Caution,
    Document,
    Download,
    Fold,
    Formula,
    LookUp,
    PairGroup,
    PairGroups,
    Paragraph,
    PhotoStrip,
    Pointer,
    Section,
    TableBlock,
)
from kit.report.page.picture import Picture
from kit.sheets import font_options
from kit.wording import counted, day, readable_in

Layout = Literal["pages", "wall"]

_NO_LETTER = ("missing codepoints", "could not be displayed with a font")
"""What typst says of letters that no font here has, and of syllables drawn as one sign in a picture
(Devanagari, Bengali). They do not keep a report from being printed: it is tagged all the same, but
not declared to be PDF/UA."""

_MOST_ON_PAPER = 60
"""Pairs of a group that paper lists."""

_KINDS: dict[type, str] = {
    Paragraph: "paragraph",
    Answer: "answer",
    Bullets: "bullets",
    Caution: "caution",
    Formula: "formula",
    TableBlock: "table",
    Picture: "picture",
    Drawing: "picture",
    Download: "download",
    Pointer: "pointer",
    Fold: "fold",
    PairGroups: "pair-groups",
    Section: "section",
}


def pages(document: Document) -> bytes:
    """Set a report as PDF (tagged for screen readers, mostly PDF/UA-1), as many pages as it takes.

    The page is as wide as A4 and as high as Letter, so that it prints unscaled on both. The same
    document gives the same bytes.
    """
    return _compile(document, "pages")


def wall_sheet(document: Document) -> bytes:
    """Set a document on one page, in the largest lettering that fits."""
    return _compile(document, "wall")


def _compile(document: Document, layout: Layout) -> bytes:
    with tempfile.TemporaryDirectory() as scratch, as_file(files("kit.report.page")) as here:
        folder = Path(scratch)
        shutil.copy(here / "report.typ", folder)
        told = json.dumps(readable_in(_told(document, layout, folder)), ensure_ascii=False)
        (folder / "content.json").write_text(told, "utf-8")
        how: dict[str, Any] = {"root": folder, "timestamp": 0, **font_options(told)}
        pdf: bytes
        try:
            pdf = typst.compile(folder / "report.typ", pdf_standards="ua-1", **how)
        except typst.TypstError as refused:
            if not any(letter in str(refused) for letter in _NO_LETTER):
                raise
            pdf = typst.compile(folder / "report.typ", **how)
        return pdf


def _told(document: Document, layout: Layout, folder: Path) -> dict[str, Any]:
    dated = document.dated
    names = (f"picture-{n}.svg" for n in range(10_000))
    return {
        "layout": layout,
        "title": document.title,
        "subtitle": document.subtitle,
        "dated": {"year": dated.year, "month": dated.month, "day": dated.day} if dated else None,
        "day": day(dated) if dated else "",
        "foot": document.foot,
        "sections": _blocks(document.sections, folder, names),
    }


def _blocks(blocks: Iterable[Any], folder: Path, names: Iterator[str]) -> list[dict[str, Any]]:
    """Set parts one below the other; what only a screen can show is left out."""
    told = []
    for block in blocks:
        if isinstance(block, Beside):
            told += _blocks(block.blocks, folder, names)
        elif not isinstance(block, LookUp | PhotoStrip) and getattr(block, "on_paper", True):
            told.append(_block(block, folder, names))
    return told


def _block(block: Any, folder: Path, names: Iterator[str]) -> dict[str, Any]:
    kind = _KINDS[type(block)]
    if isinstance(block, Picture | Drawing):
        name = next(names)
        (folder / name).write_bytes(block.svg)
        texts = {"name": block.name, "title": block.title, "alt": block.alt, "note": block.note}
        size = {"width_in": block.width_in, "height_in": block.height_in}
        return {"kind": kind, "file": name, **size, **texts}
    if isinstance(block, Section | Fold):
        inner = _blocks(block.blocks, folder, names)
        return {"kind": kind, "title": block.title, "blocks": inner}
    if isinstance(block, PairGroups):
        return {"kind": kind, "groups": [_pair_group(group) for group in block.groups]}
    if isinstance(block, Download):
        return {"kind": kind, "name": block.name, "about": block.about}
    if isinstance(block, TableBlock):
        return {**asdict(block), "kind": kind, "numeric": sorted(block.numeric)}
    return {**asdict(block), "kind": kind}


def _pair_group(group: PairGroup) -> dict[str, Any]:
    """Set the surest pairs of a group; pairs.csv has all of them."""
    shown, more = group.pairs[:_MOST_ON_PAPER], len(group.pairs) - _MOST_ON_PAPER
    return {
        "title": f"{group.title}: {counted(len(group.pairs), 'pair')}",
        "about": group.about,
        "pairs": [
            {"name": pair.name, "cells": ", ".join(row.cell for row in pair.rows)} for pair in shown
        ],
        "more": f"and {counted(more, 'more pair')}, in {PAIRS}" if more > 0 else "",
    }
